#ifndef SEAMHOLD_MOTION_MOTION_HPP
#define SEAMHOLD_MOTION_MOTION_HPP

#include "seamhold/frame/pose.hpp"

#include <algorithm>
#include <vector>

namespace seamhold {

/// A Motion from From to To is anything with `template <class T> Pose<To, From, Common<S, T>> at(T t) const`,
/// t in seconds of its clock, S the numbers it stores. Two members are optional:
///  - `bool covers(double t) const`: whether there are data at t (default: always); `at` stays finite without
///  data
///    but means nothing there,
///  - `std::vector<double> breaks() const`: times at which a derivative may jump (default: none).
template <class M, class To, class From>
concept Motion = requires(M const& m, double t) {
    { value_of(m.at(t)) } -> std::same_as<Pose<To, From>>;
};

/// Whether a motion has data at time t.
template <class M> bool has_data(M const& motion, double t) {
    if constexpr (requires { motion.covers(t); })
        return motion.covers(t);
    else
        return true;
}

/// The times at which a derivative of a motion may jump, increasing.
template <class M> std::vector<double> breaks_of(M const& motion) {
    if constexpr (requires { motion.breaks(); })
        return motion.breaks();
    else
        return {};
}

/// What `use` makes of a motion's pose at time t. For a motion chosen at run time the pose goes to `use` over
/// the numbers that its own kind returns, so that a part at rest is not dragged along with zero rates.
template <class M, class T, class Use> auto with_pose(M const& motion, T const& t, Use const& use) {
    if constexpr (requires { motion.with_pose(t, use); })
        return motion.with_pose(t, use);
    else
        return use(motion.at(t));
}

namespace detail {
/// Two increasing lists as one, equal entries once.
inline std::vector<double> merged(std::vector<double> const& a, std::vector<double> const& b) {
    std::vector<double> all(a.size() + b.size());
    std::merge(a.begin(), a.end(), b.begin(), b.end(), all.begin());
    all.erase(std::unique(all.begin(), all.end()), all.end());
    return all;
}
} // namespace detail

} // namespace seamhold

#endif
