#include "seamhold/file/log.hpp"

#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

// Rows where time moves on and the pose does not. The truth is the source that the test itself plays: a
// flange at x = t, read by someone else's clock.

using namespace seamhold;
using seamhold::test::message_of;
using seamhold::test::TemporaryFolder;

namespace {

struct Reading {
    double time;
    double x;
};

std::string log_of(std::vector<Reading> const& readings) {
    std::string text = "time_s,x_m,y_m,z_m,qw,qx,qy,qz\n";
    char row[100];
    for (auto const& r : readings) {
        std::snprintf(row, sizeof row, "%.6f,%.9f,0,0,1,0,0,0\n", r.time, r.x);
        text += row;
    }
    return text;
}

/// A source that makes a pose x = t every `source` s, from `first` on, read every `reading` s.
std::vector<Reading> polled(double source, double first, double reading, int count) {
    std::vector<Reading> readings;
    for (int i = 0; i < count; ++i) {
        double const now = reading * i;
        readings.push_back({now, first + source * std::floor((now - first) / source + 1e-9)});
    }
    return readings;
}

LogDeclaration with(RepeatedRows policy) {
    LogDeclaration log{};
    log.max_gap = 0.02;
    log.repeated_rows = policy;
    return log;
}

std::span<double const> times_of(FlangeLog const& log) {
    return std::get<PoseLog<Cell, Flange>>(log.motion.choice()).times();
}

} // namespace

TEST_CASE("kept, repeats are rows like any other") {
    TemporaryFolder const folder;
    auto const path =
        folder.file("log.csv", log_of({{0, 0}, {0.004, 0.004}, {0.008, 0.004}, {0.012, 0.012}}));
    auto const log = read_log(path, with(RepeatedRows::keep));
    CHECK(log.report.repeats == 1);
    CHECK(log.report.kept == 4);
    CHECK(log.report.longest_repeat == doctest::Approx(0.004));
    CHECK(log.report.longest_repeat_start == 0.004);
    CHECK(log.motion.at(0.008).origin.x == doctest::Approx(0.004));
}

TEST_CASE("dropped, a stale row leaves and the next fresh one keeps its stamp") {
    TemporaryFolder const folder;
    auto const path =
        folder.file("log.csv", log_of({{0, 0}, {0.004, 0.004}, {0.008, 0.004}, {0.012, 0.012}}));
    auto const log = read_log(path, with(RepeatedRows::drop));
    CHECK(log.report.repeats == 1);
    CHECK(log.report.kept == 3);
    CHECK(log.report.rows == 4);
    CHECK(log.report.period == doctest::Approx(0.004)); // as it was read
    // x = t again, straight, so a spline through the fresh rows is exact to some last places.
    CHECK(std::abs(log.motion.at(0.008).origin.x - 0.008) < 1e-15);
    CHECK(text_of(log.report)
              .find("1 row repeats the pose before, left out as stale; longest 0.004 s from "
                    "0.0040 s") != std::string::npos);
}

TEST_CASE("dropped, a stretch of repeats longer than the longest gap is a hole: nobody knows what it was") {
    TemporaryFolder const folder;
    std::vector<Reading> readings{{0, 0}, {0.004, 0.004}};
    for (int i = 2; i < 9; ++i)
        readings.push_back({0.004 * i, 0.004});
    readings.push_back({0.036, 0.036});
    readings.push_back({0.040, 0.040});
    auto const log = read_log(folder.file("log.csv", log_of(readings)), with(RepeatedRows::drop));
    REQUIRE(log.report.gaps.size() == 1);
    CHECK(log.report.gaps[0].start == 0.004);
    CHECK(log.report.gaps[0].length == doctest::Approx(0.032));
    CHECK_FALSE(log.motion.covers(0.02));
    CHECK(log.motion.covers(0.038));
    CHECK(message_of([&] {
              read_log(folder.file("rest.csv", log_of({{0, 1}, {0.004, 1}, {0.008, 1}})),
                       with(RepeatedRows::drop));
          }) == "rest.csv: a motion needs two rows or more; 3 rows were read, of which 1 is left");
}

TEST_CASE("re-timed, a source read faster than it makes poses comes out even") {
    TemporaryFolder const folder;
    // 250 poses a second read 312.5 times a second: one row in five is a repeat, as it happens in life.
    double const source = 0.004, first = -0.0007, reading = 0.0032;
    auto const readings = polled(source, first, reading, 2001);
    auto const path = folder.file("log.csv", log_of(readings));
    auto const kept = read_log(path, with(RepeatedRows::keep));
    auto const dropped = read_log(path, with(RepeatedRows::drop));
    auto const retimed = read_log(path, with(RepeatedRows::retime));
    CHECK(kept.report.repeats == 400);
    CHECK(retimed.report.kept == 1601);

    auto const times = times_of(retimed);
    double const even = (times.back() - times.front()) / static_cast<double>(times.size() - 1);
    for (std::size_t i = 1; i < times.size(); ++i)
        REQUIRE(std::abs(times[i] - times[i - 1] - even) < 1e-12); // last places of 6 s, and the arithmetic
    CHECK(times.front() == times_of(dropped).front());
    CHECK(times.back() == times_of(dropped).back());

    // How unevenly the flange seems to glide at 1 m/s: the spread of x − t over the time in between.
    auto const spread = [](FlangeLog const& log) {
        double low = 1, high = -1;
        for (double t = 0.1; t < 6.2; t += 0.00037) {
            double const off = log.motion.at(t).origin.x - t;
            low = std::min(low, off);
            high = std::max(high, off);
        }
        return high - low;
    };
    // Stale rows make steps of whole periods, rows read late up to one step of reading. Even rows make none;
    // what is left is the difference of the lateness at the two ends, below one step, spread over all.
    CHECK(spread(kept) > 0.8 * source);
    CHECK(spread(dropped) > 0.7 * reading);
    CHECK(spread(retimed) < reading);
    double const rate = even / source;
    CHECK(std::abs(rate - 1) < reading / 6.4); // both ends late by less than one step
    CHECK(retimed.report.largest_retiming < reading);
    CHECK(retimed.report.largest_retiming > 0);
    CHECK(text_of(retimed.report).find("the rest re-timed") != std::string::npos);
}

TEST_CASE("re-timing keeps to the stretches between holes") {
    TemporaryFolder const folder;
    auto readings = polled(0.004, -0.0007, 0.0032, 401);
    auto const second = polled(0.004, -0.0007, 0.0032, 301);
    for (auto const& r : second)
        readings.push_back({r.time + 2, r.x + 2});
    auto const log = read_log(folder.file("log.csv", log_of(readings)), with(RepeatedRows::retime));
    CHECK(log.report.gaps.size() == 1);
    auto const times = times_of(log);
    CHECK(std::find(times.begin(), times.end(), 2.0) !=
          times.end()); // the second's first row keeps its stamp
    CHECK(log.motion.covers(1));
    CHECK_FALSE(log.motion.covers(1.7));
    CHECK(log.motion.covers(2.5));
}

TEST_CASE("a source that is not even is not re-timed") {
    TemporaryFolder const folder;
    // Fresh poses at every reading for 40 rows, then at every third: no even source does that.
    std::vector<Reading> readings;
    for (int i = 0; i < 120; ++i)
        readings.push_back({0.004 * i, i < 40 ? 0.004 * i : 0.012 * std::floor(i / 3.0 + 1e-9)});
    auto const path = folder.file("log.csv", log_of(readings));
    CHECK(message_of([&] { read_log(path, with(RepeatedRows::retime)); })
              .find(" is more than the longest step "
                    "between rows, 4.00 ms") != std::string::npos);
    CHECK(message_of([&] { read_log(path, with(RepeatedRows::drop)); }) == "no error");
}
