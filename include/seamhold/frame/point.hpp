#ifndef SEAMHOLD_FRAME_POINT_HPP
#define SEAMHOLD_FRAME_POINT_HPP

#include "seamhold/number/number.hpp"

#include <concepts>
#include <type_traits>

namespace seamhold {

/// The cell (world) frame; robot frames follow ISO 9787.
struct Cell;
/// The robot's base frame.
struct Base;
/// The robot's mechanical interface (flange) frame.
struct Flange;
/// The scan head's frame: origin where the undeflected beam meets the axis of the last mirror, +z along that
/// beam towards the work; the first mirror deflects in x, the last in y.
struct Head;
/// The part's frame, in which seams are drawn.
struct Part;

/// Satisfied when two frame tags are one frame. Any type, complete or not, is a tag.
template <class A, class B>
concept SameFrame = std::same_as<A, B>;

/// A place, by its coordinates in frame F, in m.
template <class F, class S = double> struct Point { S x, y, z; };

/// A free vector in frame F: a direction (then of length one, where the user says so), a displacement in m,
/// or a velocity. A pose turns it and does not move it.
template <class F, class S = double> struct Direction { S x, y, z; };

/// The displacement from b to a.
template <class F, class G, class S, class U>
requires SameFrame<F, G>
[[gnu::always_inline]] constexpr auto operator-(Point<F, S> const& a, Point<G, U> const& b) {
    return Direction<F, Common<S, U>>{a.x - b.x, a.y - b.y, a.z - b.z};
}

/// A point moved by a displacement.
template <class F, class G, class S, class U>
requires SameFrame<F, G>
[[gnu::always_inline]] constexpr auto operator+(Point<F, S> const& p, Direction<G, U> const& d) {
    return Point<F, Common<S, U>>{p.x + d.x, p.y + d.y, p.z + d.z};
}

/// A point moved back by a displacement.
template <class F, class G, class S, class U>
requires SameFrame<F, G>
[[gnu::always_inline]] constexpr auto operator-(Point<F, S> const& p, Direction<G, U> const& d) {
    return Point<F, Common<S, U>>{p.x - d.x, p.y - d.y, p.z - d.z};
}

/// The sum of two free vectors.
template <class F, class G, class S, class U>
requires SameFrame<F, G>
[[gnu::always_inline]] constexpr auto operator+(Direction<F, S> const& a, Direction<G, U> const& b) {
    return Direction<F, Common<S, U>>{a.x + b.x, a.y + b.y, a.z + b.z};
}

/// The difference of two free vectors.
template <class F, class G, class S, class U>
requires SameFrame<F, G>
[[gnu::always_inline]] constexpr auto operator-(Direction<F, S> const& a, Direction<G, U> const& b) {
    return Direction<F, Common<S, U>>{a.x - b.x, a.y - b.y, a.z - b.z};
}

/// The opposite vector.
template <class F, class S> constexpr Direction<F, S> operator-(Direction<F, S> const& d) {
    return {-d.x, -d.y, -d.z};
}

/// A vector made longer by a factor.
template <class F, class S, Number U>
[[gnu::always_inline]] constexpr auto operator*(U const& factor, Direction<F, S> const& d) {
    return Direction<F, Common<S, U>>{factor * d.x, factor * d.y, factor * d.z};
}

/// The scalar product.
template <class F, class G, class S, class U>
requires SameFrame<F, G>
[[gnu::always_inline]] constexpr auto dot(Direction<F, S> const& a, Direction<G, U> const& b) {
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

/// The vector product a × b.
template <class F, class G, class S, class U>
requires SameFrame<F, G>
[[gnu::always_inline]] constexpr auto cross(Direction<F, S> const& a, Direction<G, U> const& b) {
    return Direction<F, Common<S, U>>{a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

/// The squared length.
template <class F, class S> constexpr S squared_norm(Direction<F, S> const& d) {
    return sqr(d.x) + sqr(d.y) + sqr(d.z);
}

/// The length; its derivatives are 0 where the length is 0.
template <class F, class S> S norm(Direction<F, S> const& d) {
    using std::sqrt;
    return sqrt(squared_norm(d));
}

/// The same direction with length one. The length must not be 0.
template <class F, class S> Direction<F, S> unit(Direction<F, S> const& d) {
    S const inverse = number_cast<S>(1) / norm(d);
    return {inverse * d.x, inverse * d.y, inverse * d.z};
}

/// The same point over another type of number.
template <class T, class F, class S> constexpr Point<F, T> number_cast(Point<F, S> const& p) {
    return {number_cast<T>(p.x), number_cast<T>(p.y), number_cast<T>(p.z)};
}

/// The same vector over another type of number.
template <class T, class F, class S> constexpr Direction<F, T> number_cast(Direction<F, S> const& d) {
    return {number_cast<T>(d.x), number_cast<T>(d.y), number_cast<T>(d.z)};
}

/// The values of a point without their derivatives.
template <class F, class S> constexpr Point<F, ValueOf<S>> value_of(Point<F, S> const& p) {
    return {value_of(p.x), value_of(p.y), value_of(p.z)};
}

/// The values of a vector without their derivatives.
template <class F, class S> constexpr Direction<F, ValueOf<S>> value_of(Direction<F, S> const& d) {
    return {value_of(d.x), value_of(d.y), value_of(d.z)};
}

/// Whether every number in the point is finite.
template <class F, class S> constexpr bool is_finite(Point<F, S> const& p) {
    return is_finite(p.x) && is_finite(p.y) && is_finite(p.z);
}

/// The same coordinates under another frame's name, for where someone must; greppable on purpose.
template <class NewFrame, class F, class S> constexpr Point<NewFrame, S> as(Point<F, S> const& p) {
    return {p.x, p.y, p.z};
}

static_assert(std::is_trivially_copyable_v<Point<Cell>> && std::is_trivially_copyable_v<Direction<Cell>>);

} // namespace seamhold

#endif
