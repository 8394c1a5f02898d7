#ifndef SEAMHOLD_LIVE_PASS_SETTINGS_HPP
#define SEAMHOLD_LIVE_PASS_SETTINGS_HPP

#include "seamhold/frame/point.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <cstdint>
#include <string>

namespace seamhold {

/// How fast a program is taken to run.
enum class Pace : std::uint8_t {
    steady, ///< as fast as it was recorded: to weld. Anything else is a disagreement
    tracked ///< at any override, with pauses and single steps: the rate is followed
};

/// What a `PassTracker` takes the robot to be. The defaults are ours.
struct PassSettings {
    Point<Flange> spot;       ///< where the spot mostly is, m; errors are meant there
    double noise = 10e-6;     ///< of a sample and of a row of the pass at the spot, per axis, 1 standard
                              ///< deviation, m; to begin with, then it is measured
    double stamp_noise = 0;   ///< of a sample's stamp beside that, 1 standard deviation, s
    double deviation = 50e-6; ///< of one pass from another at the spot, per axis, 1 standard deviation, m
    double variation = 0.25;  ///< how long that takes to change, s
    double largest_deviation = 1e-3; ///< more is not the recorded program, m
    double largest_rate = 1.3;       ///< of the program, by override
    double rate_change = 0.3;        ///< how much the rate changes within 1 s when it is tracked, 1/√s
    double drift = 1e-4;       ///< how much a steady program gains or loses against the recorded, s/√s
    double longest_gap = 0.25; ///< between samples, s; after more the place has to be found anew
    double period = 0.004;     ///< usual time between samples, s
    double coverage = 0.99;    ///< how often the stated error is to hold, in all directions at once

    /// The settings as given. Throws BadInput for what cannot be.
    PassSettings const& checked() const {
        PassSettings const& s = *this;
        auto const need = [](char const* what, double given, bool fine, char const* allowed) {
            if (!fine || !is_finite(given))
                throw BadInput(std::string("pass tracker: ") + what + " is " + detail::text_of(given) +
                               ", but must be " + allowed);
        };
        for (double const x : {s.spot.x, s.spot.y, s.spot.z})
            need("a coordinate of the spot", x, true, "finite");
        need("noise", s.noise, s.noise > 0, "above 0");
        need("stamp_noise", s.stamp_noise, s.stamp_noise >= 0, "0 or above");
        need("deviation", s.deviation, s.deviation > 0, "above 0");
        need("variation", s.variation, s.variation > 0, "above 0");
        need("largest_deviation", s.largest_deviation, s.largest_deviation > s.deviation, "above deviation");
        need("largest_rate", s.largest_rate, s.largest_rate >= 1, "1 or above");
        need("rate_change", s.rate_change, s.rate_change > 0, "above 0");
        need("drift", s.drift, s.drift >= 0, "0 or above");
        need("coverage", s.coverage, s.coverage >= 0.5 && s.coverage <= 0.9999, "0.5 to 0.9999");
        need("period", s.period, s.period > 0, "above 0");
        need("longest_gap", s.longest_gap, s.longest_gap > 0, "above 0");
        return s;
    }
};

} // namespace seamhold

#endif
