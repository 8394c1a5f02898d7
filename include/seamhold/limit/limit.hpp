#ifndef SEAMHOLD_LIMIT_LIMIT_HPP
#define SEAMHOLD_LIMIT_LIMIT_HPP

#include <cstddef>
#include <cstdint>

namespace seamhold {

/// The limits that a report or a proof speaks of.
enum class Limit : std::uint8_t {
    reach,
    x_angle,
    y_angle,
    field,
    x_velocity,
    y_velocity,
    x_acceleration,
    y_acceleration,
    x_jerk,
    y_jerk,
    x_rms_acceleration,
    y_rms_acceleration,
    x_heating,
    y_heating,
    mirror_aperture,
    focus_range,
    focus_reach,
    focus_velocity,
    focus_acceleration,
    incidence,
    incidence_along,
    incidence_across,
    spot_size,
    defocus,
    power_density,
    line_energy,
    spot_speed,
    head_turning,
    joint_range,
    joint_velocity,
    joint_acceleration,
    shoulder_singularity,
    elbow_singularity,
    wrist_singularity,
    line_of_sight,
    guarded_directions,
    air_move
};

/// The number of limits.
inline constexpr std::size_t limit_count = 37;

/// A limit in words.
constexpr char const* to_string(Limit limit) {
    constexpr char const* names[limit_count] = {"reach",
                                                "x mirror angle",
                                                "y mirror angle",
                                                "field",
                                                "x mirror velocity",
                                                "y mirror velocity",
                                                "x mirror acceleration",
                                                "y mirror acceleration",
                                                "x mirror jerk",
                                                "y mirror jerk",
                                                "x mirror RMS acceleration",
                                                "y mirror RMS acceleration",
                                                "x mirror heating",
                                                "y mirror heating",
                                                "mirror aperture",
                                                "focus range",
                                                "focus reach",
                                                "focus velocity",
                                                "focus acceleration",
                                                "incidence",
                                                "incidence along",
                                                "incidence across",
                                                "spot size",
                                                "defocus",
                                                "power density",
                                                "line energy",
                                                "spot speed",
                                                "share from the head's turning",
                                                "joint range",
                                                "joint velocity",
                                                "joint acceleration",
                                                "shoulder singularity",
                                                "elbow singularity",
                                                "wrist singularity",
                                                "line of sight",
                                                "guarded directions",
                                                "air move"};
    return names[static_cast<std::size_t>(limit)];
}

} // namespace seamhold

#endif
