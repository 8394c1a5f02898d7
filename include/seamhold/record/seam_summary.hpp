#ifndef SEAMHOLD_RECORD_SEAM_SUMMARY_HPP
#define SEAMHOLD_RECORD_SEAM_SUMMARY_HPP

#include "seamhold/live/fingerprint_mixer.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/judge.hpp"
#include "seamhold/record/seam_key.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/verdict.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace seamhold {

/// One channel of one weld in a few numbers.
struct ChannelSummary {
    std::string name;
    double seen;     ///< share of the cells that were seen, 0 to 1
    double mean;     ///< over the seen cells, in the sensor's unit
    double least;    ///< of the seen cells
    double greatest; ///< of the seen cells
    double level; ///< where the seam as a whole lies in the band: the mean deviation from its centre over the
                  ///< mean half width on that side; 1 is the upper limit, −1 the lower
    double farthest; ///< the deviation of the cell that lies farthest from the centre, in half widths
};

/// One weld of one part in a row, to follow a process over weeks. Where nothing was seen of a channel, its
/// numbers are 0 and so is its share seen.
struct SeamSummary {
    SeamKey key;
    std::string part; ///< its number or name
    double date;      ///< of the weld, days
    Judgement judgement;
    bool learnt;              ///< whether the band that it is held against was learnt from this part too
    std::uint64_t band_parts; ///< that the band was learnt from
    std::uint64_t band_print; ///< of the band's limits: `band_print_of`
    std::vector<ChannelSummary> channels;
};

/// The fingerprint of a band's limits, never 0: channels, cells, and all limits to 1e-6 of each. Two bands of
/// one seam that were learnt from as many parts differ by it. The same limits have the same on every machine
/// but for a chance that is some 1e-9 a limit, see `FingerprintMixer`.
inline std::uint64_t band_print_of(SignalBand const& band) {
    constexpr double resolution = 1e-6;
    FingerprintMixer mixer;
    mixer.count(band.cells.count).relative(band.cells.length, resolution).count(band.channels.size());
    for (auto const& channel : band.channels) {
        mixer.text(channel.name);
        for (auto const* const limits : {&channel.centre, &channel.low, &channel.high})
            for (double const limit : *limits)
                mixer.relative(limit, resolution);
    }
    return mixer.value();
}

namespace detail {

inline ChannelSummary channel_summary(ChannelBand const& band, ChannelTrace const& trace,
                                      double least_covered) {
    ChannelSummary result{band.name, 0, 0, 0, 0, 0, 0};
    auto const deviations = deviations_in_band(band, trace, least_covered);
    double seen = 0, off = 0, below = 0, above = 0;
    for (std::size_t i = 0; i < deviations.size(); ++i) {
        if (!is_finite(deviations[i]))
            continue;
        double const value = trace.value[i];
        result.least = seen > 0 ? std::min(result.least, value) : value;
        result.greatest = seen > 0 ? std::max(result.greatest, value) : value;
        if (std::abs(deviations[i]) > std::abs(result.farthest))
            result.farthest = deviations[i];
        seen += 1;
        result.mean += (value - result.mean) / seen;
        off += value - band.centre[i];
        below += band.centre[i] - band.low[i];
        above += band.high[i] - band.centre[i];
    }
    result.seen = seen / static_cast<double>(deviations.size());
    result.level = off < 0 ? off / below : off > 0 ? off / above : 0;
    return result;
}

} // namespace detail

/// One row of a weld from its trace and its verdict. `learnt`: whether the band was learnt from this part
/// too; such a row tells nothing new about how far parts lie out. To follow a process hold all its parts
/// against one band: a band that goes on learning drifts with it. Throws BadInput, saying what differs, where
/// band, trace and verdict are not of one weld of one part, and as `check_band` and `check_trace` do.
inline SeamSummary summary_of(SignalBand const& band, SeamTrace const& trace, SeamVerdict const& verdict,
                              bool learnt, double least_covered = JudgeRules{}.least_covered) {
    check_band(band);
    check_trace(band, trace);
    check_same_weld(verdict.key, trace.key, "the verdict", "the trace");
    if (verdict.part != trace.part)
        throw BadInput("the verdict is of part " + verdict.part + ", the trace of part " + trace.part);
    SeamSummary result{trace.key, trace.part, trace.date,          verdict.judgement,
                       learnt,    band.parts, band_print_of(band), {}};
    for (std::size_t c = 0; c < band.channels.size(); ++c)
        result.channels.push_back(detail::channel_summary(band.channels[c], trace.traces[c], least_covered));
    return result;
}

/// Throws BadInput, naming the row's part, unless rows are of one weld with the same channels, with dates and
/// readings that are finite; and for no rows or no channels.
inline void check_summaries(std::vector<SeamSummary> const& rows) {
    if (rows.empty())
        throw BadInput("to follow a process, rows of parts are needed; given are none");
    for (auto const& row : rows) {
        std::string const of = "the row of part " + row.part;
        check_same_weld(row.key, rows.front().key, of, "the row of part " + rows.front().part);
        if (!is_finite(row.date))
            throw BadInput(of + " has a date that is not finite");
        if (row.channels.empty())
            throw BadInput(of + " has no channels");
        if (row.channels.size() != rows.front().channels.size())
            throw BadInput(of + " has " + std::to_string(row.channels.size()) + " channels, that of part " +
                           rows.front().part + " has " + std::to_string(rows.front().channels.size()));
        for (std::size_t c = 0; c < row.channels.size(); ++c) {
            auto const& channel = row.channels[c];
            if (channel.name != rows.front().channels[c].name)
                throw BadInput(of + ": channel number " + std::to_string(c + 1) + " is " + channel.name +
                               ", in that of part " + rows.front().part + " it is " +
                               rows.front().channels[c].name);
            for (double const x : {channel.seen, channel.mean, channel.least, channel.greatest, channel.level,
                                   channel.farthest})
                if (!is_finite(x))
                    throw BadInput(of + ", channel " + channel.name + ": a number is not finite");
        }
    }
}

} // namespace seamhold

#endif
