#ifndef SEAMHOLD_FILE_LIMIT_UNITS_HPP
#define SEAMHOLD_FILE_LIMIT_UNITS_HPP

#include "seamhold/limit/report.hpp"
#include "seamhold/number/units.hpp"

#include <string>

/// What both forms of the report on a job share.
namespace seamhold::detail {

/// How a limit is written: for a person, and in SI units.
struct LimitUnit {
    char const* unit;
    double (*from_si)(double);
    int decimals;
    char const* si_unit;
};

inline double in_si(double x) { return x; }
inline double in_percent(double x) { return 100 * x; }

inline LimitUnit unit_of(Limit limit) {
    switch (limit) {
    case Limit::x_angle:
    case Limit::y_angle:
    case Limit::incidence:
    case Limit::incidence_along:
    case Limit::incidence_across:
    case Limit::joint_range:
        return {"°", in_degrees, 2, "rad"};
    case Limit::reach:
    case Limit::field:
    case Limit::mirror_aperture:
    case Limit::line_of_sight:
    case Limit::guarded_directions:
        return {"%", in_percent, 1, "1"};
    case Limit::spot_size:
        return {"mm", in_millimetres, 3, "m"};
    case Limit::defocus:
        return {"zR", in_si, 2, "1"};
    case Limit::power_density:
        return {"kW/mm²", [](double x) { return x * 1e-9; }, 2, "W/m²"};
    case Limit::line_energy:
        return {"J/mm", [](double x) { return x * 1e-3; }, 1, "J/m"};
    case Limit::focus_range:
    case Limit::focus_reach:
        return {"mm", in_millimetres, 3, "m"};
    case Limit::focus_velocity:
        return {"mm/s", in_millimetres, 2, "m/s"};
    case Limit::focus_acceleration:
        return {"mm/s²", in_millimetres, 0, "m/s²"};
    case Limit::air_move:
        return {"ms", in_milliseconds, 2, "s"};
    case Limit::x_velocity:
    case Limit::y_velocity:
        return {"rad/s", in_si, 3, "rad/s"};
    case Limit::x_acceleration:
    case Limit::y_acceleration:
    case Limit::x_rms_acceleration:
    case Limit::y_rms_acceleration:
    case Limit::x_heating:
    case Limit::y_heating:
        return {"rad/s²", in_si, 0, "rad/s²"};
    case Limit::x_jerk:
    case Limit::y_jerk:
        return {"krad/s³", [](double x) { return x * 1e-3; }, 0, "rad/s³"};
    case Limit::spot_speed:
    case Limit::head_turning:
        return {"m/min", in_metres_per_minute, 2, "m/s"};
    case Limit::joint_velocity:
        return {"°/s", in_degrees, 2, "rad/s"};
    case Limit::joint_acceleration:
        return {"°/s²", in_degrees, 1, "rad/s²"};
    case Limit::shoulder_singularity:
        return {"mm", in_millimetres, 1, "m"};
    case Limit::elbow_singularity:
    case Limit::wrist_singularity:
        return {"sine", in_si, 3, "1"};
    }
    return {"", in_si, 3, ""};
}

/// Whether a limit was looked at: a field may have no end, and no air move leads to the first seam.
inline bool applies(SeamReport const& seam, Limit limit) {
    Peak const& peak = seam.peak(limit);
    return seam.samples > seam.unusable && (peak.allowed != 0 || peak.utilisation > 0);
}

/// Whether a peak belongs to one moment, and not to the seam as a whole.
inline bool has_moment(Limit limit) {
    return limit != Limit::x_rms_acceleration && limit != Limit::y_rms_acceleration &&
           limit != Limit::x_heating && limit != Limit::y_heating && limit != Limit::air_move;
}

inline std::string verdict(SeamReport const& seam) {
    if (seam.within())
        return "within";
    if (seam.samples == 0)
        return "not sampled";
    return seam.unusable > 0 ? to_string(seam.status) : "exceeds";
}

} // namespace seamhold::detail

#endif
