#include "seamhold/motion/paced.hpp"

#include <doctest/doctest.h>

#include "seamhold/limit/demand.hpp"
#include "seamhold/motion/any_motion.hpp"
#include "support/allocation_guard.hpp"
#include "support/arms.hpp"
#include "support/boost_autodiff.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <type_traits>
#include <variant>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Rates = Taylor<double, 3>;

/// From 0.6 over 2.1 to 0.9 of the motion's own speed.
TimeLaw some_law() { return TimeLaw({-0.2, 0.1, 0.4, 0.7, 1.2, 1.5}, {0, 4, 1, -3, -1, 0}, 0.1, 0.6); }

/// The largest difference of two poses in value and the first three rates.
template <class A, class B> std::array<double, 4> differences(A const& a, B const& b) {
    std::array<double, 4> d{};
    for (int k = 0; k < 4; ++k)
        d[static_cast<std::size_t>(k)] = difference(rate_of(a, k), rate_of(b, k));
    return d;
}

} // namespace

TEST_CASE("without a law a paced motion is the motion, bit for bit") {
    Random random(71201);
    PoseLog<Cell, Flange> const log(rows_of(Sweep{}, uneven_times(50, 2)));
    AnyFlangeMotion const any = log; // as each listed motion converts
    AnyFlangeMotion const steady = Steady<Cell, Flange>{random_pose<Cell, Flange>(random), {1, 2, 3}, 0.5};
    CHECK(any.law() == nullptr);
    CHECK(any.breaks() == breaks_of(log));
    CHECK(std::holds_alternative<Steady<Cell, Flange>>(steady.choice()));
    for (double const t : {-0.1, 0.1, 0.9, 1.7, 2.5}) {
        CHECK(any.covers(t) == log.covers(t));
        CHECK(any.path_time(t) == t);
        auto const d = differences(any.at(Rates::variable(t)), log.at(Rates::variable(t)));
        CHECK(d == std::array<double, 4>{});
        CHECK(difference(any.at(t), log.at(t)) == 0);
    }
}

TEST_CASE("a steady motion at another pace is one of another velocity") {
    Random random(71202);
    for (std::size_t n = 0; n < runs(50); ++n) {
        auto const pose = random_pose<Cell, Flange>(random);
        Direction<Cell> const v{random.uniform(-1, 1), random.uniform(-1, 1), random.uniform(-1, 1)};
        double const factor = random.uniform(0.1, 10), start = random.uniform(-3, 3);
        auto const slow =
            paced(AnyFlangeMotion(Steady<Cell, Flange>{pose, v, 2.0}), TimeLaw::steady(factor, start, 2.0));
        Steady<Cell, Flange> const fast{pose, {factor * v.x, factor * v.y, factor * v.z}, start};
        CHECK(slow.breaks().empty());
        for (int k = 0; k < 5; ++k) {
            auto const t = Rates::variable(random.uniform(-5, 5));
            for (double const d : differences(slow.at(t), number_cast<Rates>(fast.at(t))))
                CHECK(d <= 20 * epsilon * 100); // way of up to 80 m
        }
    }
}

TEST_CASE("a log at another constant pace is the log of other stamps") {
    Random random(71203);
    for (double const factor : {0.25, 0.7, 3.0}) {
        auto rows = rows_of(Sweep{}, uneven_times(40, 2));
        PoseLog<Cell, Flange> const log(rows);
        for (auto& row : rows)
            row.time = 1 + row.time / factor; // a not-a-knot spline does not mind the unit of time
        PoseLog<Cell, Flange> const direct(rows);
        auto const driven = paced(AnyFlangeMotion(log), TimeLaw::steady(factor, 1, 0));
        auto const times = driven.breaks();
        REQUIRE(times.size() == direct.times().size());
        for (std::size_t i = 0; i < times.size(); ++i)
            CHECK(std::abs(times[i] - direct.times()[i]) <= 4 * epsilon * 9);
        double const end = 1 + 2 / factor;
        for (double const t : {0.9999, 1.0, 1.3, end, end + 1e-6})
            CHECK(driven.covers(t) == direct.covers(t));
        for (std::size_t n = 0; n < runs(50); ++n) {
            double const t = random.uniform(1, end);
            auto const d = differences(driven.at(Rates::variable(t)), direct.at(Rates::variable(t)));
            for (std::size_t k = 0; k < 4; ++k) // rates over rows of some 20 ms
                CHECK(d[k] <= 1e-13 * std::pow(50 * factor, static_cast<double>(k)));
        }
    }
}

TEST_CASE("a straight move is the way along its line, driven by its profile") {
    // A double S of 1 m at 0.5 m/s, 2 m/s², 20 m/s³ by hand: 0.1 s of jerk, ramps of 0.35 s, so that both
    // cover 0.35 · 0.5 m, and 1.65 s between them.
    Random random(71204);
    auto const start = random_pose<Cell, Flange>(random);
    Pose<Cell, Flange> end = start;
    end.origin = start.origin + Direction<Cell>{0.6, 0, 0.8};
    StraightMove<Cell, Flange> const move(start, end, {0.5, 2, 20}, {1, 1, 1}, 3.0);
    TimeLaw const profile({3.0, 3.1, 3.25, 3.35, 5.0, 5.1, 5.25, 5.35}, {0, 2, 2, 0, 0, -2, -2, 0}, 0, 0);
    auto const driven = paced(AnyFlangeMotion(Steady<Cell, Flange>{start, {0.6, 0, 0.8}, 0}), profile);
    CHECK(move.end_time() == doctest::Approx(5.35).epsilon(1e-14));
    for (std::size_t n = 0; n < runs(200); ++n) {
        double const t = random.uniform(2.5, 6);
        auto const near = [t](double x) { return std::abs(x - t) < 1e-9; };
        auto const breaks = driven.breaks();
        if (std::any_of(breaks.begin(), breaks.end(), near))
            continue;
        for (double const d : differences(driven.at(Rates::variable(t)), move.at(Rates::variable(t))))
            CHECK(d <= 1e-13); // jerk of 20 from differences of times up to 5, each to its last bit over 0.1
    }
}

TEST_CASE("rates of a driven motion are those of Boost's differentiation of the two, one in the other") {
    Random random(71205);
    auto const law = some_law();
    auto const driven = paced(Sweep{}, law);
    static_assert(std::is_same_v<std::decay_t<decltype(driven)>, Paced<Sweep>>);
    for (std::size_t n = 0; n < runs(100); ++n) {
        double const t = random.uniform(-0.5, 2);
        auto const x = boost::math::differentiation::make_fvar<double, 3>(t);
        auto const expected = Sweep{}.at(law.at(x));
        auto const got = driven.at(Rates::variable(t));
        for (std::size_t k = 0; k <= 3; ++k) {
            CHECK(std::abs(got.origin.x.derivative(static_cast<int>(k)) - expected.origin.x.derivative(k)) <=
                  1e-11);
            CHECK(std::abs(got.origin.z.derivative(static_cast<int>(k)) - expected.origin.z.derivative(k)) <=
                  1e-11);
            CHECK(std::abs(got.rotation.m[1][2].derivative(static_cast<int>(k)) -
                           expected.rotation.m[1][2].derivative(k)) <= 1e-11); // sums up to some 1e3
        }
        // By hand: the origin's velocity is the motion's times u′.
        auto const path = Sweep{}.at(Taylor<double, 1>::variable(law.at(t)));
        CHECK(std::abs(got.origin.y.derivative(1) - path.origin.y.derivative(1) * law.speed(t)) <= 1e-13);
    }
}

TEST_CASE("holes, breaks and poses follow the law") {
    auto rows = rows_of(Sweep{}, uneven_times(20, 2));
    rows.erase(rows.begin() + 9, rows.begin() + 13);
    PoseLog<Cell, Flange> const log(rows, 0.3);
    auto const law = some_law();
    AnyFlangeMotion const any(log);
    auto const driven = paced(any, law);
    REQUIRE(driven.law() != nullptr);
    CHECK(driven.law()->speed(0.4) == law.speed(0.4));
    std::size_t without = 0;
    for (int i = 0; i <= 1000; ++i) {
        double const t = -0.5 + 3.0 * i / 1000;
        double const u = law.at(t);
        CHECK(driven.path_time(t) == u);
        CHECK(driven.covers(t) == log.covers(u));
        without += log.covers(u) ? 0 : 1;
        CHECK(difference(driven.at(t), log.at(u)) == 0);
        CHECK(with_pose(driven, t, [](auto const& pose) { return pose.origin.x; }) == log.at(u).origin.x);
    }
    CHECK(without > 50);
    CHECK(without < 950);
    auto const breaks = driven.breaks();
    CHECK(std::is_sorted(breaks.begin(), breaks.end()));
    CHECK(breaks.size() == rows.size() + law.breaks().size());
    for (auto const& row : rows)
        CHECK(std::any_of(breaks.begin(), breaks.end(),
                          [&](double t) { return std::abs(law.at(t) - row.time) <= 1e-15 * 10; }));
    for (double const b : law.breaks())
        CHECK(std::find(breaks.begin(), breaks.end(), b) != breaks.end());

    // Another law takes the place of the first.
    auto const again = paced(driven, TimeLaw::steady(2));
    CHECK(again.path_time(0.3) == 0.6);
    CHECK(difference(again.at(0.3), log.at(0.6)) == 0);
    // A law that stops before the motion's last rows never comes to them.
    TimeLaw const stops({0, 0.5, 1}, {0, -2, 0}, 0, 1);
    for (double const t : paced(any, stops).breaks())
        CHECK(t <= 1);
}

TEST_CASE("recorded joints are read where the law is") {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    std::vector<double> times;
    std::vector<std::array<double, 6>> rows;
    for (int i = 0; i <= 20; ++i) {
        double const t = 0.1 * i;
        times.push_back(t);
        rows.push_back({std::sin(t), -0.7 + 0.1 * t, 2 - 0.2 * std::cos(2 * t), 0.4, -0.5 + 0.1 * t * t, t});
    }
    JointLog<6> const log(Pose<Cell, Base>::identity(), arm, times, rows);
    auto const law = some_law();
    auto const driven = paced(AnyFlangeMotion(log), law);
    auto const joints = detail::recorded_joints(driven, Taylor<double, 2>::variable(0.6));
    REQUIRE(joints.has_value());
    auto const path = log.joints_at(Taylor<double, 2>::variable(law.at(0.6)));
    double const v = law.speed(0.6), a = law.acceleration(0.6);
    for (std::size_t i = 0; i < 6; ++i) {
        auto const& q = path[i];
        CHECK((*joints)[i].value() == q.value());
        CHECK((*joints)[i].derivative(1) == doctest::Approx(q.derivative(1) * v).epsilon(1e-13));
        CHECK(std::abs((*joints)[i].derivative(2) - (q.derivative(2) * v * v + q.derivative(1) * a)) <=
              1e-12);
    }
    AnyFlangeMotion const plain(log);
    CHECK((*detail::recorded_joints(plain, 0.6))[2] == log.joints_at(0.6)[2]);
    AnyFlangeMotion const rest = Rest<Cell, Flange>{Pose<Cell, Flange>::identity()};
    CHECK(!detail::recorded_joints(paced(rest, law), 0.6).has_value());
}

TEST_CASE("a driven motion over stretches of time holds that at doubles, and is as tight as it may be") {
    Random random(71206);
    auto const rows = rows_of(Sweep{}, uneven_times(40, 2));
    PoseLog<Cell, Flange> const log(rows);
    auto const law = some_law();
    auto const driven = paced(AnyFlangeMotion(log), law);
    auto const breaks = driven.breaks();
    using Over = Taylor<Interval, 5>;
    for (std::size_t n = 0; n < runs(300); ++n) {
        // From break to break, as proofs ask: no remainder is lost there.
        std::size_t const i = random.index(breaks.size() - 1);
        double from = breaks[i], to = breaks[i + 1];
        bool const whole = random.index(2) == 0;
        if (!whole) {
            from = random.uniform(-0.3, 1.4);
            to = from + random.uniform(0, 0.2);
        }
        if (to - from < 1e-9 || law.at(from) < 0 || law.at(to) > 2)
            continue;
        auto const over = driven.at(Over::variable(Interval(from, to)));
        if (whole) {
            CHECK(is_finite(over.origin.x.coefficient[5]));
            CHECK(is_finite(over.rotation.m[0][1].coefficient[5]));
        }
        for (int k = 1; k < 6; ++k) {
            double const t = from + (to - from) * k / 6;
            auto const at = driven.at(Rates::variable(t));
            for (std::size_t d = 0; d <= 3; ++d) {
                double const off = 1e-11 * std::pow(50, static_cast<double>(d)); // roundings over 20 ms
                for (auto const& [wide, x] : {std::pair{over.origin.x, at.origin.x},
                                              std::pair{over.rotation.m[0][1], at.rotation.m[0][1]}}) {
                    CHECK(wide.coefficient[d].low <= x.coefficient[d] + off);
                    CHECK(wide.coefficient[d].high >= x.coefficient[d] - off);
                }
            }
        }
    }
}

TEST_CASE("asking a driven motion allocates nothing") {
    PoseLog<Cell, Flange> const log(rows_of(Sweep{}, uneven_times(20, 2)));
    auto const driven = paced(AnyFlangeMotion(log), some_law());
    AllocationGuard guard;
    auto const pose = driven.at(Taylor<double, 2>::variable(0.5));
    auto const nowhere = driven.at(not_a_number);
    bool const covered = driven.covers(0.5), none = driven.covers(not_a_number);
    CHECK(guard.count() == 0);
    CHECK(is_finite(pose.origin));
    CHECK(!is_finite(nowhere.origin));
    CHECK(covered);
    CHECK(!none);
}
