#ifndef SEAMHOLD_FILE_LOG_REPORT_HPP
#define SEAMHOLD_FILE_LOG_REPORT_HPP

#include "seamhold/file/log_declaration.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace seamhold {

/// A hole in a log: a step in time that is longer than the declared longest gap.
struct LogGap {
    double start;    ///< the last time before it, s
    double length;   ///< s
    std::size_t row; ///< the line of the file that ends it
};

/// What the reader found in a log. Steps, rate and jitter are those of the rows as they were read, before
/// repeated rows were left out or re-timed.
struct LogReport {
    std::string file;                 ///< its path
    LogDeclaration declared;          ///< what was said about it
    int joints = 0;                   ///< 0 for a log of poses
    std::vector<std::string> columns; ///< that were used
    std::vector<std::string> unused;  ///< columns that were left alone
    std::size_t other_rows = 0;       ///< of another kind, passed over
    std::size_t rows = 0;             ///< of the kind that was read
    std::size_t kept = 0;             ///< of these, in the motion
    std::int64_t epoch_ns = 0;        ///< the stamp that is time 0, ns of the log's clock
    double start = 0;                 ///< time of the first row, s
    double end = 0;                   ///< time of the last row, s
    double period = 0;                ///< median step in time from row to row, s
    double smallest_step = 0;         ///< s
    double largest_step = 0;          ///< s
    double jitter_rms = 0;            ///< of a step from the median, over steps that are no gap, s
    double jitter_worst = 0;          ///< the same at worst, s
    std::vector<LogGap> gaps;         ///< between rows in the motion, in order of time
    std::size_t repeats = 0;          ///< rows that repeat the pose of the row before
    double longest_repeat = 0;        ///< the longest time in which no pose was new, s
    double longest_repeat_start = 0;  ///< since when, s
    double largest_retiming = 0;      ///< by how much a stamp was moved at most, s

    /// Rows per second: 1 / the median step.
    double rate() const { return 1 / period; }
};

namespace detail {

/// A number of seconds as ms with two decimals, or more for short times.
inline std::string milliseconds_text(double seconds) {
    double const ms = in_milliseconds(seconds);
    return fixed(ms, std::abs(ms) < 0.0995 && std::abs(ms) >= 0.00005 ? 4 : 2) + " ms";
}

/// An absolute stamp as seconds with all nine decimals.
inline std::string stamp_text(std::int64_t ns) {
    auto const size = ns < 0 ? 0 - static_cast<std::uint64_t>(ns) : static_cast<std::uint64_t>(ns);
    std::string const decimals = std::to_string(size % 1'000'000'000);
    std::string text = ns < 0 ? "-" : "";
    text.append(std::to_string(size / 1'000'000'000)).append(".").append(9 - decimals.size(), '0');
    return text.append(decimals);
}

inline std::string gaps_text(LogReport const& log) {
    std::string const above = milliseconds_text(log.declared.max_gap);
    if (log.gaps.empty())
        return "none longer than " + above;
    auto const longest =
        std::max_element(log.gaps.begin(), log.gaps.end(),
                         [](LogGap const& a, LogGap const& b) { return a.length < b.length; });
    double total = 0;
    for (auto const& gap : log.gaps)
        total += gap.length;
    std::string text = std::to_string(log.gaps.size()) + " longer than " + above + ", no data in them, " +
                       fixed(total, 3) + " s in all; longest " + fixed(longest->length, 3) + " s from " +
                       fixed(longest->start, 4) + " s";
    return text;
}

inline std::string repeats_text(LogReport const& log) {
    if (log.repeats == 0)
        return "none";
    char const* const fate = log.declared.repeated_rows == RepeatedRows::keep ? "kept as true"
                             : log.declared.repeated_rows == RepeatedRows::drop
                                 ? "left out as stale"
                                 : "left out, the rest re-timed";
    std::string text = counted(log.repeats, "row repeats", "rows repeat") + " the pose before, " + fate +
                       "; longest " + fixed(log.longest_repeat, 3) + " s from " +
                       fixed(log.longest_repeat_start, 4) + " s";
    if (log.declared.repeated_rows == RepeatedRows::retime)
        text += "; stamps moved by " + milliseconds_text(log.largest_retiming) + " at most";
    return text;
}

} // namespace detail

/// The report on a log as plain text for a person: one line a finding, indented by two spaces, no line longer
/// than needed. At most the first eight gaps are listed.
inline std::string text_of(LogReport const& log) {
    using detail::fixed;
    using detail::milliseconds_text;
    std::string const kind =
        log.joints == 0 ? "flange poses" : "positions of " + std::to_string(log.joints) + " joints";
    std::string rows = std::to_string(log.rows) + " read, " + std::to_string(log.kept) + " used";
    if (log.other_rows > 0)
        rows += ", " + std::to_string(log.other_rows) + " of other kinds passed over";
    detail::AlignedText table("ll");
    table.add({"holds", std::string(to_string(log.declared.poses)) + " " + kind + ", stamps of " +
                            to_string(log.declared.stamps)});
    table.add({"columns", detail::joined(log.columns)});
    if (!log.unused.empty())
        table.add({"not used", detail::joined(log.unused)});
    table.add({"rows", rows});
    table.add(
        {"time", fixed(log.start, 4) + " s to " + fixed(log.end, 4) + " s" +
                     (log.declared.times_from == TimesFrom::clock
                          ? " of its clock"
                          : " since the first row, stamped " + detail::stamp_text(log.epoch_ns) + " s")});
    table.add({"step", milliseconds_text(log.period) + " median (" + fixed(log.rate(), 1) + " rows/s), " +
                           milliseconds_text(log.smallest_step) + " to " +
                           milliseconds_text(log.largest_step)});
    table.add({"jitter", milliseconds_text(log.jitter_rms) + " rms, " + milliseconds_text(log.jitter_worst) +
                             " at worst, steps against their median"});
    table.add({"gaps", detail::gaps_text(log)});
    constexpr std::size_t most = 8;
    if (log.gaps.size() > 1)
        for (std::size_t i = 0; i < std::min(most, log.gaps.size()); ++i)
            table.add({"", fixed(log.gaps[i].start, 4) + " s: " + fixed(log.gaps[i].length, 4) +
                               " s without data, ended by row " + std::to_string(log.gaps[i].row)});
    if (log.gaps.size() > most)
        table.add({"", "and " + std::to_string(log.gaps.size() - most) + " more"});
    table.add({"repeats", detail::repeats_text(log)});
    return log.file + "\n" + table.text(2);
}

} // namespace seamhold

#endif
