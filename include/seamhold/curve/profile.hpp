#ifndef SEAMHOLD_CURVE_PROFILE_HPP
#define SEAMHOLD_CURVE_PROFILE_HPP

#include "seamhold/curve/knots.hpp"
#include "seamhold/curve/spline.hpp"
#include "seamhold/number/bad_input.hpp"

#include <cmath>
#include <cstddef>
#include <initializer_list>
#include <vector>

namespace seamhold {

/// What a move may do: in m (or rad, or 1) per s, s², s³. All greater than 0.
struct RateLimits {
    double velocity;
    double acceleration;
    double jerk;
};

namespace detail {
/// Throws BadInput, naming what was given, unless every limit is above 0 and finite.
inline void check(RateLimits const& limits) {
    for (double const limit : {limits.velocity, limits.acceleration, limits.jerk})
        if (!(limit > 0) || !is_finite(limit))
            throw BadInput(
                "limits of velocity, acceleration and jerk must be above 0 and finite; given were " +
                text_of(limits.velocity) + ", " + text_of(limits.acceleration) + ", " + text_of(limits.jerk));
}
} // namespace detail

/// The way s(t) from rest to rest over a distance in the least time under limits on velocity, acceleration
/// and jerk: seven cubic pieces, C² in time (jerk jumps). Before 0 it stands at 0, after `duration()` at the
/// distance. Source: L. Biagiotti, C. Melchiorri, "Trajectory Planning for Automatic Machines and Robots",
/// Springer 2008, section 3.4 (double S, rest to rest; from memory).
class Profile {
public:
    /// Continuity in time: derivatives up to this order have no jump.
    static constexpr int continuity = 2;

    /// Over `distance` ≥ 0. Throws BadInput for a negative or non-finite distance or a limit that is not
    /// above 0 and finite.
    Profile(double distance, RateLimits const& limits) {
        if (!(distance >= 0) || !is_finite(distance))
            throw BadInput("a profile's distance must be 0 or more; given was " + detail::text_of(distance));
        detail::check(limits);
        double const v = limits.velocity, a = limits.acceleration, j = limits.jerk;
        double jerk_time = std::min(a / j, std::sqrt(v / j));
        double ramp = v * j >= a * a ? jerk_time + v / a : 2 * jerk_time;
        double cruise = distance / v - ramp;
        if (cruise < 0) {
            cruise = 0;
            bool const reaches_acceleration = distance * j * j >= 2 * a * a * a;
            jerk_time = reaches_acceleration ? a / j : std::cbrt(distance / (2 * j));
            ramp = reaches_acceleration ? jerk_time / 2 + std::sqrt(jerk_time * jerk_time / 4 + distance / a)
                                        : 2 * jerk_time;
        }
        double const durations[7] = {jerk_time, ramp - 2 * jerk_time, jerk_time, cruise,
                                     jerk_time, ramp - 2 * jerk_time, jerk_time};
        double const jerks[7] = {j, 0, -j, 0, -j, 0, j};
        pieces_.push_back({0, {{0}, {0}, {0}, {0}}});
        double time = 0, s = 0, velocity = 0, acceleration = 0;
        for (int i = 0; i < 7; ++i) {
            double const d = durations[i];
            if (!(time + d > time))
                continue;
            pieces_.push_back({time, {{s}, {velocity}, {acceleration / 2}, {jerks[i] / 6}}});
            time += d;
            s += d * (velocity + d * (acceleration / 2 + d * jerks[i] / 6));
            velocity += d * (acceleration + d * jerks[i] / 2);
            acceleration += d * jerks[i];
        }
        pieces_.push_back({time, {{distance}, {0}, {0}, {0}}});
        std::vector<double> places{-1};
        for (std::size_t i = 1; i < pieces_.size(); ++i)
            places.push_back(pieces_[i].start);
        places.push_back(time + 1);
        knots_ = Knots(std::move(places));
    }

    /// The least time, s.
    double duration() const { return pieces_.back().start; }

    /// The way covered at time t, with t's derivatives.
    template <class T> T at(T const& t) const {
        return knots_.with_piece(t, [&](std::size_t i) { return pieces_[i].at(t)[0]; });
    }

    /// Where the third derivative may jump, s, increasing.
    std::vector<double> breaks() const {
        std::vector<double> times;
        for (std::size_t i = 1; i < pieces_.size(); ++i)
            times.push_back(pieces_[i].start);
        return times;
    }

private:
    std::vector<CubicPiece<1>> pieces_; ///< the first and the last at rest, without end
    Knots knots_;
};

} // namespace seamhold

#endif
