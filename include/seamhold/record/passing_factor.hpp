#ifndef SEAMHOLD_RECORD_PASSING_FACTOR_HPP
#define SEAMHOLD_RECORD_PASSING_FACTOR_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/cells.hpp"
#include "seamhold/record/verdict.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <limits>
#include <span>
#include <string>
#include <vector>

namespace seamhold {

/// Where a reading lies in its band, in half widths: 0 at the centre, 1 at the upper limit, -1 at the lower
/// one; outside where it is beyond ±1. At most ±1e300. Not a number for a reading that is not finite. The
/// band must have low < centre < high.
inline double deviation_in_band(double reading, double centre, double low, double high) noexcept {
    if (!is_finite(reading))
        return std::numeric_limits<double>::quiet_NaN();
    double const off = reading - centre;
    return std::clamp(off / (off < 0 ? centre - low : high - centre), -1e300, 1e300);
}

/// How far out a deviation is on one side: positive towards that side.
constexpr double towards(BandSide side, double deviation) noexcept {
    return side == BandSide::above ? deviation : -deviation;
}

/// The judge's rules, counted in cells of one seam. A rule that is not asked allows everything.
struct CellRules {
    std::size_t run;    ///< so many cells may follow each other outside
    std::size_t many;   ///< so many cells may lie outside in all
    double area;        ///< between trace and limit in all, half widths times cells
    std::size_t unseen; ///< so many cells of a channel may stay unseen; no matter of the passing factor
};

/// The same rules, counted in the cells of a seam; a length that is a whole number of cells up to its last
/// bits is that many. Throws BadInput for a length, an area or a share that is negative or not finite, for a
/// share above 1, for a least covered share that is not above 0 and up to 1, and where no rule is asked.
inline CellRules cell_rules(JudgeRules const& rules, Cells const& cells) {
    using detail::text_of;
    auto const check = [](double const x, double const most, std::string const& what) {
        if (!(x >= 0 && x <= most) || !is_finite(x))
            throw BadInput("the judge's " + what + " must be 0 or more" +
                           (is_finite(most) ? " and at most " + text_of(most) : std::string()) +
                           "; given was " + text_of(x));
    };
    constexpr double any = std::numeric_limits<double>::infinity();
    check(rules.longest_run.value_or(0), any, "longest run outside, in m,");
    check(rules.share_outside.value_or(0), 1, "share of the length outside");
    check(rules.area_outside.value_or(0), any, "area outside, in half widths times m,");
    check(rules.longest_unseen, any, "longest stretch unseen, in m,");
    if (!(rules.least_covered > 0 && rules.least_covered <= 1))
        throw BadInput("the judge's least covered share of a cell must be above 0 and at most 1; given was " +
                       text_of(rules.least_covered));
    if (!rules.longest_run && !rules.share_outside && !rules.area_outside)
        throw BadInput("the judge has no rule: a longest run, a share or an area outside is needed");
    // Without cells, or without a length, a count is not a number: then nothing can break the rule.
    auto const whole = [&](double const count) {
        double const most = static_cast<double>(cells.count), counted = count * (1 + 1e-12);
        return counted < most ? static_cast<std::size_t>(counted) : cells.count;
    };
    return {rules.longest_run ? whole(*rules.longest_run / cells.width()) : cells.count,
            rules.share_outside ? whole(*rules.share_outside * static_cast<double>(cells.count))
                                : cells.count,
            rules.area_outside ? *rules.area_outside / cells.width() : any,
            whole(rules.longest_unseen / cells.width())};
}

namespace detail {

/// The least factor, not below `factor`, that leaves no run of more than `most` cells. A run goes from a cell
/// outside to a cell outside; between them all are outside, or unseen. Where the window of most + 1 cells
/// before a cell is outside, the factor rises to the least deviation in it, and no run crosses that place any
/// more.
inline double run_factor(std::span<double const> deviations, BandSide side, std::size_t most, double factor) {
    std::size_t const window = most + 1;
    std::size_t start = 0; // of the run that is open
    bool open = false;
    for (std::size_t i = 0; i < deviations.size(); ++i) {
        if (!is_finite(deviations[i]))
            continue;
        if (!(towards(side, deviations[i]) > factor)) {
            open = false;
            continue;
        }
        if (!open)
            start = i;
        open = true;
        if (i - start + 1 < window)
            continue;
        // The shortest run that is too long and ends here begins at a seen cell.
        std::size_t first = i + 1 - window;
        while (!is_finite(deviations[first]))
            --first;
        std::size_t least = i;
        for (std::size_t k = i; k-- > first;)
            if (is_finite(deviations[k]) && towards(side, deviations[k]) < towards(side, deviations[least]))
                least = k;
        factor = towards(side, deviations[least]);
        open = least < i;
        for (start = least + 1; start < i && !is_finite(deviations[start]);)
            ++start;
    }
    return factor;
}

/// The least factor f, not below `factor`, with Σ (d/f − 1) over all d > f at most `most`: f is the greatest
/// of S/(most + n) over the sums S of the n greatest deviations. From below, each step takes all that lie
/// above f; it rises until nothing changes.
inline double area_factor(std::span<double const> deviations, BandSide side, double most, double factor) {
    for (;;) {
        double sum = 0, count = 0;
        for (double const deviation : deviations)
            if (is_finite(deviation) && towards(side, deviation) > factor) {
                sum += towards(side, deviation);
                count += 1;
            }
        double const next = count > 0 ? sum / (most + count) : 0;
        if (!(next > factor))
            return factor;
        factor = next;
    }
}

/// The least factor, not below `factor`, beyond which at most `most` cells lie. `work` is overwritten.
inline double share_factor(std::span<double const> deviations, BandSide side, std::size_t most, double factor,
                           std::vector<double>& work) {
    work.clear();
    for (double const deviation : deviations)
        if (is_finite(deviation) && towards(side, deviation) > factor)
            work.push_back(towards(side, deviation));
    if (work.size() <= most)
        return factor;
    auto const wanted = work.begin() + static_cast<std::ptrdiff_t>(most);
    std::nth_element(work.begin(), wanted, work.end(), std::greater<>());
    return *wanted;
}

} // namespace detail

/// The passing factor of one channel and one side: the least factor by which the band's half widths there
/// must be multiplied so that the rules pass, or `at_least`, whichever is greater. The side fails if and only
/// if it is above 1 (for the area up to the last bits of its sum). `deviations` is one a cell, as
/// `deviation_in_band` gives them; one that is not finite is an unseen cell: it is never outside, but a run
/// goes on across it. `work` is room that the caller lends, overwritten and grown where it is too small.
/// Exact up to rounding. It takes the cells a few times; at worst, on a steady rise with long runs allowed,
/// cells times the longest run.
inline double passing_factor(std::span<double const> deviations, BandSide side, CellRules const& rules,
                             std::vector<double>& work, double at_least = 0) {
    double factor = at_least;
    if (rules.run < deviations.size())
        factor = detail::run_factor(deviations, side, rules.run, factor);
    if (rules.many < deviations.size())
        factor = detail::share_factor(deviations, side, rules.many, factor, work);
    if (is_finite(rules.area))
        factor = detail::area_factor(deviations, side, rules.area, factor);
    return factor;
}

/// The passing factor of one channel: the greater of its two sides, or `at_least`.
inline double passing_factor(std::span<double const> deviations, CellRules const& rules,
                             std::vector<double>& work, double at_least = 0) {
    double const below = passing_factor(deviations, BandSide::below, rules, work, at_least);
    return passing_factor(deviations, BandSide::above, rules, work, below);
}

} // namespace seamhold

#endif
