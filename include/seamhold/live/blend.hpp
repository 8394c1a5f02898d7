#ifndef SEAMHOLD_LIVE_BLEND_HPP
#define SEAMHOLD_LIVE_BLEND_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/taylor.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <type_traits>

/// A new forecast changes what is commanded. The difference is taken back smoothly instead of at once.
namespace seamhold {

/// What a blend may add to one axis, in the axis's unit (rad, m).
struct BlendBounds {
    double velocity;     ///< per s
    double acceleration; ///< per s²
    double least;        ///< no blend is shorter, s
    double longest;      ///< none is longer, s, though velocity and acceleration go beyond

    /// The bounds as given, checked. Throws BadInput unless velocity, acceleration and least are above 0 and
    /// least is not above longest.
    BlendBounds checked() const {
        if (!(velocity > 0) || !(acceleration > 0))
            throw BadInput("a blend's bounds of " + detail::text_of(velocity) + " per s and " +
                           detail::text_of(acceleration) + " per s2 are not possible: both must be above 0");
        if (!(least > 0) || !(least <= longest))
            throw BadInput("a blend of " + detail::text_of(least) + " s at least and " +
                           detail::text_of(longest) +
                           " s at most is not possible: 0 < least <= longest is needed");
        return *this;
    }
};

namespace detail {

/// The three quintics on 0 ≤ τ ≤ 1 that start with 1 in value, rate or second rate and 0 in the others, and
/// end with three zeros:
///   P = (1 − τ)³ (1 + 3τ + 6τ²),  V = (1 − τ)³ (τ + 3τ²),  A = (1 − τ)³ τ²/2.
/// Their peaks, from the zeros of the next derivative:
///   |P′| = 30 τ²(1 − τ)² ≤ 15/8,  |P″| = 60 τ(1 − τ)|1 − 2τ| ≤ 10/√3,
///   |V′| = (1 − τ)²|1 + 2τ − 15τ²| ≤ 1,  |V″| = 12 τ(1 − τ)|3 − 5τ| ≤ 3.9404,
///   |A′| = τ(1 − τ)²|2 − 5τ|/2 ≤ 0.0679,  |A″| = (1 − τ)|1 − 8τ + 10τ²| ≤ 1.
struct BlendPeaks {
    static constexpr double value_velocity = 15.0 / 8;
    static constexpr double value_acceleration = 5.7736;
    static constexpr double rate_acceleration = 3.9405;
    static constexpr double second_velocity = 0.0680;
};

/// What of the bounds is left for the rest of a motion that starts with a rate: at least a quarter of them.
inline double left_of(double bound, double at_start) {
    return std::max(bound - std::abs(at_start), bound / 4);
}

} // namespace detail

/// Takes a difference (the command as it was less the command as it is now) of one axis to zero, with its
/// rate and second rate: a quintic in time for value and rate, and for the second rate one that may be
/// shorter. C² in time, exactly 0 from its end on. Trivially copyable; never throws.
///
/// With |v| and |a| the rate and second rate at the start, all that it adds stays below max(velocity, |v| +
/// velocity/4) and max(acceleration, |a| + acceleration/4): the bounds hold unless the start itself is beyond
/// three quarters of them (or `longest` is too short, or the duration that was given). This follows from the
/// peaks of the three quintics, see `detail::BlendPeaks`, and the triangle inequality.
class Blend {
public:
    /// Nothing to blend: 0 at all times.
    Blend() = default;

    /// How long a blend of this difference must be, s, for the bounds to hold.
    static double duration_for(Taylor<double, 2> const& difference, BlendBounds const& bounds) {
        double const p = std::abs(difference.coefficient[0]);
        double const v = std::abs(difference.coefficient[1]);
        double const velocity = detail::left_of(bounds.velocity, v) / 2; // the other half: second rate
        double const acceleration = detail::left_of(bounds.acceleration, 2 * difference.coefficient[2]);
        // 10/√3 p/T² + 3.94 v/T ≤ acceleration
        double const half = detail::BlendPeaks::rate_acceleration * v / (2 * acceleration);
        double const by_acceleration =
            half + std::sqrt(sqr(half) + detail::BlendPeaks::value_acceleration * p / acceleration);
        double const by_velocity = detail::BlendPeaks::value_velocity * p / velocity;
        return std::min(bounds.longest, std::max(bounds.least, std::max(by_velocity, by_acceleration)));
    }

    /// The blend that starts at time `start`, s, with this difference and its rates and takes `duration` s:
    /// for one axis what `duration_for` says, for several the longest of those, above 0. A difference that is
    /// not finite stays so: check the command.
    static Blend from(double start, Taylor<double, 2> const& difference, BlendBounds const& bounds,
                      double duration) {
        Blend b;
        double const p = difference.coefficient[0];
        double const v = difference.coefficient[1];
        double const a = 2 * difference.coefficient[2];
        b.start_ = start;
        if (!is_finite(p + v + a)) {
            b.main_ = {std::numeric_limits<double>::quiet_NaN(), 0, 0, 0};
            b.end_ = std::numeric_limits<double>::infinity();
            return b;
        }
        double const velocity = detail::left_of(bounds.velocity, v) / 2;
        double const for_second =
            velocity / (detail::BlendPeaks::second_velocity * std::abs(a)); // or infinite
        double const short_duration = std::min(duration, for_second);
        double const second = a * sqr(short_duration) / 2;
        bool const one = !(short_duration < duration);
        b.end_ = start + duration;
        b.main_ = {p, 3 * p + v * duration, 6 * p + 3 * v * duration + (one ? second : 0.0), 1 / duration};
        if (!one)
            b.brief_ = {second, 1 / short_duration};
        return b;
    }

    /// What is to be added to the new command at time t, s, with t's derivatives. Not before `start`.
    template <class T> [[gnu::always_inline]] T at(T const& t) const {
        if (value_of(t) >= end_)
            return number_cast<T>(0);
        T const since = number_cast<T>(t - start_);
        T const x = number_cast<T>(since * main_.per_second);
        T r = cube_of_rest(x) * ((x * main_.square + main_.linear) * x + main_.constant);
        T const y = number_cast<T>(since * brief_.per_second);
        if (brief_.square != 0 && value_of(y) < 1)
            r = r + cube_of_rest(y) * (sqr(y) * brief_.square);
        return r;
    }

    /// Up to when it stays one polynomial that does so at time t, s: there its third derivative jumps; +∞
    /// once it has ended.
    double whole_until(double t) const {
        if (!(t < end_))
            return std::numeric_limits<double>::infinity();
        double const brief_end = brief_.square != 0 ? start_ + 1 / brief_.per_second : end_;
        return t < brief_end ? brief_end : end_;
    }

    /// When it ends, s; −∞ where there is nothing to blend.
    double end() const { return end_; }

private:
    template <class T> [[gnu::always_inline]] static T cube_of_rest(T const& x) {
        T const rest = number_cast<T>(1 - x);
        return sqr(rest) * rest;
    }

    struct {
        double constant = 0, linear = 0, square = 0; ///< of (1 − τ)³ (constant + linear τ + square τ²)
        double per_second = 0;                       ///< τ in 1 s
    } main_;
    struct {
        double square = 0, per_second = 0;
    } brief_;
    double start_ = 0;
    double end_ = -std::numeric_limits<double>::infinity();
};

static_assert(std::is_trivially_copyable_v<Blend>);

/// Blends of several axes that start at time `start`, s, and end together: all take the longest duration that
/// one of them needs (and an axis's own `longest` does not hold back the others). To start again while blends
/// run, add what they give at `start` to the differences.
template <std::size_t N>
std::array<Blend, N> blend_together(double start, std::array<Taylor<double, 2>, N> const& differences,
                                    std::array<BlendBounds, N> const& bounds) {
    double duration = 0;
    for (std::size_t i = 0; i < N; ++i)
        duration = std::max(duration, Blend::duration_for(differences[i], bounds[i]));
    std::array<Blend, N> blends;
    for (std::size_t i = 0; i < N; ++i)
        blends[i] = Blend::from(start, differences[i], bounds[i], duration);
    return blends;
}

} // namespace seamhold

#endif
