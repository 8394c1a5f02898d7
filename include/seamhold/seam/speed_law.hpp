#ifndef SEAMHOLD_SEAM_SPEED_LAW_HPP
#define SEAMHOLD_SEAM_SPEED_LAW_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <cstdint>
#include <limits>
#include <optional>
#include <string>

namespace seamhold {

/// What the spot does where the tangent jumps.
enum class AtCorner : std::uint8_t {
    refuse, ///< there must be none
    slow,   ///< passes at `corner_speed`: the velocity still jumps, but by little
    stop    ///< comes to rest
};

/// How fast a seam is travelled. What is left at infinity is no limit.
struct SpeedLaw {
    double speed;                                                  ///< along the path, not passed, m/s
    std::optional<double> start_speed = {};                        ///< m/s; the speed where not given
    std::optional<double> end_speed = {};                          ///< likewise
    double acceleration = std::numeric_limits<double>::infinity(); ///< along the path, m/s²
    double jerk = std::numeric_limits<double>::infinity();         ///< along the path, m/s³
    double lateral_acceleration = std::numeric_limits<double>::infinity(); ///< speed² · curvature, m/s²
    AtCorner at_corners = AtCorner::refuse;
    double corner_speed = 0; ///< with `slow`, m/s
};

namespace detail {

/// Throws BadInput, naming what was given, for a law that is not possible.
inline void check(SpeedLaw const& law) {
    auto const refuse = [](std::string const& name, double given, std::string const& allowed) {
        throw BadInput("a speed law's " + name + " of " + text_of(given) + " is not possible: it must be " +
                       allowed);
    };
    if (!(law.speed > 0) || !is_finite(law.speed))
        refuse("speed (m/s)", law.speed, "above 0");
    for (auto const& end : {law.start_speed, law.end_speed})
        if (end && !(*end >= 0 && *end <= law.speed))
            refuse("speed (m/s) at an end", *end, "0 to the speed");
    for (double const limit : {law.acceleration, law.jerk, law.lateral_acceleration})
        if (!(limit > 0))
            refuse("limit", limit, "above 0");
    if (is_finite(law.jerk) && !is_finite(law.acceleration))
        refuse("acceleration (m/s²)", law.acceleration, "finite where the jerk is limited");
    if (law.at_corners == AtCorner::slow && !(law.corner_speed > 0 && law.corner_speed <= law.speed))
        refuse("corner speed (m/s)", law.corner_speed, "above 0 and not above the speed");
}

} // namespace detail

} // namespace seamhold

#endif
