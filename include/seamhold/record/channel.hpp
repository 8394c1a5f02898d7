#ifndef SEAMHOLD_RECORD_CHANNEL_HPP
#define SEAMHOLD_RECORD_CHANNEL_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"

#include <cstddef>
#include <limits>
#include <string>
#include <vector>

/// What sensors see of the weld through the head (light from the plume, heat radiation of the melt, returned
/// laser light: common practice, no source), placed on the seam, held against a band learnt from good parts,
/// and judged. Units of readings are the sensor's; nothing here knows them. A verdict is a help to those who
/// answer for the weld; it takes the place of no test that a standard or a drawing asks for.
namespace seamhold {

/// One sensor's signal.
struct Channel {
    std::string name; ///< the user's: "plume light"
    double rate;      ///< samples a second, above 0
    double delay = 0; ///< from the light at the weld to the moment with which a sample is stamped, s
    /// What the sensor can say, in its own unit: a sample at one of the ends, or beyond, is saturated.
    Bounds readable = {-std::numeric_limits<double>::infinity(), std::numeric_limits<double>::infinity()};
    /// For so long the same number may come again and again, s; beyond that the sensor is stuck. 0: not
    /// looked at.
    double longest_same = 0;
};

/// Throws BadInput, naming the channel, for no channels at all, a name that is empty or stands twice, a rate
/// that is not above 0, a delay or a time that is negative or not finite, and a range that holds nothing.
inline void check_channels(std::vector<Channel> const& channels) {
    using detail::text_of;
    if (channels.empty())
        throw BadInput("a weld record needs one channel or more");
    for (std::size_t i = 0; i < channels.size(); ++i) {
        auto const& c = channels[i];
        if (c.name.empty())
            throw BadInput("channel number " + std::to_string(i + 1) + " has no name");
        for (std::size_t k = 0; k < i; ++k)
            if (channels[k].name == c.name)
                throw BadInput("two channels are named " + c.name);
        if (!(c.rate > 0) || !is_finite(c.rate))
            throw BadInput("channel " + c.name + ": the rate must be above 0; given was " + text_of(c.rate) +
                           " samples a second");
        if (!(c.delay >= 0) || !is_finite(c.delay))
            throw BadInput("channel " + c.name + ": the delay must be 0 s or more; given was " +
                           text_of(c.delay) + " s");
        if (!(c.longest_same >= 0) || !is_finite(c.longest_same))
            throw BadInput("channel " + c.name +
                           ": the longest time of one and the same number must be 0 s or more; given was " +
                           text_of(c.longest_same) + " s");
        if (!(c.readable.low < c.readable.high))
            throw BadInput("channel " + c.name + ": what it can say must run from low to high; given was " +
                           text_of(c.readable.low) + " to " + text_of(c.readable.high));
    }
}

} // namespace seamhold

#endif
