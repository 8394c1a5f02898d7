#ifndef SEAMHOLD_HEAD_THERMAL_SHIFT_HPP
#define SEAMHOLD_HEAD_THERMAL_SHIFT_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <cmath>
#include <string>

namespace seamhold {

/// How the focus wanders while optics warm up under a laser's power: in proportion to the power, and towards
/// its steady place as e^(−t/τ). Lengths are metres at the work, negative towards the head. To put the focus
/// at a path, command the path less the shift. One time constant is a model (common practice, no source).
template <class S = double> struct ThermalShift {
    S per_watt;      ///< steady shift of the focus along the beam for a watt, m/W; negative is the usual case
    S time_constant; ///< τ, s

    /// Where the focus goes to in the long run under this power, W: the shift in m.
    template <class P> Common<S, P> steady(P const& power) const {
        using T = Common<S, P>;
        return number_cast<T>(power) * operand<T>(per_watt);
    }

    /// The shift, m, `time` s after the power was set to `power` W, when it stood at `start` m: steady +
    /// (start − steady)·e^(−t/τ). With power 0 it cools. Before time 0 it stands at `start`. Power, time and
    /// start may be numbers of any type; derivatives by time carry through.
    template <class P, class T, class B = double>
    Common<Common<S, P>, Common<T, B>> at(P const& power, T const& time, B const& start = 0) const {
        using std::exp;
        using R = Common<Common<S, P>, Common<T, B>>;
        R const since = number_cast<R>(time);
        R const on = select(since > 0.0, since, number_cast<R>(0.0));
        R const goal = number_cast<R>(steady(power));
        return goal + (number_cast<R>(start) - goal) * exp(-on / operand<R>(time_constant));
    }
};

/// A shift as given, checked. Throws BadInput for a shift for a watt that is not finite, and for a time
/// constant that is not above 0.
inline ThermalShift<> checked(ThermalShift<> const& shift) {
    auto const refuse = [](std::string const& field, double given, std::string const& allowed) {
        throw BadInput("a thermal shift's " + field + " of " + detail::text_of(given) +
                       " is not possible: it must be " + allowed);
    };
    if (!is_finite(shift.per_watt))
        refuse("shift for a watt (m/W)", shift.per_watt, "finite");
    if (!(shift.time_constant > 0) || !is_finite(shift.time_constant))
        refuse("time constant (s)", shift.time_constant, "above 0 and finite");
    return shift;
}

} // namespace seamhold

#endif
