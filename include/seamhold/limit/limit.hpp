#ifndef SEAMHOLD_LIMIT_LIMIT_HPP
#define SEAMHOLD_LIMIT_LIMIT_HPP

#include <cstddef>
#include <cstdint>

namespace seamhold {

/// The limits that a report speaks of.
enum class Limit : std::uint8_t {
    x_angle,
    y_angle,
    field,
    x_velocity,
    y_velocity,
    x_acceleration,
    y_acceleration,
    x_rms_acceleration,
    y_rms_acceleration,
    mirror_aperture,
    focus_range,
    focus_velocity,
    incidence,
    spot_size,
    defocus,
    power_density,
    line_energy,
    air_move
};

/// The number of limits.
inline constexpr std::size_t limit_count = 18;

/// A limit in words.
constexpr char const* to_string(Limit limit) {
    constexpr char const* names[limit_count] = {"x mirror angle",
                                                "y mirror angle",
                                                "field",
                                                "x mirror velocity",
                                                "y mirror velocity",
                                                "x mirror acceleration",
                                                "y mirror acceleration",
                                                "x mirror RMS acceleration",
                                                "y mirror RMS acceleration",
                                                "mirror aperture",
                                                "focus range",
                                                "focus velocity",
                                                "incidence",
                                                "spot size",
                                                "defocus",
                                                "power density",
                                                "line energy",
                                                "air move"};
    return names[static_cast<std::size_t>(limit)];
}

} // namespace seamhold

#endif
