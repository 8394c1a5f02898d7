#ifndef SEAMHOLD_MAP_DESIGN_SPACE_HPP
#define SEAMHOLD_MAP_DESIGN_SPACE_HPP

#include "seamhold/map/axis.hpp"

#include <cstddef>
#include <cstdio>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

namespace detail {
/// A number with all its digits, so that it can be told from its neighbours.
inline std::string text_of_exactly(double x) {
    char text[40];
    std::snprintf(text, sizeof text, "%.17g", x);
    return text;
}
} // namespace detail

/// What is varied: sweep speed, standoff, tilt, head, order, … Each candidate set-up has one value on each.
struct DesignSpace {
    std::vector<Axis> axes;
};

/// A space as given, checked. Throws BadInput for no axis at all, a name that stands twice, an axis that
/// `axis` or `choice` would refuse, and a grid of more places than a double counts (2⁵³).
inline DesignSpace checked(DesignSpace space) {
    if (space.axes.empty())
        throw BadInput("a design space needs an axis or more");
    double places = 1;
    for (std::size_t i = 0; i < space.axes.size(); ++i) {
        auto const& a = space.axes[i];
        if (a.is_choice())
            (void)choice(a.name, a.choices);
        else
            (void)axis(a.name, a.unit, a.si, a.low, a.high, a.steps);
        for (std::size_t k = 0; k < i; ++k)
            if (space.axes[k].name == a.name)
                throw BadInput("two axes of a design space are named " + a.name);
        places *= static_cast<double>(a.places());
    }
    if (!(places < 0x1p53))
        throw BadInput("a grid of " + detail::text_of(places) +
                       " places cannot be counted: take fewer along each axis, a sample, or refine the edge");
    return space;
}

/// A space in words and numbers, one line an axis: what a results file keeps to know it again.
inline std::string text_of(DesignSpace const& space) {
    std::string text;
    for (auto const& a : space.axes) {
        text += a.name + ":";
        if (a.is_choice())
            for (auto const& c : a.choices)
                text += " " + c + ";";
        else
            text += " " + detail::text_of_exactly(a.low) + " to " + detail::text_of_exactly(a.high) + " " +
                    a.unit + " (of " + detail::text_of_exactly(a.si) + "), " + std::to_string(a.steps) +
                    " places";
        text += "\n";
    }
    return text;
}

} // namespace seamhold

#endif
