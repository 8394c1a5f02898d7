#ifndef SEAMHOLD_NUMBER_ENCLOSE_HPP
#define SEAMHOLD_NUMBER_ENCLOSE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/interval.hpp"

#include <array>
#include <cfenv>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>

/// What a function does over a whole stretch of time, proven: a polynomial and how far from it the function
/// can be at most.
namespace seamhold {

/// A stretch of time as it is enclosed: its middle, and half its width, rounded up.
struct TimeSpan {
    double from; ///< s
    double to;   ///< s, above `from`

    /// A time in the middle, s.
    double middle() const { return from + (to - from) / 2; }

    /// At least the distance from the middle to either end, s.
    double half_width() const {
        double const m = middle();
        return detail::up(detail::greater(m - from, to - m));
    }

    /// By how much of half the width, at most, the middle is off the exact one: it is a rounded number, which
    /// is much in a short stretch of a late time.
    double off_middle() const {
        double const m = middle(), half = half_width();
        return detail::up((half - detail::lesser(m - from, to - m)) / half, 2);
    }
};

namespace detail {

/// Throws BadInput where the processor does not round to nearest: intervals are not what they say then.
inline void need_rounding_to_nearest() {
    if (std::fegetround() != FE_TONEAREST)
        throw BadInput("nothing can be proven while the processor does not round to nearest");
}

constexpr std::int64_t choose(int n, int k) {
    std::int64_t c = 1;
    for (int i = 1; i <= k; ++i)
        c = c * (n - k + i) / i;
    return c;
}

/// The Bernstein coefficients over −1 ≤ τ ≤ 1, of degree N, of the powers τ^j: row i, column j. Each is a
/// quotient of whole numbers, rounded once, and at most 1 from 0. G. Farin, "Curves and Surfaces for CAGD",
/// 5th ed., Morgan Kaufmann 2002, chapter 6 (from memory): xⁱ has the coefficients C(l, i) / C(N, i) over
/// 0 ≤ x ≤ 1, and τ = 2x − 1.
template <int N> constexpr std::array<std::array<double, N + 1>, N + 1> bernstein_of_powers() {
    static_assert(N >= 0 && N <= 12);
    std::int64_t common = 1; // a multiple of all C(N, i)
    for (int i = 0; i <= N; ++i) {
        std::int64_t a = common, b = choose(N, i);
        while (b != 0) {
            std::int64_t const rest = a % b;
            a = b;
            b = rest;
        }
        common = common / a * choose(N, i);
    }
    std::array<std::array<double, N + 1>, N + 1> table{};
    for (int l = 0; l <= N; ++l)
        for (int j = 0; j <= N; ++j) {
            std::int64_t sum = 0;
            for (int i = 0; i <= j && i <= l; ++i) {
                std::int64_t const part =
                    choose(j, i) * (std::int64_t{1} << i) * choose(l, i) * (common / choose(N, i));
                sum += (j - i) % 2 == 0 ? part : -part;
            }
            table[static_cast<std::size_t>(l)][static_cast<std::size_t>(j)] =
                static_cast<double>(sum) / static_cast<double>(common);
        }
    return table;
}

template <int N> inline constexpr auto bernstein_table = bernstein_of_powers<N>();

/// ∫ B_i B_k from −1 to 1 = 2 C(N, i) C(N, k) / ((2N + 1) C(2N, i + k)).
template <int N>
inline constexpr auto bernstein_products = [] {
    std::array<std::array<double, N + 1>, N + 1> table{};
    for (int i = 0; i <= N; ++i)
        for (int k = 0; k <= N; ++k)
            table[static_cast<std::size_t>(i)][static_cast<std::size_t>(k)] =
                static_cast<double>(2 * choose(N, i) * choose(N, k)) /
                static_cast<double>((2 * N + 1) * choose(2 * N, i + k));
    return table;
}();

/// More than any sum of some ten rounded terms is off, as a share of the sum of their magnitudes.
inline constexpr double sum_slack = 0x1p-48;

} // namespace detail

/// A function over −1 ≤ τ ≤ 1 (a stretch of time, from its start to its end) that is nowhere further than
/// `radius` from the polynomial of degree N with these Bernstein coefficients, and everywhere within
/// `natural`.
template <int N> struct Enclosure {
    std::array<double, N + 1> bernstein; ///< first and last are the polynomial's values at the ends
    double radius;                       ///< may be ∞
    Interval natural;                    ///< all values, by plain interval arithmetic

    /// Contains every value over the stretch. A polynomial lies between its least and its largest Bernstein
    /// coefficient.
    Interval range() const {
        double least = bernstein[0], most = bernstein[0];
        for (double const b : bernstein) {
            least = detail::lesser(least, b);
            most = detail::greater(most, b);
        }
        return within(least - radius, most + radius);
    }

    /// Contains the value at the start of the stretch.
    Interval at_start() const { return within(bernstein[0] - radius, bernstein[0] + radius); }

    /// Contains the value at the end of the stretch.
    Interval at_end() const { return within(bernstein[N] - radius, bernstein[N] + radius); }

    struct Halves;

    /// The same function over the first and the second half of the stretch: de Casteljau's halving.
    Halves halves() const;

    /// ∫ over τ of the function's square, from −1 to 1.
    Interval integral_of_square() const {
        double sum = 0, size = 0, most = 0;
        for (std::size_t i = 0; i <= N; ++i)
            for (std::size_t k = 0; k <= N; ++k) {
                double const part = detail::bernstein_products<N>[i][k] * bernstein[i] * bernstein[k];
                sum += part;
                size += std::abs(part);
            }
        for (double const b : bernstein)
            most = detail::greater(most, std::abs(b));
        // (p + r)² is off p² by 2 |p| r + r² at most, over a length of 2.
        double const off = 2 * radius * (2 * most + radius) * (1 + detail::sum_slack) +
                           16 * detail::sum_slack * size + detail::underflow;
        Interval const by_polynomial = Interval::about(sum, detail::up(off));
        Interval const by_range = sqr(natural) * 2;
        return common_part(by_polynomial, by_range);
    }

private:
    /// Both contain the same number, so they have a common part.
    static Interval common_part(Interval const& a, Interval const& b) {
        return {detail::greater(a.low, b.low), detail::lesser(a.high, b.high)};
    }
    Interval within(double low, double high) const {
        return is_finite(radius) ? common_part(detail::outward(low, high), natural) : natural;
    }
};

template <int N> struct Enclosure<N>::Halves {
    Enclosure first;
    Enclosure second;
};

/// See the class.
template <int N> typename Enclosure<N>::Halves Enclosure<N>::halves() const {
    Halves r{*this, *this};
    auto& row = r.second.bernstein;
    double most = 0;
    for (double const b : row)
        most = detail::greater(most, std::abs(b));
    for (std::size_t k = 1; k <= N; ++k) {
        for (std::size_t i = 0; i + k <= N; ++i)
            row[i] = (row[i] + row[i + 1]) / 2;
        r.first.bernstein[k] = row[0];
    }
    r.first.radius = r.second.radius = detail::up(radius + most * detail::sum_slack);
    return r;
}

/// The D-th derivative by time of a function over a stretch, from two evaluations of it: `at_middle` with
/// time itself in the middle, `over` with time as the whole stretch. Taylor's theorem: the coefficient N of
/// the expansion about the middle, taken anywhere in the stretch, is all that is left out by those below it;
/// so no break may lie inside (`over` then holds a whole line, and all that is known is the natural bound).
/// Derivatives above the third have no natural bound where a break lies inside.
template <int D, int N>
Enclosure<N - D> enclosed(Taylor<Interval, N> const& at_middle, Taylor<Interval, N> const& over,
                          TimeSpan const& stretch) {
    static_assert(D >= 0 && D <= detail::orders_read && D < N);
    Interval const half = Interval(stretch.half_width());
    Interval power = 1;
    std::array<double, N - D + 1> middle{};
    Enclosure<N - D> e{{}, 0, Interval::whole()};
    double size = 0;
    detail::unroll<D, N + 1>([&](auto k) {
        constexpr auto falling = [] { // k! / (k − D)!
            double f = 1;
            for (int i = decltype(k)::value - D + 1; i <= decltype(k)::value; ++i)
                f *= i;
            return f;
        }();
        Interval const& c = k == N ? over.coefficient[k] : at_middle.coefficient[k];
        Interval const term = c * falling * power;
        middle[k - D] = term.middle();
        e.radius += term.radius();
        size += std::abs(middle[k - D]);
        power = power * half;
        if constexpr (k == D)
            e.natural = over.coefficient[k] * falling;
    });
    // (t − middle) / half_width is off τ by off_middle at most, and its power j by j times that.
    double const slack = detail::sum_slack + (N - D) * stretch.off_middle();
    e.radius = detail::up(e.radius * (1 + detail::sum_slack) + size * slack);
    if (!is_finite(e.radius)) {
        e.radius = std::numeric_limits<double>::infinity();
        return e;
    }
    auto const& table = detail::bernstein_table<N - D>;
    for (std::size_t i = 0; i <= N - D; ++i)
        for (std::size_t j = 0; j <= N - D; ++j)
            e.bernstein[i] += table[i][j] * middle[j];
    return e;
}

} // namespace seamhold

#endif
