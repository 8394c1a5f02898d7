#ifndef SEAMHOLD_TESTS_SUPPORT_INTERVAL_LAWS_HPP
#define SEAMHOLD_TESTS_SUPPORT_INTERVAL_LAWS_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/taylor.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <utility>
#include <vector>

#include "support/random.hpp"

// What must hold of intervals and of what was asked at doubles inside of them.

namespace seamhold::test {

/// Whether an interval holds a double that was computed with this much rounding.
inline bool holds(Interval const& x, double value, double rounding) {
    return x.low <= value + rounding && x.high >= value - rounding;
}

/// Whether a stretch holds value and rates up to the third order at an instant of it. A rounding is a share
/// of 1 + |number|.
template <int N> bool holds(Taylor<Interval, N> const& x, Taylor<double, 3> const& at, double rounding) {
    bool all = true;
    for (int k = 0; k <= 3; ++k)
        all = all && holds(x.coefficient[k], at.coefficient[k], rounding * (1 + std::abs(at.coefficient[k])));
    return all;
}

/// Every double of a number of intervals is a number or an infinity, and the ends are in order.
inline bool sound(Interval const& x) { return x.low <= x.high; }
template <int N> bool sound(Taylor<Interval, N> const& x) {
    bool all = true;
    for (auto const& c : x.coefficient)
        all = all && sound(c);
    return all;
}

inline bool has_finite_values(double x) { return is_finite(x); }
inline bool has_finite_values(Interval const& x) { return is_finite(x); }
template <class S, int N> bool has_finite_values(Taylor<S, N> const& x) { return is_finite(x.value()); }

inline bool is_whole(Interval const& x) { return x.low == -INFINITY && x.high == INFINITY; }

/// The numbers of a command, of clearances, of a beam.
template <class T> std::vector<T> numbers_of(Command<T> const& c) {
    return {c.x_mirror, c.y_mirror, c.focus};
}
template <class T> std::vector<T> numbers_of(Clearance<T> const& c) {
    return {c.in_front, c.x_mirror, c.y_mirror, c.focus, c.field, c.aperture};
}
template <class T> std::vector<T> numbers_of(Ray<T> const& r) {
    return {r.origin.x,    r.origin.y,    r.origin.z, r.direction.x,
            r.direction.y, r.direction.z, r.path,     r.focus_path};
}

/// All that a head says of a point, one number after the other; `solved` apart.
template <class T> struct Said {
    std::vector<T> numbers;
    T solved;
    bool proven; ///< the command's values are finite
};

template <class HeadModel, class T>
auto said(HeadModel const& head, Point<Head, T> const& p, T const& offset) {
    auto const command = head.command(p, offset);
    auto const clearance = head.clearance(p, command);
    Said<T> all{numbers_of(command), clearance.solved, true};
    for (auto const& number : all.numbers)
        all.proven = all.proven && has_finite_values(number);
    for (auto const& more : {numbers_of(clearance), numbers_of(head.ray(command))})
        all.numbers.insert(all.numbers.end(), more.begin(), more.end());
    all.numbers.push_back(head.squared_field_utilisation(p, command));
    return all;
}

/// A box of points around a middle, and doubles inside of it.
struct Box {
    std::array<Interval, 4> side; ///< x, y, z, focus offset, m
    Box(Point<Head> const& middle, double offset, double half, Random& random) {
        double const at[] = {middle.x, middle.y, middle.z, offset};
        for (std::size_t i = 0; i < 4; ++i) {
            double const share = random.unit();
            side[i] = Interval(at[i] - half * share, at[i] + half * (1 - share));
        }
    }
    Point<Head, Interval> point() const { return {side[0], side[1], side[2]}; }
    std::array<double, 4> inside(Random& random) const {
        std::array<double, 4> p{};
        for (std::size_t i = 0; i < 4; ++i)
            p[i] = std::min(side[i].high, side[i].low + (side[i].high - side[i].low) *
                                                            (random.index(8) == 0 ? 1.0 : random.unit()));
        return p;
    }
};

/// A smooth way of point and focus offset in time, cubics.
struct Way {
    std::array<std::array<double, 4>, 4> c; ///< c[i][k]: number i, k-th power
    template <class T> std::array<T, 4> at(T const& t) const {
        std::array<T, 4> r;
        for (std::size_t i = 0; i < 4; ++i)
            r[i] = ((t * c[i][3] + c[i][2]) * t + c[i][1]) * t + c[i][0];
        return r;
    }
};

inline Way random_way_through(Point<Head> const& p, double offset, double speed, Random& random) {
    Way way{};
    double const start[] = {p.x, p.y, p.z, offset};
    for (std::size_t i = 0; i < 4; ++i)
        for (std::size_t k = 0; k < 4; ++k)
            way.c[i][k] = k == 0 ? start[i]
                                 : random.uniform(-1, 1) * speed * std::pow(10, static_cast<double>(k) - 1) *
                                       (i == 3 ? 0.1 : 1);
    return way;
}

/// How a check of many boxes went.
struct Went {
    std::size_t wrong = 0;    ///< numbers that were not held
    std::size_t unsound = 0;  ///< intervals with a NaN or with ends out of order
    std::size_t proven = 0;   ///< boxes whose command is finite
    std::size_t unsolved = 0; ///< proven boxes whose `solved` may not be above 0
    std::size_t boxes = 0;
    double widest = 0; ///< of proven commands, over their own size + 1
};

/// Boxes with sides of `size` around points: what is said over the box must hold what is said in it.
template <class HeadModel, class RandomPoint>
Went check_boxes(HeadModel const& head, Random& random, RandomPoint const& random_point, double size,
                 std::size_t count, double rounding) {
    Went went;
    for (std::size_t n = 0; n < count; ++n) {
        Point<Head> const middle = random_point(random);
        Box const box(middle, random.uniform(-0.002, 0.002), size, random);
        auto const over = said(head, box.point(), box.side[3]);
        ++went.boxes;
        went.proven += over.proven ? 1 : 0;
        went.unsolved += over.proven && !(over.solved.low > 0) ? 1 : 0;
        went.unsound += sound(over.solved) ? 0 : 1;
        for (std::size_t i = 0; i < over.numbers.size(); ++i) {
            went.unsound += sound(over.numbers[i]) ? 0 : 1;
            if (over.proven && i < 3)
                went.widest = std::max(went.widest, over.numbers[i].high - over.numbers[i].low);
        }
        for (int k = 0; k < 8; ++k) {
            auto const p = box.inside(random);
            auto const at = said(head, Point<Head>{p[0], p[1], p[2]}, p[3]);
            if (!(at.solved > 0)) { // then its command means nothing
                went.wrong += over.solved.low > 0 ? 1 : 0;
                continue;
            }
            for (std::size_t i = 0; i < over.numbers.size(); ++i)
                went.wrong +=
                    holds(over.numbers[i], at.numbers[i], rounding * (1 + std::abs(at.numbers[i]))) ? 0 : 1;
        }
    }
    return went;
}

/// Stretches of `duration` seconds of ways through points: value and rates up to the third over the stretch
/// must hold those at instants of it.
template <int N, class HeadModel, class RandomPoint>
Went check_stretches(HeadModel const& head, Random& random, RandomPoint const& random_point, double duration,
                     std::size_t count, double rounding) {
    Went went;
    for (std::size_t n = 0; n < count; ++n) {
        Point<Head> const middle = random_point(random);
        auto const way = random_way_through(middle, random.uniform(-0.002, 0.002), 0.5, random);
        double const from = -random.unit() * duration;
        using T = Taylor<Interval, N>;
        using D = Taylor<double, 3>;
        auto const q = way.at(T::variable(Interval(from, from + duration)));
        auto const over = said(head, Point<Head, T>{q[0], q[1], q[2]}, q[3]);
        ++went.boxes;
        went.proven += over.proven ? 1 : 0;
        for (std::size_t i = 0; i < over.numbers.size(); ++i) {
            went.unsound += sound(over.numbers[i]) ? 0 : 1;
            if (over.proven && i < 3)
                went.widest =
                    std::max(went.widest, over.numbers[i].value().high - over.numbers[i].value().low);
        }
        for (int k = 0; k < 5; ++k) {
            double const t = k == 0 ? from : k == 1 ? from + duration : random.uniform(from, from + duration);
            auto const p = way.at(D::variable(t));
            auto const at = said(head, Point<Head, D>{p[0], p[1], p[2]}, p[3]);
            if (!(at.solved > 0)) { // then its command means nothing
                went.wrong += detail::values_of(over.solved).low > 0 ? 1 : 0;
                continue;
            }
            for (std::size_t i = 0; i < over.numbers.size(); ++i)
                went.wrong += holds(over.numbers[i], at.numbers[i], rounding) ? 0 : 1;
        }
    }
    return went;
}

} // namespace seamhold::test

#endif
