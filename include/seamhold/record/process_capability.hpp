#ifndef SEAMHOLD_RECORD_PROCESS_CAPABILITY_HPP
#define SEAMHOLD_RECORD_PROCESS_CAPABILITY_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/seam_summary.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/statistics/capability.hpp"
#include "seamhold/statistics/share_bounds.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// What is required of a channel, from outside of the parts that are looked at: from trials of how strong the
/// weld is, or a requirement of the customer. Limits learnt from parts say only that parts are as they are.
struct ChannelRequirement {
    std::string channel; ///< its name
    Bounds mean;         ///< of the mean along the seam, in the sensor's unit; an end may be infinite
    std::optional<double> farthest; ///< how far out of its band's centre a cell may lie, half widths, above 0
    std::string source;             ///< where this comes from: "weld trials of May, sections 1 to 12"
};

/// How the farthest cells of parts keep to what is required. They are extremes and do not scatter normally,
/// so parts are counted.
struct FarthestCapability {
    SeenShare beyond;    ///< parts whose farthest cell lies beyond
    Bounds share_bounds; ///< of the true share (`share_bounds`)
    Bounds index_bounds; ///< of the Cpk that a normal quantity with that share beyond one limit has; the
                         ///< upper end is infinite where none was seen
};

/// How one channel of a seam keeps to what is required.
struct ChannelCapability {
    ChannelRequirement requirement;
    std::size_t parts;                          ///< whose channel was seen well enough
    Capability mean;                            ///< of the means along the seam
    double likeness;                            ///< of parts that follow each other: `likeness_of_neighbours`
    std::optional<FarthestCapability> farthest; ///< where it is required
    std::vector<std::string> cautions;          ///< for the reader; empty where there are none
};

/// How much must be seen of a channel for its part to count, and how sure bounds are.
struct CapabilityOptions {
    double level = 0.95;      ///< of each of the bounds
    double least_seen = 0.95; ///< share of the seam, above 0 and up to 1
};

namespace detail {

/// Whether all values lie on a grid, as those of a coarse sensor do: what lies between neighbours in order is
/// always the same step some times over. Values that differ freely do not. Of two values that
/// differ: whether one came twice.
inline bool on_a_grid(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    std::vector<double> gaps;
    for (std::size_t i = 1; i < values.size(); ++i)
        if (values[i] - values[i - 1] > 1e-9 * (values.back() - values.front()))
            gaps.push_back(values[i] - values[i - 1]);
    if (gaps.size() < 2)
        return gaps.size() + 1 < values.size(); // values that differ freely do not come twice
    double const step = *std::min_element(gaps.begin(), gaps.end());
    return std::all_of(gaps.begin(), gaps.end(),
                       [&](double gap) { return std::abs(gap / step - std::round(gap / step)) < 1e-4; });
}

/// Throws BadInput where limits are what the parts themselves give: both at their least and greatest; and,
/// unless readings lie on a grid and meet a requirement by chance, one limit that stands alone at an extreme,
/// or two about their very mean. Else that happens by chance once in a million. Of two limits one alone may
/// lie at an extreme.
inline void refuse_limits_of_parts(Capability const& mean, std::vector<double> const& values,
                                   std::string const& of) {
    auto const& [low, high] = mean.limits;
    double const close = 1e-6 * mean.sample.deviation;
    auto const [least, greatest] = std::minmax_element(values.begin(), values.end());
    bool const at_least = std::abs(low - *least) <= close, at_greatest = std::abs(high - *greatest) <= close;
    bool const both = is_finite(low) && is_finite(high);
    bool const about_mean = both && std::abs((low + high) / 2 - mean.sample.mean) <= close;
    bool const alone = !both && (at_least || at_greatest);
    if ((at_least && at_greatest) || ((alone || about_mean) && !on_a_grid(values)))
        throw BadInput(
            of + ": limits of " + text_of(low) + " to " + text_of(high) +
            " were learnt from these parts (they lie about their mean, or at the least or greatest "
            "of them); a capability needs limits from a requirement");
}

inline FarthestCapability farthest_capability(std::vector<double> const& farthest, double most,
                                              double level) {
    SeenShare beyond{0, farthest.size()};
    for (double const x : farthest)
        beyond.seen += std::abs(x) > most ? 1 : 0;
    auto const share = beyond.bounds(level);
    auto const index = [](double share_beyond) {
        return share_beyond > 0 ? share_beyond < 1 ? -normal_quantile(share_beyond) / 3
                                                   : -std::numeric_limits<double>::infinity()
                                : std::numeric_limits<double>::infinity();
    };
    return {beyond, share, {index(share.high), index(share.low)}};
}

inline ChannelCapability channel_capability(std::vector<SeamSummary> const& rows, std::size_t channel,
                                            ChannelRequirement const& requirement,
                                            CapabilityOptions const& options) {
    std::string const of = "channel " + requirement.channel + " of seam " + rows.front().key.seam;
    std::vector<double> means, farthest;
    for (auto const& row : rows) {
        auto const& c = row.channels[channel];
        if (!(c.seen >= options.least_seen))
            continue;
        means.push_back(c.mean);
        farthest.push_back(c.farthest);
        if (requirement.farthest && row.learnt)
            throw BadInput(of + ": the band was learnt from part " + row.part +
                           ", so the part's farthest cell tells nothing new; hold it against a band learnt "
                           "from other parts");
    }
    if (means.size() < 2)
        throw BadInput(of + ": a capability needs 2 parts or more of which a share of " +
                       text_of(options.least_seen) + " was seen; given are " + std::to_string(means.size()) +
                       " in " + std::to_string(rows.size()) + " rows");
    auto const mean = capability_of(summary_of(means), requirement.mean, options.level);
    refuse_limits_of_parts(mean, means, of);
    ChannelCapability result{requirement, means.size(), mean, likeness_of_neighbours(means), {}, {}};
    if (requirement.farthest)
        result.farthest = farthest_capability(farthest, *requirement.farthest, options.level);
    if (result.likeness < 0.01)
        result.cautions.push_back(of + ": parts that follow each other are alike (by chance once in " +
                                  text_of(std::floor(std::min(1 / result.likeness, 1e6))) +
                                  "): the process drifts or wanders, so the bounds are too narrow");
    if (means.size() < rows.size())
        result.cautions.push_back(of + ": " + std::to_string(rows.size() - means.size()) + " of " +
                                  std::to_string(rows.size()) + " parts were not seen well enough");
    return result;
}

inline void check_requirement(ChannelRequirement const& requirement) {
    if (requirement.source.empty())
        throw BadInput("channel " + requirement.channel +
                       ": say where its required limits come from; limits learnt from the parts that are "
                       "looked at show no capability");
    if (requirement.farthest && !(*requirement.farthest > 0 && is_finite(*requirement.farthest)))
        throw BadInput("channel " + requirement.channel +
                       ": how far a cell may lie out must be above 0 half widths; given " +
                       text_of(*requirement.farthest));
}

} // namespace detail

/// The capability of each channel that something is required of, over rows of all parts of one weld, good or
/// not (a process is what it makes). A channel without a requirement is not looked at. Bounds hold
/// for a process that keeps to itself and scatters normally; whether neighbours are alike is said. Throws
/// BadInput for rows that do not belong together (`check_summaries`), a channel that is not there or asked
/// twice, a requirement without a source, limits that are what these parts themselves give, rows of parts
/// that the band was learnt from where the farthest cell is required, and as `capability_of` does.
inline std::vector<ChannelCapability> process_capability(std::vector<SeamSummary> rows,
                                                         std::vector<ChannelRequirement> const& requirements,
                                                         CapabilityOptions const& options = {}) {
    check_summaries(rows);
    if (!(options.least_seen > 0 && options.least_seen <= 1))
        throw BadInput("the share that must be seen of a channel must be above 0 and up to 1; given was " +
                       detail::text_of(options.least_seen));
    std::stable_sort(rows.begin(), rows.end(),
                     [](SeamSummary const& a, SeamSummary const& b) { return a.date < b.date; });
    std::vector<ChannelCapability> result;
    for (auto const& requirement : requirements) {
        detail::check_requirement(requirement);
        auto const& channels = rows.front().channels;
        auto const found = std::find_if(channels.begin(), channels.end(), [&](ChannelSummary const& c) {
            return c.name == requirement.channel;
        });
        if (found == channels.end())
            throw BadInput("something is required of channel " + requirement.channel +
                           ", which the rows do not have");
        for (auto const& earlier : result)
            if (earlier.requirement.channel == requirement.channel)
                throw BadInput("channel " + requirement.channel + " is required twice");
        result.push_back(detail::channel_capability(rows, static_cast<std::size_t>(found - channels.begin()),
                                                    requirement, options));
    }
    return result;
}

/// Throws BadInput, naming the channel, where required limits of a mean are those of a band: its mean lower
/// and upper limit, or its outermost ones.
inline void check_not_of_band(std::vector<ChannelRequirement> const& requirements, SignalBand const& band) {
    check_band(band);
    for (auto const& requirement : requirements)
        for (auto const& channel : band.channels) {
            if (channel.name != requirement.channel)
                continue;
            double low = 0, high = 0;
            double const cells = static_cast<double>(channel.low.size());
            for (std::size_t i = 0; i < channel.low.size(); ++i) {
                low += channel.low[i] / cells;
                high += channel.high[i] / cells;
            }
            double const close = 1e-6 * (high - low);
            auto const same = [&](double a, double b) { return std::abs(a - b) <= close; };
            double const least = *std::min_element(channel.low.begin(), channel.low.end());
            double const greatest = *std::max_element(channel.high.begin(), channel.high.end());
            auto const& [from, to] = requirement.mean;
            if (same(from, low) || same(from, least) || same(to, high) || same(to, greatest))
                throw BadInput("channel " + channel.name + ": the required limits of " +
                               detail::text_of(from) + " to " + detail::text_of(to) +
                               " are those of the band, which was learnt from parts; a capability needs "
                               "limits from a requirement");
        }
}

} // namespace seamhold

#endif
