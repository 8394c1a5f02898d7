#ifndef SEAMHOLD_CALIBRATE_COMMISSIONING_HPP
#define SEAMHOLD_CALIBRATE_COMMISSIONING_HPP

#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/five_marks.hpp"

#include <string>
#include <vector>

/// What was written down when a cell was commissioned, and what is found at a check. Dates are plain numbers,
/// days or seconds since an epoch that the caller states; no clock is read here.
namespace seamhold {

/// Something that was measured at commissioning and may change by so much.
struct RecordedValue {
    Estimate found;   ///< with the deviation of its measurement
    double tolerance; ///< by how much it may change either way, in the same unit, above 0
};

/// What a check is held against.
struct CommissioningRecord {
    double date;                  ///< of the measurements
    double valid_for;             ///< how long the record may be used, in the dates' unit
    std::vector<MarkPlace> marks; ///< four or more, five are usual: middle and corners of the field
    double mark_deviation;        ///< of one coordinate of a mark as found, m
    double mark_tolerance;        ///< how far a mark may come to lie from its place, m
    RecordedValue focus;          ///< focus zero, m
    RecordedValue power;          ///< at the work, for a stated command, W
};

/// What a check has found.
struct DailyCheck {
    double date;                  ///< of the check
    std::vector<MarkPlace> marks; ///< the same marks in the same order
    double mark_deviation;        ///< of one coordinate of a mark as found, m
    Estimate focus;               ///< m, measured as at commissioning
    Estimate power;               ///< W, for the same command
};

/// A record as given, checked. Throws BadInput, naming the field, for what is not finite, not above 0, or
/// fewer than four marks.
inline CommissioningRecord checked(CommissioningRecord const& record) {
    auto const need_above_zero = [](std::string const& name, double given) {
        if (!(given > 0) || !is_finite(given))
            throw BadInput(name + " of a commissioning record must be above 0 and finite; given " +
                           detail::text_of(given));
    };
    if (!is_finite(record.date))
        throw BadInput("the date of a commissioning record is not finite");
    need_above_zero("the time of validity", record.valid_for);
    need_above_zero("the marks' standard deviation (m)", record.mark_deviation);
    need_above_zero("the marks' tolerance (m)", record.mark_tolerance);
    need_above_zero("the focus's tolerance (m)", record.focus.tolerance);
    need_above_zero("the power's tolerance (W)", record.power.tolerance);
    need_above_zero("the power (W)", record.power.found.value);
    detail::check_estimate("the focus of a commissioning record", record.focus.found);
    detail::check_estimate("the power of a commissioning record", record.power.found);
    if (record.marks.size() < 4)
        throw BadInput("a commissioning record needs 4 marks, better 5; given " +
                       std::to_string(record.marks.size()));
    return record;
}

namespace detail {

/// Throws BadInput for a check that cannot belong to a record.
inline void check_daily(CommissioningRecord const& record, DailyCheck const& check) {
    if (!(check.date >= record.date) || !is_finite(check.date))
        throw BadInput("the check's date of " + text_of(check.date) + " is before the record's, " +
                       text_of(record.date) + "; are both in one unit and from one epoch?");
    if (!(check.mark_deviation > 0) || !is_finite(check.mark_deviation))
        throw BadInput("the marks' standard deviation (m) of a check must be above 0 and finite; given " +
                       text_of(check.mark_deviation));
    check_estimate("the focus of a check", check.focus);
    check_estimate("the power of a check", check.power);
    if (!(check.power.value > 0))
        throw BadInput("a check's power of " + text_of(check.power.value) + " W is not above 0");
    double const ratio = check.power.value / record.power.found.value;
    if ((ratio > 500 && ratio < 2000) || (ratio > 0.0005 && ratio < 0.002))
        throw BadInput("a check's power of " + text_of(check.power.value) + " against the record's " +
                       text_of(record.power.found.value) + ": one looks like kilowatts given as watts");
    double const focus = check.focus.value - record.focus.found.value;
    if (std::abs(focus) > 0.2)
        throw BadInput("a check's focus has changed by " + text_of(focus) +
                       " m: it looks like millimetres given as metres");
}

} // namespace detail

} // namespace seamhold

#endif
