#ifndef SEAMHOLD_RECORD_KEPT_WELD_HPP
#define SEAMHOLD_RECORD_KEPT_WELD_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/passing_factor.hpp"
#include "seamhold/record/procedure_value.hpp"
#include "seamhold/record/seam_summary.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/verdict.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// By what a weld was judged: with it, the trace and the band of the same number of parts the verdict can be
/// made once more.
struct JudgedBy {
    JudgeRules rules;
    BandWish wish;
    double factor; ///< as in the band
};

/// What is kept of one weld of one part.
struct KeptWeld {
    SeamVerdict verdict;
    std::optional<SeamTrace> trace = {}; ///< of the same weld
    std::vector<ProcedureValue> values = {};
    std::optional<SeamSummary> summary = {}; ///< its row, to follow the process
    std::optional<JudgedBy> judged_by = {};
};

namespace detail {

/// Whether a value of an enumeration is one of its words, 0 to `last`.
template <class E> bool is_word(E word, E last) {
    return static_cast<std::size_t>(word) <= static_cast<std::size_t>(last);
}

} // namespace detail

namespace detail {

/// Throws BadInput where a row is not of the weld of a verdict.
inline void check_row_of(SeamSummary const& row, SeamVerdict const& verdict, std::string const& what) {
    check_summaries({row});
    check_same_weld(row.key, verdict.key, "the row", "the verdict");
    if (row.part != verdict.part || row.date != verdict.date)
        throw BadInput(what + "its row is of part " + row.part + " and of day " + text_of(row.date) +
                       ", the verdict of day " + text_of(verdict.date));
    if (row.judgement != verdict.judgement)
        throw BadInput(what + "its row says " + to_string(row.judgement) + ", the verdict " +
                       to_string(verdict.judgement));
    bool const same = std::equal(
        row.channels.begin(), row.channels.end(), verdict.channels.begin(), verdict.channels.end(),
        [](ChannelSummary const& channel, std::string const& name) { return channel.name == name; });
    if (!same)
        throw BadInput(what + "its row has other channels than its verdict");
}

/// Throws BadInput where nobody can have judged so.
inline void check_judged_by(JudgedBy const& by, std::string const& what) {
    cell_rules(by.rules, {1, 1});
    auto const share = [](double x) { return is_finite(x) && x > 0 && x < 1; };
    if (!is_word(by.wish.rule, LimitRule::whole_part) || !share(by.wish.coverage) ||
        !share(by.wish.confidence) || !is_finite(by.factor) || !(by.factor >= 0))
        throw BadInput(what +
                       "it was judged by a band with a rule that was never set, or with a coverage of " +
                       text_of(by.wish.coverage) + ", a confidence of " + text_of(by.wish.confidence) +
                       " and a factor of " + text_of(by.factor) +
                       "; the first two must lie between 0 and 1, the factor must be 0 or more");
}

} // namespace detail

/// Throws BadInput, saying what, for a record that does not fit together: without a name, with a date that is
/// none, with words that were never set, with channels that there are not, with the trace or the row of
/// another weld, with a value that says nothing, or with rules and limits by which nobody can have judged.
inline void check_kept_weld(KeptWeld const& record) {
    auto const& verdict = record.verdict;
    std::string const what =
        "the record of seam " + verdict.key.seam + " of part " + verdict.part + " cannot be kept: ";
    auto const refuse = [&](std::string const& why) { throw BadInput(what + why); };
    if (verdict.part.empty() || verdict.key.seam.empty())
        refuse("it needs the name of a part and of a seam");
    if (verdict.part.find('\0') != std::string::npos || verdict.key.seam.find('\0') != std::string::npos)
        throw BadInput("a record cannot be kept: the name of its part or seam has a zero byte");
    if (!is_finite(verdict.date) || !(std::abs(verdict.date) <= 1e7))
        refuse("its date must lie within 1e7 days of 1970; given was " + detail::text_of(verdict.date));
    auto const all = [](auto const& list, auto const& sound) {
        return std::all_of(list.begin(), list.end(), sound);
    };
    auto const faults_known = [&](std::vector<FaultSpan> const& faults) {
        return all(faults,
                   [](FaultSpan const& f) { return detail::is_word(f.fault, SampleFault::no_light); });
    };
    if (!detail::is_word(verdict.judgement, Judgement::not_judged) || !faults_known(verdict.faults) ||
        (record.trace && !faults_known(record.trace->faults)) || !all(verdict.findings, [](Finding const& f) {
            return detail::is_word(f.side, decltype(f.side)::above) &&
                   detail::is_word(f.rule, FindingRule::area);
        }))
        refuse("its judgement, a side, a rule or a fault was never set");
    for (auto const& value : record.values)
        check_procedure_value(value);
    auto const channels = verdict.channels.size();
    auto const check = [&](auto const& list, char const* name) {
        for (auto const& entry : list)
            if (entry.channel >= channels)
                refuse(std::string(name) + " of channel number " + std::to_string(entry.channel + 1) +
                       ", but it has only " + std::to_string(channels));
    };
    check(verdict.findings, "it has a finding");
    check(verdict.unseen, "it has an unseen stretch");
    check(verdict.faults, "it has a fault");
    if (record.summary)
        detail::check_row_of(*record.summary, verdict, what);
    if (record.judged_by)
        detail::check_judged_by(*record.judged_by, what);
    if (!record.trace)
        return;
    auto const& trace = *record.trace;
    check_same_weld(trace.key, verdict.key, "the trace", "the verdict");
    if (trace.part != verdict.part || trace.date != verdict.date)
        refuse("its trace is of part " + trace.part + " and of day " + detail::text_of(trace.date) +
               ", the verdict of day " + detail::text_of(verdict.date));
    if (trace.channels != verdict.channels || trace.traces.size() != channels)
        refuse("its trace has other channels than its verdict");
    check(trace.faults, "its trace has a fault");
    for (std::size_t i = 0; i < channels; ++i)
        if (trace.traces[i].value.size() != trace.cells.count ||
            trace.traces[i].covered.size() != trace.cells.count)
            refuse("channel " + trace.channels[i] + " has " + std::to_string(trace.traces[i].value.size()) +
                   " readings for " + std::to_string(trace.cells.count) + " cells");
}

} // namespace seamhold

#endif
