#include "seamhold/curve/arc_length.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/elementary.hpp"
#include "support/numbers.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;
using U = Taylor<double, 3>;
template <int D> using Components = std::array<U, D>;

// What a curve by arc length finds at s.
template <int D> ValuesAndSlopes<double, D> found(ByArcLength<D> const& curve, double s) {
    auto const after = std::upper_bound(curve.start.begin() + 1, curve.start.end() - 1, s);
    auto const i = static_cast<std::size_t>(after - curve.start.begin()) - 1;
    return curve.piece[i].at(s - curve.start[i]);
}

} // namespace

TEST_CASE("a circle by a crooked parameter comes back by its arc length") {
    // The angle is u + 0.6 sin u: the speed changes by a factor of four along the way.
    for (double const radius : {1e-4, 0.03, 20.0}) {
        CAPTURE(radius);
        auto const circle = [=](std::size_t, double u) {
            auto const t = U::variable(u);
            auto const both = sin_cos(t + sin_cos(t).sin * 0.6);
            return Components<2>{both.cos * radius, both.sin * radius};
        };
        auto const made = by_arc_length<2, 2>(circle, std::array{2 * pi});
        CHECK(made.length() == doctest::Approx(2 * pi * radius).epsilon(1e-13));
        for (int i = 0; i <= 500; ++i) {
            double const angle = 2 * pi * i / 500;
            auto const p = found(made, angle * radius);
            // The stated bound of 3e-13 of a piece, and the length summed up to there.
            CHECK(std::abs(p.value[0] - radius * std::cos(angle)) <= 1e-12 * radius);
            CHECK(std::abs(p.value[1] - radius * std::sin(angle)) <= 1e-12 * radius);
            CHECK(std::abs(p.slope[0] + std::sin(angle)) <= 1e-12);
            CHECK(std::abs(p.slope[1] - std::cos(angle)) <= 1e-12);
        }
    }
}

TEST_CASE("lengths in closed form: a parabola, a helix, a catenary") {
    auto const parabola = [](std::size_t, double u) {
        auto const t = U::variable(u);
        return Components<2>{t, t * t};
    };
    // ½√5 + ¼ asinh 2 (elementary calculus).
    CHECK(by_arc_length<2, 2>(parabola, std::array{1.0}).length() ==
          doctest::Approx(std::sqrt(5.0) / 2 + std::asinh(2.0) / 4).epsilon(2e-15));
    auto const helix = [](std::size_t, double u) {
        auto const both = sin_cos(U::variable(u));
        return Components<3>{both.cos * 10.0, both.sin * 10.0, U::variable(u) * (5 / (2 * pi))};
    };
    auto const made = by_arc_length<3, 3>(helix, std::array{6 * pi});
    CHECK(made.length() == doctest::Approx(3 * std::hypot(20 * pi, 5)).epsilon(2e-15));
    // On a helix the place at s is closed form too.
    double const rate = 2 * pi / std::hypot(20 * pi, 5); // rad per length
    for (double const s : {1.0, 50.0, 150.0}) {
        auto const p = found(made, s);
        CHECK(std::abs(p.value[0] - 10 * std::cos(rate * s)) <= 1e-12 * 10);
        CHECK(std::abs(p.value[2] - rate * s * 5 / (2 * pi)) <= 1e-12 * 10);
    }
    auto const catenary = [](std::size_t, double u) { // y = cosh x, whose length is sinh x
        auto const t = U::variable(u);
        return Components<2>{t, (exp(t) + exp(-t)) * 0.5};
    };
    CHECK(by_arc_length<2, 2>(catenary, std::array{3.0}).length() ==
          doctest::Approx(std::sinh(3.0)).epsilon(2e-15));
}

TEST_CASE("components that are no place follow along, and are met as shares of one") {
    // The third component, the sine of the angle, has its own derivatives but no part in the length.
    auto const curve = [](std::size_t, double u) {
        auto const both = sin_cos(U::variable(u) * 2.0);
        return Components<3>{both.cos * 0.01, both.sin * 0.01, both.sin};
    };
    auto const made = by_arc_length<3, 2>(curve, std::array{1.5});
    CHECK(made.length() == doctest::Approx(0.03).epsilon(1e-14));
    for (int i = 0; i <= 30; ++i) {
        double const s = 0.03 * i / 30;
        CHECK(std::abs(found(made, s).value[2] - std::sin(s / 0.01)) <= 1e-12);
    }
}

TEST_CASE("stretches: where they start, and corners between them") {
    // Two legs of 3 and 4 with a right angle between; each has its own parameter from 0.
    auto const legs = [](std::size_t i, double u) {
        auto const t = U::variable(u);
        return i == 0 ? Components<2>{t * 3.0, t * 0.0} : Components<2>{U(3), t * t * 2.0 + t * 2.0};
    };
    auto const made = by_arc_length<2, 2>(legs, std::array{1.0, 1.0});
    REQUIRE(made.stretch_start.size() == 3);
    CHECK(made.stretch_start[0] == 0);
    CHECK(made.stretch_start[1] == doctest::Approx(3).epsilon(2 * epsilon));
    CHECK(made.stretch_start[2] == doctest::Approx(7).epsilon(4 * epsilon));
    CHECK(made.start.size() == made.piece.size() + 1);
    CHECK(found(made, 5.0).value[1] == doctest::Approx(2).epsilon(1e-12));
}

TEST_CASE("far from the origin only bits of the coordinates are lost") {
    // A ring of 1 mm at 100 m: a bit of the place is 1.4e-14 m; slopes and length know nothing of it.
    auto const ring = [](std::size_t, double u) {
        auto const both = sin_cos(U::variable(u));
        return Components<2>{both.cos * 1e-3 + 100.0, both.sin * 1e-3 - 100.0};
    };
    auto const made = by_arc_length<2, 2>(ring, std::array{2 * pi});
    CHECK(made.length() == doctest::Approx(2e-3 * pi).epsilon(1e-13));
    for (double const angle : {0.3, 2.0, 5.5}) {
        auto const p = found(made, angle * 1e-3);
        CHECK(std::abs(p.value[0] - (100 + 1e-3 * std::cos(angle))) <= 100 * epsilon);
        CHECK(std::abs(p.slope[0] + std::sin(angle)) <= 1e-12);
    }
}

TEST_CASE("the pieces join with three derivatives") {
    auto const curve = [](std::size_t, double u) {
        auto const t = U::variable(u);
        return Components<2>{t, sin_cos(t).sin};
    };
    auto const made = by_arc_length<2, 2>(curve, std::array{3.0});
    REQUIRE(made.piece.size() > 4);
    for (std::size_t i = 1; i < made.piece.size(); ++i) {
        double const h = made.start[i] - made.start[i - 1];
        auto const a = made.piece[i - 1].at(Taylor<double, 3>::variable(h));
        auto const b = made.piece[i].at(Taylor<double, 3>::variable(0.0));
        for (std::size_t d = 0; d < 2; ++d)
            for (int k = 0; k <= 3; ++k) // rounding of a piece's own scale grows by 1/h for each
                CHECK(std::abs(a.value[d].coefficient[k] - b.value[d].coefficient[k]) <=
                      1e-13 * std::pow(h, 1 - k));
    }
}

TEST_CASE("what is no curve is refused, with the place") {
    auto const refused = [](auto const& x, auto const& y, std::vector<double> const& widths) {
        return refusal_of([&] {
            return by_arc_length<2, 2>(
                [&](std::size_t, double u) {
                    return Components<2>{x(U::variable(u)), y(U::variable(u))};
                },
                widths);
        });
    };
    auto const same = [](U const& u) { return u; };
    auto const still = refused([](U const&) { return U(1); }, [](U const&) { return U(2); }, {1});
    CHECK(has(still, "stands still"));
    CHECK(has(still, "stretch 0"));
    // The parabola's point of return: (v², v²) stands still at v = 0, in the middle of the stretch.
    auto const there_and_back = [](U const& u) { return (u + -0.5) * (u + -0.5); };
    CHECK(has(refused(there_and_back, there_and_back, {1}), "parameter 0.5"));
    // A corner: |u − 1/3| in y.
    auto const bent = [](U const& u) { return u.value() < 1.0 / 3 ? -(u + -1.0 / 3) : u + -1.0 / 3; };
    auto const corner = refused(same, bent, {1});
    CHECK(has(corner, "not smooth"));
    CHECK(has(corner, "0.33333333"));
    // A jump of the place.
    CHECK(has(refused(same, [](U const& u) { return u.value() < 0.7 ? u : u + 0.1; }, {1}), "not smooth"));
    CHECK(has(refused(same, [](U const& u) { return u * infinity; }, {1}), "not finite"));
    CHECK(has(refused(same, [](U const& u) { return u * not_a_number; }, {1}), "not finite"));
    CHECK(has(refused(same, same, {1, 0}), "stretch 1"));
    CHECK(has(refused(same, same, {-1}), "stretch 0"));
    CHECK(has(refused(same, same, {infinity}), "stretch 0"));
    CHECK(has(refused(same, same, {}), "one stretch"));
}
