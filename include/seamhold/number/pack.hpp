#ifndef SEAMHOLD_NUMBER_PACK_HPP
#define SEAMHOLD_NUMBER_PACK_HPP

#include "seamhold/number/number.hpp"
#include "seamhold/number/pack_register.hpp"

#include <cmath>
#include <cstddef>
#include <type_traits>

/// Several doubles side by side as one number: a kernel that is given packs works out that many candidates
/// at once, in the processor's wide registers. Each lane gets what a double would get: the same operations in
/// the same order. Results are equal to the last bit wherever the compiler fuses products and sums alike
/// (with -ffp-contract=off, or without fused instructions); elsewhere they differ by those roundings. No lane
/// sees another.
namespace seamhold {

/// What is true of each lane of a pack.
template <int W> struct PackMask {
    using Register = detail::PackRegister<W>;         ///< of the processor
    typename Register::Mask part[W / Register::size]; ///< by register

    /// Whether it is true of lane i.
    bool lane(int i) const { return part[i / Register::size].lane(i % Register::size); }

    /// Logic lane by lane.
    [[gnu::always_inline]] friend PackMask operator!(PackMask a) {
        each([&](auto p) __attribute__((always_inline)) { a.part[p] = !a.part[p]; });
        return a;
    }
    [[gnu::always_inline]] friend PackMask operator&&(PackMask a, PackMask const& b) {
        each([&](auto p) __attribute__((always_inline)) { a.part[p] = a.part[p] & b.part[p]; });
        return a;
    }
    [[gnu::always_inline]] friend PackMask operator||(PackMask a, PackMask const& b) {
        each([&](auto p) __attribute__((always_inline)) { a.part[p] = a.part[p] | b.part[p]; });
        return a;
    }

    /// Whether it is true of any lane.
    [[gnu::always_inline]] friend bool any(PackMask const& a) {
        bool found = false;
        each([&](auto p) __attribute__((always_inline)) { found = found || a.part[p].any(); });
        return found;
    }

    /// Whether it is true of all lanes.
    [[gnu::always_inline]] friend bool all(PackMask const& a) { return !any(!a); }

private:
    template <class F> [[gnu::always_inline]] static void each(F const& f) {
        detail::unroll<0, W / Register::size>(f);
    }
};

/// W doubles side by side, 8 for the widest registers of today: then every machine has the same packs. The
/// layout is that of an array, whatever the compiler's options are.
template <int W> struct Pack {
    using Register = detail::PackRegister<W>; ///< of the processor
    static_assert(W % Register::size == 0, "a pack must fill the processor's registers");
    static constexpr int width = W; ///< how many numbers
    double lanes[W];                ///< the numbers

    /// Zeros.
    [[gnu::always_inline]] Pack() : Pack(0.0) {}

    /// The same number in all lanes.
    template <BuiltIn A> [[gnu::always_inline]] Pack(A x) {
        auto const same = Register::all(static_cast<double>(x));
        detail::unroll<0, parts>([&](auto p) __attribute__((always_inline)) {
            same.store(lanes + p * Register::size);
        });
    }

    /// The number in lane i, from 0.
    double lane(int i) const { return lanes[i]; }

    /// Lane i becomes x.
    void set_lane(int i, double x) { lanes[i] = x; }

    /// Arithmetic lane by lane.
    [[gnu::always_inline]] friend Pack operator+(Pack const& a) { return a; }
    [[gnu::always_inline]] friend Pack operator-(Pack const& a) {
        return a.each([](auto x) __attribute__((always_inline)) { return -x; });
    }
    [[gnu::always_inline]] friend Pack operator+(Pack const& a, Pack const& b) {
        return a.each(
            b, [](auto x, auto y) __attribute__((always_inline)) { return x + y; });
    }
    [[gnu::always_inline]] friend Pack operator-(Pack const& a, Pack const& b) {
        return a.each(
            b, [](auto x, auto y) __attribute__((always_inline)) { return x - y; });
    }
    [[gnu::always_inline]] friend Pack operator*(Pack const& a, Pack const& b) {
        return a.each(
            b, [](auto x, auto y) __attribute__((always_inline)) { return x * y; });
    }
    [[gnu::always_inline]] friend Pack operator/(Pack const& a, Pack const& b) {
        return a.each(
            b, [](auto x, auto y) __attribute__((always_inline)) { return x / y; });
    }

    /// Arithmetic in place.
    [[gnu::always_inline]] Pack& operator+=(Pack const& b) { return *this = *this + b; }
    [[gnu::always_inline]] Pack& operator-=(Pack const& b) { return *this = *this - b; }
    [[gnu::always_inline]] Pack& operator*=(Pack const& b) { return *this = *this * b; }
    [[gnu::always_inline]] Pack& operator/=(Pack const& b) { return *this = *this / b; }

    /// Comparisons lane by lane; false where a NaN is compared.
    [[gnu::always_inline]] friend PackMask<W> operator<(Pack const& a, Pack const& b) {
        PackMask<W> r;
        detail::unroll<0, parts>([&](auto p)
                                     __attribute__((always_inline)) { r.part[p] = a.part(p) < b.part(p); });
        return r;
    }
    [[gnu::always_inline]] friend PackMask<W> operator<=(Pack const& a, Pack const& b) {
        PackMask<W> r;
        detail::unroll<0, parts>([&](auto p)
                                     __attribute__((always_inline)) { r.part[p] = a.part(p) <= b.part(p); });
        return r;
    }
    [[gnu::always_inline]] friend PackMask<W> operator>(Pack const& a, Pack const& b) { return b < a; }
    [[gnu::always_inline]] friend PackMask<W> operator>=(Pack const& a, Pack const& b) { return b <= a; }

    /// a where the mask is true, b where it is not.
    [[gnu::always_inline]] friend Pack select(PackMask<W> const& m, Pack const& a, Pack const& b) {
        Pack r{Unset()};
        detail::unroll<0, parts>([&](auto p) __attribute__((always_inline)) {
            pick(m.part[p], a.part(p), b.part(p)).store(r.lanes + p * Register::size);
        });
        return r;
    }

    /// The square root, as std::sqrt.
    [[gnu::always_inline]] friend Pack sqrt(Pack const& a) {
        return a.each([](auto x) __attribute__((always_inline)) { return root(x); });
    }
    /// The distance from 0.
    [[gnu::always_inline]] friend Pack abs(Pack const& a) {
        return a.each([](auto x) __attribute__((always_inline)) { return magnitude(x); });
    }
    /// The square.
    [[gnu::always_inline]] friend Pack sqr(Pack const& a) { return a * a; }

    // Functions that no vector formula is written for go lane by lane through the C library.

    /// The sine of an angle in rad; see `sin_cos`.
    friend Pack sin(Pack const& a) { return sin_cos(a).sin; }
    /// The cosine of an angle in rad; see `sin_cos`.
    friend Pack cos(Pack const& a) { return sin_cos(a).cos; }
    /// The tangent of an angle in rad, lane by lane.
    friend Pack tan(Pack const& a) {
        return a.by_lane([](double x) { return std::tan(x); });
    }
    /// The arc sine, rad, lane by lane.
    friend Pack asin(Pack const& a) {
        return a.by_lane([](double x) { return std::asin(x); });
    }
    /// The arc cosine, rad, lane by lane.
    friend Pack acos(Pack const& a) {
        return a.by_lane([](double x) { return std::acos(x); });
    }
    /// The arc tangent, rad, lane by lane.
    friend Pack atan(Pack const& a) {
        return a.by_lane([](double x) { return std::atan(x); });
    }
    /// eˣ, lane by lane.
    friend Pack exp(Pack const& a) {
        return a.by_lane([](double x) { return std::exp(x); });
    }
    /// The natural logarithm, lane by lane.
    friend Pack log(Pack const& a) {
        return a.by_lane([](double x) { return std::log(x); });
    }
    /// xᵖ, lane by lane.
    friend Pack pow(Pack const& a, double p) {
        return a.by_lane([p](double x) { return std::pow(x, p); });
    }
    /// The angle of the point (x, y), rad, lane by lane.
    friend Pack atan2(Pack const& y, Pack const& x) {
        Pack r;
        for (int i = 0; i < W; ++i)
            r.lanes[i] = std::atan2(y.lanes[i], x.lanes[i]);
        return r;
    }

    /// What f makes of each lane.
    template <class F> Pack by_lane(F const& f) const {
        Pack r;
        for (int i = 0; i < W; ++i)
            r.lanes[i] = f(lanes[i]);
        return r;
    }

    // What the formulas of `elementary.hpp` ask of a number.

    /// The distance from 0.
    [[gnu::always_inline]] friend Pack magnitude(Pack const& a) { return abs(a); }
    /// The first with the sign of the second.
    [[gnu::always_inline]] friend Pack signed_as(Pack const& a, Pack const& sign) {
        return a.each(
            sign, [](auto x, auto s) __attribute__((always_inline)) { return signed_as(x, s); });
    }
    /// As `select`.
    [[gnu::always_inline]] friend Pack pick(PackMask<W> const& m, Pack const& a, Pack const& b) {
        return select(m, a, b);
    }
    /// The whole number of quarter turns nearest to an angle, and what it does to sine and cosine.
    [[gnu::always_inline]] friend detail::Quarters<Pack, PackMask<W>> quarters_of(Pack const& turns) {
        Pack const count = (turns + signed_as(Pack(0.5), turns)).each([
        ](auto x) __attribute__((always_inline)) { return cut(x); });
        auto const within = [](Pack const& n, double whole) {
            Pack const share = n * (1 / whole);
            return n - share.each([](auto x) __attribute__((always_inline)) { return below(x); }) * whole;
        };
        Pack const of_four = within(count, 4), of_two = within(count, 2), next = within(count + 1.0, 4);
        return {count, of_two > 0.5, of_four > 1.5, next > 1.5};
    }

private:
    static constexpr int parts = W / Register::size;

    struct Unset {};
    [[gnu::always_inline]] explicit Pack(Unset) {}

    [[gnu::always_inline]] Register part(int p) const { return Register::load(lanes + p * Register::size); }

    template <class F> [[gnu::always_inline]] Pack each(F const& f) const {
        Pack r{Unset()};
        detail::unroll<0, parts>([&](auto p) __attribute__((always_inline)) {
            f(part(p)).store(r.lanes + p * Register::size);
        });
        return r;
    }
    template <class F> [[gnu::always_inline]] Pack each(Pack const& b, F const& f) const {
        Pack r{Unset()};
        detail::unroll<0, parts>([&](auto p) __attribute__((always_inline)) {
            f(part(p), b.part(p)).store(r.lanes + p * Register::size);
        });
        return r;
    }
};

template <int W> struct NumberTraits<Pack<W>> {
    static constexpr int rank = 1;
    static Pack<W> value(Pack<W> const& x) { return x; }
    static bool finite(Pack<W> const& x) {
        unsigned bad = 0; // without a branch, so that the compiler takes lanes together
        for (double const lane : x.lanes)
            bad |= is_finite(lane) ? 0U : 1U;
        return bad == 0;
    }
};

/// Sine and cosine of each lane's angle in rad; the formula is that of doubles, in `elementary.hpp`.
template <int W> [[gnu::always_inline]] inline SinCos<Pack<W>> sin_cos(Pack<W> const& angle) {
    auto const within = abs(angle) < 1e5;
    auto r = detail::sin_cos_within(select(within, angle, Pack<W>(0.0)));
    if (!all(within)) [[unlikely]]
        for (int i = 0; i < W; ++i)
            if (!within.lane(i)) {
                auto const one = sin_cos(angle.lane(i));
                r.sin.set_lane(i, one.sin);
                r.cos.set_lane(i, one.cos);
            }
    return r;
}

/// The arc tangent of y / x for x > 0, in rad, of each lane; the formula is that of doubles.
template <int W> [[gnu::always_inline]] inline Pack<W> atan_ratio(Pack<W> const& y, Pack<W> const& x) {
    return detail::angle_of_ratio(y, x);
}

} // namespace seamhold

#endif
