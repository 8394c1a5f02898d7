#ifndef SEAMHOLD_RECORD_CELL_FILLER_HPP
#define SEAMHOLD_RECORD_CELL_FILLER_HPP

#include "seamhold/record/cells.hpp"
#include "seamhold/record/seam_trace.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

namespace seamhold {

/// One channel's samples as numbers of a seam's cells. Each sample stands for the way that the spot went
/// while it was taken, so a cell's number is the mean over its length,
///
///     Σ value · way within the cell / Σ way within the cell,
///
/// and where the spot goes slowly, many samples count no more than few do where it goes fast. A way that goes
/// back counts like one that goes on. All memory is taken at construction; nothing afterwards throws or
/// allocates, and the work of one sample is the number of cells that its way touches.
class CellFiller {
public:
    /// For cells, with nothing in them.
    explicit CellFiller(Cells const& cells)
        : cells_(cells), per_length_(static_cast<double>(cells.count) / cells.length),
          content_(cells.count, Content{0, 0}) {}

    /// The cut.
    Cells const& cells() const noexcept { return cells_; }

    /// Empties all cells.
    void clear() noexcept { std::fill(content_.begin(), content_.end(), Content{0, 0}); }

    /// Takes in a value that stands for the way between two arc lengths, m. What lies beyond the seam's ends
    /// is left out, and so is a way of no length. A value or a place that is not finite is not taken in.
    void add(double value, double from, double to) noexcept {
        auto [low, high] = within(from, to);
        if (!(high > low) || !is_finite(value))
            return;
        auto i = std::min(static_cast<std::size_t>(low), cells_.count - 1);
        for (; high > static_cast<double>(i + 1); ++i) {
            put(i, value, static_cast<double>(i + 1) - low);
            low = static_cast<double>(i + 1);
        }
        put(i, value, high - low);
    }

    /// Empties every cell that lies between two arc lengths, m, be it in part, with all that was in it: where
    /// it has turned out later that what was taken in does not belong there.
    void forget(double from, double to) noexcept {
        auto const [low, high] = within(from, to);
        if (!(high > low))
            return;
        auto const first = std::min(static_cast<std::size_t>(low), cells_.count - 1);
        auto const end = std::min(static_cast<std::size_t>(std::ceil(high)), cells_.count);
        for (std::size_t i = first; i < end; ++i)
            content_[i] = {0, 0};
    }

    /// The mean over what is covered of cell i; not a number where nothing is.
    double value(std::size_t i) const noexcept {
        auto const& c = content_[i];
        return c.way > 0 ? c.sum / c.way : std::numeric_limits<double>::quiet_NaN();
    }

    /// The share of cell i's length that samples stand for, 0 to 1. Where the spot went over it more than
    /// once, ways add up, to 1 at most.
    double covered(std::size_t i) const noexcept { return std::min(1.0, content_[i].way); }

    /// All cells.
    ChannelTrace trace() const {
        ChannelTrace t;
        t.value.reserve(cells_.count);
        t.covered.reserve(cells_.count);
        for (std::size_t i = 0; i < cells_.count; ++i) {
            t.value.push_back(value(i));
            t.covered.push_back(static_cast<float>(covered(i)));
        }
        return t;
    }

private:
    struct Content {
        double sum; ///< of value times way
        double way; ///< in cells' widths
    };

    /// A way in widths of a cell from the seam's start.
    struct Way {
        double low, high;
    };
    Way within(double from, double to) const noexcept {
        if (!is_finite(from + to))
            return {0, 0};
        double const last = static_cast<double>(cells_.count);
        auto const place = [&](double s) { return std::clamp(s * per_length_, 0.0, last); };
        return {place(std::min(from, to)), place(std::max(from, to))};
    }

    void put(std::size_t i, double value, double way) noexcept {
        content_[i].sum += value * way;
        content_[i].way += way;
    }

    Cells cells_;
    double per_length_;
    std::vector<Content> content_;
};

} // namespace seamhold

#endif
