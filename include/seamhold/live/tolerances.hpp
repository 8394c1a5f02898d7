#ifndef SEAMHOLD_LIVE_TOLERANCES_HPP
#define SEAMHOLD_LIVE_TOLERANCES_HPP

#include "seamhold/frame/point.hpp"
#include "seamhold/live/forecast.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>

namespace seamhold {

/// How far the spot is, or may be, from where it belongs, each 0 or more, m.
struct Deviations {
    double across; ///< the seam, on the face
    double along;  ///< the seam
    double focus;  ///< along the beam

    /// The same in each direction, for what has none.
    static constexpr Deviations same(double distance) { return {distance, distance, distance}; }
};

/// How far the spot may be from where it belongs while the light is on.
using Tolerances = Deviations;

/// Tolerances for a spot's diameter and a beam's Rayleigh length, m: across 0.1 of the spot, along 0.2 mm,
/// focus 0.3 of the Rayleigh length. They are ours, a start for one's own trials, no standard's. Throws
/// BadInput unless both are above 0.
inline Tolerances default_tolerances(double spot_diameter, double rayleigh_length) {
    auto const check = [](double x, char const* what) {
        if (!is_finite(x) || !(x > 0))
            throw BadInput(std::string(what) + " must be above 0; given was " + detail::text_of(x) + " m");
    };
    check(spot_diameter, "the spot's diameter");
    check(rayleigh_length, "the Rayleigh length");
    return {0.1 * spot_diameter, 0.2e-3, 0.3 * rayleigh_length};
}

/// Unit vectors in the cell along which an error is told apart.
struct SpotDirections {
    Direction<Cell> across; ///< the seam, on the face
    Direction<Cell> along;  ///< the seam
    Direction<Cell> beam;   ///< the beam's
};

/// The stated error of the spot at a horizon, s, beyond the newest sample.
inline Deviations stated_error(SpotError const& error, SpotDirections const& directions, double horizon) {
    return {error.bound(directions.across, horizon), error.bound(directions.along, horizon),
            error.bound(directions.beam, horizon)};
}

namespace detail {
/// The first horizon, s, at which the stated bound along u reaches what is allowed, m.
inline double blind_time(SpotError const& error, Direction<Cell> const& u, double allowed, double longest) {
    auto const at = [&](std::size_t i) {
        double const bound = error.bound(u, error.step * static_cast<double>(i + 1));
        return is_finite(bound) ? bound : 1e100; // beyond any tolerance
    };
    double before = at(0);
    if (!is_finite(allowed) || !(before <= allowed))
        return 0;
    for (std::size_t i = 1; i < SpotError::count; ++i) {
        double const next = at(i);
        if (!(next <= allowed)) {
            // Between two entries the square grows linearly.
            double const share = (sqr(allowed) - sqr(before)) / (sqr(next) - sqr(before));
            return error.step * (static_cast<double>(i) + share);
        }
        before = next;
    }
    double const last = error.step * static_cast<double>(SpotError::count);
    return before > 0 ? std::min(longest, last * std::cbrt(allowed / before)) : longest;
}
} // namespace detail

/// The longest blind time: the largest horizon beyond the newest sample, s, up to which the stated error is
/// within tolerance in all three directions, less what is used up already (the clocks' share, what a blend
/// has still to go); at most `longest`. 0 where the first entry is beyond tolerance, or anything is not
/// finite. In closed form, right to 1e-12 of itself and never longer than that; the work is bounded.
inline double longest_blind_time(SpotError const& error, SpotDirections const& directions,
                                 Tolerances const& tolerances, Deviations const& used = {0, 0, 0},
                                 double longest = 1) {
    if (!is_finite(error.step) || !(error.step > 0) || !is_finite(longest))
        return 0;
    auto const along = [&](Direction<Cell> const& u, double tolerance, double gone) {
        return detail::blind_time(error, u, tolerance - gone, longest);
    };
    double const time = std::min({along(directions.across, tolerances.across, used.across),
                                  along(directions.along, tolerances.along, used.along),
                                  along(directions.beam, tolerances.focus, used.focus), longest});
    return is_finite(time) && time > 0 ? time * (1 - 1e-12) : 0;
}

} // namespace seamhold

#endif
