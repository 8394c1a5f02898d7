#ifndef SEAMHOLD_RECORD_FAULTY_STRETCH_HPP
#define SEAMHOLD_RECORD_FAULTY_STRETCH_HPP

#include "seamhold/record/seam_trace.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace seamhold::detail {

/// Faulty samples of one kind along a seam, of one channel, while they are being gathered.
struct FaultyStretch {
    SampleFault fault;
    std::size_t channel;
    double from, to; ///< along the seam, m
    double samples;  ///< with fractions, where one straddles

    /// Takes another of the same kind and channel in, unless they are more than `apart` m from each other.
    bool join(FaultyStretch const& other, double apart) noexcept {
        if (other.from > to + apart || other.to < from - apart)
            return false;
        from = std::min(from, other.from);
        to = std::max(to, other.to);
        samples += other.samples;
        return true;
    }
};

/// Faults in order of channels, then along the seam, then of kinds; those of one kind that are no more than
/// `apart` m from each other as one.
inline std::vector<FaultSpan> fault_spans(std::vector<FaultyStretch> all, double apart) {
    std::sort(all.begin(), all.end(), [](FaultyStretch const& a, FaultyStretch const& b) {
        return a.channel != b.channel ? a.channel < b.channel
               : a.fault != b.fault   ? a.fault < b.fault
                                      : a.from < b.from;
    });
    std::vector<FaultyStretch> kept;
    for (auto const& s : all)
        if (kept.empty() || kept.back().channel != s.channel || kept.back().fault != s.fault ||
            !kept.back().join(s, apart))
            kept.push_back(s);
    std::stable_sort(kept.begin(), kept.end(), [](FaultyStretch const& a, FaultyStretch const& b) {
        return a.channel != b.channel ? a.channel < b.channel : a.from < b.from;
    });
    std::vector<FaultSpan> spans;
    spans.reserve(kept.size());
    for (auto const& s : kept)
        spans.push_back({s.fault, s.channel, s.from, s.to,
                         static_cast<std::uint64_t>(std::llround(std::max(0.0, s.samples)))});
    return spans;
}

/// Where one channel's traces say that its clock stepped, when the step itself was not in the light of a
/// seam: at the next place that the channel sees, and, where that lies in the pass in which it saw before, at
/// the first place of the next pass too. Nothing throws or allocates.
class StepMarks {
public:
    /// The clock stepped.
    void step() noexcept { next_ = Next::place; }

    /// The step touched the light of a pass, which says so already.
    void touched(std::uint64_t pass) noexcept { pass_ = pass; }

    /// Whether a place in the light of a pass is to be marked; to be asked for each that the channel sees.
    bool marks(std::uint64_t pass) noexcept {
        bool const other = pass != pass_;
        pass_ = pass;
        if (next_ == Next::nothing || (next_ == Next::pass && !other))
            return false;
        next_ = other ? Next::nothing : Next::pass;
        return true;
    }

private:
    enum class Next : std::uint8_t { nothing, place, pass };
    Next next_ = Next::nothing;
    std::uint64_t pass_ = ~std::uint64_t(0); ///< in which the channel saw last; none yet
};

} // namespace seamhold::detail

#endif
