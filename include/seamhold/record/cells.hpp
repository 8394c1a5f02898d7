#ifndef SEAMHOLD_RECORD_CELLS_HPP
#define SEAMHOLD_RECORD_CELLS_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>

namespace seamhold {

/// A seam's length cut into equal cells: the resolution of a record. A trace has one number a cell, the mean
/// over the cell's length, so that a fault shorter than a cell shows with its share of it.
struct Cells {
    double length;     ///< of the seam along its path, m
    std::size_t count; ///< of cells, 1 or more

    /// Of one cell, m.
    double width() const { return length / static_cast<double>(count); }

    /// Where cell i begins; of `count` it is the seam's end, m.
    double from(std::size_t i) const {
        return length * (static_cast<double>(i) / static_cast<double>(count));
    }

    /// The middle of cell i, m.
    double middle(std::size_t i) const {
        return length * ((static_cast<double>(i) + 0.5) / static_cast<double>(count));
    }

    /// The cell that holds an arc length from 0 to `length`, m; outside the first or the last.
    std::size_t at(double arc_length) const {
        double const place = arc_length / length * static_cast<double>(count);
        double const last = static_cast<double>(count - 1);
        return place > 0 ? place < last ? static_cast<std::size_t>(place) : count - 1 : 0;
    }

    /// The same cut.
    friend bool operator==(Cells const&, Cells const&) = default;
};

/// Cells of a seam of `length` m, as wide as `resolution` m at most. Throws BadInput unless both are above 0
/// and finite, and for more than a million cells.
inline Cells cells_of(double length, double resolution) {
    using detail::text_of;
    if (!(length > 0) || !is_finite(length))
        throw BadInput("a seam must be longer than 0 to be cut into cells; given was " + text_of(length) +
                       " m");
    if (!(resolution > 0) || !is_finite(resolution))
        throw BadInput("a resolution along the seam must be above 0; given was " + text_of(resolution) +
                       " m");
    // A length that is a whole number of resolutions up to its last bits has that many cells.
    double const count = std::max(1.0, std::ceil(length / resolution * (1 - 1e-12)));
    if (!(count <= 1e6))
        throw BadInput("a seam of " + text_of(length) + " m at a resolution of " + text_of(resolution) +
                       " m has more than a million cells");
    return {length, static_cast<std::size_t>(count)};
}

} // namespace seamhold

#endif
