#ifndef SEAMHOLD_MAP_CELL_GRID_HPP
#define SEAMHOLD_MAP_CELL_GRID_HPP

#include "seamhold/map/design_space.hpp"

#include <string>
#include <vector>

namespace seamhold {

/// The cells between the places of a grid: a map's candidates are then their middles.
struct CellGrid {
    DesignSpace middles;             ///< as many places along an axis of numbers as there are cells
    std::vector<double> half_widths; ///< by axis, in SI units; 0 for a choice
};

/// The cells of a space's grid: along an axis of n places n − 1 cells, of which each shares its ends with
/// those beside it. Throws BadInput as `checked`, and for an axis of numbers with fewer than three places.
inline CellGrid cell_grid(DesignSpace const& space) {
    CellGrid grid{checked(space), {}};
    for (auto& a : grid.middles.axes) {
        if (a.is_choice()) {
            grid.half_widths.push_back(0);
            continue;
        }
        if (a.steps < 3)
            throw BadInput("the axis " + a.name + " has " + std::to_string(a.steps) +
                           " places: a map of cells needs 3 or more, for two cells");
        double const half = (a.high - a.low) / static_cast<double>(a.steps - 1) / 2;
        grid.half_widths.push_back(a.in_si(half) < 0 ? -a.in_si(half) : a.in_si(half));
        a.low += half;
        a.high -= half;
        --a.steps;
    }
    return grid;
}

} // namespace seamhold

#endif
