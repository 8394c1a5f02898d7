#ifndef SEAMHOLD_MOTION_STEADY_HPP
#define SEAMHOLD_MOTION_STEADY_HPP

#include "seamhold/motion/motion.hpp"

namespace seamhold {

/// A frame that glides at constant velocity without turning: the middle of a long straight sweep, or a belt.
template <class To, class From, class S = double> struct Steady {
    Pose<To, From, S> start;   ///< the pose at start_time
    Direction<To, S> velocity; ///< m/s
    double start_time = 0;     ///< s

    /// The pose at time t.
    template <class T> Pose<To, From, Common<S, T>> at(T const& t) const {
        using R = Common<S, T>;
        R const elapsed = number_cast<R>(t - start_time);
        auto const& v = velocity;
        return {number_cast<R>(start.rotation),
                {elapsed * operand<T>(v.x) + operand<T>(start.origin.x),
                 elapsed * operand<T>(v.y) + operand<T>(start.origin.y),
                 elapsed * operand<T>(v.z) + operand<T>(start.origin.z)}};
    }
};

} // namespace seamhold

#endif
