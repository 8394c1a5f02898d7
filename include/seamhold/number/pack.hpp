#ifndef SEAMHOLD_NUMBER_PACK_HPP
#define SEAMHOLD_NUMBER_PACK_HPP

#include "seamhold/number/number.hpp"

#include <cmath>
#include <cstddef>

namespace seamhold {

/// What is true of each lane of a pack.
template <int W> struct PackMask {
    bool lane[W];

    /// Logic lane by lane.
    friend constexpr PackMask operator!(PackMask const& a) {
        PackMask r{};
        for (int i = 0; i < W; ++i)
            r.lane[i] = !a.lane[i];
        return r;
    }
    friend constexpr PackMask operator&&(PackMask const& a, PackMask const& b) {
        PackMask r{};
        for (int i = 0; i < W; ++i)
            r.lane[i] = a.lane[i] && b.lane[i];
        return r;
    }
    friend constexpr PackMask operator||(PackMask const& a, PackMask const& b) {
        PackMask r{};
        for (int i = 0; i < W; ++i)
            r.lane[i] = a.lane[i] || b.lane[i];
        return r;
    }
};

/// W doubles side by side, as one number: a kernel that is given packs works out W candidates at once. Each
/// lane gets what a double would get: the same operations in the same order.
template <int W> struct Pack {
    double lane[W] = {};

    constexpr Pack() = default;

    /// The same number in all lanes.
    template <BuiltIn A> constexpr Pack(A x) {
        for (int i = 0; i < W; ++i)
            lane[i] = static_cast<double>(x);
    }

    /// Arithmetic and comparisons lane by lane.
    friend constexpr Pack operator+(Pack const& a) { return a; }
    friend constexpr Pack operator-(Pack a) {
        for (int i = 0; i < W; ++i)
            a.lane[i] = -a.lane[i];
        return a;
    }
    friend constexpr Pack operator+(Pack a, Pack const& b) {
        for (int i = 0; i < W; ++i)
            a.lane[i] += b.lane[i];
        return a;
    }
    friend constexpr Pack operator-(Pack a, Pack const& b) {
        for (int i = 0; i < W; ++i)
            a.lane[i] -= b.lane[i];
        return a;
    }
    friend constexpr Pack operator*(Pack a, Pack const& b) {
        for (int i = 0; i < W; ++i)
            a.lane[i] *= b.lane[i];
        return a;
    }
    friend constexpr Pack operator/(Pack a, Pack const& b) {
        for (int i = 0; i < W; ++i)
            a.lane[i] /= b.lane[i];
        return a;
    }
    friend constexpr PackMask<W> operator<(Pack const& a, Pack const& b) {
        PackMask<W> r{};
        for (int i = 0; i < W; ++i)
            r.lane[i] = a.lane[i] < b.lane[i];
        return r;
    }
    friend constexpr PackMask<W> operator>(Pack const& a, Pack const& b) { return b < a; }
    friend constexpr PackMask<W> operator<=(Pack const& a, Pack const& b) {
        PackMask<W> r{};
        for (int i = 0; i < W; ++i)
            r.lane[i] = a.lane[i] <= b.lane[i];
        return r;
    }
    friend constexpr PackMask<W> operator>=(Pack const& a, Pack const& b) { return b <= a; }
};

} // namespace seamhold

#endif
