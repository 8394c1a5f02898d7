#ifndef SEAMHOLD_RECORD_KEPT_WELD_HPP
#define SEAMHOLD_RECORD_KEPT_WELD_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/procedure_value.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/verdict.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// What is kept of one weld of one part.
struct KeptWeld {
    SeamVerdict verdict;
    std::optional<SeamTrace> trace = {}; ///< of the same weld
    std::vector<ProcedureValue> values = {};
};

namespace detail {

/// Whether a value of an enumeration is one of its words, 0 to `last`.
template <class E> bool is_word(E word, E last) {
    return static_cast<std::size_t>(word) <= static_cast<std::size_t>(last);
}

} // namespace detail

/// Throws BadInput, saying what, for a record that does not fit together: without a name, with a date that is
/// none, with words that were never set, with channels that there are not, with the trace of another weld, or
/// with a value that says nothing.
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
