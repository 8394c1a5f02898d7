#include "seamhold/seam/travel_by.hpp"

#include <doctest/doctest.h>

#include "support/random.hpp"

#include <boost/math/quadrature/gauss.hpp>

#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;
double const infinity = std::numeric_limits<double>::infinity();

Plane<> flat() { return {Pose<Part, Face>::identity()}; }

OnFace<DrawnShape, Plane<>> laid_flat(DrawnShape const& shape) { return {shape, flat()}; }

/// 20 mm, a quarter turn of 2 mm radius, 28 mm.
DrawnShape bent() {
    return DrawnShape({straight_between({0, 0}, {0.02, 0}), arc_around({0.02, 0.002}, 0.002, -pi / 2, pi / 2),
                       straight_between({0.022, 0.002}, {0.022, 0.03})});
}

/// 20 mm, a corner to the left, 30 mm.
DrawnShape cornered() {
    return DrawnShape({straight_between({0, 0}, {0.02, 0}), straight_between({0.02, 0}, {0.02, 0.03})});
}

/// The integral of the feed over the whole time, between the breaks, by Gauss's rule (Boost).
double way(Travel<> const& travel) {
    std::vector<double> ends{0};
    for (double const t : travel.breaks())
        ends.push_back(t);
    ends.push_back(travel.duration());
    double sum = 0;
    for (std::size_t i = 0; i + 1 < ends.size(); ++i)
        sum += boost::math::quadrature::gauss<double, 7>::integrate([&](double t) { return travel.feed(t); },
                                                                    ends[i], ends[i + 1]);
    return sum;
}

/// What every law must hold on every path: it begins at 0 and ends at the length, never turns back, keeps
/// below its speed, acceleration, jerk and lateral acceleration, and the feed integrates to the length.
template <class Path> Travel<> check_law(Path const& path, SpeedLaw const& law, std::string const& name) {
    CAPTURE(name);
    auto const travel = travel_by(law, path);
    double const length = path.length();
    CHECK(std::abs(travel.arc_length(0.0)) <= 1e-15 * length);
    CHECK(std::abs(travel.arc_length(travel.duration()) - length) <= 1e-14 * length);
    CHECK(way(travel) == doctest::Approx(length).epsilon(1e-12)); // sums of some hundred cubics
    int const count = 3000;
    double const slack = 1 + 1e-11; // of a thousand roundings
    int backwards = 0, fast = 0, unlike = 0, accelerated = 0, jerked = 0, lateral = 0, misplaced = 0;
    double before = -infinity;
    for (int i = 0; i <= count; ++i) {
        double const t = travel.duration() * i / count;
        auto const s = travel.arc_length(Taylor<double, 3>::variable(t));
        backwards += !(s.value() >= before - 1e-15 * length);
        before = s.value();
        double const feed = s.derivative(1);
        fast += !(feed >= -1e-12 * law.speed) || !(feed <= law.speed * slack);
        unlike += std::abs(feed - travel.feed(t)) > 1e-12 * law.speed;
        accelerated += !(std::abs(s.derivative(2)) <= law.acceleration * slack);
        jerked += !(std::abs(s.derivative(3)) <= law.jerk * slack);
        double const place = std::clamp(s.value(), 0.0, length);
        lateral += !(feed * feed * frame_at(path, place).curvature <= law.lateral_acceleration * slack);
        // And back: the time of a place.
        double const again = travel.arc_length(travel.time_at(s.value()));
        misplaced += std::abs(again - s.value()) > 1e-12 * length;
    }
    CHECK(backwards == 0);
    CHECK(fast == 0);
    CHECK(unlike == 0);
    CHECK(accelerated == 0);
    CHECK(jerked == 0);
    CHECK(lateral == 0);
    CHECK(misplaced == 0);
    // Acceleration has no jump where the jerk is limited.
    if (is_finite(law.jerk))
        for (double const t : travel.breaks()) {
            using T = Taylor<double, 2>;
            double const h = 1e-12;
            double const jump = travel.arc_length(T::variable(t + h)).derivative(2) -
                                travel.arc_length(T::variable(t - h)).derivative(2);
            CHECK(std::abs(jump) <= 2 * h * law.jerk + 1e-9 * law.acceleration);
        }
    return travel;
}

} // namespace

TEST_CASE("law: every speed law on every path") {
    std::vector<SpeedLaw> const laws{
        {.speed = 0.25},
        {.speed = 0.25, .start_speed = 0, .end_speed = 0, .acceleration = 5},
        {.speed = 0.25, .start_speed = 0, .end_speed = 0, .acceleration = 5, .jerk = 500},
        {.speed = 0.25, .acceleration = 5, .lateral_acceleration = 10},
        {.speed = 0.25, .acceleration = 5, .jerk = 500, .lateral_acceleration = 10},
        {.speed = 0.25,
         .start_speed = 0.1,
         .end_speed = 0.05,
         .acceleration = 3,
         .jerk = 200,
         .lateral_acceleration = 4},
        // A window as long as the seam.
        {.speed = 0.25, .start_speed = 0, .end_speed = 0, .acceleration = 5, .jerk = 50}};
    for (std::size_t i = 0; i < laws.size(); ++i) {
        std::string const name = "law " + std::to_string(i);
        check_law(laid_flat(bent()), laws[i], name + ", bent");
        check_law(OnFace<Arc<>, Plane<>>{circle_around({0, 0}, 0.01), flat()}, laws[i], name + ", circle");
        check_law(OnFace<Straight<>, Plane<>>{straight_between({0, 0}, {0.05, 0}), flat()}, laws[i],
                  name + ", straight");
        check_law(OnFace<Straight<>, Plane<>>{straight_between({0, 0}, {1e-4, 0}), flat()}, laws[i],
                  name + ", 0.1 mm");
        check_law(AnyPath(laid_flat(bent())), laws[i], name + ", chosen at run time");
    }
}

TEST_CASE("ramps against the double ramp worked by hand") {
    OnFace<Straight<>, Plane<>> const path{straight_between({0, 0}, {0.1, 0}), flat()};
    // From rest to rest, 100 mm at 0.2 m/s and 4 m/s²: length / speed + speed / acceleration = 0.55 s.
    auto const plain = travel_by({.speed = 0.2, .start_speed = 0, .end_speed = 0, .acceleration = 4}, path);
    CHECK(plain.duration() == doctest::Approx(0.55).epsilon(1e-13));
    CHECK(plain.feed(0.025) == doctest::Approx(0.1).epsilon(1e-12));
    CHECK(plain.feed(0.3) == doctest::Approx(0.2).epsilon(1e-12));
    // With a jerk of 400 m/s³ every ramp is acceleration / jerk longer in all: 0.56 s; this is the least time
    // under the three limits: the double S of Biagiotti and Melchiorri (2008), section 3.4 (from memory).
    auto const smooth =
        travel_by({.speed = 0.2, .start_speed = 0, .end_speed = 0, .acceleration = 4, .jerk = 400}, path);
    CHECK(smooth.duration() == doctest::Approx(0.56).epsilon(1e-13));
    // A triangle: 10 mm never reach 0.5 m/s: 2 √(way / acceleration) = 0.1 s.
    OnFace<Straight<>, Plane<>> const near{straight_between({0, 0}, {0.01, 0}), flat()};
    CHECK(travel_by({.speed = 0.5, .start_speed = 0, .end_speed = 0, .acceleration = 4}, near).duration() ==
          doctest::Approx(0.1).epsilon(1e-13));
    // A flying seam.
    CHECK(travel_by({.speed = 0.2}, path).duration() == doctest::Approx(0.5).epsilon(1e-14));
    CHECK(travel_by({.speed = 0.2}, path).is_constant());
}

TEST_CASE("lateral acceleration: on an arc the feed is √(a r)") {
    auto const travel = travel_by({.speed = 0.25, .acceleration = 5, .jerk = 500, .lateral_acceleration = 8},
                                  laid_flat(bent()));
    // √(8 · 0.002) = 0.1265 m/s in the middle of the arc.
    CHECK(travel.feed(travel.time_at(0.02 + 0.001 * pi / 2)) ==
          doctest::Approx(std::sqrt(0.016)).epsilon(1e-9));
    CHECK(travel.feed(0) == doctest::Approx(0.25).epsilon(1e-12));
    // A whole circle is even.
    OnFace<Arc<>, Plane<>> const circle{circle_around({0, 0}, 0.01), flat()};
    auto const even = travel_by(
        {.speed = 0.25, .start_speed = 0.2, .end_speed = 0.2, .acceleration = 5, .lateral_acceleration = 8},
        circle);
    CHECK(even.duration() == doctest::Approx(0.01 * pi / 0.2).epsilon(1e-12));
}

TEST_CASE("corners: refused with place and angle, passed slowly, or with a stop") {
    auto const path = laid_flat(cornered());
    try {
        (void)travel_by({.speed = 0.25}, path);
        FAIL("not refused");
    } catch (BadInput const& error) {
        CHECK(std::string(error.what()).find("20 mm (90 degrees)") != std::string::npos);
    }
    CHECK_THROWS_AS((void)at_speed(path, 0.25), BadInput);
    for (double const jerk : {infinity, 500.0}) {
        auto const slow = check_law(path,
                                    {.speed = 0.25,
                                     .acceleration = 5,
                                     .jerk = jerk,
                                     .at_corners = AtCorner::slow,
                                     .corner_speed = 0.02},
                                    "slow");
        CHECK(slow.feed(slow.time_at(0.02)) == doctest::Approx(0.02).epsilon(1e-9));
        auto const stop = check_law(
            path, {.speed = 0.25, .acceleration = 5, .jerk = jerk, .at_corners = AtCorner::stop}, "stop");
        // Near the stop s − s₀ goes as a square or a cube of time: its rounding leaves some of the feed.
        CHECK(std::abs(stop.feed(stop.time_at(0.02))) <= 1e-7);
    }
}

TEST_CASE("law: random laws on random polylines with rounded and sharp corners") {
    Random random(4'401);
    auto const count = runs(40);
    for (std::size_t i = 0; i < count; ++i) {
        std::vector<DrawnShape::Piece> pieces;
        FacePoint at{0, 0};
        double heading = random.uniform(-3, 3);
        for (std::size_t k = 1 + random.index(5); k > 0; --k) {
            double const length = random.uniform(0.001, 0.03);
            FacePoint const to{at.x + length * std::cos(heading), at.y + length * std::sin(heading)};
            pieces.push_back(straight_between(at, to));
            at = to;
            if (random.unit() < 0.3) {
                heading += random.uniform(-2, 2); // sharp
            } else {
                double const turn = random.uniform(-2, 2);
                double const radius = random.uniform(0.0005, 0.01);
                double const side = turn < 0 ? -1 : 1;
                FacePoint const center{at.x - side * radius * std::sin(heading),
                                       at.y + side * radius * std::cos(heading)};
                auto const arc = arc_around(center, radius, heading - side * pi / 2, turn);
                pieces.push_back(arc);
                heading += turn;
                auto const end = arc.at(arc.length());
                at = {end.x, end.y};
            }
        }
        double const speed = random.uniform(0.01, 0.5);
        SpeedLaw law{.speed = speed,
                     .start_speed = random.unit() < 0.5 ? 0 : random.uniform(0, speed),
                     .end_speed = random.unit() < 0.5 ? 0 : random.uniform(0, speed),
                     .acceleration = random.uniform(0.5, 20),
                     .jerk = random.unit() < 0.3 ? infinity : random.uniform(20, 5000),
                     .lateral_acceleration = random.unit() < 0.3 ? infinity : random.uniform(0.5, 20),
                     .at_corners = random.unit() < 0.5 ? AtCorner::stop : AtCorner::slow,
                     .corner_speed = random.uniform(0.05, 1) * speed};
        check_law(laid_flat(DrawnShape(pieces)), law, "random " + std::to_string(i));
    }
}

TEST_CASE("laws that cannot be are refused") {
    OnFace<Straight<>, Plane<>> const path{straight_between({0, 0}, {0.1, 0}), flat()};
    double const not_a_number = std::numeric_limits<double>::quiet_NaN();
    for (SpeedLaw const& law :
         {SpeedLaw{.speed = 0},
          {.speed = not_a_number},
          {.speed = 0.2, .start_speed = 0.3},
          {.speed = 0.2, .end_speed = -0.1},
          {.speed = 0.2, .acceleration = 0},
          {.speed = 0.2, .jerk = 500},
          {.speed = 0.2, .lateral_acceleration = not_a_number},
          {.speed = 0.2, .start_speed = 0}, // no acceleration given
          {.speed = 0.2, .acceleration = 5, .at_corners = AtCorner::slow, .corner_speed = 0}})
        CHECK_THROWS_AS((void)travel_by(law, path), BadInput);
}
