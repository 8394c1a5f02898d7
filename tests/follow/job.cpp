#include "seamhold/follow/ticks.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

// Schedules, and the commands of a job tick by tick.

using namespace seamhold;
using namespace seamhold::test;

namespace {

Plane<> flat() { return {Pose<Part, Face>::identity()}; }

// Lags that are whole numbers of ticks of 0.1 ms.
HeadDynamics dynamics() { return {20, 1.5e4, 4e3, milliseconds(0.5), milliseconds(2), 1, milliseconds(5)}; }

ScheduledSeam circle_at(std::string name, double start, double x) {
    return {std::move(name), start, AnySeam(at_speed(circle_around({x, 0}, 0.01), flat(), 0.25))};
}
ScheduledSeam held_at(std::string name, double start, double duration, double x) {
    return {std::move(name), start, AnySeam(held({x, 0}, flat(), duration))};
}

// A head that glides over the part at 0.2 m/s.
Job gliding(std::vector<ScheduledSeam> seams) {
    Pose<Cell, Flange> const above{{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {-0.02, 0, 0.5}};
    AnyChain const chain{AnyFlangeMotion(Steady<Cell, Flange>{above, {0.2, 0.01, 0}, 0}),
                         AnyPartMotion(Rest<Cell, Part>{Pose<Cell, Part>::identity()}), mount(), head()};
    return {chain, dynamics(), degrees(25), in_order(std::move(seams))};
}

void check_has(std::string const& text, std::string const& part) {
    CAPTURE(text);
    CAPTURE(part);
    CHECK(text.find(part) != std::string::npos);
}

} // namespace

TEST_CASE("seams are put in the order of their start times") {
    auto const seams = in_order({held_at("c", 2, 0.5, 0), held_at("a", -1, 0.5, 0), held_at("b", 0, 2, 0)});
    CHECK(seams.size() == 3);
    CHECK(seams[0].name == "a");
    CHECK(seams[1].name == "b"); // ends at 2 exactly, when c starts
    CHECK(seams[2].name == "c");
    CHECK(seams[1].end() == 2);
    CHECK(in_order({}).empty());
}

TEST_CASE("schedules that cannot be are refused by name") {
    // One beam welds one seam at a time.
    auto const overlap = refusal_of([] {
        return in_order({held_at("late", 1.5, 1, 0), held_at("early", 1, 1, 0)});
    });
    check_has(overlap, "late");
    check_has(overlap, "early");
    check_has(overlap, "1.5");
    check_has(overlap, "2");
    // By the last bit, too: nothing is assumed.
    CHECK_THROWS_AS((void)in_order({held_at("a", 0, 1, 0), held_at("b", 1 - epsilon, 1, 0)}), BadInput);
    // A seam inside another, and two at the same time.
    CHECK_THROWS_AS((void)in_order({held_at("a", 0, 10, 0), held_at("b", 1, 1, 0), held_at("c", 5, 1, 0)}),
                    BadInput);
    CHECK_THROWS_AS((void)in_order({held_at("a", 1, 1, 0), held_at("b", 1, 1, 0)}), BadInput);
    check_has(refusal_of([] {
                  return in_order({held_at("twin", 0, 1, 0), held_at("twin", 2, 1, 0)});
              }),
              "twin");
    check_has(refusal_of([] { return in_order({held_at("", 0, 1, 0)}); }), "no name");
    for (double const wrong : {infinity, -infinity, not_a_number})
        check_has(refusal_of([&] { return in_order({held_at("lost", wrong, 1, 0)}); }), "lost");
}

TEST_CASE("ticks start early by the longest lag and the settling, and end with the last seam") {
    auto const job = gliding({held_at("a", 0.1, 0.02, 0), held_at("b", 0.15, 0.03, 0.01)});
    Ticks const ticks(job, 1e-4);
    // 5 ms of the lens and 2 ms of settling before 0.1 s; the last seam ends at 0.18 s.
    CHECK(std::abs(ticks[0].time - 0.093) <= epsilon);
    CHECK(ticks.size() == 871);
    CHECK(std::abs(ticks[ticks.size() - 1].time - 0.18) <= epsilon);
    for (std::size_t i = 0; i < ticks.size(); ++i)
        CHECK(std::abs(ticks[i].time - (0.093 + static_cast<double>(i) * 1e-4)) <= epsilon);
    // Where the mirrors are the slower ones, they count.
    auto slow = job;
    slow.dynamics.mirror_lag = milliseconds(8);
    CHECK(std::abs(Ticks(slow, 1e-4)[0].time - 0.09) <= epsilon);
    CHECK(Ticks(slow, 1e-4).size() == 901);
    // A period that does not divide the time: the last tick is before the end.
    Ticks const coarse(job, 7e-4);
    CHECK(coarse.size() == 125); // 87 ms / 0.7 ms = 124.3
    CHECK(coarse[coarse.size() - 1].time <= 0.18);
    CHECK(coarse[coarse.size() - 1].time + 7e-4 > 0.18);
}

TEST_CASE("each axis is told early by its own lag: mirrors that answer late put the spot on the seam") {
    double const period = 1e-4;
    auto const job = gliding({circle_at("a", 0.1, 0), circle_at("b", 0.25, 0.02)});
    Ticks const ticks(job, period);
    // Mirrors answer five ticks later, the lens fifty.
    std::size_t open = 0;
    for (std::size_t i = 50; i < ticks.size(); ++i) {
        auto const now = ticks[i];
        if (!now.gate)
            continue;
        ++open;
        auto const& seam = job.seams[now.seam];
        auto const mirrors = ticks[i - 5].command;
        auto const lens = ticks[i - 50].command;
        auto const spot = spot_of(job.chain, {mirrors.x_mirror, mirrors.y_mirror, lens.focus}, now.time);
        auto const p = seam.seam.at(now.time - seam.start).position;
        // Two times that are equal but for their last bits, in which the head glides and the spot runs at
        // 0.25 m/s: 1e-16 s · 0.25 m/s is far below what the chain's rounding leaves.
        CHECK(length(spot - Vector<>{p.x, p.y, p.z}) <= 60 * epsilon);
    }
    // The gate is open on every tick of both circles that a whole tick of the seam follows.
    double const duration = job.seams[0].seam.duration(); // 0.12566 s
    CHECK(open == 2 * static_cast<std::size_t>(std::floor(duration / period)));
}

TEST_CASE("the gate is open only while a seam is welded, for whole ticks of it") {
    double const period = 1e-3;
    auto const job = gliding({held_at("a", 0.1, 0.0102, 0), held_at("b", 0.12, 0.005, 0.01)});
    Ticks const ticks(job, period);
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        auto const tick = ticks[i];
        CAPTURE(tick.time);
        double const t = std::round(tick.time * 1e6) / 1e6;
        bool const in_a = t >= 0.1 && t + period <= 0.1102 + 1e-9;
        bool const in_b = t >= 0.12 && t + period <= 0.125 + 1e-9;
        CHECK(tick.gate == (in_a || in_b));
        CHECK(tick.status == Status::ok);
        CHECK(tick.handed == Status::ok);
        // The seam that is welded or waited for; after the last seam's end that seam.
        CHECK(tick.seam == (t <= 0.1102 ? 0U : 1U));
    }
    CHECK(ticks[ticks.size() - 1].seam == 1);
    CHECK_FALSE(ticks[ticks.size() - 1].gate); // it would hold beyond the end
}

TEST_CASE("a seam that ends on a tick is not left before that tick by a last bit") {
    // Starts and lengths of whole ticks, whose sums are off by last bits to either side; the next seam is far
    // aside, so that one tick of its mirrors would be seen.
    double const period = 1e-4;
    Random random(10'402);
    int below = 0, above = 0;
    for (int run = 0; run < 200; ++run) {
        double const start = static_cast<double>(100 + random.index(1000)) * period;
        double const duration = static_cast<double>(20 + random.index(50)) * period;
        auto const job = gliding({held_at("a", start, duration, 0), held_at("b", start + 0.1, 0.001, 0.1)});
        Ticks const ticks(job, period);
        double const end = job.seams[0].end();
        for (std::size_t i = 0; i < ticks.size(); ++i) {
            auto const tick = ticks[i];
            double const mirrors_answer = tick.time + 0.0005;
            if (std::abs(tick.time - end) < 1e-9) {
                below += tick.time < end;
                above += tick.time > end;
                CHECK(tick.seam == 0);
                CHECK_FALSE(tick.gate);
            }
            if (std::abs(mirrors_answer - end) < 1e-9)
                CHECK(std::abs(tick.command.x_mirror) < 0.06); // not yet on the way to 0.1 m aside
        }
    }
    CHECK(below > 0); // both kinds of last bit were met
    CHECK(above > 0);
}

TEST_CASE(
    "between seams the axes leave and arrive as the seams run on; before and after all the command waits") {
    double const period = 1e-4;
    auto const job = gliding({circle_at("a", 0.1, 0), circle_at("b", 0.4, 0.06)});
    Ticks const ticks(job, period);
    double const a_ends = job.seams[0].end();
    auto const before_a = job.seams[0].seam.at(-job.dynamics.settling).position; // on its path, run on
    auto const last_of_b = job.seams[1].seam.at(job.seams[1].seam.duration()).position;
    auto const on = [&](Tick const& tick, Point<Part> const& p) {
        // What the mirrors aim at when they answer.
        auto const needed =
            job.chain.follow(held({p.x, p.y}, flat(), 1), 0.0, tick.time + 0.0005).aim.command;
        return std::abs(tick.command.x_mirror - needed.x_mirror) <= 20 * epsilon &&
               std::abs(tick.command.y_mirror - needed.y_mirror) <= 20 * epsilon;
    };
    // With the seam's own time, run on before its start and after its end.
    auto const on_path = [&](Tick const& tick, std::size_t seam) {
        double const t = tick.time + 0.0005;
        auto const needed = job.chain.follow(job.seams[seam].seam, t - job.seams[seam].start, t).aim.command;
        return std::hypot(tick.command.x_mirror - needed.x_mirror, tick.command.y_mirror - needed.y_mirror);
    };
    int waiting_before = 0, between = 0, after = 0;
    Command<> before{}, last{};
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        auto const tick = ticks[i];
        CAPTURE(tick.time);
        double const answered = tick.time + 0.0005;
        if (answered < 0.1 - job.dynamics.settling - 1e-6) {
            ++waiting_before;
            CHECK(on(tick, before_a));
        } else if (answered < 0.1 - 1e-6) {
            CHECK(on_path(tick, 0) <= 20 * epsilon); // runs up
        } else if (answered > a_ends + 1e-6 && answered < 0.4 - 1e-6) {
            ++between;
            // One settling time before its light, on its path.
            if (answered > 0.4 - job.dynamics.settling + 1e-6)
                CHECK(on_path(tick, 1) <= 20 * epsilon);
            // Left as the seam before runs on: apart by what two accelerations make of the time since.
            else if (answered < a_ends + 1e-3)
                CHECK(on_path(tick, 0) <=
                      2 * job.dynamics.mirror_acceleration * std::pow(answered - a_ends, 2));
            // No step, within the limits: second differences are accelerations.
            if (between > 2) {
                double const bend =
                    (tick.command.x_mirror - 2 * last.x_mirror + before.x_mirror) / (period * period);
                CHECK(std::abs(bend) <= job.dynamics.mirror_acceleration * (1 + 1e-6));
            }
        } else if (answered > job.seams[1].end() + 1e-6) {
            ++after;
            CHECK(on(tick, last_of_b));
        }
        if (tick.time > a_ends + 1e-6 && tick.time < 0.4 - 1e-6) {
            CHECK(tick.seam == 1);
            CHECK_FALSE(tick.gate);
        }
        before = last;
        last = tick.command;
    }
    CHECK(waiting_before == 45); // 5 ms of the lens less the 0.5 ms by which the mirrors are told early
    CHECK(between > 1000);       // some 170 ms
    CHECK(after == 5);
}

TEST_CASE("the gate stays shut where the spot cannot be held, and no axis is asked beyond its range") {
    // The second seam is too far aside, the fourth has no data.
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= 100; ++i)
        rows.push_back({i * 0.005, {i * 0.0002, 0, 0.5}, {0, 1, 0, 0}});
    auto job = gliding({held_at("a", 0.1, 0.01, 0), held_at("b", 0.15, 0.01, 0.7),
                        held_at("c", 0.2, 0.01, 0.02), held_at("d", 0.6, 0.01, 0.02)});
    job.chain.cell_from_flange = AnyFlangeMotion(PoseLog<Cell, Flange>(rows));
    Ticks const ticks(job, 1e-4);
    std::size_t opened[4] = {};
    auto const& h = ideal(job.chain.head);
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        auto const tick = ticks[i];
        CAPTURE(tick.time);
        opened[tick.seam] += tick.gate;
        CHECK(h.x_range.clearance(tick.command.x_mirror) >= 0);
        CHECK(h.y_range.clearance(tick.command.y_mirror) >= 0);
        CHECK(h.focus_range.clearance(tick.command.focus) >= 0);
        CHECK(is_finite(tick.command.x_mirror));
        CHECK(is_finite(tick.command.y_mirror));
        CHECK(is_finite(tick.command.focus));
        CHECK(!(tick.gate && tick.status != Status::ok));
        if (tick.time > 0.1101 && tick.time < 0.1594) {
            CHECK(tick.status == Status::out_of_reach);
            if (tick.time > 0.15 - 2.5e-3) // there, or where the range ends on the way
                CHECK(tick.command.x_mirror == h.x_range.high);
        }
        if (tick.time > 0.5001)
            CHECK(tick.status == Status::no_data);
        // What is handed over runs ahead by up to 5 ms.
        if (tick.time > 0.5 - 0.005 + 1e-6 && tick.time < 0.5 - 1e-6) {
            CHECK(tick.status == Status::ok);
            CHECK(tick.handed == Status::no_data);
        }
    }
    CHECK(opened[0] == 100);
    CHECK(opened[1] == 0);
    CHECK(opened[2] == 100);
    CHECK(opened[3] == 0);
}

TEST_CASE("commands do not depend on the period") {
    auto const job = gliding({circle_at("a", 0.1, 0), circle_at("b", 0.25, 0.02)});
    Ticks const fine(job, 1e-4), coarse(job, 2e-4);
    CHECK(fine.size() == 2 * coarse.size() - (fine.size() % 2));
    for (std::size_t i = 0; i < coarse.size(); ++i) {
        auto const a = coarse[i], b = fine[2 * i];
        CHECK(a.time == b.time); // doubling is exact
        // At a seam's very end a thousandth of a tick decides which seam is next.
        bool const at_an_end = std::any_of(job.seams.begin(), job.seams.end(), [&](ScheduledSeam const& s) {
            return std::abs(a.time - s.end()) < 1e-6 || std::abs(a.time + 0.0005 - s.end()) < 1e-6 ||
                   std::abs(a.time + 0.005 - s.end()) < 1e-6;
        });
        if (at_an_end)
            continue;
        CHECK(a.command.x_mirror == b.command.x_mirror);
        CHECK(a.command.y_mirror == b.command.y_mirror);
        CHECK(a.command.focus == b.command.focus);
        CHECK(a.status == b.status);
        CHECK(a.seam == b.seam);
    }
}

TEST_CASE("ticks that cannot be are refused") {
    auto const job = gliding({held_at("a", 0.1, 0.01, 0)});
    for (double const wrong : {0.0, -1e-5, not_a_number})
        CHECK_THROWS_AS(Ticks(job, wrong), BadInput);
    auto const empty = gliding({});
    check_has(refusal_of([&] { return Ticks(empty, 1e-5); }), "without seams");
}

TEST_CASE("a tick does not touch the heap") {
    Random random(10'401);
    auto const rows = rows_of<Cell>(random_flange(random), 0, 0.5, 0.004, random);
    auto job = gliding({circle_at("a", 0.1, 0), held_at("b", 0.25, 0.01, 0.02)});
    job.chain.cell_from_flange = AnyFlangeMotion(PoseLog<Cell, Flange>(rows));
    Ticks const ticks(job, 1e-4);
    std::size_t open = 0;
    AllocationGuard const guard;
    for (std::size_t i = 0; i < ticks.size(); ++i)
        open += ticks[i].gate;
    CHECK(guard.count() == 0);
    CHECK(open > 1000);
}
