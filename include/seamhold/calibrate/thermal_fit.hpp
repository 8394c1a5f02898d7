#ifndef SEAMHOLD_CALIBRATE_THERMAL_FIT_HPP
#define SEAMHOLD_CALIBRATE_THERMAL_FIT_HPP

#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/head/thermal_shift.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace seamhold {

/// The focus found by a defocus series at one place, with the optics warm from a steady power.
struct FocusAtPower {
    double power;    ///< mean power that the optics stood at, W; about 0 when cold
    Estimate vertex; ///< the sharpest setting, m
};

/// What the settings of a series were.
enum class FocusSetting {
    command,       ///< by how much the focus was asked to lie further from the head, the plate at rest
    plate_distance ///< by how much the plate was moved away from the head, the command at rest
};

/// The focus shift by power.
struct ThermalFit {
    Estimate per_watt;             ///< steady shift of the focus for a watt, m/W; negative towards the head
    std::vector<double> residuals; ///< vertex less line, m

    /// The shift for the chain, with a time constant that was found otherwise, s. Throws BadInput as
    /// `checked`.
    ThermalShift<> shift(double time_constant) const {
        return checked(ThermalShift<>{per_watt.value, time_constant});
    }
};

/// The steady shift of the focus for a watt, from two or more powers: the slope of the vertices over power,
/// each power counting alike, turned to metres at the work with `metres_per_setting` (the focus's way for a
/// metre of the setting: 1 where the setting is the focus itself, a law's ratio where it is the lens). The
/// slope's deviation comes from the vertices' own, its degrees of freedom from Satterthwaite. With
/// `FocusSetting::command` a focus that wanders towards the head needs a larger command, and the sign is
/// turned. Throws BadInput for fewer than two powers, powers that are negative, not finite, all alike or look
/// like kilowatts, and shifts of a tenth of a metre or more (millimetres given as metres).
inline ThermalFit fit_thermal_shift(std::vector<FocusAtPower> const& series, FocusSetting setting,
                                    double metres_per_setting = 1) {
    using detail::text_of;
    if (!(metres_per_setting > 0) || !is_finite(metres_per_setting))
        throw BadInput("the focus's way for a metre of the setting must be above 0 and finite; given " +
                       text_of(metres_per_setting));
    double least = std::numeric_limits<double>::infinity(), most = 0, mean = 0, middle = 0;
    for (std::size_t i = 0; i < series.size(); ++i) {
        std::string const name = "series " + std::to_string(i + 1) + " of the thermal shift";
        if (!(series[i].power >= 0) || !is_finite(series[i].power))
            throw BadInput(name + " has a power of " + text_of(series[i].power) +
                           " W; it must be 0 or more, and finite");
        detail::check_estimate("the focus of " + name, series[i].vertex);
        least = std::min(least, series[i].power);
        most = std::max(most, series[i].power);
        mean += series[i].power / static_cast<double>(series.size());
        middle += series[i].vertex.value / static_cast<double>(series.size());
    }
    if (series.size() < 2 || !(most > least))
        throw BadInput("a thermal shift needs a cold and a hot series, at two different powers or more");
    if (most < 50)
        throw BadInput("the highest power of the thermal shift is " + text_of(most) +
                       " W: it looks like kilowatts given as watts");
    double spread = 0;
    for (auto const& one : series)
        spread += sqr(one.power - mean);
    double const factor = setting == FocusSetting::command ? -metres_per_setting : metres_per_setting;
    ThermalFit fit{{0, 0}, {}};
    double variance = 0, weak = 0;
    for (auto const& one : series) {
        double const share = factor * (one.power - mean) / spread;
        fit.per_watt.value += share * (one.vertex.value - middle);
        double const part = sqr(share * one.vertex.deviation);
        variance += part;
        weak += sqr(part) / one.vertex.degrees_of_freedom;
    }
    fit.per_watt.deviation = std::sqrt(variance);
    if (weak > 0)
        fit.per_watt.degrees_of_freedom = sqr(variance) / weak;
    if (std::abs(fit.per_watt.value) * (most - least) > 0.1)
        throw BadInput("the focus would shift by " + text_of(fit.per_watt.value * (most - least)) +
                       " m between the powers: settings look like millimetres given as metres");
    for (auto const& one : series)
        fit.residuals.push_back(one.vertex.value - middle - fit.per_watt.value / factor * (one.power - mean));
    return fit;
}

} // namespace seamhold

#endif
