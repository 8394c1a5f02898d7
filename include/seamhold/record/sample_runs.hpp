#ifndef SEAMHOLD_RECORD_SAMPLE_RUNS_HPP
#define SEAMHOLD_RECORD_SAMPLE_RUNS_HPP

#include "seamhold/record/channel.hpp"
#include "seamhold/record/sample_block.hpp"
#include "seamhold/record/seam_trace.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>

namespace seamhold {

/// Samples that follow each other with one value or one fault, mostly one sample. They stand for the time
/// between two moments.
struct SampleRun {
    ScannerTime from, to;             ///< when the light that they saw left the weld: the delay is taken off
    float value;                      ///< in the sensor's unit; of no meaning with a fault
    std::uint64_t samples;            ///< or how many are not there
    std::optional<SampleFault> fault; ///< all but `no_light`
};

namespace detail {
/// A number of samples, 0 to 1e18, of a number with a fraction: one that no integer holds is cut.
inline std::uint64_t whole_samples(double count) noexcept {
    return count >= 1e18 ? std::uint64_t(1'000'000'000'000'000'000)
                         : static_cast<std::uint64_t>(std::max(0.0, count));
}

/// The float nearest to a number; infinite where it is beyond all of them.
inline float nearest_float(double x) noexcept {
    constexpr double most = std::numeric_limits<float>::max();
    constexpr float infinite = std::numeric_limits<float>::infinity();
    return x > most ? infinite : x < -most ? -infinite : static_cast<float>(x);
}
} // namespace detail

/// How many samples of a channel came.
struct SampleCount {
    std::uint64_t taken = 0;    ///< came in order
    std::uint64_t missing = 0;  ///< numbers that were left out; what an acquisition that was started anew did
                                ///< not see has no numbers, see `ChannelAccount::missing_in_light`
    std::uint64_t repeated = 0; ///< numbers that had come, or been given up as missing: not used
    std::uint64_t faulty = 0;   ///< of those taken
    std::uint64_t steps = 0;    ///< blocks whose stamp did not fit
};

/// Looks one channel's blocks through and says what each sample stands for. Sample k of a block stands for
/// the time from (k − ½) to (k + ½) sampling intervals after the block's stamp, less the channel's delay;
/// where one block follows on another, the times are joined without a gap.
///
/// - Numbers left out are a run with the fault `missing`. Numbers that have come before are not used again.
/// - Numbers that begin again at 0, later than all before, are an acquisition that was started anew, say for
///   each weld: samples between the two are a run with the fault `missing`, which is no fault where there was
///   no seam. They count nowhere here.
/// - A stamp that is farther than the tolerance from where numbers and rate put it is a clock step: the whole
///   block is faulty, and so is what was said of the block before, since the step may have been in it. The
///   run then begins where that block began, and what was told since is not to be trusted. The next block
///   counts again if it fits to this one.
/// - The same number for longer than the channel's `longest_same` is stuck from its first sample on: equal
///   samples are held back until that is known.
///
/// Nothing throws or allocates; the work of a block is its samples.
class SampleRuns {
public:
    /// `clock_tolerance`: how far a stamp may be off, s, beside 200 ppm of the time since the block before by
    /// which the sampling rate may differ. The channel is taken to be a good one, see `check_channels`.
    SampleRuns(Channel const& channel, double clock_tolerance) noexcept
        : interval_(1 / channel.rate), delay_(channel.delay),
          low_(detail::nearest_float(channel.readable.low)),
          high_(detail::nearest_float(channel.readable.high)),
          most_same_(channel.longest_same > 0
                         ? detail::whole_samples(channel.longest_same * channel.rate * (1 + 1e-9)) + 1
                         : 0),
          tolerance_(clock_tolerance) {}

    /// Takes the next block in and hands runs to `take`, a function of a SampleRun, as far as they are known.
    /// A block with a stamp that is not finite is left out: its samples count as missing once the next comes.
    template <class Take> void add(SampleBlock const& block, Take&& take) {
        std::uint64_t const n = block.values.size();
        double const stamp = block.time.seconds;
        if (n == 0 || !is_finite(stamp))
            return;
        std::uint64_t skip = 0;
        double const first_edge = stamp - 0.5 * interval_ - delay_;
        if (!any_) {
            edge_ = first_edge;
            start_ = {first_edge};
        } else if (starts_anew(block, first_edge)) {
            flush(take);
            same_ = 0;
            double const between = std::max(0.0, first_edge - edge_);
            auto const lost = detail::whole_samples(between / interval_ + 0.5);
            if (lost > 0)
                take(SampleRun{{edge_}, {first_edge}, 0, lost, SampleFault::missing});
            edge_ = std::max(edge_, first_edge);
        } else if (!fits(block)) {
            step(block, take);
            return;
        } else if (block.first < expected_) {
            skip = std::min(expected_ - block.first, n);
            count_.repeated += skip;
            if (skip == n)
                return;
        } else if (block.first > expected_) {
            flush(take);
            same_ = 0;
            std::uint64_t const lost = block.first - expected_;
            count_.missing += lost;
            double const to = std::max(edge_, first_edge);
            take(SampleRun{{edge_}, {to}, 0, lost, SampleFault::missing});
            edge_ = to;
        }
        refer_to(block, n);
        count_.taken += n - skip;
        for (std::uint64_t k = skip; k < n; ++k) {
            double const to = first_edge + static_cast<double>(k + 1) * interval_;
            add_sample(block.values[k], std::max(edge_, to), take);
        }
        if (!is_held_back())
            flush(take);
    }

    /// Hands over what is held back. To be asked at the end.
    template <class Take> void finish(Take&& take) { flush(take); }

    /// Whether the next block would be a clock step.
    bool is_step(SampleBlock const& block) const noexcept {
        return any_ && !block.values.empty() && is_finite(block.time.seconds) && !fits(block) &&
               !starts_anew(block, block.time.seconds - 0.5 * interval_ - delay_);
    }

    /// What came.
    SampleCount const& count() const noexcept { return count_; }

    /// When the first sample's time began; none before it came.
    std::optional<ScannerTime> start() const noexcept { return start_; }

    /// Up to where samples have come.
    ScannerTime end() const noexcept { return {edge_}; }

private:
    bool fits(SampleBlock const& block) const noexcept {
        double const numbers = block.first >= first_ ? static_cast<double>(block.first - first_)
                                                     : -static_cast<double>(first_ - block.first);
        double const since = numbers * interval_;
        return std::abs(block.time.seconds - stamp_ - since) <= tolerance_ + 2e-4 * std::abs(since);
    }

    /// Whether an acquisition that was started again counts from 0 once more.
    bool starts_anew(SampleBlock const& block, double first_edge) const noexcept {
        return block.first == 0 && !fits(block) && first_edge >= edge_ - tolerance_;
    }

    void refer_to(SampleBlock const& block, std::uint64_t n) noexcept {
        any_ = true;
        block_edge_ = edge_;
        first_ = block.first;
        stamp_ = block.time.seconds;
        expected_ = block.first + n;
    }

    template <class Take> void step(SampleBlock const& block, Take& take) {
        flush(take);
        same_ = 0;
        std::uint64_t const n = block.values.size();
        double const begin = block.time.seconds - 0.5 * interval_ - delay_;
        double const end = begin + static_cast<double>(n) * interval_;
        ++count_.steps;
        count_.taken += n;
        count_.faulty += n;
        take(
            SampleRun{{std::min(block_edge_, begin)}, {std::max(edge_, end)}, 0, n, SampleFault::clock_step});
        edge_ = begin;
        refer_to(block, n);
        edge_ = end;
    }

    std::optional<SampleFault> fault_of(float value) const noexcept {
        if (!is_finite(static_cast<double>(value)))
            return SampleFault::not_finite;
        if (!(value > low_ && value < high_))
            return SampleFault::saturated;
        return std::nullopt;
    }

    template <class Take> void add_sample(float value, double to, Take& take) {
        auto fault = fault_of(value);
        bool const is_same = !fault && same_ > 0 && value == last_value_;
        same_ = fault ? 0 : is_same ? same_ + 1 : 1;
        last_value_ = value;
        if (most_same_ > 0 && same_ > most_same_)
            fault = SampleFault::stuck;
        bool const becomes_stuck = fault == SampleFault::stuck && run_.samples > 0 && !run_.fault;
        if (becomes_stuck) {
            run_.fault = fault;
            count_.faulty += run_.samples;
        }
        if (run_.samples == 0 || run_.fault != fault || !(fault || is_same)) {
            flush(take);
            run_ = {{edge_}, {to}, value, 0, fault};
        }
        count_.faulty += fault ? 1 : 0;
        run_.to = {to};
        ++run_.samples;
        edge_ = to;
    }

    /// Whether more samples are needed to know what the last ones are.
    bool is_held_back() const noexcept { return most_same_ > 0 && run_.samples > 0 && !run_.fault; }

    template <class Take> void flush(Take& take) {
        if (run_.samples == 0)
            return;
        take(run_);
        run_.samples = 0;
    }

    double interval_, delay_;
    float low_, high_;
    std::uint64_t most_same_; ///< samples that may be the same; 0: not looked at
    double tolerance_;
    bool any_ = false;
    std::uint64_t first_ = 0, expected_ = 0; ///< number of the last block's first sample, and of the next
    double stamp_ = 0;                       ///< of the last block, s
    double block_edge_ = 0;                  ///< where that block's time began, s
    double edge_ = 0;                        ///< up to where time is given away, s
    std::optional<ScannerTime> start_;
    SampleRun run_ = {}; ///< not handed over yet
    float last_value_ = 0;
    std::uint64_t same_ = 0; ///< how often `last_value_` came
    SampleCount count_;
};

} // namespace seamhold

#endif
