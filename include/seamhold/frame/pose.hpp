#ifndef SEAMHOLD_FRAME_POSE_HPP
#define SEAMHOLD_FRAME_POSE_HPP

#include "seamhold/frame/rotation.hpp"

namespace seamhold {

/// Where frame From stands in frame To. It maps coordinates of From to coordinates of To, so variables are
/// called `to_from_from`: `cell_from_flange`. Poses compose only where the inner frames agree.
template <class To, class From, class S = double> struct Pose {
    Rotation<To, From, S> rotation;
    Point<To, S> origin; ///< From's origin in To, m

    /// Both frames coincide.
    static constexpr Pose identity() {
        S const zero = number_cast<S>(0);
        return {Rotation<To, From, S>::identity(), {zero, zero, zero}};
    }
};

/// A point given in From, in the coordinates of To.
template <class To, class From, class F, class S, class U>
requires SameFrame<From, F>
[[gnu::always_inline]] constexpr auto operator*(Pose<To, From, S> const& pose, Point<F, U> const& p) {
    return pose.origin + pose.rotation * Direction<F, U>{p.x, p.y, p.z};
}

/// A free vector given in From, in the coordinates of To.
template <class To, class From, class F, class S, class U>
requires SameFrame<From, F>
[[gnu::always_inline]] constexpr auto operator*(Pose<To, From, S> const& pose, Direction<F, U> const& d) {
    return pose.rotation * d;
}

/// `a_from_b * b_from_c` is `a_from_c`.
template <class To, class Mid, class Mid2, class From, class S, class U>
requires SameFrame<Mid, Mid2>
[[gnu::always_inline]] constexpr auto operator*(Pose<To, Mid, S> const& a, Pose<Mid2, From, U> const& b) {
    return Pose<To, From, Common<S, U>>{a.rotation * b.rotation, a * b.origin};
}

/// A point given in To, in the coordinates of From: the inverse pose without forming it.
template <class To, class From, class F, class S, class U>
requires SameFrame<To, F>
[[gnu::always_inline]] constexpr auto inverse_times(Pose<To, From, S> const& pose, Point<F, U> const& p) {
    auto const d = inverse_times(pose.rotation, p - pose.origin);
    return Point<From, Common<S, U>>{d.x, d.y, d.z};
}

/// A free vector given in To, in the coordinates of From.
template <class To, class From, class F, class S, class U>
requires SameFrame<To, F>
[[gnu::always_inline]] constexpr auto inverse_times(Pose<To, From, S> const& pose, Direction<F, U> const& d) {
    return inverse_times(pose.rotation, d);
}

/// `a_from_b` turned into `b_from_a`.
template <class To, class From, class S> constexpr Pose<From, To, S> inverse(Pose<To, From, S> const& pose) {
    auto const back = inverse(pose.rotation);
    auto const d = back * Direction<To, S>{pose.origin.x, pose.origin.y, pose.origin.z};
    return {back, {-d.x, -d.y, -d.z}};
}

/// The same pose over another type of number.
template <class T, class To, class From, class S>
constexpr Pose<To, From, T> number_cast(Pose<To, From, S> const& pose) {
    return {number_cast<T>(pose.rotation), number_cast<T>(pose.origin)};
}

/// The values of a pose without their derivatives.
template <class To, class From, class S>
constexpr Pose<To, From, ValueOf<S>> value_of(Pose<To, From, S> const& pose) {
    Pose<To, From, ValueOf<S>> values{{}, value_of(pose.origin)};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            values.rotation.m[i][k] = value_of(pose.rotation.m[i][k]);
    return values;
}

/// The same numbers under other frames' names, for where someone must; greppable on purpose.
template <class NewTo, class NewFrom, class To, class From, class S>
constexpr Pose<NewTo, NewFrom, S> as(Pose<To, From, S> const& pose) {
    Pose<NewTo, NewFrom, S> result{{}, {pose.origin.x, pose.origin.y, pose.origin.z}};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            result.rotation.m[i][k] = pose.rotation.m[i][k];
    return result;
}

static_assert(std::is_trivially_copyable_v<Pose<Cell, Flange>>);

} // namespace seamhold

#endif
