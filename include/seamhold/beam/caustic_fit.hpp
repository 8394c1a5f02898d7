#ifndef SEAMHOLD_BEAM_CAUSTIC_FIT_HPP
#define SEAMHOLD_BEAM_CAUSTIC_FIT_HPP

#include "seamhold/beam/caustic.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

namespace seamhold {

/// A beam's diameter as measured in one plane.
struct MeasuredDiameter {
    double place;    ///< along the beam, m
    double diameter; ///< second-moment diameter, m
};

/// What a row of measured diameters says about a beam.
struct CausticFit {
    Caustic<> caustic;       ///< the fitted envelope, in the row's own places
    double waist_diameter;   ///< d0, m
    double full_divergence;  ///< Θ, rad
    double m_squared;        ///< M² = π d0 Θ/(4λ)
    double residual;         ///< root mean square of measured less fitted diameter, m
    double worst_residual;   ///< measured less fitted diameter of the plane that is farthest off, m
    std::size_t worst_plane; ///< its row, from 0
    std::size_t planes;      ///< how many rows there are
    std::size_t near;        ///< how many lie within one Rayleigh length of the waist
    std::size_t far;         ///< how many lie beyond two
    bool waist_inside;       ///< whether the waist lies between the first and the last plane

    /// In words, what keeps the fit from being one after ISO 11146-1: fewer than ten planes, fewer than five
    /// within one Rayleigh length or beyond two (half of ten each, from memory), a waist outside the row, an
    /// M² below 1. Empty where nothing does.
    std::vector<std::string> warnings() const {
        std::vector<std::string> all;
        if (planes < 10)
            all.push_back("only " + std::to_string(planes) + " planes: ISO 11146-1 asks for 10");
        if (near < 5)
            all.push_back("only " + std::to_string(near) + " planes within one Rayleigh length of the waist");
        if (far < 5)
            all.push_back("only " + std::to_string(far) + " planes beyond two Rayleigh lengths of the waist");
        if (!waist_inside)
            all.push_back("the waist at " + detail::text_of(caustic.waist_place) +
                          " m lies outside the planes measured");
        if (m_squared < 1)
            all.push_back("an M2 of " + detail::text_of(m_squared) +
                          " is below 1: widths, places or wavelength are off");
        return all;
    }
};

namespace detail {

/// y ≈ a + b u + c u² for u = (place − middle) / reach.
struct Parabola {
    double a, b, c, middle, reach;
};

/// The parabola through the squares of diameters, in units of the largest squared, with the least sum of
/// ((y − fitted) / y)²: each diameter counts by its own share, to first order. By polynomials that are
/// orthogonal on the planes: G. Forsythe, J. Soc. Indust. Appl. Math. 5 (1957) 74–88 (from memory).
inline Parabola parabola_of(std::vector<MeasuredDiameter> const& row, double largest) {
    auto const [first, last] = std::minmax_element(
        row.begin(), row.end(), [](auto const& p, auto const& q) { return p.place < q.place; });
    Parabola fit{0, 0, 0, (first->place + last->place) / 2, (last->place - first->place) / 2};
    double sum_w = 0, sum_wu = 0, norm_1 = 0, sum_wup = 0, norm_2 = 0;
    struct Term {
        double weight, u, y;
    };
    std::vector<Term> terms;
    for (auto const& plane : row) {
        double const y = sqr(plane.diameter / largest);
        terms.push_back({1 / sqr(y), (plane.place - fit.middle) / fit.reach, y});
        sum_w += terms.back().weight;
        sum_wu += terms.back().weight * terms.back().u;
    }
    double const m = sum_wu / sum_w; // p1 = u − m, p2 = (u − n) p1 − q
    for (auto const& [w, u, y] : terms) {
        norm_1 += w * sqr(u - m);
        sum_wup += w * u * sqr(u - m);
    }
    double const n = sum_wup / norm_1, q = norm_1 / sum_w;
    double c_0 = 0, c_1 = 0, c_2 = 0;
    for (auto const& [w, u, y] : terms) {
        double const p_2 = (u - n) * (u - m) - q;
        norm_2 += w * sqr(p_2);
        c_0 += w * y;
        c_1 += w * y * (u - m);
        c_2 += w * y * p_2;
    }
    c_0 /= sum_w;
    c_1 /= norm_1;
    c_2 /= norm_2;
    fit.a = c_0 - c_1 * m + c_2 * (n * m - q);
    fit.b = c_1 - c_2 * (n + m);
    fit.c = c_2;
    return fit;
}

} // namespace detail

/// The caustic and M² from diameters measured along a beam of this wavelength, m. The squares of the
/// diameters are fitted by d² = a + bz + cz², which gives z0 = −b/(2c), d0 = √(4ac − b²)/(2√c), Θ = √c, zR =
/// √(4ac − b²)/(2c), M² = π√(4ac − b²)/(8λ): ISO 11146-1 (from memory). Each diameter counts by its own
/// share. Rows may stand in any order and planes may be repeated. Throws BadInput, naming the row, for a
/// place that is not finite or a diameter that is not above 0; for fewer than four different planes; for
/// diameters that have no waist (c ≤ 0 or 4ac − b² ≤ 0); for a wavelength as `BeamQuality`. What is merely
/// weak is in `warnings()`. Diameters without errors are met to some 1e-13 of themselves.
inline CausticFit fit_caustic(std::vector<MeasuredDiameter> const& row, double wavelength) {
    (void)BeamQuality<>::from_m2(wavelength, 1);
    double largest = 0;
    std::vector<double> places;
    for (std::size_t i = 0; i < row.size(); ++i) {
        std::string const where = " in row " + std::to_string(i + 1) + " of the measured diameters";
        if (!is_finite(row[i].place))
            detail::refuse_beam("a place (m)" + where, row[i].place, "finite");
        detail::need_above_zero("a diameter (m)" + where, row[i].diameter);
        largest = std::max(largest, row[i].diameter);
        places.push_back(row[i].place);
    }
    std::sort(places.begin(), places.end());
    places.erase(std::unique(places.begin(), places.end()), places.end());
    if (places.size() < 4)
        throw BadInput(
            "a fit of a beam needs 4 different planes or more, and ISO 11146-1 asks for 10: given " +
            std::to_string(places.size()));

    auto const fit = detail::parabola_of(row, largest);
    double const discriminant = 4 * fit.a * fit.c - sqr(fit.b);
    if (!(fit.c > 0) || !(discriminant > 0))
        throw BadInput("the measured diameters have no waist: with d2 = a + bz + cz2, c is " +
                       detail::text_of(fit.c * sqr(largest / fit.reach)) + " and 4ac - b2 is " +
                       detail::text_of(discriminant * sqr(sqr(largest) / fit.reach)) +
                       ", and both must be above 0");

    CausticFit result{};
    result.waist_diameter = largest * std::sqrt(discriminant / fit.c) / 2;
    result.full_divergence = largest * std::sqrt(fit.c) / fit.reach;
    result.m_squared = std::numbers::pi * result.waist_diameter * result.full_divergence / (4 * wavelength);
    result.caustic = {result.waist_diameter / 2, result.waist_diameter / result.full_divergence,
                      fit.middle - fit.reach * fit.b / (2 * fit.c)};
    result.planes = row.size();
    double sum = 0;
    for (std::size_t i = 0; i < row.size(); ++i) {
        double const residual = row[i].diameter - 2 * result.caustic.radius(row[i].place);
        sum += sqr(residual);
        if (std::abs(residual) > std::abs(result.worst_residual)) {
            result.worst_residual = residual;
            result.worst_plane = i;
        }
        double const away = std::abs(result.caustic.defocus_in_rayleigh_lengths(row[i].place));
        result.near += away <= 1 + 1e-9 ? 1U : 0U; // the fit's last bits do not push a plane out
        result.far += away >= 2 - 1e-9 ? 1U : 0U;
    }
    result.residual = std::sqrt(sum / static_cast<double>(row.size()));
    result.waist_inside =
        places.front() <= result.caustic.waist_place && result.caustic.waist_place <= places.back();
    return result;
}

} // namespace seamhold

#endif
