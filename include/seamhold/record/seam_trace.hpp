#ifndef SEAMHOLD_RECORD_SEAM_TRACE_HPP
#define SEAMHOLD_RECORD_SEAM_TRACE_HPP

#include "seamhold/record/cells.hpp"
#include "seamhold/record/seam_key.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace seamhold {

/// What can be wrong with samples.
enum class SampleFault : std::uint8_t {
    not_finite, ///< not a number, or infinite
    saturated,  ///< at an end of what the sensor can say
    stuck,      ///< the same number for too long
    missing,    ///< samples that were lost, or never came
    clock_step, ///< a block's stamp does not fit its numbers: the clock or the acquisition jumped
    no_light    ///< the beam was off within the seam, so there was nothing to see
};

/// The same in words.
constexpr char const* to_string(SampleFault fault) {
    constexpr char const* names[] = {"not finite", "saturated", "stuck", "missing", "clock step", "no light"};
    return names[static_cast<std::size_t>(fault)];
}

/// Where along a seam samples of a channel are faulty; they stand for nothing in the trace.
struct FaultSpan {
    SampleFault fault;
    std::size_t channel;   ///< from 0
    double from, to;       ///< along the seam, m; equal where the spot stood
    std::uint64_t samples; ///< that are faulty, or that are not there
};

/// One channel along a seam.
struct ChannelTrace {
    std::vector<double>
        value; ///< of each cell: the mean over its length; not a number where nothing is known
    std::vector<float> covered; ///< of each cell: the share of its length that good samples stand for, 0 to 1
};

/// What the sensors saw of one weld of one part, along the seam.
struct SeamTrace {
    SeamKey key;
    std::string part; ///< the part's number or name; the user's
    double date;      ///< of the weld, days since 1970-01-01, 0 h, of the clock on the wall
    Cells cells;
    std::vector<std::string> channels; ///< their names
    std::vector<ChannelTrace> traces;  ///< one a channel
    std::vector<FaultSpan> faults;     ///< in order of channels, then along the seam
};

} // namespace seamhold

#endif
