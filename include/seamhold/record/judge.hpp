#ifndef SEAMHOLD_RECORD_JUDGE_HPP
#define SEAMHOLD_RECORD_JUDGE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/passing_factor.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/side_tally.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/verdict.hpp"

#include <algorithm>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// Throws BadInput, naming channel and place, for a band without channels, with another number of limits than
/// cells, or with limits that are not finite and in order: low, centre, high.
inline void check_band(SignalBand const& band) {
    using detail::text_of;
    std::string const of = "the band of seam " + band.key.seam;
    if (band.channels.empty())
        throw BadInput(of + " has no channels");
    if (band.cells.count == 0 || !(band.cells.length > 0) || !is_finite(band.cells.length))
        throw BadInput(of + " has no cells, or no length");
    for (auto const& channel : band.channels) {
        for (std::size_t const count : {channel.centre.size(), channel.low.size(), channel.high.size()})
            if (count != band.cells.count)
                throw BadInput(of + ", channel " + channel.name + ": it has " + std::to_string(count) +
                               " limits for " + std::to_string(band.cells.count) + " cells");
        for (std::size_t i = 0; i < band.cells.count; ++i) {
            double const low = channel.low[i], centre = channel.centre[i], high = channel.high[i];
            if (!(low < centre && centre < high && is_finite(low) && is_finite(high)))
                throw BadInput(of + ", channel " + channel.name + ", at " +
                               text_of(1000 * band.cells.middle(i)) +
                               " mm: limits must be finite and in order low, centre, high; given were " +
                               text_of(low) + ", " + text_of(centre) + ", " + text_of(high));
        }
    }
}

/// Throws BadInput, saying what differs, unless a trace can be held against a band: of the same weld of the
/// same plan, cut into the same cells, with the same channels in the same order, and whole.
inline void check_trace(SignalBand const& band, SeamTrace const& trace) {
    using detail::text_of;
    check_same_weld(trace.key, band.key, "the trace", "the band");
    std::string const of = "the trace of part " + trace.part + ", seam " + trace.key.seam;
    if (!is_finite(trace.date))
        throw BadInput(of + " has a date that is not finite");
    if (!(trace.cells == band.cells))
        throw BadInput(of + " has " + std::to_string(trace.cells.count) + " cells over " +
                       text_of(1000 * trace.cells.length) + " mm, the band " +
                       std::to_string(band.cells.count) + " over " + text_of(1000 * band.cells.length) +
                       " mm; they must be the same");
    if (trace.channels.size() != band.channels.size() || trace.traces.size() != band.channels.size())
        throw BadInput(of + " has " + std::to_string(trace.channels.size()) + " channels, the band " +
                       std::to_string(band.channels.size()));
    for (std::size_t i = 0; i < band.channels.size(); ++i) {
        if (trace.channels[i] != band.channels[i].name)
            throw BadInput(of + ": channel number " + std::to_string(i + 1) + " is " + trace.channels[i] +
                           ", in the band it is " + band.channels[i].name);
        if (trace.traces[i].value.size() != band.cells.count ||
            trace.traces[i].covered.size() != band.cells.count)
            throw BadInput(of + ", channel " + trace.channels[i] + ": it has " +
                           std::to_string(trace.traces[i].value.size()) + " readings for " +
                           std::to_string(band.cells.count) + " cells");
    }
}

/// Where one cell of a trace lies in a band, in half widths; not a number where it was not seen, because too
/// little of it is covered. Indices must be below the numbers of channels and cells.
inline double deviation_in_band(ChannelBand const& band, std::size_t cell, double reading, float covered,
                                double least_covered) noexcept {
    if (!(static_cast<double>(covered) >= least_covered))
        return std::numeric_limits<double>::quiet_NaN();
    return deviation_in_band(reading, band.centre[cell], band.low[cell], band.high[cell]);
}

/// Where each cell of one channel of a trace lies in a band, in half widths, as above.
inline std::vector<double> deviations_in_band(ChannelBand const& band, ChannelTrace const& trace,
                                              double least_covered) {
    std::vector<double> all(band.centre.size());
    for (std::size_t i = 0; i < all.size(); ++i)
        all[i] = deviation_in_band(band, i, trace.value[i], trace.covered[i], least_covered);
    return all;
}

namespace detail {

inline Finding finding_of(OutsideCells const& found, std::size_t channel, BandSide side, FindingRule rule,
                          Cells const& cells) {
    return {channel,
            side,
            rule,
            cells.from(found.from),
            cells.from(found.to),
            cells.width() * static_cast<double>(found.outside),
            cells.width() * found.area,
            found.worst,
            cells.middle(found.worst_cell)};
}

/// What one side of one channel has, added to `findings`.
inline void find_on_side(std::vector<Finding>& findings, std::vector<double> const& deviations,
                         std::size_t channel, BandSide side, CellRules const& rules, Cells const& cells) {
    SideTally tally(rules);
    auto const keep = [&](std::optional<OutsideCells> const& run) {
        if (run)
            findings.push_back(finding_of(*run, channel, side, FindingRule::run, cells));
    };
    for (std::size_t i = 0; i < deviations.size(); ++i)
        keep(tally.add(i, towards(side, deviations[i])));
    keep(tally.end());
    if (tally.share_broken())
        findings.push_back(finding_of(tally.all(), channel, side, FindingRule::share, cells));
    if (tally.area_broken())
        findings.push_back(finding_of(tally.all(), channel, side, FindingRule::area, cells));
}

} // namespace detail

/// The verdict on one weld: what its trace shows outside of the band, by the rules, and what it does not
/// show. `good` means that no rule is broken, that no channel leaves more unseen than the rules allow, and
/// that no clock stepped, which leaves the places in doubt; it says that the weld looks like those that the
/// band was learnt from, nothing more. It takes the place of no test that a standard or a drawing asks for.
/// Throws BadInput for rules, a band or a trace that do not hold or do not belong together:
/// `check_judge_rules`, `cell_rules`, `check_band`, `check_trace`.
inline SeamVerdict judge(SignalBand const& band, SeamTrace const& trace, JudgeRules const& rules) {
    check_judge_rules(band, rules);
    CellRules const counted = cell_rules(rules, band.cells);
    check_band(band);
    check_trace(band, trace);
    SeamVerdict verdict{trace.key,       trace.part, trace.date, band.cells.length, trace.channels,
                        Judgement::good, {},         {},         trace.faults};
    bool seen_enough = true;
    for (std::size_t c = 0; c < band.channels.size(); ++c) {
        auto const deviations = deviations_in_band(band.channels[c], trace.traces[c], rules.least_covered);
        auto const first = static_cast<std::ptrdiff_t>(verdict.findings.size());
        for (BandSide const side : {BandSide::below, BandSide::above})
            detail::find_on_side(verdict.findings, deviations, c, side, counted, band.cells);
        std::stable_sort(verdict.findings.begin() + first, verdict.findings.end(),
                         [](Finding const& a, Finding const& b) { return a.from < b.from; });
        std::size_t missing = 0;
        for (std::size_t i = 0; i < deviations.size(); ++i) {
            if (is_finite(deviations[i]))
                continue;
            ++missing;
            if (i > 0 && !is_finite(deviations[i - 1]))
                verdict.unseen.back().to = band.cells.from(i + 1);
            else
                verdict.unseen.push_back({c, band.cells.from(i), band.cells.from(i + 1)});
        }
        seen_enough = seen_enough && missing <= counted.unseen;
    }
    // After a step of its clock nobody knows which places samples saw.
    for (auto const& fault : trace.faults)
        seen_enough = seen_enough && fault.fault != SampleFault::clock_step;
    verdict.judgement = !verdict.findings.empty() ? Judgement::not_good
                        : seen_enough             ? Judgement::good
                                                  : Judgement::not_judged;
    return verdict;
}

/// The verdict by the band's own rules.
inline SeamVerdict judge(SignalBand const& band, SeamTrace const& trace) {
    return judge(band, trace, band.rules);
}

/// The passing factor of a part: the least factor by which all half widths of the band must be multiplied so
/// that no rule is broken. It is above 1 if and only if `judge` finds something. Cells that were not seen
/// count for nothing. Throws as `judge` does.
inline double passing_factor(SignalBand const& band, SeamTrace const& trace, JudgeRules const& rules) {
    check_judge_rules(band, rules);
    CellRules const counted = cell_rules(rules, band.cells);
    check_band(band);
    check_trace(band, trace);
    std::vector<double> work;
    double factor = 0;
    for (std::size_t c = 0; c < band.channels.size(); ++c)
        factor = passing_factor(deviations_in_band(band.channels[c], trace.traces[c], rules.least_covered),
                                counted, work, factor);
    return factor;
}

/// The passing factor by the band's own rules.
inline double passing_factor(SignalBand const& band, SeamTrace const& trace) {
    return passing_factor(band, trace, band.rules);
}

} // namespace seamhold

#endif
