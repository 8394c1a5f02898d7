#ifndef SEAMHOLD_MOTION_REST_HPP
#define SEAMHOLD_MOTION_REST_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/motion/motion.hpp"

namespace seamhold {

/// A frame at rest: a bolted fixture, a robot that stands.
template <class To, class From, class S = double> struct Rest {
    Pose<To, From, S> pose;

    /// The pose, whatever the time.
    template <class T> Pose<To, From, Common<S, T>> at(T const&) const {
        return number_cast<Common<S, T>>(pose);
    }
};

} // namespace seamhold

#endif
