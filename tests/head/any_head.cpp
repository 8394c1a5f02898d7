#include "seamhold/head/any_head.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/taylor.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <bit>
#include <cstddef>
#include <cstdint>
#include <limits>

// A head that is chosen at run time answers as the chosen one, bit for bit.

using namespace seamhold;
using namespace seamhold::test;

namespace {

static_assert(ScanHead<MirrorPair<>>);
static_assert(ScanHead<MirrorPair<Gradient<double, 2>>>);
static_assert(ScanHead<RealHead<OpenBeam>>);
static_assert(ScanHead<RealHead<FlatFieldLens<>>>);
static_assert(ScanHead<AnyHead>);
static_assert(!ScanHead<OpenBeam>);
static_assert(!ScanHead<double>);

bool same(double a, double b) { return std::bit_cast<std::uint64_t>(a) == std::bit_cast<std::uint64_t>(b); }
template <class S, int N> bool same(Taylor<S, N> const& a, Taylor<S, N> const& b) {
    bool all = true;
    for (int k = 0; k <= N; ++k)
        all = all && same(a.coefficient[k], b.coefficient[k]);
    return all;
}
template <class T> bool same(Command<T> const& a, Command<T> const& b) {
    return same(a.x_mirror, b.x_mirror) && same(a.y_mirror, b.y_mirror) && same(a.focus, b.focus);
}
template <class T> bool same(Clearance<T> const& a, Clearance<T> const& b) {
    return same(a.in_front, b.in_front) && same(a.solved, b.solved) && same(a.x_mirror, b.x_mirror) &&
           same(a.y_mirror, b.y_mirror) && same(a.focus, b.focus) && same(a.field, b.field) &&
           same(a.aperture, b.aperture);
}
template <class T> bool same(Ray<T> const& a, Ray<T> const& b) {
    return same(a.origin.x, b.origin.x) && same(a.origin.y, b.origin.y) && same(a.origin.z, b.origin.z) &&
           same(a.direction.x, b.direction.x) && same(a.direction.y, b.direction.y) &&
           same(a.direction.z, b.direction.z) && same(a.path, b.path) && same(a.focus_path, b.focus_path);
}

template <class T, class H>
std::size_t differences(H const& head, AnyHead const& any, Point<Head, T> const& p) {
    auto const one = head.aim(p, 0.001), other = any.aim(p, 0.001);
    std::size_t count = 0;
    count += !same(one.command, other.command);
    count += !same(one.clearance, other.clearance);
    count += !same(head.command(p, 0.001), any.command(p, 0.001));
    count += !same(head.clearance(p, one.command), any.clearance(p, one.command));
    count += !same(head.ray(one.command), any.ray(one.command));
    return count;
}

template <class H> void check(H const& head) {
    AnyHead const any = head;
    CHECK(same(any.working_distance(), head.working_distance()));
    CHECK(same(any.ranges().x_mirror.low, head.ranges().x_mirror.low));
    CHECK(same(any.ranges().y_mirror.high, head.ranges().y_mirror.high));
    CHECK(same(any.ranges().focus.high, head.ranges().focus.high));
    CHECK(std::holds_alternative<H>(any.choice()));
    Random random(8601);
    std::size_t different = 0, touched = 0;
    for (int i = 0; i < 500; ++i) {
        // In reach, out of reach, and behind the head.
        Point<Head> const p{random.uniform(-0.4, 0.4), random.uniform(-0.4, 0.4), random.uniform(-0.1, 0.9)};
        Point<Head, Taylor<double, 2>> moving{p.x, p.y, p.z};
        for (auto* x : {&moving.x, &moving.y, &moving.z})
            for (int k = 1; k <= 2; ++k)
                x->coefficient[k] = random.uniform(-1, 1);
        AllocationGuard const guard;
        different += differences(head, any, p);
        different += differences(head, any, moving);
        touched += guard.count();
    }
    CHECK(different == 0);
    CHECK(touched == 0);
}

} // namespace

TEST_CASE("any head answers as the chosen one, bit for bit") {
    Random random(8602);
    SUBCASE("the ideal pair") {
        check(MirrorPair<>{0.04, 0.54, 10, {-0.2, 0.2}, {-0.2, 0.2}, {-0.02, 0.02}, 0.1});
    }
    SUBCASE("open") {
        auto plain = random_open_head(random);
        plain.map = random_map(random);
        check(open_head_of(plain));
    }
    SUBCASE("with a flat-field lens") { check(lens_head_of(random_lens_head(random))); }
}
