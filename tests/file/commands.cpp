#include "seamhold/file/commands.hpp"

#include "jobs.hpp"
#include "seamhold/file/csv.hpp"
#include "seamhold/file/job.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

using namespace seamhold;
using seamhold::test::content_of;
using seamhold::test::message_of;
using seamhold::test::small_job;
using seamhold::test::TemporaryFolder;

namespace {

LoadedJob loaded(TemporaryFolder const& folder, std::string const& job = small_job) {
    return seamhold::test::loaded_from(folder.file("job.toml", job),
                                       folder.file("log.csv", seamhold::test::resting_log()));
}

} // namespace

TEST_CASE("where a job says with how much power it welds, every row has the power of its seam") {
    TemporaryFolder const folder;
    // A1 with a power of its own, ramped over 20 ms from a half; A2 with the job's.
    auto const text = seamhold::test::with(
        seamhold::test::welding_job, "to_mm = [50, 20]\n",
        "to_mm = [50, 20]\npower = { power_W = 3000, rise_ms = 20, start_share = 0.5 }\n");
    Job const job = loaded(folder, text).job;
    write_commands(folder / "commands.csv", job, 1e-3);
    CsvReader reader(folder / "commands.csv");
    CHECK(reader.names() == std::vector<std::string>{"time_s", "x_mirror_rad", "y_mirror_rad", "focus_m",
                                                     "power_W", "gate", "seam"});
    std::size_t ramped = 0, full = 0, jobs = 0, wrong = 0;
    while (reader.next()) {
        double const t = reader.number(0), power = reader.number(4);
        if (reader.text(5) != "1") {
            wrong += power == 0 ? 0U : 1U;
        } else if (reader.text(6) == "A2") {
            ++jobs;
            wrong += power == 4000 ? 0U : 1U;
        } else if (t < 0.12 - 1e-9) {
            ++ramped;
            wrong += std::abs(power - 3000 * (0.5 + 0.5 * (t - 0.1) / 0.02)) <= 1e-6 ? 0U : 1U;
        } else {
            ++full;
            // At the ramp's end a tick may fall a billionth of a second before it.
            wrong += std::abs(power - 3000) <= 1e-3 ? 0U : 1U;
        }
    }
    CHECK(wrong == 0);
    CHECK(ramped >= 19);
    CHECK(full > 470);
    CHECK(jobs >= 49);
}

TEST_CASE("commands come back from the file as they were, to the last bit") {
    TemporaryFolder const folder;
    Job const job = loaded(folder).job;
    double const period = 1e-4;
    auto const written = write_commands(folder / "commands.csv", job, period);
    CsvReader reader(folder / "commands.csv");
    CHECK(reader.names() ==
          std::vector<std::string>{"time_s", "x_mirror_rad", "y_mirror_rad", "focus_m", "gate", "seam"});
    Ticks const ticks(job, period);
    std::size_t rows = 0, wrong = 0, open = 0;
    for (; reader.next(); ++rows) {
        Tick const tick = ticks[rows];
        bool const same = reader.number(0) == tick.time && reader.number(1) == tick.command.x_mirror &&
                          reader.number(2) == tick.command.y_mirror &&
                          reader.number(3) == tick.command.focus && reader.text(4) == (tick.gate ? "1" : "0");
        wrong += same ? 0U : 1U;
        open += reader.text(4) == "1" ? 1U : 0U;
        wrong += tick.gate && reader.text(5).empty() ? 1U : 0U;
        // By the schedule alone: A1 from 0.1 s to 0.6 s, A2 from 0.65 s to 0.7 s. A tick within 1e-9 s of an
        // end may fall on either side of it.
        double const t = reader.number(0);
        bool const near_end =
            std::abs(t - 0.1) < 1e-9 || std::abs(t - 0.6) < 1e-9 || std::abs(t - 0.65) < 1e-9;
        std::string const name = t > 0.1 && t < 0.6 ? "A1" : t > 0.65 ? "A2" : "";
        if (!near_end)
            wrong += reader.text(5) == name ? 0U : 1U;
    }
    CHECK(wrong == 0);
    CHECK(rows == ticks.size());
    CHECK(written.ticks == rows);
    CHECK(written.open == open);
    CHECK(written.refused == 0);
    // From 7 ms (focus lag and settling) before the first seam to the end of the last, every 0.1 ms; the
    // light is on for 550 ms of it.
    CHECK(rows == doctest::Approx(6071).epsilon(0.0002));
    CHECK(open == doctest::Approx(5502).epsilon(0.0004));
}

TEST_CASE("the columns lead by the lags") {
    TemporaryFolder const folder;
    Job const job = loaded(folder).job;
    write_commands(folder / "commands.csv", job, 1e-4);
    CsvReader reader(folder / "commands.csv");
    std::size_t checked = 0;
    while (reader.next()) {
        double const t = reader.number(0);
        if (t < 0.11 || t > 0.58)
            continue;
        // The spot is at x = −50 mm + 200 mm/s · (t − 0.1 s), y = 20 mm, and −y in the head, 500 mm below:
        // the formulas of the ideal mirror pair, written out. The mirrors lead by 0.5 ms, the lens by 5 ms.
        double const to_axis = std::sqrt(0.02 * 0.02 + 0.5 * 0.5);
        double const x = -0.05 + 0.2 * (t + 0.0005 - 0.1);
        double const x_later = -0.05 + 0.2 * (t + 0.005 - 0.1);
        double const path = std::sqrt(x_later * x_later + (0.04 + to_axis) * (0.04 + to_axis));
        // 1e-15: a few units in the last place of times near 1 s and positions near 0.05 m.
        REQUIRE(std::abs(reader.number(1) - std::atan(x / (0.04 + to_axis)) / 2) < 1e-15);
        REQUIRE(std::abs(reader.number(2) - std::atan(-0.02 / 0.5) / 2) < 1e-15);
        REQUIRE(std::abs(reader.number(3) - (path - 0.54) / 8) < 1e-15);
        ++checked;
    }
    CHECK(checked > 4000);
}

TEST_CASE("commands that cannot be trusted have the gate shut and are counted") {
    TemporaryFolder const folder;
    // The log ends at 1 s; this point is held until 1.05 s.
    auto const job = loaded(folder, seamhold::test::with(small_job, "start_s = 0.65", "start_s = 0.999"));
    auto const written = write_commands(folder / "commands.csv", job.job, 1e-3);
    CHECK(written.refused > 40);
    CsvReader reader(folder / "commands.csv");
    while (reader.next())
        if (reader.number(0) > 1)
            CHECK(reader.text(4) == "0");
}

TEST_CASE("a file of commands appears whole or not at all") {
    TemporaryFolder const folder;
    Job job = loaded(folder).job;
    auto const before = folder.names().size();
    CHECK(message_of([&] { write_commands(folder / "none/commands.csv", job); }) ==
          "commands.csv: cannot be written: No such file or directory");
    CHECK(message_of([&] { write_commands(folder / "commands.csv", job, 0); }).find("period") !=
          std::string::npos);
    job.seams[1].name = "A\n2";
    CHECK(message_of([&] { write_commands(folder / "commands.csv", job); }) ==
          "commands.csv: the seam's name \"A\\x0a2\" cannot stand in a file of comma-separated values");
    job.seams.clear();
    CHECK(message_of([&] { write_commands(folder / "commands.csv", job); }) ==
          "a job without seams has no commands");
    CHECK(folder.names().size() == before);
}
