// This file is compiled with -ffast-math (tests/CMakeLists.txt), under which a compiler may take
// std::isfinite(x) for true and x != x for false. The library's own check must still see what is not finite.

#include "seamhold/number/number.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/taylor.hpp"

#include <bit>
#include <cstdint>

#if !defined(__FAST_MATH__)
#error "this test proves something only when it is compiled with -ffast-math"
#endif

using namespace seamhold;

namespace {

// By its bits, and through a volatile, so that nothing is known about it when this file is compiled.
double made_of(std::uint64_t bits) {
    std::uint64_t volatile hidden = bits;
    return std::bit_cast<double>(static_cast<std::uint64_t>(hidden));
}

} // namespace

TEST_CASE("what is not finite is seen under -ffast-math") {
    // IEEE 754-2019, section 3.4: exponent all ones is an infinity (fraction 0) or a NaN.
    std::uint64_t const infinity = 0x7ff0000000000000U;
    CHECK_FALSE(is_finite(made_of(infinity)));
    CHECK_FALSE(is_finite(made_of(infinity | 0x8000000000000000U)));
    CHECK_FALSE(is_finite(made_of(infinity | 1U)));
    CHECK_FALSE(is_finite(made_of(0x7ff8000000000000U)));
    CHECK_FALSE(is_finite(made_of(0xffffffffffffffffU)));
    CHECK(is_finite(made_of(0x7fefffffffffffffU)));
    CHECK(is_finite(made_of(0)));
    CHECK(is_finite(made_of(1)));
}

TEST_CASE("inside of Taylor numbers and gradients too") {
    // An order of their own, so that this file shares no function with one compiled without -ffast-math.
    double const infinity = made_of(0x7ff0000000000000U);
    Taylor<double, 7> t(1.0);
    CHECK(is_finite(t));
    t.coefficient[7] = infinity;
    CHECK_FALSE(is_finite(t));
    Gradient<double, 7> g(1.0);
    CHECK(is_finite(g));
    g.partial[6] = made_of(0xfff8000000000000U);
    CHECK_FALSE(is_finite(g));
    CHECK_FALSE(is_finite(infinity * 2.0));
}

TEST_CASE("intervals prove nothing under -ffast-math: every operation gives the whole line") {
    // Only operations that are written out in place, so that this file shares no function with one compiled
    // without -ffast-math. By bits, as above: here the compiler may take no number for an infinity.
    auto const is_whole = [](Interval const& x) {
        return std::bit_cast<std::uint64_t>(x.low) == 0xfff0000000000000U &&
               std::bit_cast<std::uint64_t>(x.high) == 0x7ff0000000000000U;
    };
    Interval a, b;
    a.low = a.high = made_of(0x3ff0000000000000U); // 1
    b.low = b.high = made_of(0x4000000000000000U); // 2
    CHECK(is_whole(a + b));
    CHECK(is_whole(a - b));
    CHECK(is_whole(a * b));
    CHECK(is_whole(a * 3.0));
    CHECK(is_whole(3.0 * b));
    CHECK_FALSE(is_finite((a + b).low));
    CHECK_FALSE(is_finite((a + b).high));
}
