#ifndef SEAMHOLD_RECORD_LEARNABLE_HPP
#define SEAMHOLD_RECORD_LEARNABLE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/band_state.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/unlike_part.hpp"

#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>

namespace seamhold {

namespace detail {

/// A fault of a channel that touches a cell, in words; "" for none.
inline std::string fault_in_cell(SeamTrace const& trace, std::size_t channel, std::size_t cell) {
    double const from = trace.cells.from(cell), to = trace.cells.from(cell + 1);
    for (auto const& fault : trace.faults)
        if (fault.channel == channel && fault.from <= to && from <= fault.to)
            return to_string(fault.fault);
    return "";
}

/// What is wrong with the cells of one channel of a trace; nothing where all are sound.
inline std::optional<Learned> unsound_cell(SeamTrace const& trace, std::size_t channel,
                                           double least_covered) {
    auto const& of = trace.traces[channel];
    for (std::size_t i = 0; i < trace.cells.count; ++i) {
        double const covered = static_cast<double>(of.covered[i]);
        // Squares of what a band learns must stay finite; float samples are far below.
        bool const sound = is_finite(of.value[i]) && std::abs(of.value[i]) <= 1e100;
        if (sound && covered >= least_covered)
            continue;
        std::string const fault = fault_in_cell(trace, channel, i);
        std::string words = "part " + trace.part + ", seam " + trace.key.seam + ", channel " +
                            trace.channels[channel] + ", from " + text_of(1000 * trace.cells.from(i)) +
                            " to " + text_of(1000 * trace.cells.from(i + 1)) + " mm: ";
        if (!(covered >= least_covered))
            words += "covered to " + text_of(std::round(100 * covered)) + " % only, of which " +
                     text_of(100 * least_covered) + " % are needed";
        else
            words += "the reading is " + text_of(of.value[i]);
        if (!fault.empty())
            words += " (" + fault + ")";
        bool const faulty = !fault.empty() || covered >= least_covered;
        return Learned{false,
                       faulty ? NotLearnt::faulty : NotLearnt::unseen,
                       words,
                       {},
                       std::numeric_limits<double>::infinity()};
    }
    return std::nullopt;
}

} // namespace detail

/// Why a part cannot be learnt, before it is held against the others: it is of another weld, has other
/// channels or cells or a date that is not finite, was learnt just before, its clock stepped within the seam,
/// or a cell is covered too little or has no finite reading. A few lost or faulty samples in a cell that is
/// covered well enough are no reason. Nothing where it can.
inline std::optional<Learned> why_not(BandState const& state, SeamTrace const& trace) {
    auto const refused = [](NotLearnt reason, std::string const& words) {
        return Learned{false, reason, words, {}, std::numeric_limits<double>::infinity()};
    };
    try {
        check_same_weld(trace.key, state.key, "the trace of part " + trace.part, "the band");
    } catch (BadInput const& other) {
        return refused(NotLearnt::other_weld, other.what());
    }
    std::string const of = "the trace of part " + trace.part + ", seam " + trace.key.seam;
    if (!(trace.cells == state.cells))
        return refused(NotLearnt::other_channels, of + " is cut into other cells than the band");
    if (trace.channels.size() != state.channels.size() || trace.traces.size() != state.channels.size())
        return refused(NotLearnt::other_channels, of + " has " + std::to_string(trace.channels.size()) +
                                                      " channels, the band has " +
                                                      std::to_string(state.channels.size()));
    for (std::size_t c = 0; c < state.channels.size(); ++c) {
        if (trace.channels[c] != state.channels[c].name)
            return refused(NotLearnt::other_channels, of + ": channel number " + std::to_string(c + 1) +
                                                          " is " + trace.channels[c] +
                                                          ", in the band it is " + state.channels[c].name);
        if (trace.traces[c].value.size() != state.cells.count ||
            trace.traces[c].covered.size() != state.cells.count)
            return refused(NotLearnt::other_channels,
                           of + ", channel " + trace.channels[c] + ": it has not one reading a cell");
    }
    if (!is_finite(trace.date))
        return refused(NotLearnt::faulty, of + " has a date that is not finite");
    if (state.parts > 0 && trace.part == state.last_part && trace.date == state.last_date)
        return refused(NotLearnt::learnt_before, of + " was learnt just before");
    for (auto const& fault : trace.faults)
        if (fault.fault == SampleFault::clock_step)
            return refused(NotLearnt::faulty, of + ", from " + detail::text_of(1000 * fault.from) + " to " +
                                                  detail::text_of(1000 * fault.to) +
                                                  " mm: clock step; the samples' places are in doubt");
    for (std::size_t c = 0; c < state.channels.size(); ++c)
        if (auto unsound = detail::unsound_cell(trace, c, state.options.least_covered))
            return unsound;
    return std::nullopt;
}

} // namespace seamhold

#endif
