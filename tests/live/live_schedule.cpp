#include "seamhold/live/live_schedule.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/taylor.hpp"
#include "seamhold/seam/seam.hpp"
#include "support/random.hpp"

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Straight seams of so many seconds, at times of the program.
struct When {
    double start, duration;
};

LiveSchedule schedule(std::vector<When> const& all, double run_up) {
    std::vector<ScheduledSeam> seams;
    for (auto const& w : all) {
        Plane<> const plane{Pose<Part, Face>::identity()};
        seams.push_back({"seam " + std::to_string(seams.size()), w.start,
                         at_speed(straight_between({0, 0}, {w.duration, 0}), plane, 1)});
    }
    return LiveSchedule(std::move(seams), run_up);
}

// What the header says, by a plain search from the start.
LiveTarget plain(std::vector<When> const& all, double run_up, double t) {
    std::size_t i = 0;
    while (i + 1 < all.size() && t > all[i].start + all[i].duration)
        ++i;
    double const since = t - all[i].start;
    if (since > all[i].duration)
        return {i, false, all[i].duration};
    if (!(since > -run_up))
        return {i, false, -run_up};
    return {i, true, 0};
}

} // namespace

TEST_CASE("before, within, between and after seams") {
    auto const s = schedule({{1, 0.5}, {2, 0.25}}, 0.01);
    LiveTarget const none;
    CHECK(s.at(0.5, none) == LiveTarget{0, false, -0.01});
    CHECK(s.at(0.991, none) == LiveTarget{0, true, 0});
    CHECK(s.at(1.25, none) == LiveTarget{0, true, 0});
    CHECK(s.at(1.75, none) == LiveTarget{1, false, -0.01});
    CHECK(s.at(1.995, none) == LiveTarget{1, true, 0});
    CHECK(s.at(2.2, none) == LiveTarget{1, true, 0});
    CHECK(s.at(3, none).seam == 1);
    CHECK(!s.at(3, none).runs);
    CHECK(std::abs(s.at(3, none).waits_at - 0.25) <= 1e-15);
    for (double const t : {static_cast<double>(NAN), -HUGE_VAL})
        CHECK(s.at(t, none) == LiveTarget{0, false, -0.01});
    CHECK(s.at(HUGE_VAL, none).seam == 1);
}

TEST_CASE("the seam's time runs with the program, or stands where it waits") {
    auto const s = schedule({{1, 0.5}}, 0.01);
    using T = Taylor<double, 2>;
    auto const runs_on = s.seam_time({0, true, 0}, T::variable(1.25));
    CHECK(runs_on.coefficient[0] == 0.25);
    CHECK(runs_on.coefficient[1] == 1);
    auto const waits = s.seam_time({0, false, -0.01}, T::variable(0.5));
    CHECK(waits.coefficient[0] == -0.01);
    CHECK(waits.coefficient[1] == 0);
}

TEST_CASE("any hint gives the same answer, as a plain search does, at ends and a last bit beside them") {
    Random random(81);
    std::size_t different = 0, asked = 0;
    for (std::size_t run = 0; run < runs(200); ++run) {
        std::vector<When> all;
        double t = random.uniform(-1, 1);
        for (std::size_t i = 1 + random.index(12); i > 0; --i) {
            // Quarters and eighths, so that ends are met exactly.
            double const duration = 0.125 * static_cast<double>(1 + random.index(4));
            all.push_back({t, duration});
            t += duration + (random.unit() < 0.3 ? 0 : 0.125 * static_cast<double>(1 + random.index(3)));
        }
        double const run_up = random.unit() < 0.3 ? 0 : random.uniform(0, 0.2);
        auto const s = schedule(all, run_up);
        std::vector<When> exact; // durations as the seams have them
        for (auto const& seam : s.seams())
            exact.push_back({seam.start, seam.seam.duration()});
        for (int k = 0; k < 50; ++k) {
            auto const& near = exact[random.index(exact.size())];
            double const places[] = {random.uniform(-2, t + 1), near.start, near.start + near.duration,
                                     near.start - run_up};
            double at = places[random.index(4)];
            if (random.unit() < 0.3)
                at = std::nextafter(at, random.unit() < 0.5 ? -1e9 : 1e9);
            auto const want = plain(exact, run_up, at);
            LiveTarget const hint{random.index(exact.size() + 2), random.unit() < 0.5, 0};
            ++asked;
            different += s.at(at, hint) == want ? 0 : 1;
        }
    }
    CHECK(asked > 0);
    CHECK(different == 0);
}

TEST_CASE("schedules that cannot be are refused") {
    CHECK_THROWS_AS(LiveSchedule({}, 0.01), BadInput);
    for (double const x : {-1e-9, static_cast<double>(NAN), static_cast<double>(HUGE_VAL)})
        CHECK_THROWS_AS(schedule({{1, 0.5}}, x), BadInput);
    CHECK_THROWS_AS(schedule({{1, 0.5}, {1.25, 0.5}}, 0.01), BadInput);
}
