#ifndef SEAMHOLD_HEAD_LANES_HPP
#define SEAMHOLD_HEAD_LANES_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/number/taylor.hpp"

/// What a head is asked and answers over packs, taken apart and put together by lanes: for heads that are
/// solved one point after the other.
namespace seamhold::detail {

template <class F, class T> auto lane_of_point(Point<F, T> const& p, int i) {
    return Point<F, decltype(lane_of(p.x, i))>{lane_of(p.x, i), lane_of(p.y, i), lane_of(p.z, i)};
}

template <class A, class B> void set_lane_of(Command<A>& to, int i, Command<B> const& from) {
    set_lane(to.x_mirror, i, from.x_mirror);
    set_lane(to.y_mirror, i, from.y_mirror);
    set_lane(to.focus, i, from.focus);
}

template <class A, class B> void set_lane_of(Clearance<A>& to, int i, Clearance<B> const& from) {
    set_lane(to.in_front, i, from.in_front);
    set_lane(to.solved, i, from.solved);
    set_lane(to.x_mirror, i, from.x_mirror);
    set_lane(to.y_mirror, i, from.y_mirror);
    set_lane(to.focus, i, from.focus);
    set_lane(to.field, i, from.field);
    set_lane(to.aperture, i, from.aperture);
}

template <class A, class C, class B, class D> void set_lane_of(Aim<A, C>& to, int i, Aim<B, D> const& from) {
    set_lane_of(to.command, i, from.command);
    set_lane_of(to.clearance, i, from.clearance);
}

template <class A, class B> void set_lane_of(Ray<A>& to, int i, Ray<B> const& from) {
    set_lane(to.origin.x, i, from.origin.x);
    set_lane(to.origin.y, i, from.origin.y);
    set_lane(to.origin.z, i, from.origin.z);
    set_lane(to.direction.x, i, from.direction.x);
    set_lane(to.direction.y, i, from.direction.y);
    set_lane(to.direction.z, i, from.direction.z);
    set_lane(to.path, i, from.path);
    set_lane(to.focus_path, i, from.focus_path);
}

template <class A, class B> void set_lane_of(A& to, int i, B const& from) { set_lane(to, i, from); }

/// What `answer(i)` gives for each lane, put together as one R.
template <class R, int W, class Answer> R by_lanes(Answer const& answer) {
    R all;
    for (int i = 0; i < W; ++i)
        set_lane_of(all, i, answer(i));
    return all;
}

} // namespace seamhold::detail

#endif
