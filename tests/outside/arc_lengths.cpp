#include "seamhold/seam/seam.hpp"

#include <doctest/doctest.h>

#include "seamhold/curve/arc_length.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"

#include <boost/math/quadrature/gauss.hpp>
#include <boost/math/quadrature/trapezoidal.hpp>
#include <boost/math/special_functions/ellint_2.hpp>

#include <cmath>
#include <limits>
#include <numbers>
#include <string>

// The way of the spot along seams, integrated from its exact velocity, against lengths in closed form.

using namespace seamhold;

namespace {

double const pi = std::numbers::pi;
double const epsilon = std::numeric_limits<double>::epsilon();

// A face that is inclined, so that all three coordinates take part.
Plane<> inclined() {
    Direction<Part> const axis{2.0 / 3, -1.0 / 3, 2.0 / 3};
    return {{about_axis<Part, Face>(axis, degrees(35)), {0.1, -0.2, 0.3}}};
}

template <class SeamType> double speed_of(SeamType const& seam, double time) {
    auto const p = seam.at(Taylor<double, 1>::variable(time)).position;
    return std::hypot(p.x.derivative(1), p.y.derivative(1), p.z.derivative(1));
}

// The integral of the spot's speed. The trapezoidal rule converges exponentially over whole periods.
template <class SeamType> double way_of(SeamType const& seam, double duration) {
    auto const speed = [&seam](double time) { return speed_of(seam, time); };
    return boost::math::quadrature::trapezoidal(speed, 0.0, duration, 1e-13, 20);
}

// The length of one period of y = A sin(2πx/λ): (2λ/π) √(1+c²) E(m), c = 2πA/λ, m = c²/(1+c²), with the
// complete elliptic integral of the second kind, which Boost gives by its modulus k = √m.
double sine_length(double amplitude, double wavelength) {
    double const c = 2 * pi * amplitude / wavelength;
    return 2 * wavelength / pi * std::sqrt(1 + c * c) * boost::math::ellint_2(c / std::sqrt(1 + c * c));
}

// A weave with this amplitude and wavelength, m, at `speed`; its duration is one period.
Seam<OnFace<Straight<>, Plane<>>> woven(double amplitude, double wavelength, double speed) {
    auto const shape = straight_between({-0.01, 0.02}, {-0.01 + 0.6 * wavelength, 0.02 + 0.8 * wavelength});
    return at_speed(shape, inclined(), speed, {speed / wavelength, amplitude});
}

} // namespace

TEST_CASE("a sine weave is as long as the elliptic integral says") {
    // One period of y = sin x: 7.640395578055424 (4√2·E(m = ½); published with Chebfun's examples).
    CHECK(sine_length(1, 2 * pi) == doctest::Approx(7.640395578055424).epsilon(4 * epsilon));
    CHECK(way_of(woven(1, 2 * pi, 1), 2 * pi) == doctest::Approx(7.640395578055424).epsilon(1e-13));

    struct Row {
        double amplitude, wavelength,
            length; // mm; lengths by quadrature apart from this project, 10 decimals
    };
    for (auto const& row :
         {Row{2, 10, 13.2065822669}, Row{5, 50, 54.6191773666}, Row{0.5, 1, 2.3048926614}}) {
        CAPTURE(row.amplitude);
        for (double const speed : {0.01, 4.0 / 15}) { // 16 m/min is 4/15 m/s
            double const wavelength = millimetres(row.wavelength);
            auto const seam = woven(millimetres(row.amplitude), wavelength, speed);
            double const length = way_of(seam, wavelength / speed);
            CHECK(seam.duration() == doctest::Approx(wavelength / speed).epsilon(8 * epsilon));
            CHECK(seam.length() ==
                  doctest::Approx(wavelength).epsilon(8 * epsilon)); // the weave is not in it
            // Half a unit of the last digit; the quadrature's 1e-13 is far below.
            CHECK(std::abs(in_millimetres(length) - row.length) <= 0.5e-10);
            double const expected = sine_length(millimetres(row.amplitude), wavelength);
            CHECK(length == doctest::Approx(expected).epsilon(1e-12));
        }
    }
}

TEST_CASE("the amplitude is to each side and the frequency in swings there and back a second") {
    // 300 Hz, ±0.5 mm at 16 m/min: the extremes are at a quarter and three quarters of 1/300 s.
    Plane<> const flat{Pose<Part, Face>::identity()};
    auto const seam =
        at_speed(straight_between({0, 0}, {0.05, 0}), flat, metres_per_minute(16), {300, 0.0005});
    CHECK(seam.at(0.0).position.y == 0);
    CHECK(seam.at(0.25 / 300).position.y == doctest::Approx(0.0005).epsilon(epsilon)); // left of travel first
    CHECK(seam.at(0.75 / 300).position.y == doctest::Approx(-0.0005).epsilon(epsilon));
    // Acceleration of a sine: A ω² at the turn; the speed across is A ω at the middle.
    using T = Taylor<double, 2>;
    double const omega = 2 * pi * 300;
    CHECK(seam.at(T::variable(0.25 / 300)).position.y.derivative(2) ==
          doctest::Approx(-0.0005 * omega * omega).epsilon(8 * epsilon));
    CHECK(seam.at(T::variable(0.0)).position.y.derivative(1) ==
          doctest::Approx(0.0005 * omega).epsilon(8 * epsilon));
}

TEST_CASE("the spot runs along every shape at the speed asked for, and the way is the length") {
    auto const check = [](auto const& seam, double speed, std::string const& name) {
        CAPTURE(name);
        double const duration = seam.duration();
        for (int i = 0; i <= 40; ++i) {
            // A velocity of three sums of three products; the inclined axes are unit to a few bits.
            CHECK(speed_of(seam, duration * i / 40) == doctest::Approx(speed).epsilon(10 * epsilon));
        }
        CHECK(way_of(seam, duration) == doctest::Approx(seam.length()).epsilon(1e-12));
        CHECK(seam.length() == doctest::Approx(speed * duration).epsilon(4 * epsilon));
    };
    for (double const speed : {1e-6, 4.0 / 15, 10.0}) {
        auto const straight = at_speed(straight_between({0.01, -0.02}, {0.04, 0.02}), inclined(), speed);
        check(straight, speed, "straight");
        CHECK(straight.length() == doctest::Approx(0.05).epsilon(4 * epsilon)); // 3, 4, 5
        auto const arc = at_speed(arc_around({0.01, 0.02}, 0.03, 1, -1.5), inclined(), speed);
        check(arc, speed, "arc, clockwise");
        CHECK(arc.length() == doctest::Approx(0.045).epsilon(4 * epsilon)); // radius times turn
        for (bool const clockwise : {false, true}) {
            auto const circle = at_speed(circle_around({0.01, 0.02}, 0.03, 2, clockwise), inclined(), speed);
            check(circle, speed, "circle");
            CHECK(circle.length() == doctest::Approx(0.03 * pi).epsilon(4 * epsilon));
        }
        auto const tiny = at_speed(arc_around({0.01, 0.02}, 1e-5, 0, 10), inclined(), speed);
        check(tiny, speed, "0.1 mm long");
        check(AnySeam(arc), speed, "arc chosen at run time");
        // A curve of vanishing bend: a circle of a kilometre; the angle s / r is small and keeps its digits,
        // but its difference to the start angle's does not: one bit of 1 rad times 1 km is 2e-13 m in the
        // place.
        check(at_speed(arc_around({0, 0}, 1000, 0, 5e-5), inclined(), speed), speed, "almost straight");
    }
    auto const still = held({0.01, 0.02}, inclined(), 0.2);
    check(still, 0, "held point");
}

TEST_CASE("a circle weave is a trochoid, as long as the elliptic integral says") {
    // One turn while the seam's point runs on: 4 (v + p) E(m) / ω, p = A ω, m = 4 v p / (v + p)². For v = 50
    // mm/s, A = 1 mm, ω = 20π: 7.3258141665 mm (by quadrature apart from this project).
    double const v = 0.05, a = 0.001, omega = 20 * pi, p = a * omega;
    double const k = 2 * std::sqrt(v * p) / (v + p);
    double const expected = 4 * (v + p) * boost::math::ellint_2(k) / omega;
    CHECK(std::abs(in_millimetres(expected) - 7.3258141665) <= 0.5e-10);
    Weave weave{10, a};
    weave.form = WeaveForm::circle;
    auto const seam = at_speed(straight_between({0, 0}, {0.05, 0}), inclined(), v, weave);
    CHECK(way_of(seam, 0.1) == doctest::Approx(expected).epsilon(1e-12));
}

TEST_CASE("the rule that arc lengths are integrated by is Boost.Math's Gauss rule with ten points") {
    using Rule = boost::math::quadrature::gauss<double, 10>;
    REQUIRE(Rule::abscissa().size() == std::size(detail::gauss_ten));
    for (std::size_t i = 0; i < Rule::abscissa().size(); ++i) {
        CHECK(detail::gauss_ten[i].place == Rule::abscissa()[i]);
        CHECK(detail::gauss_ten[i].weight == Rule::weights()[i]);
    }
}
