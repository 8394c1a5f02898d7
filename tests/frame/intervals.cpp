#include "seamhold/frame/pose.hpp"
#include "seamhold/frame/twist.hpp"
#include "seamhold/number/interval.hpp"

#include <doctest/doctest.h>

#include "support/enclosures.hpp"
#include "support/mirror_trace.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <type_traits>

// Points, rotations and poses over intervals hold what plain vectors in fifty digits say, for exact numbers
// anywhere in them; a quaternion q turns v to q v q* / |q|².

using namespace seamhold;
using namespace seamhold::test;

struct A;
struct B;
struct C;

namespace {

using V = Vector<Exact>;

V crossed(V const& a, V const& b) {
    return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

// q v q* / |q|² with q = (w, u): v + 2 (w u × v + u × (u × v)) / |q|².
V turned(std::array<Exact, 4> const& q, V const& v) {
    V const u{q[1], q[2], q[3]};
    V const once = crossed(u, v);
    Exact const share = 2 / (q[0] * q[0] + product(u, u));
    return v + times(Exact(share * q[0]), once) + times(share, crossed(u, once));
}

// Numbers with intervals around, up to this wide, and exact ones in them.
template <std::size_t N> struct Drawn {
    std::array<Interval, N> over;
    std::array<Exact, N> exact;
};
template <std::size_t N> Drawn<N> drawn(Random& random, double width) {
    Drawn<N> r;
    for (std::size_t i = 0; i < N; ++i) {
        double const from = random.uniform(-1, 1);
        r.over[i] = Interval(from, from + width * random.unit());
        r.exact[i] = numbers_in(r.over[i], random)[random.index(5)];
    }
    return r;
}

template <class D> void expect_held(Misses& misses, char const* name, D const& d, V const& exact) {
    misses.expect(holds(d.x, exact.x) && holds(d.y, exact.y) && holds(d.z, exact.z), name, d.x, d.y, d.z,
                  "without", exact.x, exact.y, exact.z);
}

} // namespace

TEST_CASE("law: products of vectors over intervals") {
    Random random(68'601);
    Misses misses;
    for (std::size_t n = 0; n < runs(200); ++n)
        for (double const width : {0.0, 1e-9, 0.1, 2.0}) {
            auto const a = drawn<3>(random, width), b = drawn<3>(random, width);
            Direction<A, Interval> const d{a.over[0], a.over[1], a.over[2]},
                e{b.over[0], b.over[1], b.over[2]};
            V const x{a.exact[0], a.exact[1], a.exact[2]}, y{b.exact[0], b.exact[1], b.exact[2]};
            expect_held(misses, "a + b", d + e, x + y);
            expect_held(misses, "a - b", d - e, x - y);
            expect_held(misses, "a x b", cross(d, e), crossed(x, y));
            expect_held(misses, "2 a", 2.0 * d, times(Exact(2), x));
            misses.expect(holds(dot(d, e), product(x, y)), "dot", dot(d, e), "without", product(x, y));
            misses.expect(holds(squared_norm(d), product(x, x)), "squared norm", squared_norm(d));
            misses.expect(holds(norm(d), length(x)), "norm", norm(d), "without", length(x));
            if (length(x) > 0) {
                auto const one = unit(d);
                expect_held(misses, "unit", one, times(Exact(1 / length(x)), x));
            }
        }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

TEST_CASE("law: rotations and poses over intervals") {
    Random random(68'602);
    Misses misses;
    for (std::size_t n = 0; n < runs(200); ++n)
        for (double const width : {0.0, 1e-9, 0.02}) {
            auto const q = drawn<4>(random, width), r = drawn<4>(random, width);
            auto const o = drawn<3>(random, width), p = drawn<3>(random, width), v = drawn<3>(random, width);
            auto const pose = [](auto const& four, auto const& three) {
                using F = Quaternion<Interval>;
                return Pose<A, A, Interval>{
                    rotation_of<A, A>(F{four.over[0], four.over[1], four.over[2], four.over[3]}),
                    {three.over[0], three.over[1], three.over[2]}};
            };
            auto const a_from_b = as<A, B>(pose(q, o));
            auto const b_from_c = as<B, C>(pose(r, p));
            Direction<C, Interval> const d{v.over[0], v.over[1], v.over[2]};
            Point<C, Interval> const point{d.x, d.y, d.z};
            V const x{v.exact[0], v.exact[1], v.exact[2]}, at_q{o.exact[0], o.exact[1], o.exact[2]},
                at_r{p.exact[0], p.exact[1], p.exact[2]};
            V const in_b = turned(r.exact, x) + at_r;
            V const in_a = turned(q.exact, in_b) + at_q;
            expect_held(misses, "direction", b_from_c * d, turned(r.exact, x));
            expect_held(misses, "point", b_from_c * point, in_b);
            expect_held(misses, "point by two poses", a_from_b * (b_from_c * point), in_a);
            expect_held(misses, "point by a product", (a_from_b * b_from_c) * point, in_a);
            // Back by the same poses.
            std::array<Exact, 4> const back{r.exact[0], -r.exact[1], -r.exact[2], -r.exact[3]};
            Point<B, Interval> const same{d.x, d.y, d.z};
            expect_held(misses, "back", inverse_times(b_from_c, same), turned(back, x - at_r));
            expect_held(misses, "back by the inverse", inverse(b_from_c) * same, turned(back, x - at_r));
            // About an axis of unit length to rounding: the matrix is that of cos and sin, by Rodrigues.
            Direction<A> const axis{0.6, 0, 0.8};
            auto const angle = drawn<1>(random, width);
            Exact const s = sin(angle.exact[0]), c = cos(angle.exact[0]);
            V const k{Exact(axis.x), Exact(axis.y), Exact(axis.z)};
            V const by_rodrigues =
                times(c, x) + times(s, crossed(k, x)) + times(Exact((1 - c) * product(k, x)), k);
            expect_held(misses, "about an axis", about_axis<A, C>(axis, angle.over[0]) * d, by_rodrigues);
        }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

TEST_CASE("rates of poses over a stretch of time hold those at instants, and so do twists") {
    Random random(68'603);
    Misses misses;
    auto const pose_at = [](auto const& t) {
        using T = std::decay_t<decltype(t)>;
        return Pose<A, B, T>{about_axis<A, A>(Direction<A>{0.6, 0, 0.8}, T(t * 1.2 + 0.3)) *
                                 about_axis<A, B>(Direction<A>{0, 1, 0}, T(sin_cos(T(t * 2.0)).sin * 0.5)),
                             {T(t * t), T(1.0 / (t + 3.0)), T(t * 0.2)}};
    };
    using Over = Taylor<Interval, 4>;
    using At = Taylor<double, 3>;
    for (std::size_t n = 0; n < runs(200); ++n)
        for (double const width : {0.0, 1e-6, 0.05}) {
            double const from = random.uniform(-1, 1), t = random.uniform(from, from + width);
            auto const over = pose_at(Over::variable(Interval(from, from + width)));
            auto const at = pose_at(At::variable(t));
            auto const check = [&](Interval const& x, double number) {
                double const off = 1e-14 * (1 + std::abs(number)); // some roundings of doubles
                misses.expect(x.low <= number + off && number - off <= x.high, x, "without", number, "at", t);
            };
            for (int d = 0; d <= 3; ++d) {
                for (int i = 0; i < 3; ++i)
                    for (int k = 0; k < 3; ++k)
                        check(over.rotation.m[i][k].coefficient[d], at.rotation.m[i][k].coefficient[d]);
                check(over.origin.x.coefficient[d], at.origin.x.coefficient[d]);
                check(over.origin.y.coefficient[d], at.origin.y.coefficient[d]);
            }
            auto const twist = twist_of(over);
            auto const known = twist_of(at);
            check(twist.angular.x, known.angular.x);
            check(twist.angular.y, known.angular.y);
            check(twist.angular.z, known.angular.z);
            check(twist.linear.x, known.linear.x);
        }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

TEST_CASE("what is given in doubles stays what it is") {
    auto const pose =
        number_cast<Interval>(Pose<A, B>{about_axis<A, B>(Direction<A>{0, 0, 1}, 0.3), {1, 2, 3}});
    CHECK(pose.origin.x.low == 1);
    CHECK(pose.origin.x.high == 1);
    CHECK(value_of(pose).origin.y == 2);
    CHECK(is_finite(pose.origin));
    // A fixed pose meets intervals in intervals.
    Point<B, Interval> const p{Interval(0, 1), 0, 0};
    Pose<A, B> const fixed{Rotation<A, B>::identity(), {1, 2, 3}};
    auto const moved = fixed * p;
    CHECK(moved.x.contains(Interval(1, 2)));
    CHECK(moved.x.radius() < 0.5 + 4e-15);
}
