#ifndef SEAMHOLD_MAP_CANDIDATES_HPP
#define SEAMHOLD_MAP_CANDIDATES_HPP

#include "seamhold/map/axis.hpp"
#include "seamhold/map/question.hpp"

#include <cstddef>
#include <vector>

namespace seamhold {

/// A design space: its axes, the slowest in a table's order first.
struct DesignSpace {
    std::vector<Axis> axes;
};

/// The candidates of a map, in the order of its table: all with the same choices stand together, so that they
/// can be worked out at once.
class Candidates {
public:
    /// The space.
    DesignSpace const& space() const { return space_; }

    /// How many there are: rows of the table.
    std::size_t size() const { return rows_; }

    /// How many packs hold them; packs begin anew where a choice changes.
    std::size_t packs() const { return packs_; }

    /// Pack number p, from 0.
    CandidatePack pack(std::size_t p) const;

    /// The numbers of a row as a person reads them: in the axes' units; of a choice its number.
    std::vector<double> row(std::size_t r) const;

private:
    DesignSpace space_;
    std::size_t rows_ = 0;
    std::size_t packs_ = 0;
};

} // namespace seamhold

#endif
