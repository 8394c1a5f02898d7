#ifndef SEAMHOLD_FILE_CALIBRATION_REPORT_HPP
#define SEAMHOLD_FILE_CALIBRATION_REPORT_HPP

#include "seamhold/calibrate/clock_line.hpp"
#include "seamhold/calibrate/daily_check.hpp"
#include "seamhold/calibrate/head_fit.hpp"
#include "seamhold/calibrate/mount_fit.hpp"
#include "seamhold/calibrate/part_fit.hpp"
#include "seamhold/calibrate/power_line.hpp"
#include "seamhold/file/commissioning.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/frame/rotation.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

/// What calibrations found, for people: every number with its interval, and the lines for a job file.
namespace seamhold {

namespace detail {

/// A pose as a table of a job file.
template <class To, class From>
std::string pose_for_job(std::string const& table, Pose<To, From> const& pose) {
    auto const q = quaternion_of(pose.rotation);
    return "    [" + table + "]\n    position_mm = [" + shortest(in_millimetres(pose.origin.x)) + ", " +
           shortest(in_millimetres(pose.origin.y)) + ", " + shortest(in_millimetres(pose.origin.z)) +
           "]\n    quaternion_wxyz = [" + shortest(q.w) + ", " + shortest(q.x) + ", " + shortest(q.y) + ", " +
           shortest(q.z) + "]\n";
}

/// Half widths of a pose's six numbers as a table: turns in millidegrees, shifts in micrometres.
inline std::string widths_table(std::array<double, 6> const& half, std::string const& axes_of) {
    AlignedText table("lrr");
    table.add({"axis of the " + axes_of, "turn, mdeg", "shift, um"});
    for (std::size_t k = 0; k < 3; ++k)
        table.add({std::string(1, "xyz"[k]), "+- " + fixed(1e3 * in_degrees(half[k]), 2),
                   "+- " + fixed(in_micrometres(half[k + 3]), 1)});
    return table.text(4);
}

/// Numbers of observations, counted from 1 as people count rows: "3, 17"; "none".
inline std::string numbers_text(std::vector<std::size_t> const& zero_based) {
    std::vector<std::string> words;
    words.reserve(zero_based.size());
    for (auto const i : zero_based)
        words.push_back(std::to_string(i + 1));
    return words.empty() ? "none" : joined(words);
}

inline std::string level_text(double level) { return fixed(100 * level, level < 0.99 ? 0 : 1) + " %"; }

/// An estimate with its interval, in a unit of `scale` SI units.
inline std::string with_interval(Estimate const& e, double level, double scale, int decimals,
                                 std::string const& unit) {
    auto const bounds = e.bounds(level);
    return fixed(e.value / scale, decimals) + " " + unit + ", " + level_text(level) + " within " +
           fixed(bounds.low / scale, decimals) + " to " + fixed(bounds.high / scale, decimals);
}

} // namespace detail

/// Where the head sits on the flange: residuals, observations that were left out (counted from 1), intervals
/// at a level, what is known least and what would tell it, and the table for a job file.
inline std::string text_of(MountFit const& fit, double level = 0.95) {
    using detail::fixed;
    double sum = 0;
    std::size_t worst = 0, counted = 0;
    std::vector<bool> left_out(fit.residuals.size(), false);
    for (auto const i : fit.outliers)
        left_out[i] = true;
    for (std::size_t i = 0; i < fit.residuals.size(); ++i) {
        if (left_out[i])
            continue;
        sum += sqr(fit.residuals[i].norm);
        ++counted;
        if (left_out[worst] || fit.residuals[i].norm > fit.residuals[worst].norm)
            worst = i;
    }
    std::string text = "Mount of the head on the flange\n";
    text += "  " + detail::counted(fit.residuals.size(), "observation", "observations") +
            ", left out: " + detail::numbers_text(fit.outliers) + "\n";
    if (counted > 0)
        text += "  what is left: " + fixed(in_micrometres(std::sqrt(sum / static_cast<double>(counted))), 1) +
                " um rms, at most " + fixed(in_micrometres(fit.residuals[worst].norm), 1) +
                " um (observation " + std::to_string(worst + 1) + ")\n";
    if (!fit.plausible)
        text +=
            "  CAUTION: this is more than reading marks explains; look for a moved part or a wrong unit\n";
    if (fit.start_left)
        text += "  CAUTION: the start that was given led astray; the mount was found without it\n";
    text += "  " + detail::level_text(level) + " intervals, about and along the head's own axes:\n" +
            detail::widths_table(fit.half_widths(level), "head");
    text +=
        "  known least: " + fit.weakest.direction + "; to know more, " + to_string(fit.weakest.advice) + "\n";
    text += "  for the job file:\n" + detail::pose_for_job("mount", fit.flange_from_head);
    return text;
}

/// Where a part lies in the cell, likewise. Where nothing tells how exact touches are, no intervals are
/// given.
inline std::string text_of(PartFit const& fit, double level = 0.95) {
    using detail::fixed;
    std::string text = "Part in the cell\n";
    text += "  " + detail::counted(fit.residuals.size(), "touch", "touches") +
            ", left out: " + detail::numbers_text(fit.outliers) + "\n";
    text += "  what is left: " + fixed(in_micrometres(fit.rms), 1) + " um rms, most at touch " +
            std::to_string(fit.worst_touch + 1) + "\n";
    for (auto const& remark : fit.remarks)
        text += "  CAUTION: " + remark + "\n";
    if (fit.degrees_of_freedom > 0)
        text += "  " + detail::level_text(level) + " intervals, about and along the part's own axes:\n" +
                detail::widths_table(fit.half_widths(level), "part");
    else
        text += "  no more was touched than holds the part: nothing tells how exact this is\n";
    text += "  for the job file:\n" + detail::pose_for_job("part", fit.cell_from_part);
    return text;
}

/// What marks told of a head: each freed number with its drawn value and interval, correlations, the field.
template <class Objective> std::string text_of(HeadFit<Objective> const& fit, double level = 0.95) {
    using detail::fixed;
    std::string text = "Head\n  " + detail::counted(fit.residuals.size(), "mark", "marks") +
                       ", left out: " + detail::numbers_text(fit.outliers) +
                       "\n  residuals, rms: " + fixed(in_micrometres(fit.rms_before), 1) +
                       " um by the drawing, " + fixed(in_micrometres(fit.rms_after), 1) + " um as fitted\n";
    detail::AlignedText table("lrrrl");
    table.add({"parameter", "drawn", "found", "+- (" + detail::level_text(level) + ")", ""});
    for (auto const& p : fit.parameters) {
        bool const length = p.unit == "m", angle = p.unit == "rad";
        double const scale = length ? 1e-3 : angle ? degrees(1) : 1;
        int const decimals = length ? 4 : angle ? 4 : 6;
        auto const bounds = p.bounds(level);
        table.add({p.name, fixed(p.drawn / scale, decimals), fixed(p.value / scale, decimals),
                   fixed((bounds.high - bounds.low) / 2 / scale, decimals),
                   length  ? "mm"
                   : angle ? "deg"
                           : p.unit});
    }
    if (!fit.parameters.empty())
        text += table.text(4);
    for (auto const& c : fit.correlations)
        text += "  hardly told apart: " + c.first + " and " + c.second + " (correlation " +
                fixed(c.value, 3) + ")\n";
    if (fit.field)
        text += "  field of degree " + std::to_string(fit.field->degree) + ": what is left at the work " +
                fixed(in_micrometres(fit.field->rms), 1) + " um rms, at most " +
                fixed(in_micrometres(fit.field->worst), 1) + " um\n";
    return text;
}

/// How late the light comes, and what the arm misses on reversal.
inline std::string text_of(ClockLine const& clock, double level = 0.95) {
    std::vector<std::size_t> left_out;
    for (std::size_t i = 0; i < clock.outlier.size(); ++i)
        if (clock.outlier[i])
            left_out.push_back(i);
    std::string text = "Clocks, from lines marked both ways\n  " +
                       detail::counted(clock.outlier.size(), "separation", "separations") +
                       ", left out: " + detail::numbers_text(left_out) + "\n";
    text += "  the light is late by " + detail::with_interval(clock.offset, level, 1e-6, 1, "us") + "\n";
    text += "  the arm misses on reversal " +
            detail::with_interval(clock.reversal, level, millimetres(1e-3), 1, "um") + "\n";
    if (!clock.straight(1 - level))
        text += "  CAUTION: one delay does not explain all speeds; look for a filter that depends on speed\n";
    return text;
}

/// The power that arrives over the power that is commanded.
inline std::string text_of(PowerLine const& power, double level = 0.95) {
    using detail::fixed;
    std::string text = "Power at the work = " + fixed(power.line.intercept, 1) + " W + " +
                       fixed(power.line.slope, 4) + " x commanded, from " + fixed(power.lowest, 0) + " to " +
                       fixed(power.highest, 0) + " W\n";
    for (double const command : {power.lowest, (power.lowest + power.highest) / 2, power.highest}) {
        auto const band = power.delivered_bounds(command, level);
        text += "  commanded " + fixed(command, 0) + " W: " + fixed(power.delivered(command), 1) +
                " W, a reading lies within " + fixed(band.low, 1) + " to " + fixed(band.high, 1) + " (" +
                detail::level_text(level) + ")\n";
    }
    for (auto const& warning : power.warnings)
        text += "  CAUTION: " + warning + "\n";
    return text;
}

/// A check held against the record: item by item, and what to look at first.
inline std::string text_of(CheckReport const& report) {
    using detail::fixed;
    std::string text =
        "Check: " + name_of(report.verdict) + (report.expired ? ", the record has expired" : "") + "\n";
    detail::AlignedText table("lrrll");
    table.add({"item", "changed by", "allowed", "", "verdict"});
    for (auto const& item : report.items) {
        bool const turn = item.item == CheckItem::turn, scale = item.item == CheckItem::scale,
                   power = item.item == CheckItem::power;
        double const unit = turn ? 1e-3 : scale ? 1e-6 : power ? 1 : millimetres(1e-3);
        table.add({name_of(item.item), fixed(item.change.value / unit, turn ? 3 : 1),
                   fixed(item.tolerance / unit, turn ? 3 : 1),
                   turn    ? "mrad"
                   : scale ? "ppm"
                   : power ? "W"
                           : "um",
                   name_of(item.verdict)});
    }
    text += table.text(2);
    for (auto const& words : report.words)
        text += detail::wrapped(words, 100, 2);
    return text;
}

} // namespace seamhold

#endif
