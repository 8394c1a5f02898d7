#ifndef SEAMHOLD_TESTS_RECORD_NAIVE_JUDGE_HPP
#define SEAMHOLD_TESTS_RECORD_NAIVE_JUDGE_HPP

#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/verdict.hpp"
#include "support/random.hpp"

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// The judge's rules once more, as plainly as they can be said, and bands and traces to try them on.

namespace seamhold::test {

/// Whether one side passes, in lengths: `out` is how far out each cell is on that side in half widths, not a
/// number where it was not seen; all half widths are multiplied by `factor`.
inline bool passes_naively(std::vector<double> const& out, double width, JudgeRules const& rules,
                           double factor) {
    double const slack = 1e-9 * width;
    double total = 0, area = 0;
    for (std::size_t i = 0; i < out.size(); ++i) {
        if (!(out[i] / factor > 1))
            continue;
        total += width;
        area += (out[i] / factor - 1) * width;
        // Every run that begins here: to each later cell outside, with nothing inside between.
        for (std::size_t k = i; k < out.size() && !(out[k] / factor <= 1); ++k)
            if (out[k] / factor > 1 && rules.longest_run &&
                static_cast<double>(k + 1 - i) * width > *rules.longest_run + slack)
                return false;
    }
    double const length = width * static_cast<double>(out.size());
    return !(rules.share_outside && total > *rules.share_outside * length + slack) &&
           !(rules.area_outside && area > *rules.area_outside);
}

/// The passing factor of one side by halving, to a relative 1e-12.
inline double factor_naively(std::vector<double> const& out, double width, JudgeRules const& rules) {
    double low = 1e-12, high = 1e6;
    if (passes_naively(out, width, rules, low))
        return 0;
    while (high / low > 1 + 1e-12) {
        double const middle = std::sqrt(low * high);
        (passes_naively(out, width, rules, middle) ? high : low) = middle;
    }
    return high;
}

/// A key of an invented plan.
inline SeamKey invented_key(std::string const& seam = "lid") { return {{{1, 2, 3, 4}}, seam, 77}; }

/// A band with invented limits that change along the seam and are not symmetric.
inline SignalBand invented_band(Random& random, std::size_t cells, std::size_t channels,
                                double length = 0.040) {
    SignalBand band{invented_key(), {length, cells}, {}, {LimitRule::normal, 0.99, 0.95}, 3.1, 25};
    for (std::size_t c = 0; c < channels; ++c) {
        ChannelBand channel{"channel " + std::string(1, static_cast<char>('A' + c)), {}, {}, {}};
        for (std::size_t i = 0; i < cells; ++i) {
            channel.centre.push_back(random.uniform(2, 5));
            channel.low.push_back(channel.centre.back() - random.uniform(0.1, 1));
            channel.high.push_back(channel.centre.back() + random.uniform(0.1, 1));
        }
        band.channels.push_back(channel);
    }
    return band;
}

/// A trace of that weld which lies on the band's centre throughout.
inline SeamTrace trace_at_centre(SignalBand const& band) {
    SeamTrace trace{band.key, "part 17", 20780.5, band.cells, {}, {}, {}};
    for (auto const& channel : band.channels) {
        trace.channels.push_back(channel.name);
        trace.traces.push_back({channel.centre, std::vector<float>(band.cells.count, 1.0F)});
    }
    return trace;
}

/// Puts a cell so many half widths from the band's centre.
inline void put(SeamTrace& trace, SignalBand const& band, std::size_t channel, std::size_t cell,
                double half_widths) {
    auto const& limits = band.channels[channel];
    double const centre = limits.centre[cell];
    double const half = half_widths > 0 ? limits.high[cell] - centre : centre - limits.low[cell];
    trace.traces[channel].value[cell] = centre + half_widths * half;
}

} // namespace seamhold::test

#endif
