#ifndef SEAMHOLD_TESTS_RECORD_GOOD_PARTS_HPP
#define SEAMHOLD_TESTS_RECORD_GOOD_PARTS_HPP

#include "seamhold/record/band_learner.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "support/random.hpp"

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// Good parts of an invented seam, simulated: readings scatter normally about a known mean, alike along the
// seam and between channels by known amounts.

namespace seamhold::test {

/// One channel's signal.
struct GoodSignal {
    double mean = 5;                   ///< at the seam's beginning
    double slope = 0;                  ///< of the mean over the seam's length
    double deviation = 1;              ///< of one cell from part to part
    double shared = 0.3;               ///< share of the variance that a part has all along the seam
    double likeness = 0.8;             ///< correlation of neighbouring cells in the rest
    double wild_from = 2, wild_to = 2; ///< share of the seam between which it scatters five times as much
};

/// A seam and its good parts.
struct GoodParts {
    Cells cells;
    std::vector<GoodSignal> signals;
    double common = 0.5; ///< correlation between channels
    SeamKey key = {{{1, 2, 3, 4}}, "lid 3", 77};

    double mean(std::size_t channel, std::size_t cell) const {
        auto const& s = signals[channel];
        return s.mean + s.slope * cells.middle(cell) / cells.length;
    }
    double deviation(std::size_t channel, std::size_t cell) const {
        auto const& s = signals[channel];
        double const at = cells.middle(cell) / cells.length;
        return s.deviation * (s.wild_from < at && at < s.wild_to ? 5 : 1);
    }
    std::vector<std::string> names() const {
        std::vector<std::string> all;
        for (std::size_t c = 0; c < signals.size(); ++c)
            all.push_back("signal " + std::to_string(c + 1));
        return all;
    }

    /// The next good part.
    SeamTrace part(Random& random, std::size_t number) const {
        SeamTrace trace{
            key, "P" + std::to_string(number), 20000.0 + static_cast<double>(number), cells, names(), {}, {}};
        auto const all = noise(random, 0.9);
        double const all_offset = random.normal();
        for (std::size_t c = 0; c < signals.size(); ++c) {
            auto const& s = signals[c];
            auto const own = noise(random, s.likeness);
            double const offset = mixed(all_offset, random.normal());
            ChannelTrace channel;
            for (std::size_t i = 0; i < cells.count; ++i) {
                double const z =
                    std::sqrt(s.shared) * offset + std::sqrt(1 - s.shared) * mixed(all[i], own[i]);
                channel.value.push_back(mean(c, i) + deviation(c, i) * z);
                channel.covered.push_back(1.0F);
            }
            trace.traces.push_back(channel);
        }
        return trace;
    }

    std::vector<SeamTrace> parts(Random& random, std::size_t count) const {
        std::vector<SeamTrace> all;
        for (std::size_t i = 0; i < count; ++i)
            all.push_back(part(random, i + 1));
        return all;
    }

private:
    double mixed(double shared, double own) const {
        return std::sqrt(common) * shared + std::sqrt(1 - common) * own;
    }
    std::vector<double> noise(Random& random, double likeness) const {
        std::vector<double> all(cells.count);
        double x = random.normal();
        for (double& cell : all) {
            cell = x;
            x = likeness * x + std::sqrt(1 - likeness * likeness) * random.normal();
        }
        return all;
    }
};

/// What has learnt these parts, like the others or not.
inline BandLearner learnt(GoodParts const& seam, std::vector<SeamTrace> const& parts,
                          LearnOptions const& options = {}) {
    BandLearner learner(seam.key, seam.cells, seam.names(), options);
    for (auto const& part : parts)
        if (auto const learned = learner.learn(part, IfUnlike::take); !learned.taken)
            throw BadInput("a test's part was not learnt: " + learned.words);
    return learner;
}

/// Adds to the readings of a channel from one share of the seam to another.
inline void shift(SeamTrace& trace, std::size_t channel, double from, double to, double by) {
    for (std::size_t i = 0; i < trace.cells.count; ++i) {
        double const at = trace.cells.middle(i) / trace.cells.length;
        if (from < at && at < to)
            trace.traces[channel].value[i] += by;
    }
}

} // namespace seamhold::test

#endif
