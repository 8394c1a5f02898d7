#include "seamhold/statistics/share_bounds.hpp"

#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::refusal_of;

namespace {

/// The binomial probabilities of 0 to n, by logarithms of factorials.
std::vector<double> binomial(int n, double share) {
    std::vector<double> p;
    for (int k = 0; k <= n; ++k)
        p.push_back(std::exp(std::lgamma(n + 1.0) - std::lgamma(k + 1.0) - std::lgamma(n - k + 1.0) +
                             k * std::log(share) + (n - k) * std::log1p(-share)));
    return p;
}

} // namespace

TEST_CASE("at each bound what was seen, or more of it, is as rare as half the rest of the level") {
    for (int const n : {1, 2, 20, 925})
        for (int const seen : {0, 1, 2, n / 2, n - 1, n})
            for (double const level : {0.5, 0.95, 0.9999}) {
                if (seen < 0 || seen > n)
                    continue;
                CAPTURE(n);
                CAPTURE(seen);
                CAPTURE(level);
                auto const bounds =
                    share_bounds(static_cast<std::uint64_t>(seen), static_cast<std::uint64_t>(n), level);
                double more = 0, fewer = 0;
                if (seen > 0) {
                    auto const p = binomial(n, bounds.low);
                    for (int k = seen; k <= n; ++k)
                        more += p[static_cast<std::size_t>(k)];
                    CHECK(std::abs(more / ((1 - level) / 2) - 1) < 1e-9); // lgamma loses 1e-13 · n
                } else
                    CHECK(bounds.low == 0);
                if (seen < n) {
                    auto const p = binomial(n, bounds.high);
                    for (int k = 0; k <= seen; ++k)
                        fewer += p[static_cast<std::size_t>(k)];
                    CHECK(std::abs(fewer / ((1 - level) / 2) - 1) < 1e-9);
                } else
                    CHECK(bounds.high == 1);
            }
}

TEST_CASE("the bounds hold the true share at least as often as they say, whatever it is") {
    for (int const n : {3, 20, 77}) {
        std::vector<Bounds> bounds;
        for (int k = 0; k <= n; ++k)
            bounds.push_back(share_bounds(static_cast<std::uint64_t>(k), static_cast<std::uint64_t>(n), 0.9));
        for (double share = 0.0007; share < 1; share += 0.0031) {
            auto const p = binomial(n, share);
            double held = 0;
            for (std::size_t k = 0; k < p.size(); ++k)
                held += bounds[k].contains(share) ? p[k] : 0;
            CHECK(held > 0.9 - 1e-12);
        }
    }
}

TEST_CASE("a counted share") {
    SeenShare const none{0, 0};
    CHECK(none.share() == 0);
    CHECK(none.bounds().low == 0);
    CHECK(none.bounds().high == 1);
    SeenShare const some{3, 12};
    CHECK(some.share() == 0.25);
    CHECK(some.bounds(0.8).low == share_bounds(3, 12, 0.8).low);
    // None of n: 1 − (α/2)^(1/n), by hand.
    CHECK(std::abs(share_bounds(0, 50).high - (1 - std::pow(0.025, 1.0 / 50))) < 1e-15);
    CHECK(std::abs(share_bounds(50, 50).low - std::pow(0.025, 1.0 / 50)) < 1e-15);
}

TEST_CASE("what is no counted share is refused") {
    CHECK(has(refusal_of([] { return share_bounds(5, 4); }), "of 4 cases 5 cannot be seen"));
    for (double const level : {0.0, 1.0, std::numeric_limits<double>::quiet_NaN()})
        CHECK(has(refusal_of([&] { return share_bounds(1, 4, level); }), "level"));
}
