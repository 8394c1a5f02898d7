#include "seamhold/seam/seam.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"

#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;
double const epsilon = std::numeric_limits<double>::epsilon();

Plane<> inclined() {
    return {{about_axis<Part, Face>({2.0 / 3, -1.0 / 3, 2.0 / 3}, degrees(35)), {0.1, -0.2, 0.3}}};
}

Plane<> flat() { return {Pose<Part, Face>::identity()}; }

// What every seam must hold: finite, on its surface, with its unit normal, at 0, at the end, inside and
// beyond; the same by AnySeam; its rates finite.
template <class SeamType> void check_laws(SeamType const& seam, std::string const& name) {
    CAPTURE(name);
    AnySeam const any(seam);
    CHECK(any.length() == seam.length());
    CHECK(any.duration() == seam.duration());
    CHECK(any.focus_offset == seam.focus_offset);
    for (double const part : {0.0, 1e-8, 0.3, 1.0, -0.2, 1.3}) {
        double const time = part * seam.duration();
        CAPTURE(time);
        auto const p = seam.at(time);
        CHECK(is_finite(p.position));
        auto const& plane = seam.path.surface.part_from_face;
        CHECK(std::abs(dot(p.position - plane.origin, p.normal)) <= 4 * epsilon); // coordinates below 1 m
        CHECK(std::abs(norm(p.normal) - 1) <= 4 * epsilon);
        auto const rates = seam.at(Taylor<double, 3>::variable(time));
        CHECK(is_finite(rates.position));
        CHECK(difference(value_of(rates.position), p.position) <= 2 * epsilon);
        auto const same = any.at(Taylor<double, 3>::variable(time));
        for (int k = 0; k <= 3; ++k) {
            CHECK(same.position.x.coefficient[k] == rates.position.x.coefficient[k]);
            CHECK(same.position.y.coefficient[k] == rates.position.y.coefficient[k]);
            CHECK(same.position.z.coefficient[k] == rates.position.z.coefficient[k]);
        }
        CHECK(any.arc_length(time) == seam.arc_length(time));
        static_assert(std::is_same_v<decltype(any.at(0.0F)), SurfacePoint<double>>);
    }
    CHECK(seam.arc_length(0.0) == 0);
    CHECK(std::abs(seam.arc_length(seam.duration()) - seam.length()) <= 2 * epsilon * seam.length());
}

} // namespace

TEST_CASE("law: every seam on every face stays on it, at any number, chosen at run time or not") {
    for (auto const& face : {flat(), inclined()})
        for (Weave const& weave : {Weave{}, Weave{300, 0.0005}}) {
            double const speed = metres_per_minute(16);
            check_laws(at_speed(straight_between({0, 0}, {0.03, 0.04}), face, speed, weave, 0.001),
                       "straight");
            check_laws(at_speed(arc_around({0.1, 0.1}, 0.02, 1, -2), face, speed, weave, -0.001), "arc");
            check_laws(at_speed(circle_around({0.1, 0.1}, 0.03), face, speed, weave), "circle");
            check_laws(at_speed(straight_between({0, 0}, {6e-5, 8e-5}), face, speed, weave), "0.1 mm long");
            check_laws(held({0.1, 0.2}, face, 0.3, weave, 0.002), "held");
        }
}

TEST_CASE("a seam takes its length over its speed") {
    auto const seam = at_speed(straight_between({0, 0}, {0.03, 0.04}), flat(), 0.25);
    CHECK(seam.duration() == doctest::Approx(0.2).epsilon(2 * epsilon));
    auto const end = seam.at(seam.duration()).position;
    CHECK(end.x == doctest::Approx(0.03).epsilon(4 * epsilon));
    CHECK(end.y == doctest::Approx(0.04).epsilon(4 * epsilon));
    CHECK(end.z == 0);
    CHECK(seam.at(0.1).position.x == doctest::Approx(0.015).epsilon(4 * epsilon));
    // Not clipped.
    CHECK(seam.at(-0.2).position.x == doctest::Approx(-0.03).epsilon(4 * epsilon));
    CHECK(seam.at(0.4).position.y == doctest::Approx(0.08).epsilon(4 * epsilon));
    auto const point = held({0.1, 0.2}, flat(), 0.3);
    CHECK(point.duration() == 0.3);
    CHECK(point.length() == 0);
    CHECK(point.at(0.2).position.x == 0.1);
}

TEST_CASE("a weave is a sine across the seam from its start, to the left of travel first") {
    double const speed = 0.25, frequency = 300, amplitude = 0.0005;
    Weave const weave{frequency, amplitude};
    Random random(9201);
    for (int i = 0; i < 100; ++i) {
        double const time = random.uniform(0, 0.1);
        double const swing = amplitude * std::sin(2 * pi * frequency * time);
        // An angle of up to 190 rad is right to 14 bits: 3e-14 rad, of half a millimetre.
        double const bound = 190 * epsilon * amplitude + 4 * epsilon * 0.2;
        // Along x, left is +y.
        auto const straight =
            at_speed(straight_between({0, 0}, {0.05, 0}), flat(), speed, weave).at(time).position;
        CHECK(std::abs(straight.x - speed * time) <= bound);
        CHECK(std::abs(straight.y - swing) <= bound);
        // Counter-clockwise, left is towards the center; clockwise, away from it.
        for (bool const clockwise : {false, true}) {
            auto const circle =
                at_speed(circle_around({0.1, 0.1}, 0.03, 0.3, clockwise), flat(), speed, weave)
                    .at(time)
                    .position;
            double const radius = 0.015 + (clockwise ? swing : -swing);
            CHECK(std::abs(std::hypot(circle.x - 0.1, circle.y - 0.1) - radius) <= bound);
            double const angle = 0.3 + (clockwise ? -1 : 1) * speed * time / 0.015;
            CHECK(std::abs(circle.x - 0.1 - radius * std::cos(angle)) <= bound);
        }
        // A held point swings along the face's y axis.
        auto const still = held({0.1, 0.1}, flat(), 0.1, weave).at(time).position;
        CHECK(still.x == 0.1);
        CHECK(std::abs(still.y - 0.1 - swing) <= bound);
    }
    // In the face, whatever its inclination: across is normal × tangent.
    auto const shape = straight_between({0.01, 0.02}, {0.04, 0.06});
    auto const bare = at_speed(shape, inclined(), speed);
    auto const woven = at_speed(shape, inclined(), speed, weave);
    double const quarter = 0.25 / frequency;
    auto const velocity = bare.at(Taylor<double, 1>::variable(quarter)).position;
    Direction<Part> const tangent{velocity.x.derivative(1) / speed, velocity.y.derivative(1) / speed,
                                  velocity.z.derivative(1) / speed};
    auto const shift = woven.at(quarter).position - bare.at(quarter).position;
    auto const across = cross(bare.at(quarter).normal, tangent);
    CHECK(difference(shift, amplitude * across) <= 4 * epsilon * 0.3);
}

TEST_CASE("rates of a seam") {
    using T = Taylor<double, 3>;
    double const speed = 0.25, radius = 0.015;
    auto const circle = at_speed(circle_around({0, 0}, 2 * radius), flat(), speed);
    auto const p = circle.at(T::variable(0.0)).position; // at (r, 0), running along +y
    CHECK(std::abs(p.x.derivative(1)) <= epsilon);
    CHECK(p.y.derivative(1) == doctest::Approx(speed).epsilon(4 * epsilon));
    CHECK(p.x.derivative(2) == doctest::Approx(-speed * speed / radius).epsilon(4 * epsilon)); // centripetal
    CHECK(p.y.derivative(3) ==
          doctest::Approx(-speed * speed * speed / (radius * radius)).epsilon(8 * epsilon));
    // By a speed that is itself unknown.
    using G = Gradient<double, 1>;
    Seam<OnFace<Straight<>, Plane<>>, G> const unknown{{straight_between({0, 0}, {1, 0}), flat()},
                                                       {G::variable(speed, 0), 4}};
    CHECK(unknown.at(2.0).position.x.partial[0] == 2);
    auto const rates = unknown.at(Taylor<double, 1>::variable(2.0)).position.x;
    static_assert(std::is_same_v<decltype(rates), Taylor<G, 1> const>);
    CHECK(rates.derivative(1).value == speed);
    CHECK(rates.derivative(1).partial[0] == 1);
    // In float throughout.
    Seam<OnFace<Arc<float>, Plane<float>>, float> const coarse{
        {{0.0F, 0.0F, 0.015F, 0.0F, 1.0}, {number_cast<float>(Pose<Part, Face>::identity())}}, {0.25F, 0.06}};
    auto const near = coarse.at(0.02F).position;
    static_assert(std::is_same_v<decltype(near), Point<Part, float> const>);
    auto const exact = circle.at(0.02).position;
    // A few operations of 6e-8 on 15 mm.
    CHECK(std::abs(static_cast<double>(near.x) - exact.x) <= 8 * 6e-8 * radius);
    CHECK(std::abs(static_cast<double>(near.y) - exact.y) <= 8 * 6e-8 * radius);
    auto woven = coarse;
    woven.weave = {300, 0.0005};
    CHECK(is_finite(woven.at(Taylor<float, 3>::variable(0.02F)).position));
    static_assert(std::is_same_v<decltype(woven.at(0.02F)), SurfacePoint<float>>);
}

TEST_CASE("seams that cannot be are refused, with what was given") {
    double const infinity = std::numeric_limits<double>::infinity();
    double const not_a_number = std::numeric_limits<double>::quiet_NaN();
    auto const shape = straight_between({0, 0}, {0.05, 0});
    for (double const wrong : {0.0, -0.25, infinity, not_a_number}) {
        CHECK_THROWS_AS((void)at_speed(shape, flat(), wrong), BadInput);
        CHECK_THROWS_AS((void)held({0, 0}, flat(), wrong), BadInput);
    }
    try {
        (void)at_speed(shape, flat(), -0.25);
    } catch (BadInput const& error) {
        CHECK(std::string(error.what()).find("-0.25") != std::string::npos);
        CHECK(std::string(error.what()).find("above 0") != std::string::npos);
    }
}

TEST_CASE("a seam's place does not touch the heap") {
    AnySeam const any(at_speed(circle_around({0, 0}, 0.03), inclined(), 0.25, {300, 0.0005}));
    AllocationGuard const guard;
    auto const p = any.at(Taylor<double, 2>::variable(0.1));
    CHECK(guard.count() == 0);
    CHECK(is_finite(p.position));
}
