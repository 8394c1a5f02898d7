#include "seamhold/beam/caustic_fit.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/units.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <limits>
#include <string>
#include <utility>
#include <vector>

// The fit of a caustic to measured diameters: exact rows come back, errors show, wrong rows are named. The
// diameters are invented and made by d² = d0² + Θ²(z − z0)² here.

using namespace seamhold;
using seamhold::test::near;
using seamhold::test::Random;
using seamhold::test::refusal_of;

namespace {

double diameter(double waist, double divergence, double away) { return std::hypot(waist, divergence * away); }

// `planes` of them evenly from `first` to `last` Rayleigh lengths about the waist at `place`.
std::vector<MeasuredDiameter> row_of(double waist, double divergence, double place, int planes, double first,
                                     double last) {
    std::vector<MeasuredDiameter> row;
    for (int i = 0; i < planes; ++i) {
        double const away = (first + (last - first) * i / (planes - 1)) * waist / divergence;
        row.push_back({place + away, diameter(waist, divergence, away)});
    }
    return row;
}

} // namespace

TEST_CASE("diameters without errors come back, wherever the row's zero is and in whatever units") {
    for (double const scale : {1e-3, 1.0, 50.0})
        for (double const place : {0.0, 0.1, -0.3}) {
            double const d_0 = 220e-6 * scale, spread = 18e-3, length = d_0 / spread;
            auto const row = row_of(d_0, spread, place * scale, 13, -3, 3);
            auto const fit = fit_caustic(row, 1064e-9 * scale);
            // Places of up to 0.3 m with a Rayleigh length of 12 mm: 25 units in the last place of it, times
            // the slope of a diameter; and some fifty roundings in the sums.
            double const bound = 2e-13;
            CAPTURE(scale);
            CAPTURE(place);
            CHECK(near(fit.waist_diameter, d_0, bound));
            CHECK(near(fit.full_divergence, spread, bound));
            CHECK(std::abs(fit.caustic.waist_place - place * scale) <= bound * length);
            CHECK(near(fit.caustic.rayleigh_length, length, bound));
            CHECK(near(fit.caustic.waist_radius, d_0 / 2, bound));
            CHECK(fit.residual <= bound * d_0);
            CHECK(fit.waist_inside);
            CHECK(fit.planes == 13);
            CHECK(fit.near == 5); // −1, −½, 0, ½, 1
            CHECK(fit.far == 6);  // ±2, ±2½, ±3
            CHECK(near(fit.m_squared, fit.caustic.m_squared(1064e-9 * scale), 1e-14));
            CHECK(fit.warnings().empty());
        }
}

TEST_CASE("a row that lies to one side of the waist finds it all the same") {
    double const d_0 = 220e-6, spread = 18e-3, length = d_0 / spread;
    for (auto const& ends : {std::pair{-4.0, 1.5}, std::pair{-1.0, 5.0}, std::pair{2.0, 6.0}}) {
        double const first = ends.first, last = ends.second;
        auto const fit = fit_caustic(row_of(d_0, spread, 0.1, 13, first, last), 1064e-9);
        CAPTURE(first);
        // Seen from two Rayleigh lengths away, 4ac − b² is 1/9 of its terms, and its root carries half of
        // that; hence ten times the bound of a row about the waist.
        CHECK(std::abs(fit.caustic.waist_place - 0.1) <= 2e-12 * length);
        CHECK(near(fit.waist_diameter, d_0, 2e-12));
        CHECK(near(fit.full_divergence, spread, 2e-12));
        CHECK(fit.waist_inside == (first < 0));
    }
}

TEST_CASE("the fit is the least sum of relative squares: its conditions hold, written out here") {
    // With y = d² and f = d0² + Θ²(z − z0)², the derivatives of Σ ((y − f)/y)² by the parabola's three
    // coefficients, Σ (y − f)/y² (1, u, u²), are zero.
    Random random(9102);
    for (int run = 0; run < 20; ++run) {
        auto row = row_of(220e-6, 18e-3, 0.1, 15, -4, 3);
        for (auto& plane : row)
            plane.diameter *= 1 + 0.02 * random.normal();
        auto const fit = fit_caustic(row, 1064e-9);
        for (int power = 0; power <= 2; ++power) {
            double sum = 0, size = 0;
            for (auto const& plane : row) {
                double const y = std::pow(plane.diameter, 2);
                double const f = std::pow(
                    diameter(fit.waist_diameter, fit.full_divergence, plane.place - fit.caustic.waist_place),
                    2);
                double const term = (y - f) / (y * y) * std::pow((plane.place - 0.1) / 0.05, power);
                sum += term;
                size += std::abs(term);
            }
            // Terms are differences of 2 % of their parts, each right to 1e-13.
            CHECK(std::abs(sum) <= 1e-10 * size);
        }
    }
}

TEST_CASE("one plane that is off is named, and the order of rows does not count") {
    auto row = row_of(220e-6, 18e-3, 0.1, 13, -3, 3);
    row[4].diameter *= 1.05;
    auto const fit = fit_caustic(row, 1064e-9);
    CHECK(fit.worst_plane == 4);
    CHECK(fit.worst_residual > 0.6 * 0.05 * row[4].diameter); // the rest the fit takes up
    CHECK(fit.worst_residual < 0.05 * row[4].diameter);
    CHECK(fit.residual < fit.worst_residual);
    CHECK(fit.residual > fit.worst_residual / std::sqrt(13.0));
    // Root mean square, summed here.
    double sum = 0;
    for (auto const& plane : row)
        sum += std::pow(plane.diameter - diameter(fit.waist_diameter, fit.full_divergence,
                                                  plane.place - fit.caustic.waist_place),
                        2);
    CHECK(near(fit.residual, std::sqrt(sum / 13), 1e-12)); // a dozen roundings of diameters 30 times as large
    std::vector<MeasuredDiameter> const back(row.rbegin(), row.rend());
    auto const reversed = fit_caustic(back, 1064e-9);
    CHECK(near(reversed.m_squared, fit.m_squared, 1e-13)); // the same sums, added the other way round
    CHECK(reversed.worst_plane == 8);
}

TEST_CASE("random errors of a hundredth: the fit is right to what they leave") {
    // Thirteen planes of 1 % each: M² is of two figures, each known to about 1 %·√(3/13); five times that.
    Random random(9101);
    double worst = 0, mean = 0;
    int const count = 400;
    for (int i = 0; i < count; ++i) {
        auto row = row_of(220e-6, 18e-3, 0.1, 13, -3, 3);
        for (auto& plane : row)
            plane.diameter *= 1 + 0.01 * random.normal();
        double const ratio = fit_caustic(row, 1064e-9).m_squared / 2.9230984277 - 1;
        worst = std::max(worst, std::abs(ratio));
        mean += ratio / count;
    }
    CHECK(worst < 5 * 0.01 * 2 * std::sqrt(3.0 / 13));
    CHECK(worst > 0.003); // it is not that the errors were left out
    // No bias beyond the mean's own spread, some 1 %/√400, and the fit's second order, (1 %)²: five times.
    CHECK(std::abs(mean) < 5 * (0.01 / 20 + 1e-4));
}

TEST_CASE("what is weak is said") {
    auto const some = fit_caustic(row_of(220e-6, 18e-3, 0.1, 5, -1, 1), 1064e-9);
    auto const said = some.warnings();
    REQUIRE(said.size() == 2);
    CHECK(said[0] == "only 5 planes: ISO 11146-1 asks for 10");
    CHECK(said[1] == "only 0 planes beyond two Rayleigh lengths of the waist");
    auto const beside = fit_caustic(row_of(220e-6, 18e-3, 0.1, 12, 1.5, 4), 1064e-9).warnings();
    REQUIRE(beside.size() == 2);
    CHECK(beside[0] == "only 0 planes within one Rayleigh length of the waist");
    CHECK(beside[1] == "the waist at 0.1 m lies outside the planes measured");
    // The same row at ten times the wavelength: M² 0.29.
    auto const low = fit_caustic(row_of(220e-6, 18e-3, 0.1, 13, -3, 3), 1064e-8).warnings();
    REQUIRE(low.size() == 1);
    CHECK(low[0] == "an M2 of 0.292309843 is below 1: widths, places or wavelength are off");
}

TEST_CASE("rows that say nothing of a beam are refused, by name") {
    auto const row = row_of(220e-6, 18e-3, 0.1, 13, -3, 3);
    CHECK(refusal_of([&] { return fit_caustic({}, 1e-6); }) ==
          "a fit of a beam needs 4 different planes or more, and ISO 11146-1 asks for 10: given 0");
    // Repeats of three planes are three planes.
    CHECK(refusal_of([&] {
              return fit_caustic({row[0], row[6], row[12], row[12], row[0]}, 1e-6);
          }) == "a fit of a beam needs 4 different planes or more, and ISO 11146-1 asks for 10: given 3");
    auto wrong = row;
    wrong[2].place = std::numeric_limits<double>::quiet_NaN();
    CHECK(refusal_of([&] {
              return fit_caustic(wrong, 1e-6);
          }).find("a place (m) in row 3 of the measured diameters of ") == 0);
    wrong = row;
    wrong[12].diameter = 0;
    CHECK(refusal_of([&] { return fit_caustic(wrong, 1e-6); }) ==
          "a diameter (m) in row 13 of the measured diameters of 0 is not possible: it must be above 0");
    CHECK(refusal_of([&] { return fit_caustic(row, 0); }).find("a wavelength (m) of 0") == 0);
    // A row that narrows on both sides, c = −1e-3; and one that runs through a straight cone's tip into
    // nothing: d² = 1 + 4z + z², 4ac − b² = −12.
    std::vector<MeasuredDiameter> narrowing, crossing;
    for (int i = -2; i <= 2; ++i)
        narrowing.push_back({1e-3 * i, std::sqrt(1e-6 - 1e-3 * 1e-6 * i * i)});
    for (int i = 0; i <= 4; ++i)
        crossing.push_back({1.0 * i, std::sqrt(1.0 + 4 * i + i * i)});
    CHECK(refusal_of([&] { return fit_caustic(narrowing, 1e-6); })
              .find("have no waist: with d2 = a + bz + "
                    "cz2, c is -0.001 ") != std::string::npos);
    auto const message = refusal_of([&] { return fit_caustic(crossing, 1e-6); });
    CAPTURE(message);
    CHECK(message.find("4ac - b2 is -12,") != std::string::npos);
}
