#ifndef SEAMHOLD_FILE_REPORT_HPP
#define SEAMHOLD_FILE_REPORT_HPP

#include "seamhold/file/head_report.hpp"
#include "seamhold/file/limit_meanings.hpp"
#include "seamhold/file/limit_units.hpp"
#include "seamhold/file/log_report.hpp"
#include "seamhold/file/placing_report.hpp"
#include "seamhold/file/text.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <vector>

namespace seamhold {

namespace detail {

inline std::string percent(double fraction) {
    constexpr double most = 99.99;
    return fraction > most ? ">9999 %" : fraction < -most ? "<-9999 %" : fixed(100 * fraction, 1) + " %";
}

/// What there is to say about a seam with unusable samples.
inline std::string unusable_text(SeamReport const& seam) {
    return std::to_string(seam.unusable) + " of " + counted(seam.samples, "sample", "samples") +
           " cannot be used; at worst: " + to_string(seam.status) + ", first at " +
           fixed(seam.status_time, 5) + " s";
}

inline std::string moment_text(Limit limit, Peak const& peak) {
    return has_moment(limit)          ? fixed(peak.time, 5) + " s"
           : limit == Limit::air_move ? "before it"
                                      : "all of it";
}

/// Where on the seam, in mm; empty where it is no place.
inline std::string place_text(Limit limit, SeamReport const& seam) {
    return has_moment(limit) ? fixed(in_millimetres(seam.peak(limit).arc_length), 1) : std::string();
}

inline std::string value_text(Limit limit, Peak const& peak) {
    auto const unit = unit_of(limit);
    return fixed(unit.from_si(peak.value), unit.decimals) + " of " +
           fixed(unit.from_si(peak.allowed), unit.decimals) + " " + unit.unit;
}

/// For which motion a report speaks, and what is not in it.
inline std::string speaks_for(LogReport const& log) {
    std::string const kind = log.joints == 0 ? "flange poses" : "joint positions";
    std::string text =
        log.declared.poses == PosesAre::measured
            ? "It speaks for the measured " + kind +
                  " as the log reports them, interpolated between its rows; "
                  "what the robot's sensors do not see, such as the flex of the arm, is not in it."
            : "It speaks for the commanded " + kind +
                  ", interpolated between the log's rows: what the robot was "
                  "told, not what it did. Its lag and the flex of the arm are not in it.";
    if (log.declared.stamps == StampsAre::arrival)
        text +=
            " The stamps are of arrival: each row is older than its stamp by an unknown delay, which moves "
            "every seam along the sweep.";
    return text;
}

inline std::string summary_table(std::vector<SeamReport> const& seams) {
    AlignedText table("llrlrrr");
    table.add({"seam", "verdict", "margin", "binding limit", "peak of limit", "at", "at mm"});
    for (auto const& seam : seams) {
        if (seam.unusable > 0 || seam.samples == 0) {
            table.add({seam.name, verdict(seam), "-",
                       std::to_string(seam.unusable) + " of " + counted(seam.samples, "sample", "samples"),
                       "-", seam.samples > 0 ? fixed(seam.status_time, 5) + " s" : "-", "-"});
            continue;
        }
        auto const limit = seam.binding();
        table.add({seam.name, verdict(seam), percent(seam.margin()), to_string(limit),
                   value_text(limit, seam.peak(limit)), moment_text(limit, seam.peak(limit)),
                   place_text(limit, seam)});
    }
    return table.text(2);
}

/// "0.7200 s to 0.9900 s, 72.0 mm at 16.00 m/min, 27001 samples".
inline std::string extent_text(SeamReport const& seam) {
    std::string const way = seam.length > 0
                                ? fixed(in_millimetres(seam.length), 1) + " mm at " +
                                      fixed(in_metres_per_minute(seam.length / seam.duration), 2) + " m/min"
                                : "held on one point for " + milliseconds_text(seam.duration);
    return fixed(seam.start, 4) + " s to " + fixed(seam.start + seam.duration, 4) + " s, " + way + ", " +
           counted(seam.samples, "sample", "samples");
}

inline std::string details_of(SeamReport const& seam) {
    std::string text = seam.name + ": " + verdict(seam) + "; " + extent_text(seam) + "\n";
    if (seam.unusable > 0)
        text += "  " + unusable_text(seam) +
                (seam.unusable < seam.samples ? "\n  The peaks below are of the other samples\n" : "\n");
    AlignedText table("lrrrlrrl");
    table.add({"limit", "used", "peak", "limit", "unit", "at", "at mm"});
    bool any = false;
    for (std::size_t i = 0; i < limit_count; ++i) {
        auto const limit = static_cast<Limit>(i);
        if (!applies(seam, limit))
            continue;
        any = true;
        Peak const& peak = seam.peak(limit);
        auto const unit = unit_of(limit);
        char const* const mark = peak.utilisation > 1 ? "exceeds" : limit == seam.binding() ? "binding" : "";
        table.add({to_string(limit), percent(peak.utilisation),
                   fixed(unit.from_si(peak.value), unit.decimals),
                   fixed(unit.from_si(peak.allowed), unit.decimals), unit.unit, moment_text(limit, peak),
                   place_text(limit, seam), mark});
    }
    return any ? text + table.text(2) : text;
}

/// What the names of the limits mean, as far as any of these seams was held against them.
inline std::string meanings_of(std::vector<SeamReport> const& seams) {
    auto const any = [&](Limit limit) {
        return std::any_of(seams.begin(), seams.end(),
                           [&](SeamReport const& seam) { return applies(seam, limit); });
    };
    return meanings_of_limits(any) +
           "RMS: over the whole seam, or the worst window of it where the head has one. Air move: the least "
           "time "
           "in which the mirrors turn over and settle, of the time since the seam before. \"at mm\": so far "
           "along the seam.";
}

inline std::string summary_text(std::vector<SeamReport> const& seams) {
    std::size_t within = 0;
    std::vector<std::string> others;
    SeamReport const* tightest = nullptr;
    for (auto const& seam : seams) {
        if (!seam.within()) {
            others.push_back(seam.name + " (" +
                             (seam.unusable > 0 ? to_string(seam.status) : to_string(seam.binding())) + ")");
            continue;
        }
        ++within;
        if (tightest == nullptr || seam.margin() < tightest->margin())
            tightest = &seam;
    }
    std::string text = std::to_string(within) + " of " + counted(seams.size(), "seam is", "seams are") +
                       " within every limit at every sample.";
    if (!others.empty())
        text += " Not within: " + joined(others) + ".";
    if (tightest != nullptr) {
        auto const limit = tightest->binding();
        text += (others.empty() ? " Tightest: " : " Tightest of those within: ") + tightest->name + ", " +
                to_string(limit) + ", " + percent(tightest->margin()) + " left.";
    }
    return text;
}

} // namespace detail

/// The caution that every report closes with.
inline constexpr char const* report_caution =
    "This report is a calculation and no safety function: it opens and shuts nothing, and a seam within its "
    "limits here may still hurt someone or spoil a part. A class 4 laser on a moving robot needs its "
    "enclosure, its interlocks and its risk assessment (IEC 60825-1, ISO 11553-1, ISO 10218); local codes, "
    "the "
    "laser safety officer and licensed practice decide.";

/// The report on a job as plain text for a person: for which motion it speaks, what was found in the log, how
/// well the head's measurements are met (where it has any), how well a touched part's points are, which seams
/// their faces stretch and where they have corners, one line a seam, a table of all limits for each seam, a
/// summary and a caution. `step` is the longest time between samples that `report` was given, s. UTF-8, lines
/// of some 100 columns, for a fixed-width font.
inline std::string report_text(std::string const& title, LogReport const& log,
                               std::vector<SeamReport> const& seams, double step, HeadReport const& head = {},
                               PlacingReport const& placing = {}) {
    constexpr std::size_t width = 100;
    std::string text = title + "\n\n";
    text += "SEAMS against the limits of the head, sampled\n";
    text += detail::wrapped("Sampled every " + detail::fixed(step * 1e6, step < 1e-5 ? 1 : 0) +
                                " µs or closer, with exact velocities and accelerations at each sample; it "
                                "proves nothing between samples. " +
                                detail::speaks_for(log),
                            width, 2);
    text += "\nLOG " + text_of(log);
    if (std::string const measured = text_of(head); !measured.empty())
        text += "\nHEAD as measured\n" + measured;
    if (std::string const touched = part_text(placing); !touched.empty())
        text += "\nPART as touched\n" + touched;
    if (std::string const lying = seams_text(placing); !lying.empty())
        text += "\nSEAMS as they lie (mm: so far along them)\n" + lying;
    text += "\nSEAM BY SEAM (margin: what is left of the limit that is used most)\n";
    text += detail::summary_table(seams);
    text += "\nEVERY LIMIT\n";
    text += detail::wrapped(detail::meanings_of(seams), width, 2);
    for (auto const& seam : seams)
        text.append("\n").append(detail::details_of(seam));
    text += "\nSUMMARY\n" + detail::wrapped(detail::summary_text(seams), width, 2);
    text += "\nCAUTION\n" + detail::wrapped(report_caution, width, 2);
    return text;
}

} // namespace seamhold

#endif
