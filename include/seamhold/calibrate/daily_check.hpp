#ifndef SEAMHOLD_CALIBRATE_DAILY_CHECK_HPP
#define SEAMHOLD_CALIBRATE_DAILY_CHECK_HPP

#include "seamhold/calibrate/commissioning.hpp"
#include "seamhold/calibrate/trend.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// What is looked at in a check.
enum class CheckItem { shift_x, shift_y, turn, scale, remainder, focus, power };

/// How many items there are.
inline constexpr std::size_t check_items = 7;

/// How a check's item stands against the record, from best to worst.
enum class CheckVerdict {
    fine,           ///< no change is told from none
    changed,        ///< changed, and surely within the tolerance
    near_tolerance, ///< it cannot be ruled out that it is beyond: measure better, or treat as beyond
    beyond          ///< changed, and beyond the tolerance
};

/// The name of an item, for messages.
inline std::string name_of(CheckItem item) {
    char const* const names[] = {"shift along x", "shift along y", "turn", "scale",
                                 "remainder",     "focus",         "power"};
    return names[static_cast<std::size_t>(item)];
}

/// The name of a verdict, for messages.
inline std::string name_of(CheckVerdict verdict) {
    char const* const names[] = {"fine", "changed", "near its tolerance", "beyond its tolerance"};
    return names[static_cast<std::size_t>(verdict)];
}

/// One item of a check.
struct CheckedItem {
    CheckItem item;   ///< which
    Estimate change;  ///< check less record: m; rad for the turn, 1 for the scale, W for the power; of the
                      ///< remainder, the length of the longest, m, without a deviation of its own
    double tolerance; ///< for it, in the same unit
    CheckVerdict verdict; ///< see there
};

/// A check held against the record.
struct CheckReport {
    std::array<CheckedItem, check_items> items; ///< in the order of `CheckItem`
    MarksMove marks;                            ///< how the marks moved, and which is odd
    double
        farthest_mark; ///< how far the field's farthest moved mark lies from its place, m, the odd one aside
    CheckVerdict verdict;           ///< the worst of the items, and of `farthest_mark` against its tolerance
    bool expired;                   ///< whether the record is older than it is valid for
    std::vector<std::string> words; ///< what to look at, worst first; empty where all is fine
};

/// How sure a change must be.
struct CheckOptions {
    double false_alarm =
        0.01; ///< the share of checks of an unchanged cell in which anything is called changed
};

/// A check held against the record. An item is changed where its difference is larger than the uncertainty of
/// both measurements explains; the bar is set so that over all seven items together an unchanged cell is
/// called changed in a share `false_alarm` of checks: each item gets 1 − (1 − false_alarm)^(1/7) (Z. Šidák,
/// J. Amer. Stat. Assoc. 62 (1967) 626–633, from memory; the items' errors do not depend on each other).
/// Beyond is what is changed and outside of the tolerance; where the tolerance lies within the uncertainty of
/// the difference, it is near, never fine. Turn and scale may move the farthest mark by the marks' tolerance.
/// The remainder is looked at twice, at half its share: by χ² over the marks, which tells a bent field, and
/// mark by mark, which tells an odd one. Throws BadInput for a record or a check that cannot be one, see
/// `checked`, for marks mirrored, swapped or in another unit (`marks_move`), for a check before the record,
/// for powers that look like kilowatts, and for a share outside of (0, 0.5).
inline CheckReport held_against(CommissioningRecord const& record, DailyCheck const& check,
                                CheckOptions const& options = {}) {
    using detail::text_of;
    (void)checked(record);
    detail::check_daily(record, check);
    if (!(options.false_alarm > 0) || !(options.false_alarm < 0.5))
        throw BadInput("the share of false alarms must be above 0 and below 0.5; given " +
                       text_of(options.false_alarm));
    double const share = 1 - std::pow(1 - options.false_alarm, 1.0 / check_items);
    double const mark_deviation = std::hypot(record.mark_deviation, check.mark_deviation);
    CheckReport report{};
    report.marks = marks_move(record.marks, check.marks, mark_deviation, share / 2);
    auto const& marks = report.marks;

    auto const verdict_of = [](double change, double uncertainty, double tolerance, bool told) {
        if (told && std::abs(change) > tolerance)
            return CheckVerdict::beyond;
        if (std::abs(change) + uncertainty > tolerance)
            return CheckVerdict::near_tolerance;
        return told ? CheckVerdict::changed : CheckVerdict::fine;
    };
    auto const judge = [&](CheckItem item, Estimate const& change, double tolerance) {
        double const bar = student_quantile(1 - share / 2, change.degrees_of_freedom) * change.deviation;
        report.items[static_cast<std::size_t>(item)] = {
            item, change, tolerance, verdict_of(change.value, bar, tolerance, std::abs(change.value) > bar)};
    };
    judge(CheckItem::shift_x, marks.shift_x, record.mark_tolerance);
    judge(CheckItem::shift_y, marks.shift_y, record.mark_tolerance);
    judge(CheckItem::turn, marks.turn, record.mark_tolerance / marks.reach);
    judge(CheckItem::scale, marks.scale, record.mark_tolerance / marks.reach);
    double longest = 0;
    for (std::size_t i = 0; i < marks.remainder.size(); ++i) {
        longest = std::max(longest, std::hypot(marks.remainder[i].x, marks.remainder[i].y));
        if (i != marks.odd)
            report.farthest_mark = std::max(report.farthest_mark, marks.moved[i]);
    }
    double const mark_bar =
        mark_deviation *
        std::sqrt(chi_squared_quantile(1 - share / 2 / static_cast<double>(marks.remainder.size()), 2));
    bool const bent = marks.degrees_of_freedom > 0 &&
                      marks.chi_squared > chi_squared_quantile(1 - share / 2, marks.degrees_of_freedom);
    report.items[static_cast<std::size_t>(CheckItem::remainder)] = {
        CheckItem::remainder, Estimate{longest}, record.mark_tolerance,
        verdict_of(longest, marks.odd || bent ? 0 : mark_bar, record.mark_tolerance, marks.odd || bent)};
    judge(CheckItem::focus, difference_of(check.focus, record.focus.found), record.focus.tolerance);
    judge(CheckItem::power, difference_of(check.power, record.power.found), record.power.tolerance);

    for (auto const& item : report.items)
        report.verdict = std::max(report.verdict, item.verdict);
    for (auto const verdict : {CheckVerdict::beyond, CheckVerdict::near_tolerance, CheckVerdict::changed})
        for (auto const& item : report.items)
            if (item.verdict == verdict)
                report.words.push_back(name_of(item.item) + " is " + name_of(verdict) + ": by " +
                                       text_of(item.change.value) + ", allowed are " +
                                       text_of(item.tolerance));
    bool const told = std::any_of(report.items.begin(), report.items.begin() + 5, [](auto const& item) {
        return item.verdict == CheckVerdict::changed || item.verdict == CheckVerdict::beyond;
    });
    if (report.farthest_mark > record.mark_tolerance && told) {
        report.verdict = CheckVerdict::beyond;
        report.words.insert(report.words.begin(), "a mark lies " + text_of(report.farthest_mark) +
                                                      " m from its place, allowed are " +
                                                      text_of(record.mark_tolerance));
    }
    if (marks.odd)
        report.words.insert(report.words.begin(), "mark " + std::to_string(*marks.odd + 1) +
                                                      " did not move with the others: find it again first");
    report.expired = check.date - record.date > record.valid_for;
    if (report.expired)
        report.words.insert(report.words.begin(),
                            "the commissioning record has expired: it was valid until " +
                                text_of(record.date + record.valid_for));
    return report;
}

/// How the checks so far drift, and until when the record may be trusted.
struct CheckTrend {
    /// One item that may leave its tolerance.
    struct Item {
        CheckItem item;  ///< which
        Trend trend;     ///< its change over the date
        Leaving leaving; ///< when it leaves
    };
    std::vector<Item> items; ///< shifts, turn, scale, focus and power
    double valid_until;      ///< by age alone: date and time of validity of the record
    double good_until; ///< the earliest of that and of the first dates at which an item whose trend is told
                       ///< from none may leave: check or calibrate again before
    std::string words; ///< the same for a reader
};

/// From three checks or more, in any order, with the `level` of the items' intervals. `good_until` counts
/// only trends that are told from none; an item that has left already makes it `today`. A forecast permits
/// nothing: the check of the day is done all the same. Throws BadInput as `held_against`, `trend_of` and
/// `leaving`.
inline CheckTrend trend_over(CommissioningRecord const& record, std::vector<DailyCheck> const& checks,
                             double today, double level = 0.95, CheckOptions const& options = {}) {
    using detail::text_of;
    std::array<std::vector<DatedValue>, check_items> values;
    std::array<double, check_items> tolerances{};
    for (auto const& check : checks) {
        auto const report = held_against(record, check, options);
        for (auto const& item : report.items) {
            auto const k = static_cast<std::size_t>(item.item);
            values[k].push_back({check.date, item.change.value});
            tolerances[k] = item.tolerance;
        }
    }
    CheckTrend result{{}, record.date + record.valid_for, record.date + record.valid_for, ""};
    result.words = "the record is valid until " + text_of(result.valid_until) + " by its age";
    for (auto const item : {CheckItem::shift_x, CheckItem::shift_y, CheckItem::turn, CheckItem::scale,
                            CheckItem::focus, CheckItem::power}) {
        auto const k = static_cast<std::size_t>(item);
        auto trend = trend_of(values[k], {-tolerances[k], tolerances[k]});
        auto leaving = trend.leaving(today, level);
        if (leaving.outside_now || (leaving.bounded && leaving.dates)) {
            double const first = leaving.outside_now ? today : leaving.dates->low;
            if (first < result.good_until) {
                result.good_until = first;
                result.words =
                    "good until " + text_of(first) + " only: " + name_of(item) + ", " + leaving.words;
            }
        }
        result.items.push_back({item, std::move(trend), std::move(leaving)});
    }
    return result;
}

} // namespace seamhold

#endif
