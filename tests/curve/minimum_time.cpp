#include "seamhold/curve/minimum_time.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Textbook cases from rest to rest, by what limits them: jerk alone, jerk and acceleration, all three.
double least_from_rest(double distance, RateLimits const& limits) {
    double const v = limits.velocity, a = limits.acceleration, j = limits.jerk;
    if (distance <= 2 * a * a * a / (j * j) && std::cbrt(distance * distance * j / 4) <= v)
        return 4 * std::cbrt(distance / (2 * j));
    if (v * j < a * a)
        return distance / v + 2 * std::sqrt(v / j);
    double const peak = a / 2 * (-a / j + std::sqrt(a * a / (j * j) + 4 * distance / a));
    return peak <= v ? 2 * (peak / a + a / j) : distance / v + v / a + a / j;
}

AxisState at_rest(double position) { return {position, 0, 0}; }

/// Whether a state can be left (time 1) or reached (−1) within the limits, worked out apart: brake the
/// acceleration at full jerk and see what speed that makes.
bool can_be(AxisState const& state, RateLimits const& limits, double time) {
    double const seconds = std::abs(state.acceleration) / limits.jerk;
    double const speed = state.velocity + time * state.acceleration * seconds / 2;
    return std::abs(state.velocity) <= limits.velocity && std::abs(speed) <= limits.velocity;
}

AxisState random_state(Random& random, RateLimits const& limits, double time) {
    while (true) {
        double const reach = std::exp(random.uniform(-5, 2)) * limits.velocity * limits.velocity /
                             std::min(limits.acceleration, std::sqrt(limits.velocity * limits.jerk));
        AxisState state{random.uniform(-1, 1) * reach, random.uniform(-1, 1) * limits.velocity,
                        random.uniform(-1, 1) * limits.acceleration};
        if (random.unit() < 0.1)
            state.velocity = 0;
        if (random.unit() < 0.1)
            state.acceleration = 0;
        if (can_be(state, limits, time))
            return state;
    }
}

RateLimits random_limits(Random& random) {
    double const unit = std::exp(random.uniform(-3, 3));
    return {unit, unit * std::exp(random.uniform(-2, 4)), unit * std::exp(random.uniform(-3, 10))};
}

/// The largest miss of the end, each rate in units of its limit and the position in units of what the axis
/// makes at its highest speed in the move.
double miss(AxisMove const& move, AxisState const& to, RateLimits const& limits) {
    using T = Taylor<double, 2>;
    T const end = move.at(T::variable(move.begin() + move.duration()));
    return std::max({std::abs(value_of(end) - to.position) /
                         (std::abs(to.position) + limits.velocity * move.duration() + 1e-300),
                     std::abs(end.derivative(1) - to.velocity) / limits.velocity,
                     std::abs(end.derivative(2) - to.acceleration) / limits.acceleration});
}

/// The largest utilisation of a limit. What rounding of a time does to a ramp of the acceleration is taken
/// off: jerk · (the last bits of the duration).
double utilisation(AxisMove const& move, RateLimits const& limits) {
    AxisExtremes const e = move.extremes();
    double const bits = 4 * epsilon * move.duration() * limits.jerk / limits.acceleration;
    return std::max(
        {e.velocity / limits.velocity, e.acceleration / limits.acceleration - bits, e.jerk / limits.jerk});
}

} // namespace

TEST_CASE("from rest to rest it is the double S of textbooks") {
    RateLimits const ones{1, 1, 1};
    CHECK(least_duration(at_rest(0), at_rest(2), ones) == doctest::Approx(4).epsilon(1e-14));
    CHECK(least_duration(at_rest(0), at_rest(1), ones) == doctest::Approx(4 * std::cbrt(0.5)).epsilon(1e-14));
    CHECK(least_duration(at_rest(0.1), at_rest(0), ones) ==
          doctest::Approx(4 * std::cbrt(0.05)).epsilon(1e-14));
    Random random(0x4149520001);
    for (std::size_t i = 0; i < runs(2000); ++i) {
        RateLimits const limits = random_limits(random);
        double const distance = std::exp(random.uniform(-6, 6)) * limits.velocity;
        double const expected = least_from_rest(distance, limits);
        double const from = random.uniform(-1, 1) * distance;
        double const sign = random.unit() < 0.5 ? -1 : 1;
        // The rounding of from + distance, at the speed of the move, and some units in the last place.
        CHECK(near(least_duration(at_rest(from), at_rest(from + sign * distance), limits), expected, 1e-13));
        CHECK(near(Profile(distance, limits).duration(), expected, 1e-13));
    }
}

TEST_CASE("with a jerk without end it is the trapezoid") {
    // Ramps of the acceleration last a/j = 1e-11 s; each of four adds half of that.
    double const j = 1e12;
    CHECK(near(least_duration(at_rest(0), at_rest(30), {10, 10, j}), 4, 1e-11));
    CHECK(near(least_duration(at_rest(0), at_rest(10), {5, 10, j}), 2.5, 1e-11));
    CHECK(near(least_duration(at_rest(0), at_rest(1), {5, 10, j}), 2 * std::sqrt(0.1), 1e-10));
    auto const move = axis_move(at_rest(0), at_rest(30), {10, 10, j}, 5);
    REQUIRE(move);
    CHECK(std::abs(move->end_state().position - 30) < 1e-12);
    CHECK(std::abs(move->end_state().velocity) < 1e-12);
    CHECK(std::abs(move->end_state().acceleration) < 1e-12);
}

TEST_CASE("any state to any state: it arrives, within the limits, and the curve has no jumps") {
    Random random(0x4149520002);
    double worst_miss = 0, worst_use = 0, worst_jump = 0;
    std::size_t longer = 0, refused = 0;
    for (std::size_t i = 0; i < runs(20000); ++i) {
        RateLimits const limits = random_limits(random);
        AxisState const from = random_state(random, limits, 1), to = random_state(random, limits, -1);
        double const least = least_duration(from, to, limits);
        REQUIRE(is_finite(least));
        double const begin = i % 3 == 0 ? random.uniform(-1, 1) : 0;
        bool const wait = i % 2 == 0;
        double const duration = wait ? least * (1 + random.unit()) : least;
        auto const move = axis_move(from, to, limits, duration, begin);
        CHECK((move || wait));
        if (!move) {
            ++refused;
            continue;
        }
        longer += wait;
        CHECK(move->duration() == duration);
        auto const end = move->end_state();
        worst_miss =
            std::max({worst_miss, std::abs(end.velocity - to.velocity) / limits.velocity,
                      std::abs(end.acceleration - to.acceleration) / limits.acceleration,
                      std::abs(end.position - to.position) /
                          (std::abs(to.position) + std::abs(from.position) + limits.velocity * duration)});
        worst_use = std::max(worst_use, utilisation(*move, limits));
        if (limits.jerk * duration < 1e4 * limits.acceleration)
            worst_jump = std::max(worst_jump, miss(*move, to, limits));
        using T = Taylor<double, 2>;
        for (double const t : move->breaks()) {
            double const step = 8 * epsilon * (std::abs(begin) + duration);
            T const before = move->at(T::variable(t - step)), after = move->at(T::variable(t + step));
            double const bits = 4 * step;
            CHECK(std::abs(value_of(after) - value_of(before)) <=
                  bits * limits.velocity + 8 * epsilon * (std::abs(value_of(after)) + limits.velocity * t));
            CHECK(std::abs(after.derivative(1) - before.derivative(1)) <=
                  bits * limits.acceleration + 1e-13 * limits.velocity);
            CHECK(std::abs(after.derivative(2) - before.derivative(2)) <=
                  bits * limits.jerk + 1e-13 * limits.acceleration);
        }
    }
    CHECK(worst_miss < 1e-11);
    CHECK(worst_jump < 1e-9);
    CHECK(worst_use < 1 + 1e-11);
    CHECK(longer > runs(20000) / 3);
    CHECK(refused > 0);
}

namespace {

/// Which states can be reached, by a dynamic program that shares nothing with the code: time in steps, in
/// each of which the jerk is the limit, nothing, or the limit the other way. All is counted in whole numbers:
/// the acceleration in j·h, the speed in j·h²/2, the position in j·h³/6. What it finds is possible; with many
/// steps to a ramp it misses little.
class ReachableStates {
public:
    ReachableStates(int most_acceleration, int most_speed, int acceleration, int speed)
        : a_(most_acceleration), v_(most_speed),
          table_(static_cast<std::size_t>(2 * a_) * width() + width(), Span{}) {
        table_[index(acceleration, speed)] = {0, 0};
    }

    struct Span {
        std::int64_t lowest = 1;
        std::int64_t highest = 0;
        bool empty() const { return lowest > highest; }
    };

    /// The positions with which a state can be reached now. Between two of them all are, because the limits
    /// are convex.
    Span at(int acceleration, int speed) const { return table_[index(acceleration, speed)]; }

    void step() {
        std::vector<Span> next(table_.size());
        for (int a = -a_; a <= a_; ++a)
            for (int v = -v_; v <= v_; ++v) {
                Span const span = at(a, v);
                if (span.empty())
                    continue;
                for (int jerk = -1; jerk <= 1; ++jerk) {
                    int const a2 = a + jerk, v2 = v + 2 * a + jerk;
                    if (std::abs(a2) > a_ || std::abs(v2) > v_)
                        continue;
                    std::int64_t const way = 3 * v + 3 * a + jerk;
                    Span& to = next[index(a2, v2)];
                    Span const moved{span.lowest + way, span.highest + way};
                    to = to.empty()
                             ? moved
                             : Span{std::min(to.lowest, moved.lowest), std::max(to.highest, moved.highest)};
                }
            }
        table_ = std::move(next);
    }

private:
    std::size_t width() const { return 2 * static_cast<std::size_t>(v_) + 1; }

    std::size_t index(int a, int v) const {
        return static_cast<std::size_t>(a + a_) * width() + static_cast<std::size_t>(v + v_);
    }

    int a_, v_;
    std::vector<Span> table_;
};

struct WantedEnd {
    int acceleration;
    int speed;
    double position; ///< j·h³/6
    double least;
    bool met = false;
    AxisState state;
};

} // namespace

TEST_CASE("no bang-bang search finds a shorter move, or a duration that is said to be impossible") {
    Random random(0x4149520003);
    double const j = 3, h = 0.01; // the step of the search
    double const a_unit = j * h, v_unit = j * h * h / 2, p_unit = j * h * h * h / 6;
    std::size_t met = 0, asked = 0, fine = 0, within = 0;
    for (std::size_t run = 0; run < runs(12); ++run) {
        int const most_a = 6 + static_cast<int>(random.index(14));
        int const most_v = most_a * most_a / 2 + static_cast<int>(random.index(600));
        RateLimits const limits{most_v * v_unit, most_a * a_unit, j};
        auto const drawn = [&](int most) {
            return static_cast<int>(random.index(2 * static_cast<std::size_t>(most) + 1)) - most;
        };
        auto const draw = [&](double time) {
            while (true) {
                int const a = drawn(most_a), v = drawn(most_v);
                if (can_be({0, v * v_unit, a * a_unit}, limits, time))
                    return std::array<int, 2>{a, v};
            }
        };
        auto const start = draw(1);
        AxisState const from{0, start[1] * v_unit, start[0] * a_unit};
        std::vector<WantedEnd> ends;
        for (int i = 0; i < 300; ++i) {
            auto end = draw(-1);
            while ((end[1] - end[0] - start[1] + start[0]) % 2 != 0) // the search keeps this even
                end = draw(-1);
            // Some way off; and where a short move would bring it, for short moves and their gaps.
            double const steps = random.uniform(1, 40);
            double const position =
                i % 3 == 0 ? 1.5 * (start[1] + end[1]) * steps + random.uniform(-1, 1) * steps * steps
                           : random.uniform(-1, 1) * most_v * 3 * (i % 3 == 1 ? 10 : 90);
            WantedEnd wanted{end[0], end[1], position, 0, false, {}};
            wanted.state = {position * p_unit, end[1] * v_unit, end[0] * a_unit};
            wanted.least = least_duration(from, wanted.state, limits);
            ends.push_back(wanted);
        }
        ReachableStates states(most_a, most_v, start[0], start[1]);
        std::size_t impossible = 0, shorter = 0, refused = 0;
        for (int n = 1; n <= 160; ++n) {
            states.step();
            double const time = n * h;
            for (WantedEnd& end : ends) {
                auto const span = states.at(end.acceleration, end.speed);
                bool const inside = !span.empty() && end.position >= static_cast<double>(span.lowest) &&
                                    end.position <= static_cast<double>(span.highest);
                bool const move = axis_move(from, end.state, limits, time).has_value();
                impossible += inside && !move;
                refused += !move;
                if (inside && !end.met) {
                    end.met = true;
                    ++met;
                    shorter += time < end.least * (1 - 1e-12);
                    if (n > 100) {
                        ++fine;
                        within += time < end.least * 1.01;
                    }
                }
            }
        }
        asked += ends.size();
        CHECK(shorter == 0);
        CHECK(impossible == 0);
        CHECK(refused > 0);
    }
    // The search is fine enough to see 1 %: most of its own moves of a hundred steps and more are no longer.
    // (A few ends are met in a window of durations between two steps, and then not for long.)
    CHECK(met > asked / 3);
    CHECK(fine > met / 20);
    CHECK(within > fine * 8 / 10);
}

TEST_CASE("a duration that is possible, a longer one that is not, and again one that is") {
    // Both accelerations are 0.5, and the speed is to rise by 0.05. By hand: at once up and down takes
    // 2·√(0.05 + 0.25) − 1 s. More time makes more speed, until at 1 − 2·√(0.25 − 0.05) s a dip and rise is
    // the least speed that can be made; from 1 + 2·√0.2 s on it can be made with a dip below 0.
    RateLimits const limits{10, 1, 1};
    AxisState const from{0, 0, 0.5};
    double const first = 2 * std::sqrt(0.3) - 1, last = 1 - 2 * std::sqrt(0.2),
                 again = 1 + 2 * std::sqrt(0.2);
    auto const any = [&](double duration) {
        // Whether any end position is met in that duration: the mean of the farthest and the nearest.
        for (int i = -4000; i <= 4000; ++i)
            if (axis_move(from, {i * 1e-5, 0.05, 0.5}, limits, duration))
                return true;
        return false;
    };
    // First only where the way is right: speeds from 0 to 0.05 in 0.1 s make 0.0025 m, to some 1e-5 m.
    AxisState const close{0.0025, 0.05, 0.5};
    double const least = least_duration(from, close, limits);
    CHECK(least >= first);
    CHECK(least <= last);
    CHECK(axis_move(from, close, limits, least));
    CHECK_FALSE(any(first * 0.999));
    CHECK_FALSE(any(last * 1.001));
    CHECK_FALSE(any(0.5));
    CHECK_FALSE(any(again * 0.999));
    AxisState const back{0.1, 0.05, 0.5};
    CHECK(least_duration(from, back, limits) >= again * (1 - 1e-15));
    CHECK(axis_move(from, back, limits, least_duration(from, back, limits)));
}

TEST_CASE("how the farthest way grows with the duration is as the search takes it") {
    // The search must pass no root: it relies on slope and bend being the derivatives, on the bend's bound,
    // and on a way that first falls and then rises once the acceleration passes zero.
    Random random(0x4149520007);
    std::size_t looked_at = 0;
    for (std::size_t i = 0; i < runs(20000); ++i) {
        RateLimits const limits = random_limits(random);
        AxisState const from = random_state(random, limits, 1), to = random_state(random, limits, -1);
        detail::RampTimes const ramps(from, to, limits);
        detail::ExtremalRun const run(i % 2 == 0 ? 1 : -1, from, to, limits);
        double const time = limits.velocity / limits.acceleration + limits.acceleration / limits.jerk;
        double const duration = ramps.least + time * std::exp(random.uniform(-6, 2)), h = 1e-4 * duration;
        if (ramps.next(duration - h) != duration - h || ramps.next(duration + h) != duration + h)
            continue;
        auto const before = run.of(duration - h), now = run.of(duration), after = run.of(duration + h);
        auto const kind = [](detail::RunShape const& r) {
            return (r.top_hold > 0) + 2 * (r.bottom_hold > 0) + 4 * (r.cruise > 0);
        };
        CHECK(now.bend <= run.largest_bend() * (1 + 1e-12));
        if (now.passes_0) {
            CHECK(now.bend >= -1e-12 * limits.acceleration);
            CHECK(after.passes_0);
        }
        if (kind(before) != kind(after))
            continue;
        ++looked_at;
        // A difference over 2h lies among the derivatives in there; with rounding of 1e-16 over 1e-4.
        auto const among = [](double difference, double x, double y, double z, double bits) {
            double const low = std::min({x, y, z}), high = std::max({x, y, z}), spread = (high - low) / 10;
            return difference >= low - spread - bits && difference <= high + spread + bits;
        };
        CHECK(among((after.way - before.way) / (2 * h), before.slope, now.slope, after.slope,
                    1e-10 * limits.velocity));
        CHECK(among((after.slope - before.slope) / (2 * h), before.bend, now.bend, after.bend,
                    1e-10 * (limits.velocity / duration + limits.acceleration)));
    }
    CHECK(looked_at > runs(20000) / 2);
}

TEST_CASE("the same in other units") {
    Random random(0x4149520004);
    for (std::size_t i = 0; i < runs(2000); ++i) {
        RateLimits const limits = random_limits(random);
        AxisState const from = random_state(random, limits, 1), to = random_state(random, limits, -1);
        double const least = least_duration(from, to, limits);
        for (double const length : {1e-6, 1e3, 0x1p-40})
            for (double const time : {1e-6, 60.0, 0x1p40}) {
                double const v = length / time, a = v / time;
                auto const scaled = [&](AxisState const& s) {
                    return AxisState{s.position * length, s.velocity * v, s.acceleration * a};
                };
                RateLimits const other{limits.velocity * v, limits.acceleration * a, limits.jerk * a / time};
                double const there = least_duration(scaled(from), scaled(to), other);
                // A last bit of the wanted way is worth more time where the speed is low.
                CHECK(near(there / time, least, 1e-9));
                CHECK(axis_move(scaled(from), scaled(to), other, there));
            }
    }
}

TEST_CASE("mirrored, and backwards in time, it takes as long") {
    Random random(0x4149520005);
    for (std::size_t i = 0; i < runs(2000); ++i) {
        RateLimits const limits = random_limits(random);
        AxisState const from = random_state(random, limits, 1), to = random_state(random, limits, -1);
        double const least = least_duration(from, to, limits);
        auto const mirrored = [](AxisState const& s) {
            return AxisState{-s.position, -s.velocity, -s.acceleration};
        };
        auto const backwards = [](AxisState const& s) {
            return AxisState{s.position, -s.velocity, s.acceleration};
        };
        CHECK(near(least_duration(mirrored(from), mirrored(to), limits), least, 1e-12));
        CHECK(near(least_duration(backwards(to), backwards(from), limits), least, 1e-9));
    }
}

TEST_CASE("nothing to do takes no time") {
    RateLimits const limits{1, 1, 1};
    for (AxisState const& state :
         {AxisState{0, 0, 0}, AxisState{3, 0, 0}, AxisState{-1, 0.5, 0}, AxisState{1, 0.2, -0.5}}) {
        CHECK(least_duration(state, state, limits) == 0);
        auto const move = axis_move(state, state, limits, 0, 7);
        REQUIRE(move);
        CHECK(move->duration() == 0);
        CHECK(move->at(7.0) == state.position);
        CHECK(move->breaks() == std::vector<double>{7});
        AxisExtremes const e = move->extremes();
        CHECK(e.lowest == state.position);
        CHECK(e.velocity == std::abs(state.velocity));
        CHECK(e.acceleration == std::abs(state.acceleration));
    }
    // A way of a last bit: possible, short, and never a NaN.
    for (double const bit : {epsilon, 1e-300, std::numeric_limits<double>::denorm_min()}) {
        double const least = least_duration(at_rest(0), at_rest(bit), limits);
        CHECK(least >= 0);
        CHECK(least < 1e-4);
        CHECK(axis_move(at_rest(0), at_rest(bit), limits, least));
    }
}

TEST_CASE("states that break a limit by themselves or by what must follow have no move") {
    RateLimits const limits{1, 2, 4};
    AxisState const rest = at_rest(0);
    auto const none = [&](AxisState const& from, AxisState const& to) {
        return least_duration(from, to, limits) == infinity && !axis_move(from, to, limits, 5);
    };
    CHECK(none({0, 1.001, 0}, rest));
    CHECK(none({0, -1.001, 0}, rest));
    CHECK(none({0, 0, 2.001}, rest));
    CHECK(none(rest, {0, 0, -2.001}));
    // The acceleration of 2 takes 0.5 s to be gone and makes 0.5 more speed.
    CHECK(none({0, 0.501, 2}, rest));
    CHECK_FALSE(none({0, 0.5, 2}, rest));
    CHECK_FALSE(none({0, 0.999, -2}, rest)); // was faster before; that is not asked
    CHECK(none(rest, {0, 0.501, -2}));
    CHECK_FALSE(none(rest, {0, 0.5, -2}));
    CHECK(none(rest, {0, -0.501, 2}));
    for (double const bad : {not_a_number, infinity, -infinity}) {
        CHECK(none({bad, 0, 0}, rest));
        CHECK(none({0, bad, 0}, rest));
        CHECK(none({0, 0, bad}, rest));
        CHECK(none(rest, {bad, 0, 0}));
        CHECK(none(rest, {0, bad, 0}));
        CHECK(none(rest, {0, 0, bad}));
        CHECK_FALSE(axis_move(rest, rest, limits, bad));
        CHECK_FALSE(axis_move(rest, rest, limits, 1, bad));
    }
    for (double const bad : {0.0, -1.0, not_a_number, infinity})
        for (RateLimits const& wrong :
             {RateLimits{bad, 2, 4}, RateLimits{1, bad, 4}, RateLimits{1, 2, bad}}) {
            CHECK(least_duration(rest, rest, wrong) == infinity);
            CHECK_FALSE(axis_move(rest, rest, wrong, 1));
        }
    CHECK_FALSE(axis_move(rest, rest, limits, -1));
    CHECK_FALSE(axis_move(rest, at_rest(1), limits, 0));
    CHECK_FALSE(axis_move(rest, at_rest(1), limits, least_duration(rest, at_rest(1), limits) * (1 - 1e-9)));
    for (double const wild : wild_numbers)
        for (double const other : wild_numbers) {
            double const least = least_duration({wild, other, 0}, {other, 0, wild}, limits);
            CHECK((least >= 0));
        }
}

TEST_CASE("extremes are those of fine samples, and intervals hold what doubles give") {
    Random random(0x4149520006);
    for (std::size_t i = 0; i < runs(300); ++i) {
        RateLimits const limits = random_limits(random);
        AxisState const from = random_state(random, limits, 1), to = random_state(random, limits, -1);
        double const least = least_duration(from, to, limits);
        auto const move = axis_move(from, to, limits, least * (i % 2 == 0 ? 1 : 1.3), 0.25);
        if (!move)
            continue;
        AxisExtremes const exact = move->extremes();
        AxisExtremes seen{0, 0, 0, infinity, -infinity};
        using T = Taylor<double, 3>;
        using I = Taylor<Interval, 3>;
        int const samples = 2000;
        for (int k = 0; k <= samples; ++k) {
            double const t = 0.25 + move->duration() * k / samples;
            T const x = move->at(T::variable(t));
            seen.lowest = std::min(seen.lowest, value_of(x));
            seen.highest = std::max(seen.highest, value_of(x));
            seen.velocity = std::max(seen.velocity, std::abs(x.derivative(1)));
            seen.acceleration = std::max(seen.acceleration, std::abs(x.derivative(2)));
            seen.jerk = std::max(seen.jerk, std::abs(x.derivative(3)));
            if (k % 50 != 0)
                continue;
            double const width = move->duration() * random.unit() * 0.1;
            I const hull = move->at(I::variable(Interval(t - width, t + width)));
            for (double const u : {t - width, t, t + width}) {
                T const y = move->at(T::variable(u));
                for (int order = 0; order < 3; ++order)
                    CHECK(hull.coefficient[order].contains(y.coefficient[order]));
            }
        }
        double const tiny = 1e-12;
        CHECK(seen.velocity <= exact.velocity + tiny * limits.velocity);
        CHECK(seen.acceleration <=
              exact.acceleration + tiny * limits.acceleration + 4 * epsilon * limits.jerk * (1 + least));
        CHECK(seen.jerk <= exact.jerk * (1 + tiny));
        double const span = limits.velocity * move->duration();
        CHECK(seen.lowest >= exact.lowest - tiny * (span + std::abs(exact.lowest)));
        CHECK(seen.highest <= exact.highest + tiny * (span + std::abs(exact.highest)));
        // A sample is no farther from an extreme than half a sample's time at the next rate's limit.
        double const step = move->duration() / samples;
        CHECK(seen.velocity >= exact.velocity - step * limits.acceleration);
        CHECK(seen.acceleration >= exact.acceleration - step * limits.jerk);
        CHECK(seen.lowest <= exact.lowest + step * limits.velocity);
        CHECK(seen.highest >= exact.highest - step * limits.velocity);
    }
}

TEST_CASE("neither asking nor making touches the heap") {
    RateLimits const limits{1, 2, 30};
    AllocationGuard const guard;
    double sum = 0;
    for (int i = 0; i < 100; ++i) {
        AxisState const from{0.01 * i, 0.3, -0.2}, to{1 - 0.03 * i, -0.1, 0.4};
        double const least = least_duration(from, to, limits);
        if (auto const move = axis_move(from, to, limits, least))
            sum += move->at(least / 2) + move->extremes().highest;
    }
    std::size_t const count = guard.count();
    CHECK(count == 0);
    CHECK(is_finite(sum));
}
