#include "seamhold/head/focus_surface.hpp"

#include "seamhold/head/focus.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::refusal_of;

namespace {

// Invented: mirrors 40 mm apart, a plane half a metre below the last, a focusing lens of 380 mm.
ThinLensFocus<> const law{0.54, 0.38, 0.06};

/// The unfolded path to the plane z = 0.5, from the closed form of the ideal pair.
double path_to_plane(double x_mirror, double y_mirror) {
    return (0.04 + 0.5 / std::cos(2 * y_mirror)) / std::cos(2 * x_mirror);
}

/// A curved and tilted field: the focus falls short of the plane by up to some millimetres.
template <class T> T bent(T const& x, T const& y) {
    using std::exp;
    return exp(x * 9.0 - y * 6.0) * 0.001 + x * 0.004 - x * y * 0.05;
}

std::vector<FocusSurfaceRow> measured(std::size_t side) {
    std::vector<FocusSurfaceRow> rows;
    double const steps = static_cast<double>(side - 1);
    for (std::size_t i = 0; i < side; ++i)
        for (std::size_t k = 0; k < side; ++k) {
            double const x = -0.2 + 0.4 * static_cast<double>(i) / steps;
            double const y = -0.15 + 0.3 * static_cast<double>(k) / steps;
            rows.push_back({x, y, law.lens(path_to_plane(x, y) + bent(x, y))});
        }
    return rows;
}

double worst_between(FocusSurface const& surface) {
    double worst = 0;
    for (int i = 0; i <= 60; ++i)
        for (int k = 0; k <= 60; ++k) {
            double const x = -0.2 + 0.4 * i / 60, y = -0.15 + 0.3 * k / 60;
            worst = std::max(worst, std::abs(surface.shift(x, y) - bent(x, y)));
        }
    return worst;
}

std::string message_of(std::vector<FocusSurfaceRow> const& rows) {
    return refusal_of([&] { return fit_focus_surface(law, std::span(rows), path_to_plane); });
}

} // namespace

TEST_CASE("with its correction the law says on the plane what was measured there, and in between") {
    auto const rows = measured(9);
    auto const surface = fit_focus_surface(law, std::span(rows), path_to_plane);
    // Four cells of 0.1 rad: the fifth derivative, 9⁵·0.001·e^2.7 m, times h⁵ over 2⁴·5!: some 4e-6 m.
    CHECK(surface.worst_residual() <= 4e-6);
    CHECK(surface.worst_row() < rows.size());
    for (auto const& row : rows) {
        double const path = path_to_plane(row.x_mirror, row.y_mirror);
        double const lens = law.lens(path + surface.shift(row.x_mirror, row.y_mirror));
        // A metre of the lens is 1/3 to 1 m of the path here.
        CHECK(std::abs(lens - row.lens) <= 3 * surface.worst_residual());
    }
    CHECK(worst_between(surface) <= 4e-6);
}

TEST_CASE("the correction's error falls with the fifth power of the step") {
    auto const worst_of = [](std::size_t side) {
        auto const rows = measured(side);
        return worst_between(fit_focus_surface(law, std::span(rows), path_to_plane));
    };
    double const coarse = worst_of(17), middle = worst_of(33), fine = worst_of(65);
    MESSAGE("worst, m: " << coarse << ", " << middle << ", " << fine << "; order "
                         << std::log2(coarse / fine) / 2);
    // Over two halvings; one alone is uneven, since the cells' borders move against the rows.
    CHECK(std::log2(coarse / fine) / 2 > 4.7);
    CHECK(middle < coarse / 8);
}

TEST_CASE("missing rows, any order, an uneven number of rows a side") {
    auto rows = measured(11);
    rows.erase(rows.begin() + 40);
    rows.erase(rows.begin() + 7);
    std::reverse(rows.begin(), rows.end());
    CHECK(worst_between(fit_focus_surface(law, std::span(rows), path_to_plane)) <= 4e-6);
    std::vector<FocusSurfaceRow> few;
    for (auto const& row : measured(5))
        few.push_back(
            {row.x_mirror, row.y_mirror, law.lens(path_to_plane(row.x_mirror, row.y_mirror) + 0.003)});
    auto const constant = fit_focus_surface(law, std::span(few), path_to_plane);
    // Polynomials are met to rounding: paths of 0.6 m, through a solve of 25 unknowns with weights down to
    // 1/384 squared.
    CHECK(std::abs(constant.shift(0.05, 0.1) - 0.003) <= 1e-12);
}

TEST_CASE_TEMPLATE("law: every number sees the same correction, with true rates", T, float, Taylor<double, 2>,
                   Taylor<double, 3>, Gradient<double, 2>, Taylor<Gradient<double, 2>, 2>) {
    auto const rows = measured(17);
    auto const surface = fit_focus_surface(law, std::span(rows), path_to_plane);
    T x = number_cast<T>(0.07), y = number_cast<T>(-0.04);
    if constexpr (NumberTraits<T>::rank == 3) {
        using S = std::remove_cvref_t<decltype(x.coefficient[0])>;
        x.coefficient[1] = number_cast<S>(0.8);
        y.coefficient[1] = number_cast<S>(-0.3);
        auto const expected = bent(x, y);
        auto const got = surface.shift(x, y);
        // The error of 17 rows, 5e-8 m, over half a cell a derivative.
        for (std::size_t k = 0; k < std::size(got.coefficient); ++k)
            CHECK(std::abs(value_of(got.coefficient[k]) - value_of(expected.coefficient[k])) <=
                  5e-8 * std::pow(1 / 0.02, k));
    }
    if constexpr (NumberTraits<T>::rank == 2) {
        auto const u = T::variable(0.07, 0), v = T::variable(-0.04, 1);
        auto const expected = bent(u, v);
        auto const got = surface.shift(u, v);
        for (int i = 0; i < 2; ++i)
            CHECK(std::abs(got.partial[i] - expected.partial[i]) <= 5e-8 / 0.02);
    }
    // A float has 1e-7 of 0.02 m and of 0.15 rad.
    CHECK(std::abs(value_of(surface.shift(x, y)) - surface.shift(value_of(x), value_of(y))) <= 1e-8);
    CHECK(std::abs(value_of(surface.clearance(x, y)) - 0.11) <= 1e-7); // to y = −0.15
}

TEST_CASE("outside of the measured angles: a clearance below 0 and a finite answer") {
    auto const rows = measured(9);
    auto const surface = fit_focus_surface(law, std::span(rows), path_to_plane);
    CHECK(surface.clearance(0.0, 0.0) == doctest::Approx(0.15).epsilon(4 * epsilon));
    CHECK(std::abs(surface.clearance(0.19, 0.0) - 0.01) <= 4 * epsilon);
    CHECK(surface.clearance(0.21, 0.0) < 0);
    CHECK(surface.clearance(0.0, -0.16) < 0);
    // The share, which goes with those of other outlines: rectangle ±0.2 by ±0.15 rad; half way to an edge a
    // quarter is gone. 1 in the middle, whatever the unit: a clearance of 0.15 rad would not be.
    CHECK(surface.share(0.0, 0.0) == 1);
    CHECK(std::abs(surface.share(0.1, 0.0) - 0.75) <= 4 * epsilon);
    CHECK(std::abs(surface.share(0.1, 0.12) - (1 - 0.64)) <= 8 * epsilon);
    CHECK(std::abs(surface.share(-0.2, 0.0)) <= 4 * epsilon);
    CHECK(surface.share(0.0, -0.16) < 0);
    CHECK(is_finite(surface.shift(3.0, -3.0)));
    AllocationGuard const guard;
    auto const t = Taylor<double, 3>::variable(0.1);
    CHECK(is_finite(surface.shift(t, t)));
    CHECK(surface.clearance(t, t).derivative(1) == -1);
    CHECK(guard.count() == 0);
}

TEST_CASE("focus surfaces that are none are refused, with the rows") {
    auto const changed = [](auto const& change) {
        auto rows = measured(5);
        change(rows);
        return message_of(rows);
    };
    CHECK(changed([](auto&) {}).empty());
    CHECK(changed([](auto& r) { r.resize(24); }) ==
          "a focus surface needs 25 rows or more, five by five; given were 24");
    CHECK(changed([](auto& r) { r[3].lens = std::numeric_limits<double>::quiet_NaN(); }) ==
          "row 3 of a focus surface holds a number that is not finite");
    CHECK(changed([](auto& r) { r[20] = r[4]; }) ==
          "rows 4 and 20 of a focus surface clash: both are for the mirror angles -0.2 and 0.15 rad");
    CHECK(changed([](auto& r) { r[6].lens = 0.7; }) ==
          "row 6 of a focus surface has a lens displacement of 0.7 m, which the focus law does not know");
    CHECK(changed([](auto& r) {
              for (std::size_t i = 0; i < r.size(); ++i)
                  r[i] = {0.1, 0.01 * static_cast<double>(i), 0};
          }) ==
          "the rows of a focus surface must spread over both mirror angles; given were 0.1 to 0.1 by 0 to "
          "0.24 rad");
    auto const rows = measured(5);
    try {
        (void)fit_focus_surface(law, std::span(rows), [](double x, double) {
            return x > 0 ? std::numeric_limits<double>::infinity() : 0.54;
        });
    } catch (BadInput const& error) {
        CHECK(std::string(error.what()).find("whose beam does not meet the plane") != std::string::npos);
    }
}
