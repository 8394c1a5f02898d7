#ifndef SEAMHOLD_TESTS_RECORD_SAMPLE_TRAINS_HPP
#define SEAMHOLD_TESTS_RECORD_SAMPLE_TRAINS_HPP

#include "seamhold/record/place.hpp"
#include "support/random.hpp"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

// Trains of samples whose places are known, since the way of the spot is a formula. All numbers are invented.

namespace seamhold::test {

/// A way along a seam by a formula: a mean speed with two swings of it; it never stands or turns back.
struct WavySpeed {
    double start; ///< scanner's time, s
    double mean;  ///< m/s
    double share_1, frequency_1, share_2, frequency_2;

    /// How far the spot is, m.
    double place(double time) const {
        double const t = time - start;
        double const w1 = 2 * std::numbers::pi * frequency_1, w2 = 2 * std::numbers::pi * frequency_2;
        return mean * (t + share_1 * std::sin(w1 * t) / w1 + share_2 * (1 - std::cos(w2 * t)) / w2);
    }

    /// When it is there, s.
    double time_at(double s) const {
        double low = start, high = start + 10 * s / mean;
        for (int i = 0; i < 100; ++i) {
            double const middle = low + (high - low) / 2;
            (place(middle) < s ? low : high) = middle;
        }
        return high;
    }

    /// Any one.
    static WavySpeed any(Random& random, double start) {
        return {start,
                random.uniform(0.03, 0.3),
                random.uniform(0, 0.45),
                random.uniform(3, 25),
                random.uniform(0, 0.4),
                random.uniform(3, 25)};
    }
    static WavySpeed even(double start, double speed) { return {start, speed, 0, 1, 0, 1}; }
};

/// The pass of such a way over a seam, with knots so close that straight lines are off by less than 0.1 µm.
inline SeamPass pass_of(WavySpeed const& way, double length, std::string const& name = "wavy") {
    SeamPass pass{{{}, name, 1}, length, {}};
    double const end = way.time_at(length);
    int const count = static_cast<int>((end - way.start) / 1e-4) + 1;
    for (int i = 0; i <= count; ++i) {
        double const t = i == count ? end : way.start + (end - way.start) * i / count;
        pass.knots.push_back({{t}, i == count ? length : way.place(t), true});
    }
    return pass;
}

/// A channel of this rate.
inline Channel channel_of(double rate, double delay = 0, std::string const& name = "plume light") {
    Channel channel{name, rate};
    channel.delay = delay;
    return channel;
}

/// One channel's samples from one moment to another, cut into blocks.
struct Train {
    std::vector<std::vector<float>> values;
    std::vector<SampleBlock> blocks; ///< of these values, which must not move

    /// Every sample is what `seen` says at the moment at which light left the weld, which is its stamp less
    /// the delay; blocks have from 1 to `longest` samples.
    Train(Channel const& channel, double from, double to, std::function<double(double time)> const& seen,
          Random& random, std::size_t longest = 500) {
        auto const count = static_cast<std::size_t>((to - from) * channel.rate);
        for (std::size_t n = 0; n < count;) {
            std::size_t const size = std::min(count - n, 1 + random.index(longest));
            double const stamp = from + static_cast<double>(n) / channel.rate;
            std::vector<float> some;
            for (std::size_t k = 0; k < size; ++k)
                some.push_back(
                    static_cast<float>(seen(stamp + static_cast<double>(k) / channel.rate - channel.delay)));
            values.push_back(std::move(some));
            blocks.push_back({0, n, {stamp}, values.back()});
            n += size;
        }
    }
    Train(Train const&) = delete;
    Train& operator=(Train const&) = delete;
    Train(Train&&) = default;
    Train& operator=(Train&&) = default;
    ~Train() = default;
};

/// The trace of one pass and one channel from blocks.
inline PlacedSamples placed(SeamPass const& pass, Channel const& channel,
                            std::vector<SampleBlock> const& blocks, PlaceOptions const& options = {}) {
    SamplePlacer placer({pass}, {channel}, options);
    for (auto const& block : blocks)
        placer.add(block);
    return placer.placed("part 1", 20000);
}

} // namespace seamhold::test

#endif
