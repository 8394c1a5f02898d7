#ifndef SEAMHOLD_HEAD_SCAN_HEAD_HPP
#define SEAMHOLD_HEAD_SCAN_HEAD_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/number/taylor.hpp"

#include <concepts>

namespace seamhold {

namespace detail {
/// Values without derivatives, of doubles or of packs.
template <class C>
concept CommandOfValues = std::same_as<C, Command<ValueOf<decltype(C::focus)>>>;
template <class C>
concept ClearanceOfValues = std::same_as<C, Clearance<ValueOf<decltype(C::field)>>>;
template <class D>
concept DirectionOfValues = std::same_as<D, Direction<Head, ValueOf<decltype(D::x)>>>;
} // namespace detail

/// What a head must answer; everything above `head/` works with any. Both questions are templates over the
/// number that is put in; the concept asks at doubles and at Taylor numbers.
///  - `command(p, focus_offset)`: the command that puts the beam through p, m, with the focus `focus_offset`
///    metres beyond p along the beam. Finite for any finite p.
///  - `clearance(p, command)`: how far p and the command are from what the head can reach.
///  - `aim(p, focus_offset)`: both, the clearances at plain numbers; `status_of(aim)` is its status.
///  - `ray(command)`: the beam that a command makes.
///  - `ranges()`: of its axes.
///  - `working_distance()`: z in the head frame of the focus at command 0 without deflection, m.
template <class H>
concept ScanHead = requires(H const& head, Point<Head> const& p, Point<Head, Taylor<double, 2>> const& moving,
                            Command<> const& command) {
    { value_of(head.command(p, 0.0)) } -> detail::CommandOfValues;
    { value_of(head.command(moving, 0.0)) } -> detail::CommandOfValues;
    { value_of(head.clearance(p, command)) } -> detail::ClearanceOfValues;
    { value_of(head.aim(p, 0.0).command) } -> detail::CommandOfValues;
    { value_of(head.aim(p, 0.0).clearance) } -> detail::ClearanceOfValues;
    { value_of(head.ray(command).direction) } -> detail::DirectionOfValues;
    { head.ranges() } -> std::same_as<AxisRanges>;
    value_of(head.working_distance());
};

} // namespace seamhold

#endif
