#include "seamhold/seam/shapes.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <type_traits>

using namespace seamhold;
using seamhold::test::Random;

namespace {

double const pi = std::numbers::pi;
double const epsilon = std::numeric_limits<double>::epsilon();
double const infinity = std::numeric_limits<double>::infinity();
double const not_a_number = std::numeric_limits<double>::quiet_NaN();

// The laws of every shape at arc length s: the tangent is the derivative by s and has length one. `size` is
// the largest coordinate or 1.
template <class Shape> void check_laws(Shape const& shape, double s, double size) {
    CAPTURE(s);
    auto const p = shape.at(Taylor<double, 1>::variable(s));
    auto const plain = shape.at(s);
    double const bound = 8 * epsilon; // a sine and two products
    CHECK(std::abs(p.x.derivative(1) - plain.tangent_x) <= bound);
    CHECK(std::abs(p.y.derivative(1) - plain.tangent_y) <= bound);
    CHECK(std::abs(std::hypot(plain.tangent_x, plain.tangent_y) - 1) <= bound);
    // The same point whichever the number; the compiler may contract one and not the other.
    CHECK(std::abs(p.x.value() - plain.x) <= 2 * epsilon * size);
    CHECK(std::abs(p.y.value() - plain.y) <= 2 * epsilon * size);
    CHECK(std::abs(p.tangent_x.value() - plain.tangent_x) <= 2 * epsilon);
    CHECK(std::abs(p.tangent_y.value() - plain.tangent_y) <= 2 * epsilon);
}

template <class Build> std::string message_of(Build const& build) {
    try {
        (void)build();
    } catch (BadInput const& error) {
        return error.what();
    }
    return "";
}

} // namespace

TEST_CASE("shapes are plain data") {
    static_assert(std::is_trivially_copyable_v<Straight<>> && std::is_aggregate_v<Straight<>>);
    static_assert(std::is_trivially_copyable_v<Arc<>> && std::is_aggregate_v<Arc<>>);
    static_assert(std::is_trivially_copyable_v<Still<>> && std::is_aggregate_v<Still<>>);
    static_assert(std::is_same_v<decltype(Arc<float>{}.at(0.0F)), ShapePoint<float>>);
    static_assert(std::is_same_v<decltype(Arc<>{}.at(Taylor<float, 2>{})), ShapePoint<Taylor<double, 2>>>);
}

TEST_CASE("law: the tangent of every shape is its derivative by arc length and has length one") {
    Random random(9101);
    for (double const size : {1e-4, 0.1, 100.0})
        for (int i = 0; i < 50; ++i) {
            auto const number = [&] { return random.uniform(-size, size); };
            auto const straight = straight_between({number(), number()}, {number(), number()});
            auto const arc = arc_around({number(), number()}, random.uniform(0.1, 1) * size,
                                        random.uniform(-7, 7), random.uniform(-20, 20));
            CAPTURE(size);
            CAPTURE(i);
            double const scale = std::max(3 * size, 1.0);
            // At both ends, inside, and beyond: a shape runs on.
            for (double const part : {0.0, 1.0, random.unit(), -0.5, 1.5}) {
                check_laws(straight, part * straight.length(), scale);
                check_laws(arc, part * arc.length(), scale);
            }
        }
    // A circle as small as a spot and one so large that it is straight.
    check_laws(circle_around({0, 0}, 1e-5), 1e-5, 1);
    check_laws(arc_around({0, 0}, 1e5, 1, 1e-6), 0.05, 1e5);
}

TEST_CASE("a straight seam starts and ends where it is told") {
    auto const straight = straight_between({0.01, -0.02}, {0.04, 0.02});
    CHECK(straight.length() == doctest::Approx(0.05).epsilon(2 * epsilon)); // 3, 4, 5
    auto const begin = straight.at(0.0);
    CHECK(begin.x == 0.01);
    CHECK(begin.y == -0.02);
    CHECK(begin.tangent_x == doctest::Approx(0.6).epsilon(2 * epsilon));
    CHECK(begin.tangent_y == doctest::Approx(0.8).epsilon(2 * epsilon));
    auto const end = straight.at(straight.length());
    CHECK(end.x == doctest::Approx(0.04).epsilon(2 * epsilon));
    CHECK(end.y == doctest::Approx(0.02).epsilon(4 * epsilon)); // a difference of 0.04 and 0.02
}

TEST_CASE("an arc turns counter-clockwise for a positive turn, seen from the head") {
    // The head looks at the face from its +z side, so counter-clockwise is from x to y.
    auto const arc = arc_around({0.1, 0.2}, 0.05, 0, pi / 2);
    auto const begin = arc.at(0.0);
    CHECK(begin.x == doctest::Approx(0.15).epsilon(2 * epsilon));
    CHECK(begin.y == doctest::Approx(0.2).epsilon(2 * epsilon));
    CHECK(begin.tangent_x == 0);
    CHECK(begin.tangent_y == 1);
    auto const end = arc.at(arc.length());
    CHECK(end.x == doctest::Approx(0.1).epsilon(2 * epsilon)); // cos(π/2) is 6e-17, of 0.05
    CHECK(end.y == doctest::Approx(0.25).epsilon(2 * epsilon));
    CHECK(end.tangent_x == doctest::Approx(-1).epsilon(2 * epsilon));
    auto const clockwise = arc_around({0.1, 0.2}, 0.05, 0, -pi / 2);
    CHECK(clockwise.length() == arc.length());
    CHECK(clockwise.at(0.0).tangent_y == -1);
    CHECK(clockwise.at(clockwise.length()).y == doctest::Approx(0.15).epsilon(2 * epsilon));

    // A circle of a diameter: it closes, and is half a diameter away from its center everywhere.
    for (bool const reverse : {false, true}) {
        auto const circle = circle_around({0.1, 0.2}, 0.03, 1, reverse);
        CHECK(circle.length() == doctest::Approx(0.03 * pi).epsilon(2 * epsilon));
        for (int i = 0; i <= 8; ++i) {
            auto const p = circle.at(circle.length() * i / 8);
            // Bits of the center's coordinates and of an angle up to 8.
            CHECK(std::abs(std::hypot(p.x - 0.1, p.y - 0.2) - 0.015) <= 4 * epsilon * 0.2);
            double const angle = 1 + (reverse ? -1 : 1) * 2 * pi * i / 8;
            CHECK(std::abs(p.x - (0.1 + 0.015 * std::cos(angle))) <= 4 * epsilon * 0.2);
            CHECK(std::abs(p.y - (0.2 + 0.015 * std::sin(angle))) <= 4 * epsilon * 0.2);
        }
        CHECK(circle.at(0.0).x == doctest::Approx(circle.at(circle.length()).x).epsilon(8 * epsilon));
        CHECK(circle.at(0.0).y == doctest::Approx(circle.at(circle.length()).y).epsilon(8 * epsilon));
    }
    // Several turns are several times as long.
    CHECK(arc_around({0, 0}, 0.05, 0, 6 * pi).length() == doctest::Approx(0.3 * pi).epsilon(2 * epsilon));
}

TEST_CASE("a still point is one place with a tangent") {
    Still<> const still{0.1, -0.2};
    CHECK(still.length() == 0);
    for (double const s : {0.0, 1.0, -5.0}) {
        auto const p = still.at(s);
        CHECK(p.x == 0.1);
        CHECK(p.y == -0.2);
        CHECK(p.tangent_x == 1);
        CHECK(p.tangent_y == 0);
    }
    CHECK(still.at(Taylor<double, 2>::variable(1)).x.derivative(1) == 0);
}

TEST_CASE("derivatives by what a shape stores") {
    using G = Gradient<double, 2>;
    // x = c + r cos(s/r + φ): by r, cos − (−sin)·s/r … = cos a + (s/r) sin a; by φ, −r sin a.
    Arc<G> const arc{G(0.1), G(0.2), G::variable(0.05, 0), G::variable(0.3, 1), 1.0};
    double const s = 0.02, a = s / 0.05 + 0.3;
    auto const p = arc.at(s);
    CHECK(p.x.partial[0] == doctest::Approx(std::cos(a) + s / 0.05 * std::sin(a)).epsilon(8 * epsilon));
    CHECK(p.x.partial[1] == doctest::Approx(-0.05 * std::sin(a)).epsilon(8 * epsilon));
    CHECK(p.y.partial[0] == doctest::Approx(std::sin(a) - s / 0.05 * std::cos(a)).epsilon(8 * epsilon));
    CHECK(p.tangent_y.partial[1] == doctest::Approx(-std::sin(a)).epsilon(8 * epsilon));
    CHECK(arc.length() == 0.05);
    Straight<G> const straight{G::variable(0, 0), G(0), G(0.6), G(0.8), 0.1};
    CHECK(straight.at(0.05).x.partial[0] == 1);
    auto const rates = straight.at(Taylor<double, 1>::variable(0.05));
    CHECK(value_of(rates.x.derivative(1)) == 0.6);
    CHECK(rates.x.coefficient[0].partial[0] == 1);
}

TEST_CASE("shapes that are none are refused, with what was given") {
    CHECK(message_of([] {
              return straight_between({0.1, 0.2}, {0.1, 0.2});
          }).find("0.1") != std::string::npos);
    for (double const wrong : {not_a_number, infinity}) {
        CHECK_THROWS_AS((void)straight_between({wrong, 0}, {0, 0}), BadInput);
        CHECK_THROWS_AS((void)straight_between({0, 0}, {0, -wrong}), BadInput);
        CHECK_THROWS_AS((void)arc_around({0, 0}, wrong, 0, 1), BadInput);
        CHECK_THROWS_AS((void)arc_around({0, 0}, 1, 0, wrong), BadInput);
        CHECK_THROWS_AS((void)arc_around({0, 0}, 1, wrong, 1), BadInput);
        CHECK_THROWS_AS((void)arc_around({wrong, 0}, 1, 0, 1), BadInput);
        CHECK_THROWS_AS((void)arc_around({0, -wrong}, 1, 0, 1), BadInput);
        CHECK_THROWS_AS((void)circle_around({0, 0}, wrong), BadInput);
    }
    for (double const wrong : {0.0, -0.05}) {
        CHECK_THROWS_AS((void)arc_around({0, 0}, wrong, 0, 1), BadInput);
        CHECK_THROWS_AS((void)circle_around({0, 0}, wrong), BadInput);
    }
    CHECK(message_of([] { return arc_around({0, 0}, -0.05, 0, 1); }).find("-0.05") != std::string::npos);
    CHECK_THROWS_AS((void)arc_around({0, 0}, 0.05, 0, 0), BadInput);
}
