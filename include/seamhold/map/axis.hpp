#ifndef SEAMHOLD_MAP_AXIS_HPP
#define SEAMHOLD_MAP_AXIS_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <cstddef>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// One axis of a design space: what is varied, between which numbers, or among which named choices (a head,
/// an order of seams). Numbers stand in the unit that a person reads; `si` turns them into SI.
struct Axis {
    std::string name;
    std::string unit;                 ///< as a person reads it: "mm", "deg", "m/s"; empty for a choice
    double si = 1;                    ///< SI units in one of it
    double low = 0;                   ///< in `unit`
    double high = 0;                  ///< in `unit`, above low
    std::size_t steps = 0;            ///< places of a grid from low to high, both included; 2 or more
    std::vector<std::string> choices; ///< two or more names; empty for an axis of numbers

    /// Whether it is a choice among names.
    bool is_choice() const { return !choices.empty(); }

    /// How many places a grid has along it.
    std::size_t places() const { return is_choice() ? choices.size() : steps; }

    /// Place number k of a grid, in `unit`; of a choice its number. The last place is `high` itself.
    double place(std::size_t k) const {
        if (is_choice())
            return static_cast<double>(k);
        return k + 1 == steps ? high
                              : low + (high - low) * static_cast<double>(k) / static_cast<double>(steps - 1);
    }

    /// A number in `unit` in SI units.
    double in_si(double in_unit) const { return in_unit * si; }
};

/// An axis of numbers from `low` to `high`, in `unit`, of which one is `si` SI units; a grid has `steps`
/// places along it. Throws BadInput, naming the axis, unless it has a name, low < high are finite, si is not
/// 0 and finite, and steps is 2 or more.
inline Axis axis(std::string name, std::string unit, double si, double low, double high, std::size_t steps) {
    using detail::text_of;
    if (name.empty())
        throw BadInput("an axis of a design space has no name");
    if (!is_finite(low) || !is_finite(high) || !(low < high))
        throw BadInput("the axis " + name + " runs from " + text_of(low) + " to " + text_of(high) + " " +
                       unit +
                       ": both must be finite and the second above the first; what has one value only " +
                       "is no axis, but a part of the question");
    if (si == 0 || !is_finite(si))
        throw BadInput("the axis " + name + ": one " + unit + " cannot be " + text_of(si) + " SI units");
    if (steps < 2)
        throw BadInput("the axis " + name + " has " + std::to_string(steps) +
                       " places: 2 or more are needed; what has one value only is no axis, but a part of " +
                       "the question");
    return {std::move(name), std::move(unit), si, low, high, steps, {}};
}

/// An axis of named choices. Throws BadInput, naming the axis, for no name, for fewer than two choices, and
/// for one that has no name or stands twice.
inline Axis choice(std::string name, std::vector<std::string> choices) {
    if (name.empty())
        throw BadInput("an axis of a design space has no name");
    if (choices.size() < 2)
        throw BadInput("the axis " + name + " has " + std::to_string(choices.size()) +
                       " choices: 2 or more are needed; what has one value only is no axis, but a part of " +
                       "the question");
    for (std::size_t i = 0; i < choices.size(); ++i) {
        if (choices[i].empty())
            throw BadInput("the axis " + name + ": choice number " + std::to_string(i + 1) + " has no name");
        for (std::size_t k = 0; k < i; ++k)
            if (choices[k] == choices[i])
                throw BadInput("the axis " + name + " has the choice " + choices[i] + " twice");
    }
    return {std::move(name),   "", 1, 0, static_cast<double>(choices.size() - 1), choices.size(),
            std::move(choices)};
}

} // namespace seamhold

#endif
