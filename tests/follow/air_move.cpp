#include "seamhold/follow/air_move.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Rates = Taylor<double, 2>;

AxisState state_of(Rates const& x) { return {value_of(x), x.derivative(1), x.derivative(2)}; }
AxesState state_of(Command<Rates> const& c) {
    return {state_of(c.x_mirror), state_of(c.y_mirror), state_of(c.focus)};
}

// Limits of a head of ordinary size, as an assumption.
AirLimits some_limits() { return {{30, 4e4, 4e8}, {0.6, 200, 2e6}, 1e-4}; }

/// A target whose axes move as cubics in time.
struct Cubics {
    double c[3][4];

    AxesState operator()(double t) const {
        AxisState s[3];
        for (int i = 0; i < 3; ++i)
            s[i] = {c[i][0] + t * (c[i][1] + t * (c[i][2] + t * c[i][3])),
                    c[i][1] + t * (2 * c[i][2] + t * 3 * c[i][3]), 2 * c[i][2] + 6 * t * c[i][3]};
        return {s[0], s[1], s[2]};
    }
};

/// Somewhere in the field; speeds up to `speed` and accelerations up to `acceleration` of the mirrors.
Cubics random_target(Random& random, double speed, double acceleration) {
    Cubics target{};
    for (int i = 0; i < 3; ++i) {
        double const size = i == 2 ? 0.01 : 1;
        target.c[i][0] = size * random.uniform(-0.2, 0.2);
        target.c[i][1] = size * random.uniform(-speed, speed);
        target.c[i][2] = size * random.uniform(-acceleration, acceleration) / 2;
        target.c[i][3] = size * random.uniform(-acceleration, acceleration);
    }
    return target;
}

/// The largest difference of two states of the axes: positions, speeds and accelerations, the latter in units
/// of their limits.
double difference(AxesState const& a, AxesState const& b, AirLimits const& limits) {
    auto const one = [](AxisState const& s, AxisState const& t, RateLimits const& l) {
        return std::max({std::abs(s.position - t.position), std::abs(s.velocity - t.velocity) / l.velocity,
                         std::abs(s.acceleration - t.acceleration) / l.acceleration});
    };
    return std::max({one(a.x_mirror, b.x_mirror, limits.mirror), one(a.y_mirror, b.y_mirror, limits.mirror),
                     one(a.focus, b.focus, limits.focus)});
}

double utilisation(AirMove const& move, AirLimits const& limits) {
    auto const one = [](AxisExtremes const& e, RateLimits const& l) {
        return std::max({e.velocity / l.velocity, e.acceleration / l.acceleration, e.jerk / l.jerk});
    };
    AirPeaks const peaks = move.peaks();
    return std::max({one(peaks.x_mirror, limits.mirror), one(peaks.y_mirror, limits.mirror),
                     one(peaks.focus, limits.focus)});
}

AxesState at_end(AirMove const& move) { return state_of(move.at(Rates::variable(move.end()))); }
AxesState at_start(AirMove const& move) { return state_of(move.at(Rates::variable(move.start()))); }

Job two_seams() {
    Pose<Cell, Flange> const above{{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {-0.02, 0, 0.5}};
    AnyChain const chain{AnyFlangeMotion(Steady<Cell, Flange>{above, {0.2, 0.01, 0}, 0}),
                         AnyPartMotion(Rest<Cell, Part>{Pose<Cell, Part>::identity()}), mount(), head()};
    Plane<> const flat{Pose<Part, Face>::identity()};
    HeadDynamics const dynamics{20, 1.5e4, 4e3, milliseconds(0.5), milliseconds(2), 1, milliseconds(5)};
    return {chain, dynamics, degrees(25),
            in_order({{"a", 0, AnySeam(at_speed(circle_around({0.01, 0.02}, 0.01), flat, 0.25))},
                      {"b", 0.5, AnySeam(at_speed(circle_around({0.05, -0.03}, 0.01), flat, 0.25))}})};
}

} // namespace

TEST_CASE("the limits of a head: missing ones are spread over a tick") {
    HeadDynamics dynamics{20, 1.5e4, 4e3, 0.0005, 0.002, 1, 0.005};
    AirLimits const plain = air_limits(dynamics);
    CHECK(plain.mirror.velocity == 20);
    CHECK(plain.mirror.acceleration == 1.5e4);
    CHECK(near(plain.mirror.jerk, 1.5e9, 1e-15));
    CHECK(plain.focus.velocity == 1);
    CHECK(near(plain.focus.acceleration, 1e5, 1e-15));
    CHECK(near(plain.focus.jerk, 1e10, 1e-15));
    CHECK(plain.settling == 0.002);
    dynamics.mirror_jerk = 5e8;
    dynamics.focus_acceleration = 300;
    AirLimits const half = air_limits(dynamics, 0.5, 1e-4);
    CHECK(half.mirror.velocity == 10);
    CHECK(half.mirror.acceleration == 7.5e3);
    CHECK(half.mirror.jerk == 2.5e8);
    CHECK(half.focus.velocity == 0.5);
    CHECK(half.focus.acceleration == 150);
    CHECK(near(half.focus.jerk, 1.5e6, 1e-15));
    for (double const bad : {0.0, -1.0, infinity, not_a_number}) {
        CHECK(has(refusal_of([&] { return air_limits(dynamics, bad); }), "share"));
        CHECK(has(refusal_of([&] { return air_limits(dynamics, 1, bad); }), "tick"));
        HeadDynamics wrong = dynamics;
        wrong.mirror_velocity = bad;
        CHECK(has(refusal_of([&] { return air_limits(wrong); }), "velocity"));
    }
}

TEST_CASE("what the axes do on a seam is the chain's command and its rates, also before the seam") {
    Job const job = two_seams();
    AnySeam const& seam = job.seams[1].seam;
    double const h = 1e-4;
    for (double const seam_time : {-0.01, 0.0, 0.05}) {
        AxesState const s = axes_at(job.chain, seam, seam_time, 0.4);
        auto const at = [&](double d) { return job.chain.follow(seam, seam_time + d, 0.4 + d).aim.command; };
        auto const check = [&](AxisState const& state, double before, double now, double after) {
            CHECK(state.position == doctest::Approx(now).epsilon(1e-14));
            // Central differences: rates of some 20 Hz over 1e-4 s, (120 · 1e-4)²/6; rounding 1e-16/h².
            CHECK(std::abs(state.velocity - (after - before) / (2 * h)) <
                  1e-4 * (1 + std::abs(state.velocity)));
            CHECK(std::abs(state.acceleration - (after - 2 * now + before) / (h * h)) <
                  1e-3 * (1 + std::abs(state.acceleration)));
        };
        auto const before = at(-h), now = at(0), after = at(h);
        check(s.x_mirror, before.x_mirror, now.x_mirror, after.x_mirror);
        check(s.y_mirror, before.y_mirror, now.y_mirror, after.y_mirror);
        check(s.focus, before.focus, now.focus, after.focus);
    }
    // Behind the head there is no command.
    Plane<> const behind{{Rotation<Part, Face>::identity(), {0, 0, 2}}};
    AnySeam const hidden(at_speed(circle_around({0, 0}, 0.01), behind, 0.25));
    CHECK_FALSE(is_finite(axes_at(job.chain, hidden, 0, 0).x_mirror.position));
    CHECK_FALSE(air_move(
        axes_at(job.chain, seam, 0, 0), 0, [&](double t) { return axes_at(job.chain, hidden, 0, t); },
        air_limits(job.dynamics), 10));
}

TEST_CASE("all axes leave and arrive together, in the time of the slowest") {
    Random random(0x4149520011);
    AirLimits const limits = some_limits();
    for (std::size_t i = 0; i < runs(3000); ++i) {
        AxesState const from = random_target(random, 3, 4000)(0), to = random_target(random, 3, 4000)(0);
        double const least = air_time(from, to, limits);
        double const slowest = std::max({least_duration(from.x_mirror, to.x_mirror, limits.mirror),
                                         least_duration(from.y_mirror, to.y_mirror, limits.mirror),
                                         least_duration(from.focus, to.focus, limits.focus)});
        CHECK(least >= slowest * (1 - 1e-13)); // both to some last bits
        double const start = random.uniform(-1, 1);
        for (double const longer : {1.0, 1.7}) {
            auto const move = air_move_at(from, start, to, start + longer * least, limits);
            if (longer > 1 && !move)
                continue; // not every longer time is possible
            REQUIRE(move);
            CHECK(move->start() == start);
            CHECK(std::abs(move->end() - (start + longer * least)) <= epsilon);
            CHECK(difference(at_start(*move), from, limits) < 1e-11);
            CHECK(difference(at_end(*move), to, limits) < 1e-9); // a time's last bits times the jerk
            CHECK(utilisation(*move, limits) < 1 + 1e-9);
        }
        CHECK_FALSE(air_move_at(from, start, to, start + least * (1 - 1e-6), limits));
    }
}

TEST_CASE("a moving target is met in position, speed and acceleration, and no sooner move exists") {
    Random random(0x4149520012);
    AirLimits const limits = some_limits();
    std::size_t sooner = 0, found = 0, fast = 0;
    for (std::size_t i = 0; i < runs(600); ++i) {
        // Slow ones as a robot makes them, and targets about as fast as the axes.
        bool const is_fast = i % 4 == 3;
        AxesState const from = random_target(random, 3, 4000)(0);
        Cubics const target = is_fast ? random_target(random, 20, 4000) : random_target(random, 1, 30);
        double const start = i % 2 == 0 ? 0 : random.uniform(-2, 2);
        auto const arrival = [&](double t) { return target(t - start); };
        auto const move = air_move(from, start, arrival, limits, start + 0.05);
        if (!move) {
            CHECK(is_fast);
            continue;
        }
        ++found;
        fast += is_fast;
        CHECK(move->start() == start);
        CHECK(difference(at_start(*move), from, limits) < 1e-11);
        CHECK(difference(at_end(*move), arrival(move->end()), limits) < 1e-9);
        CHECK(utilisation(*move, limits) < 1 + 1e-9);
        double const duration = move->end() - start;
        if (is_fast)
            continue;
        for (int k = 1; k < 200; ++k) {
            double const end = start + duration * k / 200.0;
            sooner += air_move_at(from, start, arrival(end), end, limits).has_value();
        }
        double const bit_sooner = move->end() - 1e-6 * duration;
        sooner += air_move_at(from, start, arrival(bit_sooner), bit_sooner, limits).has_value();
    }
    CHECK(sooner == 0);
    CHECK(found > runs(600) * 3 / 4);
    CHECK(fast > 0);
}

TEST_CASE("targets that swing nearly as fast as the axes are met too, and no sooner end is found by trying") {
    Random random(0x4149520015);
    AirLimits const limits = some_limits();
    std::size_t missed = 0, sooner = 0;
    for (std::size_t i = 0; i < runs(300); ++i) {
        AxesState const from = random_target(random, 10, 2e4)(0), middle = random_target(random, 0, 0)(0);
        double const frequency = random.uniform(10, 300), swing = std::min(0.3, 25 / frequency);
        auto const swung = [&](AxisState const& s, double t) {
            double const sine = std::sin(frequency * t), cosine = std::cos(frequency * t);
            return AxisState{s.position + swing * sine, swing * frequency * cosine,
                             -swing * frequency * frequency * sine};
        };
        auto const arrival = [&](double t) {
            return AxesState{swung(middle.x_mirror, t), swung(middle.y_mirror, t), middle.focus};
        };
        auto const move = air_move(from, 0, arrival, limits, 0.05);
        missed += !move;
        if (!move)
            continue;
        CHECK(difference(at_end(*move), arrival(move->end()), limits) < 1e-9);
        for (int k = 0; k < 400; ++k) {
            double const end = move->end() * k / 400;
            sooner += air_move_at(from, 0, arrival(end), end, limits).has_value();
        }
    }
    CHECK(missed == 0);
    CHECK(sooner == 0);
}

TEST_CASE("a target at steady speed is met as one at rest is met by who comes towards it") {
    // No speed limit is reached, so only the difference of speeds counts. By hand: two ramps, of the peak
    // over both ends, at their mean speeds; the peak by halving.
    AirLimits limits = some_limits();
    limits.mirror.velocity = 1000;
    double const a = limits.mirror.acceleration, j = limits.mirror.jerk;
    auto const ramp = [&](double change) {
        return change * j < a * a ? 2 * std::sqrt(change / j) : change / a + a / j;
    };
    for (double const speed : {-3.0, -0.2, 0.5, 6.0}) {
        double const way = 0.2; // towards 0.2 rad that runs away at `speed`
        double low = std::max(-speed, 0.0), high = 500;
        for (int i = 0; i < 300; ++i) {
            double const peak = (low + high) / 2;
            double const covered = (peak - speed) / 2 * ramp(peak + speed) + peak / 2 * ramp(peak);
            (covered < way ? low : high) = peak;
        }
        double const expected = ramp(low + speed) + ramp(low);
        AxesState const from{};
        auto const move = air_move(
            from, 0,
            [&](double t) {
                AxesState to{};
                to.x_mirror = {way + speed * t, speed, 0};
                return to;
            },
            limits, 1);
        REQUIRE(move);
        CHECK(near(move->end(), expected, 1e-12));
        CHECK(move->peaks().y_mirror.velocity == 0);
    }
}

TEST_CASE("from one seam to the next while the head glides: settled in time, on the seam's own path run on") {
    Job const job = two_seams();
    AirLimits const limits = air_limits(job.dynamics);
    auto const& a = job.seams[0];
    auto const& b = job.seams[1];
    double const leave = a.end();
    AxesState const from = axes_at(job.chain, a.seam, a.seam.duration(), leave);
    auto const arrival = [&](double t) { return axes_at(job.chain, b.seam, -limits.settling, t); };
    auto const move = air_move(from, leave, arrival, limits, leave + 0.5);
    REQUIRE(move);
    double const light = move->end() + limits.settling;
    CHECK(light < b.start);
    CHECK(utilisation(*move, limits) < 1 + 1e-9);
    // At the end the axes do what the chain asks for a seam that starts when the light comes.
    auto const asked =
        job.chain.follow(b.seam, Rates::variable(move->end() - light), Rates::variable(move->end()));
    CHECK(difference(at_end(*move), state_of(asked.aim.command), limits) < 1e-9);
    // For the schedule's own start there is time enough.
    double const end = b.start - limits.settling;
    auto const waiting =
        air_move_at(from, leave, axes_at(job.chain, b.seam, -limits.settling, end), end, limits);
    REQUIRE(waiting);
    CHECK(waiting->end() == end);
}

TEST_CASE("the latest time, and times far from zero") {
    Random random(0x4149520013);
    AirLimits const limits = some_limits();
    for (std::size_t i = 0; i < runs(200); ++i) {
        AxesState const from = random_target(random, 3, 4000)(0);
        Cubics const target = random_target(random, 1, 30);
        for (double const start : {0.0, 1e3, 1e6}) {
            double last_asked = -infinity;
            auto const arrival = [&](double t) {
                last_asked = std::max(last_asked, t);
                return target(t - start);
            };
            auto const move = air_move(from, start, arrival, limits, start + 1);
            REQUIRE(move);
            double const duration = move->end() - start;
            // The last bits of a time of 1e6 s are 1e-10 s, at 30 rad/s 4e-9 rad.
            double const bits = epsilon * (1 + start);
            CHECK(std::abs(move->at(move->end()).x_mirror - arrival(move->end()).x_mirror.position) <
                  1e-12 + 60 * bits);
            CHECK_FALSE(air_move(from, start, arrival, limits, start + duration * (1 - 1e-3) - 4 * bits));
            last_asked = -infinity;
            double const latest = start + duration * (1 + 1e-3) + 4 * bits;
            CHECK(air_move(from, start, arrival, limits, latest));
            CHECK(last_asked <= latest);
        }
    }
}

TEST_CASE("breaks, and intervals hold what doubles give") {
    AirLimits const limits = some_limits();
    AxesState const from{{0, 1, 0}, {0.1, 0, 200}, {0.001, 0, 0}};
    AxesState const to{{0.15, 0, 0}, {-0.1, 2, -100}, {-0.001, 0.01, 0}};
    double const end = 3 + 1.2 * air_time(from, to, limits);
    auto const move = air_move_at(from, 3, to, end, limits);
    REQUIRE(move);
    std::vector<double> const breaks = move->breaks();
    CHECK(std::is_sorted(breaks.begin(), breaks.end()));
    CHECK(breaks.front() == 3);
    CHECK(breaks.back() == move->end());
    using I = Taylor<Interval, 2>;
    for (std::size_t i = 1; i < breaks.size(); ++i) {
        auto const hull = move->at(I::variable(Interval(breaks[i - 1], breaks[i])));
        for (double const share : {0.0, 0.3, 1.0}) {
            auto const c = move->at(Rates::variable(breaks[i - 1] + share * (breaks[i] - breaks[i - 1])));
            for (int k = 0; k <= 1; ++k) {
                CHECK(hull.x_mirror.coefficient[k].contains(c.x_mirror.coefficient[k]));
                CHECK(hull.y_mirror.coefficient[k].contains(c.y_mirror.coefficient[k]));
                CHECK(hull.focus.coefficient[k].contains(c.focus.coefficient[k]));
            }
        }
    }
}

TEST_CASE("what is not a state or a time has no move") {
    AirLimits const limits = some_limits();
    AxesState const rest{};
    auto const resting = [&](double) { return rest; };
    REQUIRE(air_move(rest, 0, resting, limits, 1));
    CHECK(air_move(rest, 0, resting, limits, 1)->end() == 0);
    for (double const bad : {not_a_number, infinity, -infinity}) {
        for (int k = 0; k < 9; ++k) {
            AxesState broken{};
            AxisState* const axes[] = {&broken.x_mirror, &broken.y_mirror, &broken.focus};
            AxisState& axis = *axes[k / 3];
            (k % 3 == 0 ? axis.position : k % 3 == 1 ? axis.velocity : axis.acceleration) = bad;
            CHECK(air_time(broken, rest, limits) == infinity);
            CHECK(air_time(rest, broken, limits) == infinity);
            CHECK_FALSE(air_move_at(broken, 0, rest, 1, limits));
            CHECK_FALSE(air_move_at(rest, 0, broken, 1, limits));
            CHECK_FALSE(air_move(broken, 0, resting, limits, 1));
            CHECK_FALSE(air_move(
                rest, 0, [&](double) { return broken; }, limits, 1));
        }
        CHECK_FALSE(air_move_at(rest, bad, rest, 1, limits));
        CHECK_FALSE(air_move_at(rest, 0, rest, bad, limits));
        CHECK_FALSE(air_move(rest, bad, resting, limits, 1));
    }
    CHECK_FALSE(air_move_at(rest, 0, rest, -1, limits));
    CHECK_FALSE(air_move(rest, 0, resting, limits, -1));
    AxesState far{};
    far.x_mirror.position = 0.1;
    CHECK_FALSE(air_move(
        rest, 0, [&](double) { return far; }, limits, 1e-4));
    CHECK_FALSE(air_move(
        rest, 0, [&](double) { return far; }, limits, 0));
    // A target that runs away as fast as the axis is never met.
    CHECK_FALSE(air_move(
        rest, 0,
        [&](double t) {
            AxesState to{};
            to.x_mirror = {0.01 + limits.mirror.velocity * t, limits.mirror.velocity, 0};
            return to;
        },
        limits, 100));
}

TEST_CASE("an air move touches no heap") {
    AirLimits const limits = some_limits();
    Random random(0x4149520014);
    AxesState const from = random_target(random, 3, 4000)(0);
    Cubics const target = random_target(random, 1, 30);
    AllocationGuard const guard;
    double sum = 0;
    for (int i = 0; i < 20; ++i)
        if (auto const move = air_move(from, 0.1 * i, target, limits, 0.1 * i + 1))
            sum += move->at(move->end()).x_mirror + move->peaks().focus.velocity;
    std::size_t const count = guard.count();
    CHECK(count == 0);
    CHECK(is_finite(sum));
}
