#ifndef SEAMHOLD_RECORD_SAMPLE_BLOCK_HPP
#define SEAMHOLD_RECORD_SAMPLE_BLOCK_HPP

#include "seamhold/live/clock_map.hpp"

#include <cstddef>
#include <cstdint>
#include <span>

namespace seamhold {

/// Samples of one channel that follow each other, as they were taken. Blocks of one channel come in order of
/// their numbers; a number that is left out is a sample that was lost. How late a block arrives does not
/// matter, only the time with which it is stamped.
struct SampleBlock {
    std::size_t channel;           ///< from 0, in the order of declaration
    std::uint64_t first;           ///< number of the first sample, counted from the channel's start
    ScannerTime time;              ///< with which the first sample is stamped; the others follow at the rate
    std::span<float const> values; ///< in the sensor's unit; not kept, only read
};

} // namespace seamhold

#endif
