#ifndef SEAMHOLD_RECORD_SIDE_TALLY_HPP
#define SEAMHOLD_RECORD_SIDE_TALLY_HPP

#include "seamhold/number/number.hpp"
#include "seamhold/record/passing_factor.hpp"

#include <cstddef>
#include <optional>

namespace seamhold {

/// Cells that lie outside on one side of a band.
struct OutsideCells {
    std::size_t from, to;   ///< the first of them, and one past the last
    std::size_t outside;    ///< how many they are; unseen cells between them do not count
    double area;            ///< between trace and limit, half widths times cells
    double worst;           ///< half widths beyond the limit
    std::size_t worst_cell; ///< where
};

/// Counts what lies outside of one channel's band on one side, cell after cell, for the judge of a whole part
/// and for the one that runs along. Every cell costs a few operations; nothing is allocated.
class SideTally {
public:
    /// Counts by these rules.
    explicit SideTally(CellRules const& rules) noexcept : rules_(rules) {}

    /// Takes a cell; cells come in order along the seam. `deviation` is towards this side, in half widths;
    /// not a number where the cell was not seen. Returns the run that ends before this cell, if it was too
    /// long.
    std::optional<OutsideCells> add(std::size_t cell, double deviation) noexcept {
        if (!is_finite(deviation))
            return std::nullopt;
        if (!(deviation > 1))
            return end();
        count(run_, cell, deviation - 1);
        count(all_, cell, deviation - 1);
        return std::nullopt;
    }

    /// Ends the run that is open, and returns it if it was too long.
    std::optional<OutsideCells> end() noexcept {
        OutsideCells const run = run_;
        run_ = {};
        if (!too_long(run))
            return std::nullopt;
        long_run_ = true;
        return run;
    }

    /// All that lies outside so far, from the first cell outside to the last.
    OutsideCells const& all() const noexcept { return all_; }

    /// Whether some run was too long, or the open one is.
    bool run_broken() const noexcept { return long_run_ || too_long(run_); }
    /// Whether too many cells lie outside so far.
    bool share_broken() const noexcept { return all_.outside > rules_.many; }
    /// Whether too great an area lies outside so far.
    bool area_broken() const noexcept { return all_.area > rules_.area; }
    /// Whether any rule is broken.
    bool broken() const noexcept { return run_broken() || share_broken() || area_broken(); }

private:
    static void count(OutsideCells& cells, std::size_t cell, double excess) noexcept {
        if (cells.outside == 0)
            cells.from = cell;
        cells.to = cell + 1;
        cells.outside += 1;
        cells.area += excess;
        if (excess > cells.worst) {
            cells.worst = excess;
            cells.worst_cell = cell;
        }
    }

    bool too_long(OutsideCells const& run) const noexcept { return run.to - run.from > rules_.run; }

    CellRules rules_;
    OutsideCells run_{};
    OutsideCells all_{};
    bool long_run_ = false;
};

} // namespace seamhold

#endif
