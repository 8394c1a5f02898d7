#ifndef SEAMHOLD_CALIBRATE_FIELD_POLYNOMIAL_HPP
#define SEAMHOLD_CALIBRATE_FIELD_POLYNOMIAL_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/head/field_map.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace seamhold {

/// One term of a field's displacement: a product of Legendre's polynomials of the two commanded angles, which
/// run from −1 to 1 over their ranges, in the true angle of the x or of the y mirror.
struct FieldTerm {
    int x_degree;
    int y_degree;
    bool of_y;              ///< whether it moves the y mirror's angle, else the x mirror's
    double coefficient = 0; ///< rad, so about what it moves at the field's edge

    /// The degree of the term.
    int degree() const { return x_degree + y_degree; }
};

/// A term as a message shows it: "x mirror: degree 1 in x, 2 in y".
inline std::string to_string(FieldTerm const& term) {
    std::string const of = term.of_y ? "y mirror: " : "x mirror: ";
    if (term.degree() == 0)
        return of + "constant";
    std::string text;
    if (term.x_degree > 0)
        text = "degree " + std::to_string(term.x_degree) + " in x";
    if (term.y_degree > 0)
        text += (text.empty() ? "degree " : ", ") + std::to_string(term.y_degree) + " in y";
    return of + text;
}

/// A smooth field as few numbers: true less commanded mirror angles, a polynomial over the commanded ones.
struct FieldPolynomial {
    Range x; ///< of the commanded x mirror angle, rad: where the polynomial is meant to hold
    Range y; ///< of the y mirror's
    std::vector<FieldTerm> terms;

    /// The displacement at commanded angles, x and y mirror, rad.
    std::array<double, 2> at(double x_mirror, double y_mirror) const {
        std::array<double, 2> sum{};
        for (auto const& term : terms)
            sum[term.of_y ? 1 : 0] += term.coefficient * value(term, x_mirror, y_mirror);
        return sum;
    }

    /// A term at commanded angles without its coefficient.
    double value(FieldTerm const& term, double x_mirror, double y_mirror) const {
        return legendre(term.x_degree, scaled(x, x_mirror)) * legendre(term.y_degree, scaled(y, y_mirror));
    }

    /// A commanded angle from −1 to 1 over its range.
    static double scaled(Range const& range, double angle) {
        return (2 * angle - range.low - range.high) / (range.high - range.low);
    }

    /// Legendre's polynomial of a degree, by Bonnet's recursion (from memory).
    static double legendre(int degree, double u) {
        double before = 1, now = u;
        if (degree == 0)
            return before;
        for (int i = 1; i < degree; ++i) {
            double const next = ((2 * i + 1) * u * now - i * before) / (i + 1);
            before = now;
            now = next;
        }
        return now;
    }
};

/// All terms up to a total degree, lowest first.
inline std::vector<FieldTerm> field_terms(int degree) {
    std::vector<FieldTerm> terms;
    for (int total = 0; total <= degree; ++total)
        for (int y = 0; y <= total; ++y)
            for (bool const of_y : {false, true})
                terms.push_back({total - y, y, of_y});
    return terms;
}

/// A field map made of a polynomial, and what was lost on the way.
struct SampledField {
    FieldMap map;
    double worst; ///< the largest distance of the map from the polynomial, rad, looked at between the samples
};

/// A polynomial, after an earlier map if there is one, as a field map: sampled at `count` times `count`
/// places of its ranges, as far as `marked` lie around them (within a tenth of the range beyond their hull),
/// and fitted by `fit_field_map`, whose refusals are passed on: a polynomial that folds over makes no map. A
/// polynomial of degree 7 is met to some millionths of its size by 17 samples a side.
inline SampledField sampled_field(FieldPolynomial const& polynomial,
                                  std::vector<std::array<double, 2>> const& marked,
                                  FieldMap const* earlier = nullptr, int count = 17) {
    auto const true_angles = [&](double x, double y) {
        auto const by = polynomial.at(x, y);
        auto const from = earlier ? earlier->forward(x, y) : std::array<double, 2>{x, y};
        return std::array<double, 2>{from[0] + by[0], from[1] + by[1]};
    };
    auto const place = [](Range const& range, int i, int places) {
        return range.low + (range.high - range.low) * i / (places - 1);
    };
    // How far the marks reach in many directions, in the scaled angles.
    constexpr int directions = 72;
    auto const ahead = [&](int k, double x, double y) {
        double const turn = 6.283185307179586 * k / directions;
        return std::cos(turn) * FieldPolynomial::scaled(polynomial.x, x) +
               std::sin(turn) * FieldPolynomial::scaled(polynomial.y, y);
    };
    std::array<double, directions> reach;
    reach.fill(-std::numeric_limits<double>::infinity());
    for (auto const& mark : marked)
        for (int k = 0; k < directions; ++k)
            reach[static_cast<std::size_t>(k)] =
                std::max(reach[static_cast<std::size_t>(k)], ahead(k, mark[0], mark[1]));
    auto const among_marks = [&](double x, double y, double beyond) {
        for (int k = 0; k < directions; ++k)
            if (ahead(k, x, y) > reach[static_cast<std::size_t>(k)] + beyond)
                return false;
        return true;
    };

    std::vector<FieldMark> marks;
    for (int i = 0; i < count; ++i)
        for (int k = 0; k < count; ++k) {
            double const x = place(polynomial.x, i, count), y = place(polynomial.y, k, count);
            if (among_marks(x, y, 0.2))
                marks.push_back({marks.size() + 1, {x, y}, true_angles(x, y)});
        }
    SampledField sampled{fit_field_map(marks), 0};
    int const fine = 3 * count;
    for (int i = 0; i < fine; ++i)
        for (int k = 0; k < fine; ++k) {
            double const x = place(polynomial.x, i, fine), y = place(polynomial.y, k, fine);
            if (!among_marks(x, y, 1e-9))
                continue;
            auto const wanted = true_angles(x, y);
            auto const got = sampled.map.forward(x, y);
            sampled.worst = std::max(sampled.worst, std::hypot(got[0] - wanted[0], got[1] - wanted[1]));
        }
    return sampled;
}

} // namespace seamhold

#endif
