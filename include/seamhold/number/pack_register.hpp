#ifndef SEAMHOLD_NUMBER_PACK_REGISTER_HPP
#define SEAMHOLD_NUMBER_PACK_REGISTER_HPP

#include <cmath>
#include <cstddef>

#if !defined(SEAMHOLD_NO_XSIMD) && __has_include(<xsimd/xsimd.hpp>)
#include <xsimd/xsimd.hpp>
#endif

/// What packs are made of: a register of the processor with as many doubles as it holds, by the library
/// xsimd. Without that library, or where the user defines SEAMHOLD_NO_XSIMD, it is an array with plain loops,
/// of which the compiler makes what it can.
namespace seamhold::detail {

#if !defined(SEAMHOLD_NO_XSIMD) && __has_include(<xsimd/xsimd.hpp>)

template <int W> struct PackRegister {
    using Batch = xsimd::batch<double>;
    static constexpr int size = static_cast<int>(Batch::size);

    /// What is true of each double of a register.
    struct Mask {
        xsimd::batch_bool<double> x;

        bool lane(int i) const {
            return xsimd::select(x, Batch(1.0), Batch(0.0)).get(static_cast<std::size_t>(i)) != 0;
        }
        [[gnu::always_inline]] bool any() const { return xsimd::any(x); }
        [[gnu::always_inline]] friend Mask operator!(Mask a) { return {!a.x}; }
        [[gnu::always_inline]] friend Mask operator&(Mask a, Mask b) { return {a.x && b.x}; }
        [[gnu::always_inline]] friend Mask operator|(Mask a, Mask b) { return {a.x || b.x}; }
    };

    Batch x;

    [[gnu::always_inline]] static PackRegister all(double same) { return {Batch(same)}; }
    [[gnu::always_inline]] static PackRegister load(double const* from) {
        return {Batch::load_unaligned(from)};
    }
    [[gnu::always_inline]] void store(double* to) const { x.store_unaligned(to); }

    /// By the sign's bit: xsimd's own takes from 0 for AVX-512, of which 0 stays 0 instead of -0.
    [[gnu::always_inline]] friend PackRegister operator-(PackRegister a) { return {a.x ^ Batch(-0.0)}; }
    [[gnu::always_inline]] friend PackRegister operator+(PackRegister a, PackRegister b) {
        return {a.x + b.x};
    }
    [[gnu::always_inline]] friend PackRegister operator-(PackRegister a, PackRegister b) {
        return {a.x - b.x};
    }
    [[gnu::always_inline]] friend PackRegister operator*(PackRegister a, PackRegister b) {
        return {a.x * b.x};
    }
    [[gnu::always_inline]] friend PackRegister operator/(PackRegister a, PackRegister b) {
        return {a.x / b.x};
    }
    [[gnu::always_inline]] friend Mask operator<(PackRegister a, PackRegister b) { return {a.x < b.x}; }
    [[gnu::always_inline]] friend Mask operator<=(PackRegister a, PackRegister b) { return {a.x <= b.x}; }
    [[gnu::always_inline]] friend PackRegister pick(Mask m, PackRegister a, PackRegister b) {
        return {xsimd::select(m.x, a.x, b.x)};
    }
    [[gnu::always_inline]] friend PackRegister root(PackRegister a) { return {xsimd::sqrt(a.x)}; }
    [[gnu::always_inline]] friend PackRegister magnitude(PackRegister a) { return {xsimd::abs(a.x)}; }
    [[gnu::always_inline]] friend PackRegister signed_as(PackRegister a, PackRegister sign) {
        return {xsimd::copysign(a.x, sign.x)};
    }
    [[gnu::always_inline]] friend PackRegister cut(PackRegister a) { return {xsimd::trunc(a.x)}; }
    [[gnu::always_inline]] friend PackRegister below(PackRegister a) { return {xsimd::floor(a.x)}; }
};

#else

template <int W> struct PackRegister {
    static constexpr int size = W;

    /// What is true of each double of a register.
    struct Mask {
        bool x[W];

        bool lane(int i) const { return x[i]; }
        bool any() const {
            bool found = false;
            for (int i = 0; i < W; ++i)
                found = found || x[i];
            return found;
        }
        friend Mask operator!(Mask a) {
            for (int i = 0; i < W; ++i)
                a.x[i] = !a.x[i];
            return a;
        }
        friend Mask operator&(Mask a, Mask const& b) {
            for (int i = 0; i < W; ++i)
                a.x[i] = a.x[i] && b.x[i];
            return a;
        }
        friend Mask operator|(Mask a, Mask const& b) {
            for (int i = 0; i < W; ++i)
                a.x[i] = a.x[i] || b.x[i];
            return a;
        }
    };

    double x[W];

    [[gnu::always_inline]] static PackRegister all(double same) {
        return made([&](int) { return same; });
    }
    [[gnu::always_inline]] static PackRegister load(double const* from) {
        return made([&](int i) { return from[i]; });
    }
    [[gnu::always_inline]] void store(double* to) const {
        for (int i = 0; i < W; ++i)
            to[i] = x[i];
    }

    [[gnu::always_inline]] friend PackRegister operator-(PackRegister const& a) {
        return made([&](int i) { return -a.x[i]; });
    }
    [[gnu::always_inline]] friend PackRegister operator+(PackRegister const& a, PackRegister const& b) {
        return made([&](int i) { return a.x[i] + b.x[i]; });
    }
    [[gnu::always_inline]] friend PackRegister operator-(PackRegister const& a, PackRegister const& b) {
        return made([&](int i) { return a.x[i] - b.x[i]; });
    }
    [[gnu::always_inline]] friend PackRegister operator*(PackRegister const& a, PackRegister const& b) {
        return made([&](int i) { return a.x[i] * b.x[i]; });
    }
    [[gnu::always_inline]] friend PackRegister operator/(PackRegister const& a, PackRegister const& b) {
        return made([&](int i) { return a.x[i] / b.x[i]; });
    }
    [[gnu::always_inline]] friend Mask operator<(PackRegister const& a, PackRegister const& b) {
        Mask r{};
        for (int i = 0; i < W; ++i)
            r.x[i] = a.x[i] < b.x[i];
        return r;
    }
    [[gnu::always_inline]] friend Mask operator<=(PackRegister const& a, PackRegister const& b) {
        Mask r{};
        for (int i = 0; i < W; ++i)
            r.x[i] = a.x[i] <= b.x[i];
        return r;
    }
    [[gnu::always_inline]] friend PackRegister pick(Mask const& m, PackRegister const& a,
                                                    PackRegister const& b) {
        return made([&](int i) { return m.x[i] ? a.x[i] : b.x[i]; });
    }
    [[gnu::always_inline]] friend PackRegister root(PackRegister const& a) {
        return made([&](int i) { return std::sqrt(a.x[i]); });
    }
    [[gnu::always_inline]] friend PackRegister magnitude(PackRegister const& a) {
        return made([&](int i) { return std::abs(a.x[i]); });
    }
    [[gnu::always_inline]] friend PackRegister signed_as(PackRegister const& a, PackRegister const& sign) {
        return made([&](int i) { return std::copysign(a.x[i], sign.x[i]); });
    }
    [[gnu::always_inline]] friend PackRegister cut(PackRegister const& a) {
        return made([&](int i) { return std::trunc(a.x[i]); });
    }
    [[gnu::always_inline]] friend PackRegister below(PackRegister const& a) {
        return made([&](int i) { return std::floor(a.x[i]); });
    }

private:
    template <class F> [[gnu::always_inline]] static PackRegister made(F const& f) {
        PackRegister r;
        for (int i = 0; i < W; ++i)
            r.x[i] = f(i);
        return r;
    }
};

#endif

} // namespace seamhold::detail

#endif
