#ifndef SEAMHOLD_MOTION_REST_HPP
#define SEAMHOLD_MOTION_REST_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/motion/motion.hpp"

namespace seamhold {

/// A frame at rest: a bolted fixture, a robot that stands.
template <class To, class From, class S = double> struct Rest {
    Pose<To, From, S> pose;

    /// The pose, whatever the time; a constant over S, which costs less to apply than one with zero rates.
    template <class T> Pose<To, From, S> const& at(T const&) const { return pose; }
};

} // namespace seamhold

#endif
