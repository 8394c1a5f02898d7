#ifndef SEAMHOLD_LIVE_FLANGE_CUBIC_HPP
#define SEAMHOLD_LIVE_FLANGE_CUBIC_HPP

#include "seamhold/live/forecast.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/lift.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>

/// What a forecast is over a block of ticks: a cubic, alone or with the piece of the recorded pass below it.
namespace seamhold {

/// The flange's place, m, and its quaternion w, x, y, z, of any length but 0, as cubics in a time τ, s. S
/// double: one motion. S Interval: all motions whose expansions about every τ of a stretch have their
/// coefficients within.
template <class S = double> struct FlangeCubic {
    std::array<S, 7> coefficient[4]; ///< of τᵏ

    /// The pose about τ = 0 with its derivatives by τ. Orders above 3 of the components are exactly 0; the
    /// rotation, a quotient, has more, which are left out (0) above P: an order costs as much as any.
    template <int N, int P = N> [[gnu::always_inline]] Pose<Cell, Flange, Taylor<S, N>> pose() const {
        using T = Taylor<S, N>;
        using Short = Taylor<S, P>;
        constexpr int orders = P < 3 ? P : 3;
        Quaternion<Short> q;
        Point<Cell, T> origin;
        detail::unroll<0, orders + 1>([&](auto k) {
            auto const& c = coefficient[k];
            origin.x.coefficient[k] = c[0];
            origin.y.coefficient[k] = c[1];
            origin.z.coefficient[k] = c[2];
            q.w.coefficient[k] = c[3];
            q.x.coefficient[k] = c[4];
            q.y.coefficient[k] = c[5];
            q.z.coefficient[k] = c[6];
        });
        auto const turn = rotation_of<Cell, Flange>(q);
        Pose<Cell, Flange, T> r{{}, origin};
        for (int i = 0; i < 3; ++i)
            for (int k = 0; k < 3; ++k)
                r.rotation.m[i][k] = detail::to_order<N>(turn.m[i][k]);
        return r;
    }
};

/// What the flange of a forecast does about a robot time t, by a clock of which `rate` robot seconds pass in
/// a second (1: the robot's own). On a pass it is good from row to row, see `passes_row`.
[[gnu::always_inline]] inline FlangeCubic<> cubic_of(ForecastFlange const& flange, RobotTime t, double rate) {
    using T = Taylor<double, 3>;
    auto const& f = flange.forecast;
    T time(t.seconds);
    time.coefficient[1] = rate;
    CubicPiece<7> cubic{f.about.seconds, {}};
    for (std::size_t k = 0; k < 4; ++k)
        for (std::size_t d = 0; d < 7; ++d)
            cubic.coefficient[k][d] = f.coefficient[k][d];
    auto values = cubic.at(time);
    if (f.on_pass && flange.pass) {
        auto const base = flange.pass->components(f.program_at(time));
        for (std::size_t d = 0; d < 7; ++d)
            values[d] = values[d] + base[d];
    }
    FlangeCubic<> r{};
    for (std::size_t k = 0; k < 4; ++k)
        for (std::size_t d = 0; d < 7; ++d)
            r.coefficient[k][d] = values[d].coefficient[k];
    return r;
}

/// Whether a forecast on a pass goes over a row of it between two robot times, where the third derivative
/// jumps, or has no data there. False without a pass.
inline bool passes_row(ForecastFlange const& flange, RobotTime from, RobotTime to) {
    auto const& f = flange.forecast;
    if (!f.on_pass || !flange.pass)
        return false;
    double const a = f.program_at(from.seconds), b = f.program_at(to.seconds);
    double const first = std::min(a, b), last = std::max(a, b);
    if (!flange.pass->covers(first) || !flange.pass->covers(last))
        return true;
    auto const rows = flange.pass->times();
    auto const next = std::upper_bound(rows.begin(), rows.end(), first);
    return next != rows.end() && *next < last;
}

/// The motions of a FlangeCubic<Interval> for a quick look: middle and radius of each coefficient.
struct FlangeBox {
    double middle[4][7];
    double radius[4][7]; ///< rounded down

    FlangeBox() = default;

    /// All of a box, but for the last bits of its ends; nothing where an end is infinite.
    explicit FlangeBox(FlangeCubic<Interval> const& box) {
        for (std::size_t k = 0; k < 4; ++k)
            for (std::size_t d = 0; d < 7; ++d) {
                auto const& x = box.coefficient[k][d];
                double const m = middle[k][d] = x.middle();
                double const least = std::min(x.high - m, m - x.low);
                radius[k][d] = is_finite(least) ? least - 0x1p-50 * (least + std::abs(m)) : -1;
            }
    }

    /// The same motion by the other of the two quaternions q and −q where that is nearer to the box.
    [[gnu::always_inline]] FlangeCubic<> towards(FlangeCubic<> cubic) const {
        double agree = 0;
        for (std::size_t d = 3; d < 7; ++d)
            agree += cubic.coefficient[0][d] * middle[0][d];
        double const sign = agree < 0 ? -1 : 1;
        for (auto& row : cubic.coefficient)
            for (std::size_t d = 3; d < 7; ++d)
                row[d] *= sign;
        return cubic;
    }

    /// Whether the expansions of a cubic about every τ from −half to half, s, lie in the box; false for what
    /// is not finite. By the triangle inequality, with room for rounding.
    [[gnu::always_inline]] bool holds(FlangeCubic<> const& cubic, double half) const {
        double const h = half * (1 + 0x1p-40), h2 = h * h, h3 = h2 * h;
        auto const& c = cubic.coefficient;
        int within = 0;
        for (std::size_t d = 0; d < 7; ++d) {
            double const c1 = std::abs(c[1][d]), c2 = std::abs(c[2][d]), c3 = std::abs(c[3][d]);
            // Not more than is said where a number is a NaN.
            within += std::abs(c[0][d] - middle[0][d]) + (h * c1 + h2 * c2 + h3 * c3) <= radius[0][d] ? 1 : 0;
            within += std::abs(c[1][d] - middle[1][d]) + (2 * h * c2 + 3 * h2 * c3) <= radius[1][d] ? 1 : 0;
            within += std::abs(c[2][d] - middle[2][d]) + 3 * h * c3 <= radius[2][d] ? 1 : 0;
            within += std::abs(c[3][d] - middle[3][d]) <= radius[3][d] ? 1 : 0;
        }
        return within == 28;
    }
};

} // namespace seamhold

#endif
