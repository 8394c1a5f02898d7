#include "seamhold/number/enclose.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/enclosures.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

// Enclosures of polynomials of a higher degree than they keep, whose values, derivatives and integrals fifty
// digits of Boost.Multiprecision know; and of Chebyshev's, whose extremes are −1 and 1.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Coefficients = std::vector<double>; // lowest first

// By Horner's rule, for any number.
template <class T> T at(Coefficients const& c, T const& t) {
    T r = t * 0.0 + c.back();
    for (std::size_t i = c.size() - 1; i-- > 0;)
        r = r * t + c[i];
    return r;
}

std::vector<Exact> derivative_of(Coefficients const& c, int order) {
    std::vector<Exact> d(c.begin(), c.end());
    for (; order > 0; --order) {
        for (std::size_t i = 1; i < d.size(); ++i)
            d[i - 1] = d[i] * static_cast<double>(i);
        d.pop_back();
    }
    return d;
}
Exact exact_at(std::vector<Exact> const& c, Exact const& t) {
    Exact r = 0;
    for (std::size_t i = c.size(); i-- > 0;)
        r = r * t + c[i];
    return r;
}
Exact integral_of_square(std::vector<Exact> const& c, Exact const& from, Exact const& to) {
    std::vector<Exact> antiderivative(2 * c.size(), Exact(0));
    for (std::size_t i = 0; i < c.size(); ++i)
        for (std::size_t k = 0; k < c.size(); ++k)
            antiderivative[i + k + 1] += c[i] * c[k] / static_cast<double>(i + k + 1);
    return exact_at(antiderivative, to) - exact_at(antiderivative, from);
}

// Of the polynomial in t − start.
template <int D, int N>
Enclosure<N - D> enclosure_of(Coefficients const& c, TimeSpan const& span, double start = 0) {
    using T = Taylor<Interval, N>;
    auto const since = [&](Interval const& t) {
        return start == 0 ? T::variable(t) : T::variable(t) - start;
    };
    return enclosed<D>(at(c, since(span.middle())), at(c, since(Interval(span.from, span.to))), span);
}

// What an enclosure over from … to must hold of a function and of its square, and its halves of halves too.
template <int M>
void expect_held(Misses& misses, Enclosure<M> const& e, std::vector<Exact> const& f, Exact const& from,
                 Exact const& to, Random& random, int depth) {
    Exact const half = (to - from) / 2, middle = from + half;
    Interval const range = e.range();
    for (Exact const& t : {from, middle, to, Exact(from + (to - from) * random.unit())})
        misses.expect(holds(range, exact_at(f, t)), "range", range, "without", exact_at(f, t), "depth",
                      depth);
    misses.expect(holds(e.at_start(), exact_at(f, from)), "start", e.at_start(), "without", exact_at(f, from),
                  "of", from, to, "depth", depth);
    misses.expect(holds(e.at_end(), exact_at(f, to)), "end", e.at_end(), "without", exact_at(f, to), "of",
                  from, to, "depth", depth);
    misses.expect(range.contains(e.at_start()) && range.contains(e.at_end()), "ends of", range);
    Interval const square = e.integral_of_square();
    Exact const exact_square = integral_of_square(f, from, to) / half;
    misses.expect(holds(square, exact_square), "∫ of square", square, "without", exact_square, "of", from,
                  to);
    if (depth == 0)
        return;
    auto const halves = e.halves();
    expect_held(misses, halves.first, f, from, middle, random, depth - 1);
    expect_held(misses, halves.second, f, middle, to, random, depth - 1);
}

// Chebyshev's polynomials by their recurrence, in whole numbers.
Coefficients chebyshev(int degree) {
    Coefficients before{1}, now{0, 1};
    if (degree == 0)
        return before;
    for (int n = 1; n < degree; ++n) {
        Coefficients next(now.size() + 1, 0.0);
        for (std::size_t i = 0; i < now.size(); ++i)
            next[i + 1] = 2 * now[i];
        for (std::size_t i = 0; i < before.size(); ++i)
            next[i] -= before[i];
        before = now;
        now = next;
    }
    return now;
}

// The range that is found by halving so often.
template <int M> Interval refined(Enclosure<M> const& e, int depth) {
    if (depth == 0)
        return e.range();
    auto const halves = e.halves();
    return hull(refined(halves.first, depth - 1), refined(halves.second, depth - 1));
}

template <int N> void check_table() {
    Random random(53'200 + N);
    Misses misses;
    for (std::size_t n = 0; n < runs(50); ++n) {
        std::array<double, N + 1> c, b{};
        Exact size = 0;
        for (double& one : c) {
            one = random.uniform(-1, 1);
            size += std::abs(one);
        }
        for (std::size_t i = 0; i <= N; ++i)
            for (std::size_t j = 0; j <= N; ++j)
                b[i] += detail::bernstein_table<N>[i][j] * c[j];
        // The sum of b[i] times Bernstein's polynomials by their definition: C(N, i) xⁱ (1 − x)^(N − i).
        Exact const x = random.unit();
        Exact by_bernstein = 0, by_powers = 0, power = 1, binomial = 1;
        for (int i = 0; i <= N; ++i) {
            by_bernstein += b[static_cast<std::size_t>(i)] * binomial * pow(x, i) * pow(Exact(1 - x), N - i);
            binomial = binomial * (N - i) / (i + 1);
            by_powers += c[static_cast<std::size_t>(i)] * power;
            power *= 2 * x - 1;
        }
        // A rounding of each entry, of each product, and of a sum of N + 1.
        misses.expect(abs(by_bernstein - by_powers) <= size * ((N + 3) * rounding), by_bernstein, by_powers);
    }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

} // namespace

TEST_CASE("Bernstein coefficients are those of the same polynomial") {
    check_table<0>();
    check_table<1>();
    check_table<2>();
    check_table<4>();
    check_table<5>();
    check_table<7>();
    check_table<12>();
    // Of τ², by hand: ((1 − 2x)² with the coefficients 1, −1, 1 over 0 … 1).
    CHECK(detail::bernstein_table<2>[0][2] == 1);
    CHECK(detail::bernstein_table<2>[1][2] == -1);
    CHECK(detail::bernstein_table<2>[2][2] == 1);
}

TEST_CASE("the middle of a stretch lies in it, and half its width reaches both ends") {
    Random random(53'201);
    for (std::size_t n = 0; n < runs(2000); ++n) {
        double const from = random.unit() < 0.5 ? sized(random, -9, 6) : random.uniform(-10, 10);
        double const to = random.unit() < 0.3 ? stepped(from, 1 + static_cast<int>(random.index(4)))
                                              : from + std::abs(sized(random, -12, 3));
        if (!(to > from))
            continue;
        TimeSpan const span{from, to};
        double const middle = span.middle();
        REQUIRE((from <= middle && middle <= to));
        REQUIRE(Exact(span.half_width()) >= std::max(Exact(middle) - from, Exact(to) - middle));
    }
}

TEST_CASE("law: values, derivatives, halves and integrals of squares lie in their enclosures") {
    Random random(53'202);
    Misses misses;
    for (std::size_t n = 0; n < runs(100); ++n) {
        // From a few last digits of the time to half a second wide, early or late.
        Coefficients c;
        for (int i = 0; i < 12; ++i)
            c.push_back(random.uniform(-1, 1));
        double const start = random.unit() < 0.5 ? 0 : std::floor(random.uniform(1, 4000));
        double const from = start + random.uniform(-1, 2);
        double const to = from + std::abs(sized(random, random.unit() < 0.3 ? -15 : -6, -0.3));
        if (!(to > from))
            continue;
        TimeSpan const span{from, to};
        auto const check = [&](auto const& e, int order) {
            expect_held(misses, e, derivative_of(c, order), Exact(from) - start, Exact(to) - start, random,
                        3);
        };
        check(enclosure_of<0, 7>(c, span, start), 0);
        check(enclosure_of<1, 7>(c, span, start), 1);
        check(enclosure_of<2, 7>(c, span, start), 2);
        check(enclosure_of<3, 7>(c, span, start), 3);
        check(enclosure_of<0, 4>(c, span, start), 0);
        check(enclosure_of<2, 6>(c, span, start), 2);
        check(enclosure_of<0, 1>(c, span, start), 0);
    }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

TEST_CASE("enclosures are close: what is left out shrinks by the order") {
    // Of degree 7: nothing is left out but rounding. Of degree 8: the coefficient 7 over the stretch is off
    // by 8 half widths, so what is left out is 8 h⁸ at most (and rounding).
    Coefficients const seventh{0, 0, 0, 0, 0, 0, 0, 1}, eighth{0, 0, 0, 0, 0, 0, 0, 0, 1};
    for (double const h : {0.5, 0.25, 0.125}) {
        CHECK(enclosure_of<0, 7>(seventh, {-h, h}).radius <= 100 * rounding);
        double const radius = enclosure_of<0, 7>(eighth, {-h, h}).radius;
        CHECK(radius <= 8 * std::pow(h, 8) * (1 + 1e-9));
        CHECK(radius >= 8 * std::pow(h, 8) * (1 - 1e-9));
    }
    // 56 t⁶ is the second derivative of t⁸: its coefficient left out is 8 · 42 t, off by 8 · 42 h · h⁵.
    double const h = 0.25;
    CHECK(enclosure_of<2, 7>(eighth, {-h, h}).radius == doctest::Approx(336 * std::pow(h, 6)).epsilon(1e-9));
}

TEST_CASE("Chebyshev's polynomials lie between −1 and 1, and halving finds that") {
    auto const check = [](auto const& e, int degree) {
        CAPTURE(degree);
        double const sign = degree % 2 == 0 ? 1 : -1;
        // Coefficients of this size cancel; so do those of their expansions over −1 … 1.
        double size = 0;
        for (double const c : chebyshev(degree))
            size += std::abs(c);
        double const rounded = 100 * rounding * size * size;
        CHECK(e.at_start().contains(sign));
        CHECK(e.at_end().contains(1.0));
        CHECK(e.at_start().radius() <= rounded);
        CHECK(e.at_end().radius() <= rounded);
        CHECK(e.range().contains(Interval(-1, 1)));
        // Bernstein coefficients leave a parabola's height: a quarter for each halving, near enough.
        double above = e.range().high - 1;
        for (int depth = 2; depth <= 10; depth += 2) {
            Interval const found = refined(e, depth);
            CHECK(found.high >= 1);
            CHECK(found.low <= (degree == 0 ? 1 : -1));
            CHECK(found.high - 1 <= std::max(above / 6, rounded));
            above = found.high - 1;
        }
        CHECK(above <= 1e-3);
        // ∫ T_n² = 1 − 1/(4n² − 1), from the closed form with cos² n θ sin θ.
        double const square = 1 - 1 / (4.0 * degree * degree - 1);
        CHECK(e.integral_of_square().contains(square));
        CHECK(e.integral_of_square().radius() <= 4 * rounded);
    };
    check(enclosure_of<0, 7>(chebyshev(2), {-1, 1}), 2);
    check(enclosure_of<0, 7>(chebyshev(3), {-1, 1}), 3);
    check(enclosure_of<0, 7>(chebyshev(5), {-1, 1}), 5);
    check(enclosure_of<0, 7>(chebyshev(7), {-1, 1}), 7);
    check(enclosure_of<0, 10>(chebyshev(10), {-1, 1}), 10);
    // The derivative of T_n is n² at 1 and (−1)^(n−1) n² at −1, its extremes.
    auto const slope = enclosure_of<1, 7>(chebyshev(7), {-1, 1});
    CHECK(slope.at_end().contains(49.0));
    CHECK(slope.at_start().contains(49.0));
    CHECK(refined(slope, 8).high <= 49 + 1e-8);
    CHECK(refined(slope, 8).low >= -49);
}

TEST_CASE("law: halving and integrating take their own rounding into account") {
    // Polynomials of which nothing is left out: a radius of 0. By Bernstein's polynomials in fifty digits.
    constexpr int N = 5;
    Random random(53'203);
    Misses misses;
    for (std::size_t n = 0; n < runs(100); ++n) {
        Enclosure<N> whole{{}, 0, Interval::whole()};
        double const size = std::abs(sized(random, -100, 100));
        for (double& b : whole.bernstein)
            b = random.uniform(-1, 1) * size;
        std::array<Exact, N + 1> binomial;
        for (std::size_t i = 0; i <= N; ++i)
            binomial[i] =
                i == 0 ? Exact(1)
                       : Exact(binomial[i - 1] * static_cast<double>(N + 1 - i) / static_cast<double>(i));
        auto const at_share = [&](Exact const& x) { // of the stretch, from 0 to 1
            Exact sum = 0;
            for (std::size_t i = 0; i <= N; ++i)
                sum += whole.bernstein[i] * binomial[i] * pow(x, static_cast<int>(i)) *
                       pow(Exact(1 - x), static_cast<int>(N - i));
            return sum;
        };
        auto e = whole;
        Exact from = 0, to = 1;
        for (int depth = 0; depth < 12; ++depth) {
            misses.expect(holds(e.at_start(), at_share(from)) && holds(e.at_end(), at_share(to)), "depth",
                          depth, e.at_start(), e.at_end(), "without", at_share(from), at_share(to));
            misses.expect(e.radius <= 60 * depth * rounding * size, "depth", depth, "radius", e.radius);
            Exact const middle = (from + to) / 2;
            if (random.unit() < 0.5) {
                e = e.halves().first;
                to = middle;
            } else {
                e = e.halves().second;
                from = middle;
            }
        }
        // ∫ B_i B_k over 0 … 1 is C(N, i) C(N, k) i+k! (2N−i−k)! / (2N+1)!, twice that over −1 … 1.
        auto const factorial = [](std::size_t k) {
            Exact f = 1;
            for (std::size_t i = 2; i <= k; ++i)
                f *= static_cast<double>(i);
            return f;
        };
        Exact square = 0, sizes = 0;
        for (std::size_t i = 0; i <= N; ++i)
            for (std::size_t k = 0; k <= N; ++k) {
                Exact const part = 2 * binomial[i] * binomial[k] * factorial(i + k) *
                                   factorial(2 * N - i - k) / factorial(2 * N + 1) * whole.bernstein[i] *
                                   whole.bernstein[k];
                square += part;
                sizes += abs(part);
            }
        Interval const got = whole.integral_of_square();
        misses.expect(holds(got, square), "∫ of square", got, "without", square);
        misses.expect(Exact(got.radius()) <= 600 * rounding * sizes, "∫ of square", got);
    }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

TEST_CASE("coefficients that are not known exactly leave a radius") {
    using T = Taylor<Interval, 3>;
    T known;
    known.coefficient[0] = Interval(1, 2);
    known.coefficient[1] = Interval(-3, 5);
    known.coefficient[2] = Interval(0, 0.5);
    known.coefficient[3] = Interval(-1, 1);
    // All of c₀ + c₁ τ + c₂ τ² + c₃ τ³ over −1 … 1, and its slope.
    auto const e = enclosed<0>(known, T(known), TimeSpan{-1, 1});
    CHECK(e.radius >= 0.5 + 4 + 0.25 + 1);
    CHECK(e.radius <= 5.75 + 1e-12);
    CHECK(Enclosure<3>{e.bernstein, e.radius, Interval::whole()}.range().contains(Interval(-5, 8.5)));
    auto const slope = enclosed<1>(known, known, TimeSpan{-1, 1});
    CHECK(slope.radius >= 4 + 0.5 + 3);
    CHECK(Enclosure<2>{slope.bernstein, slope.radius, Interval::whole()}.range().contains(Interval(-7, 9)));
}

TEST_CASE("across a break only the natural bound is left") {
    using T = Taylor<Interval, 7>;
    TimeSpan const span{-0.5, 1.5};
    auto const size = [](T const& t) { return select(t < 0.0, -t, t); };
    auto const at_middle = size(T::variable(0.5)), over = size(T::variable(Interval(-0.5, 1.5)));
    auto const e = enclosed<0>(at_middle, over, span);
    CHECK(e.radius == infinity);
    for (Interval const& x : {e.range(), e.at_start(), e.at_end()}) {
        CHECK(x.low == e.natural.low);
        CHECK(x.high == e.natural.high);
        CHECK(x.contains(Interval(0, 1.5)));
        CHECK(x.high < 1.6);
    }
    CHECK(e.halves().first.range().contains(Interval(0, 0.5)));
    CHECK(e.halves().second.range().contains(Interval(0.5, 1.5)));
    CHECK(holds(e.integral_of_square(), Exact(1.125) + Exact(0.125) / 3)); // ∫ t² from −0.5 to 1.5
    auto const slope = enclosed<1>(at_middle, over, span);
    CHECK(slope.range().contains(Interval(-1, 1)));
    CHECK(slope.range().radius() < 1 + 1e-9);
}

TEST_CASE("whole lines and huge numbers give whole lines, never a NaN") {
    using T = Taylor<Interval, 5>;
    TimeSpan const span{-1, 1};
    T whole, huge, nothing;
    for (Interval& c : whole.coefficient)
        c = Interval::whole();
    for (Interval& c : huge.coefficient)
        c = Interval(0.9 * largest_double);
    for (auto const& [middle, over] :
         {std::array{whole, whole}, std::array{huge, huge}, std::array{nothing, whole},
          std::array{whole, nothing}, std::array{huge, nothing}}) {
        auto const e = enclosed<0>(middle, over, span);
        for (auto const& x : {e, e.halves().first, e.halves().second}) {
            CHECK(is_sound(x.range()));
            CHECK(is_sound(x.at_start()));
            CHECK(is_sound(x.at_end()));
            CHECK(is_sound(x.integral_of_square()));
        }
    }
    auto const zero = enclosed<0>(nothing, nothing, span);
    CHECK(zero.range().contains(0.0));
    CHECK(zero.range().radius() < 1e-290);
}

TEST_CASE("nothing touches the heap") {
    Coefficients const c{1, 2, 3, 4, 5, 6, 7, 8, 9};
    AllocationGuard guard;
    auto const e = enclosure_of<2, 7>(c, {0.1, 0.2});
    auto const halves = e.halves();
    auto const range = hull(halves.first.range(), halves.second.range());
    CHECK(guard.count() == 0);
    CHECK(is_finite(range));
}
