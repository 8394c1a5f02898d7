#ifndef SEAMHOLD_CALIBRATE_FIVE_MARKS_HPP
#define SEAMHOLD_CALIBRATE_FIVE_MARKS_HPP

#include "seamhold/calibrate/estimate.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// Where a mark was found on a plate, m.
struct MarkPlace {
    double x; ///< m
    double y; ///< m
};

/// How marks have moved from one look to the next: a shift, a turn and a scale of the field about the middle
/// of the marks, and what these leave.
struct MarksMove {
    Estimate shift_x;                 ///< of the middle, m
    Estimate shift_y;                 ///< of the middle, m
    Estimate turn;                    ///< from x towards y, rad
    Estimate scale;                   ///< growth: 0.001 is a field larger by a thousandth
    std::vector<MarkPlace> remainder; ///< mark by mark, m; of an odd mark, how far it lies from where the
                                      ///< others put it
    std::vector<double> moved;        ///< how far each mark has moved in all, m
    std::optional<std::size_t> odd; ///< the mark, from 0, that did not move with the others and was left out
    double reach;                   ///< of the farthest mark from the middle, m
    double chi_squared;             ///< Σ remainder² / variance of the marks that were used
    double degrees_of_freedom;      ///< of it
};

namespace detail {

using Complex = std::complex<double>; // products by hand: std's care for infinities is not wanted

inline Complex product(Complex a, Complex b) {
    return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

/// after ≈ middle_after + factor · (before − middle_before): a turn and a scale.
struct Similarity {
    Complex middle_before, middle_after, factor;
    double spread; ///< Σ |before − middle|², m²
    double sum;    ///< of the squares that remain, m²
};

inline Similarity similarity_of(std::vector<Complex> const& before, std::vector<Complex> const& after,
                                std::optional<std::size_t> without = {}) {
    Similarity fit{};
    double const n = static_cast<double>(before.size()) - (without ? 1 : 0);
    auto const each = [&](auto const& use) {
        for (std::size_t i = 0; i < before.size(); ++i)
            if (i != without)
                use(before[i], after[i]);
    };
    each([&](Complex b, Complex a) {
        fit.middle_before += b / n;
        fit.middle_after += a / n;
    });
    Complex products;
    each([&](Complex b, Complex a) {
        fit.spread += std::norm(b - fit.middle_before);
        products += product(std::conj(b - fit.middle_before), a - fit.middle_after);
    });
    fit.factor = products / fit.spread;
    each([&](Complex b, Complex a) {
        fit.sum += std::norm(a - fit.middle_after - product(fit.factor, b - fit.middle_before));
    });
    return fit;
}

/// Throws BadInput for marks that were mirrored, taken in another order, or given in another unit.
inline void check_marks_move(std::vector<Complex> const& before, std::vector<Complex> const& after,
                             Similarity const& given) {
    struct Unit {
        double factor;
        char const* words;
    };
    for (auto const& unit :
         {Unit{1000, "millimetres given as metres"}, Unit{1e-3, "metres given as millimetres"},
          Unit{25.4, "millimetres given as inches"}, Unit{1 / 25.4, "inches given as millimetres"},
          Unit{1e6, "micrometres given as metres"}}) {
        // Mirrored ones may be in the wrong unit too: the spread alone tells.
        Complex middle;
        for (auto const& a : after)
            middle += a / static_cast<double>(after.size());
        double spread = 0;
        for (auto const& a : after)
            spread += std::norm(a - middle);
        double const growth = std::sqrt(spread / given.spread);
        if (std::abs(growth / unit.factor - 1) < 0.2)
            throw BadInput("the field of the marks has become " + text_of(growth) +
                           " times as large: they look like " + unit.words);
    }
    // A fifth of what remains, where a twentieth of the field remains: no cell moves a field like that.
    double const size = given.spread;
    if (given.sum > size / 400) {
        auto const mirrored = [&after] {
            std::vector<Complex> all;
            all.reserve(after.size());
            for (auto const& a : after)
                all.push_back(std::conj(a));
            return all;
        }();
        auto const better = [&](Similarity const& other) { return other.sum * 25 < given.sum; };
        auto const turned = similarity_of(before, mirrored);
        if (better(turned))
            throw BadInput("the marks look mirrored: with one axis turned round, x and y swapped, or two "
                           "opposite corners swapped, they fit");
        for (std::size_t i = 0; i < after.size(); ++i)
            for (std::size_t k = i + 1; k < after.size(); ++k) {
                auto swapped = after;
                std::swap(swapped[i], swapped[k]);
                if (better(similarity_of(before, swapped)))
                    throw BadInput("marks " + std::to_string(i + 1) + " and " + std::to_string(k + 1) +
                                   " look swapped with each other");
            }
    }
    if (std::abs(std::arg(given.factor)) > 0.5)
        throw BadInput(
            "the marks have turned by " + text_of(std::arg(given.factor)) +
            " rad: the plate lay turned, the marks were taken in another order, or the signs of both "
            "axes were turned");
}

} // namespace detail

/// How marks moved from where they were `before` to where they are `after`, in the same order; five in the
/// middle and the corners of the field are usual, four are needed. `deviation` is the standard deviation, m,
/// of one coordinate of the difference: √(before² + after²), known from outside. A mark that the others do
/// not explain, which would happen by chance in less than `odd_level` of looks, is named and left out; the
/// farthest one only. Shift, turn, scale and remainder do not depend on each other's errors. Exact to some
/// units in the last place of the places. Throws BadInput for marks that are too few, not equally many, not
/// finite or on one place; for marks that look mirrored, swapped or in another unit; and for a deviation that
/// is not above 0.
inline MarksMove marks_move(std::vector<MarkPlace> const& before, std::vector<MarkPlace> const& after,
                            double deviation, double odd_level = 1e-3) {
    if (before.size() != after.size())
        throw BadInput("there were " + std::to_string(before.size()) + " marks before and " +
                       std::to_string(after.size()) + " after; they must be the same ones");
    if (before.size() < 4)
        throw BadInput("a move of marks needs 4 of them, better 5; given " + std::to_string(before.size()));
    if (!(deviation > 0) || !is_finite(deviation))
        throw BadInput("the standard deviation of a mark's coordinate must be above 0 and finite; given " +
                       detail::text_of(deviation) + " m");
    std::vector<detail::Complex> b, a;
    for (std::size_t i = 0; i < before.size(); ++i) {
        for (double const x : {before[i].x, before[i].y, after[i].x, after[i].y})
            if (!is_finite(x))
                throw BadInput("mark " + std::to_string(i + 1) + " has a place that is not finite");
        b.emplace_back(before[i].x, before[i].y);
        a.emplace_back(after[i].x, after[i].y);
    }
    auto fit = detail::similarity_of(b, a);
    double const n = static_cast<double>(b.size());
    if (!(std::sqrt(fit.spread / n) > 3 * deviation))
        throw BadInput("the marks lie within " + detail::text_of(std::sqrt(fit.spread / n)) +
                       " m of their middle: too near to each other for a deviation of " +
                       detail::text_of(deviation) + " m");
    detail::check_marks_move(b, a, fit);

    MarksMove result{};
    double const variance = sqr(deviation);
    double farthest = 0;
    std::size_t farthest_mark = 0;
    for (std::size_t i = 0; i < b.size(); ++i) {
        auto const arm = b[i] - fit.middle_before;
        double const held = 1 - 1 / n - std::norm(arm) / fit.spread; // what a mark's own pull leaves
        auto const miss = a[i] - fit.middle_after - detail::product(fit.factor, arm);
        double const chi = held > 1e-6 ? std::norm(miss) / (held * variance) : 0;
        if (chi > farthest) {
            farthest = chi;
            farthest_mark = i;
        }
    }
    // Of n marks the farthest is looked at: each may be odd by chance in a share odd_level / n of looks.
    if (b.size() >= 5 && chi_squared_tail(farthest, 2) < odd_level / n) {
        result.odd = farthest_mark;
        fit = detail::similarity_of(b, a, result.odd);
    }
    double const used = n - (result.odd ? 1 : 0);
    double const turn_deviation = deviation / std::sqrt(fit.spread); // to first order in turn and scale
    // The shift is that of the middle of all marks, whichever were used.
    detail::Complex middle;
    for (auto const& place : b)
        middle += place / n;
    auto const arm = middle - fit.middle_before;
    auto const shift = fit.middle_after - fit.middle_before + detail::product(fit.factor - 1.0, arm);
    double const shift_deviation = deviation * std::sqrt(1 / used + std::norm(arm) / fit.spread);
    result.shift_x = {shift.real(), shift_deviation};
    result.shift_y = {shift.imag(), shift_deviation};
    result.turn = {std::arg(fit.factor), turn_deviation};
    result.scale = {std::abs(fit.factor) - 1, turn_deviation};
    for (std::size_t i = 0; i < b.size(); ++i) {
        auto const miss = a[i] - fit.middle_after - detail::product(fit.factor, b[i] - fit.middle_before);
        result.remainder.push_back({miss.real(), miss.imag()});
        result.moved.push_back(std::abs(a[i] - b[i]));
        result.reach = std::max(result.reach, std::abs(b[i] - middle));
    }
    result.chi_squared = fit.sum / variance;
    result.degrees_of_freedom = 2 * used - 4;
    return result;
}

} // namespace seamhold

#endif
