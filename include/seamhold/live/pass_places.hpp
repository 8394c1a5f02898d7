#ifndef SEAMHOLD_LIVE_PASS_PLACES_HPP
#define SEAMHOLD_LIVE_PASS_PLACES_HPP

#include "seamhold/live/pass_filter.hpp"
#include "seamhold/motion/pose_log.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

/// A recorded pass as the tracker looks at it.
namespace seamhold::detail {

/// A pass with a table of where it is at even times: for finding the program's place in it, and for where it
/// stands still. Made once; nothing is allocated afterwards.
class PassPlaces {
public:
    static constexpr double shortest_step = 0.004;   ///< of the table, s
    static constexpr std::size_t most_rows = 4096;   ///< of the table: some 20 µs a search
    static constexpr double still_speed = 0.003;     ///< slower is still, m/s at the spot,
    static constexpr double still_window = 0.02;     ///< over so many s
    static constexpr double half_difference = 0.008; ///< slopes are differences over twice this, s

    /// `lever`: of the spot from the flange's origin, m.
    PassPlaces(PoseLog<Cell, Flange> const& pass, double lever) : pass_(pass) {
        scale_ = {1, 1, 1, 2 * lever, 2 * lever, 2 * lever, 2 * lever};
        first_ = pass.times().front();
        last_ = pass.times().back();
        step_ = std::max(shortest_step, (last_ - first_) / static_cast<double>(most_rows - 2));
        auto const count = static_cast<std::size_t>((last_ - first_) / step_) + 1;
        rows_.reserve(count);
        for (std::size_t k = 0; k < count; ++k)
            rows_.push_back(
                {scaled(pass.components(time_of(k))), 0, pass.covers(time_of(k)), false, k, k, 0});
        find_waits();
    }

    /// The seven components of a sample or of the pass in m.
    template <class Values> PassComponents scaled(Values const& values) const {
        PassComponents r;
        for (std::size_t d = 0; d < 7; ++d)
            r[d] = values[d] * scale_[d];
        return r;
    }

    /// What a component is multiplied with to be a length.
    PassComponents const& scale() const { return scale_; }

    /// Components and their slope at a program time; the slope is a difference over 16 ms, which keeps noise
    /// of the recording out of it, and 0 where the pass stands still.
    struct At {
        PassComponents value, slope;
    };
    At at(double program_time) const {
        double const middle = std::clamp(program_time, first_, last_);
        double const low = std::max(middle - half_difference, first_);
        double const high = std::min(middle + half_difference, last_);
        At r{scaled(pass_.components(middle)), {}};
        if (rows_[row_of(middle)].still)
            return r;
        auto const before = pass_.components(low), after = pass_.components(high);
        for (std::size_t d = 0; d < 7; ++d)
            r.slope[d] = (after[d] - before[d]) * scale_[d] / (high - low);
        return r;
    }

    /// Whether there are data from one program time to another.
    bool covers(double from, double to) const {
        for (double t = from; t < to; t += 0.02)
            if (!pass_.covers(t))
                return false;
        return pass_.covers(from) && pass_.covers(to);
    }

    /// A stretch of the pass, s.
    struct Stretch {
        double from, to;
    };

    /// The stretch of the pass about a time in which it stands still; empty (to before from) where it moves.
    Stretch still_at(double program_time) const {
        Row const& row = rows_[row_of(program_time)];
        return row.still ? Stretch{time_of(row.still_from), time_of(row.still_to)} : Stretch{0, -1};
    }

    /// The stretch from a time of the pass on in which it moves for `moving` s; what stands still between
    /// does not count.
    Stretch ahead(double from, double moving) const {
        double const end = rows_[row_of(from)].moved + moving;
        auto const after = std::upper_bound(rows_.begin(), rows_.end(), end,
                                            [](double x, Row const& row) { return x < row.moved; });
        return {from,
                after == rows_.end() ? last_ : time_of(static_cast<std::size_t>(after - rows_.begin()))};
    }

    /// Where a sample lies on the pass.
    struct Found {
        double time;     ///< s of the pass
        double distance; ///< m
        bool any;        ///< whether some place is near enough
        bool alone;      ///< whether all such places hang together
    };

    /// The place nearest to a sample within a stretch, not farther off than `tolerance` and what lies between
    /// two rows. `moved`: by how much the sample moved of late, m; where that is much, places at which the
    /// pass goes elsewhere do not count. Of places whose distances differ by less than `alike`, m, that
    /// nearest to `expected` counts; with `alike` 0 the place is refined between the rows.
    Found nearest(PassComponents const& sample, PassComponents const& moved, Stretch const& within,
                  double tolerance, double alike, double expected) const {
        Found best{0, std::numeric_limits<double>::infinity(), false, true};
        double const moved_by = std::sqrt(dot(moved, moved));
        double least = best.distance;
        double last = -std::numeric_limits<double>::infinity();
        std::size_t const end = row_of(within.to);
        for (std::size_t k = row_of(within.from); k <= end; ++k) {
            double const d = distance(sample, rows_[k].at);
            if (!(d <= tolerance + rows_[k].reach) || !rows_[k].data ||
                (moved_by > 0 && !goes_along(k, moved, moved_by)))
                continue;
            if (best.any && time_of(k) - last > 0.3)
                best.alone = false;
            last = time_of(k);
            if (d < least - alike ||
                (d < least + alike && std::abs(last - expected) < std::abs(best.time - expected)))
                best = {last, d, true, best.alone};
            least = std::min(least, d);
        }
        if (best.any && alike == 0)
            refine(sample, best);
        return best;
    }

    /// The first and the last time of the pass, s.
    Stretch all() const { return {first_, last_}; }

    /// Of the table, s.
    double step() const { return step_; }

    /// The pass itself.
    PoseLog<Cell, Flange> const& pass() const { return pass_; }

private:
    struct Row {
        PassComponents at;
        double reach; ///< half the way to the farther neighbour, m
        bool data;
        bool still;
        std::size_t still_from, still_to; ///< where it is: first and last row of the stretch
        double moved;                     ///< time since the start in which the pass moved, s
    };

    // Says of each row whether the pass stands still there, and how much of it moved before.
    void find_waits() {
        std::size_t const count = rows_.size();
        std::vector<PassComponents> mean(count, PassComponents{}); // over 16 ms, for the recording's noise
        for (std::size_t k = 0; k < count; ++k)
            for (double const off : {-0.008, -0.004, 0.0, 0.004, 0.008}) {
                auto const at = scaled(pass_.components(std::clamp(time_of(k) + off, first_, last_)));
                for (std::size_t d = 0; d < 7; ++d)
                    mean[k][d] += at[d] / 5;
            }
        auto const window = static_cast<std::size_t>(std::ceil(still_window / step_));
        double const near = still_speed * std::max(still_window, step_);
        for (std::size_t k = 0; k < count; ++k) {
            Row& row = rows_[k];
            std::size_t const before = k > 0 ? k - 1 : k, after = std::min(k + 1, count - 1);
            row.reach = std::max(distance(row.at, rows_[before].at), distance(row.at, rows_[after].at)) / 2;
            std::size_t const low = k > window ? k - window : 0, high = std::min(k + window, count - 1);
            // Both ways, or a turning point would seem still.
            row.still = distance(mean[k], mean[low]) < near && distance(mean[k], mean[high]) < near;
            row.moved = (k > 0 ? rows_[k - 1].moved : 0) + (row.still ? 0 : step_);
            if (row.still && k > 0 && rows_[k - 1].still)
                row.still_from = rows_[k - 1].still_from;
        }
        for (std::size_t k = count - 1; k-- > 0;)
            if (rows_[k].still && rows_[k + 1].still)
                rows_[k].still_to = rows_[k + 1].still_to;
    }

    static double dot(PassComponents const& a, PassComponents const& b) {
        double sum = 0;
        for (std::size_t d = 0; d < 7; ++d)
            sum += a[d] * b[d];
        return sum;
    }

    // In m; a quaternion of either sign is one rotation.
    static double distance(PassComponents const& a, PassComponents const& b) {
        double place = 0, minus = 0, plus = 0;
        for (std::size_t d = 0; d < 3; ++d)
            place += (a[d] - b[d]) * (a[d] - b[d]);
        for (std::size_t d = 3; d < 7; ++d) {
            minus += (a[d] - b[d]) * (a[d] - b[d]);
            plus += (a[d] + b[d]) * (a[d] + b[d]);
        }
        return std::sqrt(place + std::min(minus, plus));
    }

    // By the places; a turn alone does not count.
    bool goes_along(std::size_t k, PassComponents const& moved, double moved_by) const {
        std::size_t const before = k > 1 ? k - 2 : 0, after = std::min(k + 2, rows_.size() - 1);
        PassComponents way{};
        for (std::size_t d = 0; d < 3; ++d)
            way[d] = rows_[after].at[d] - rows_[before].at[d];
        return dot(way, moved) > 0.7 * std::sqrt(dot(way, way)) * moved_by;
    }

    // By halving, where the pass goes by between the rows beside.
    void refine(PassComponents const& sample, Found& best) const {
        for (double width = step_ / 2; width > 0.0005; width /= 2)
            for (double const t : {best.time - width, best.time + width}) {
                double const d = distance(sample, scaled(pass_.components(std::clamp(t, first_, last_))));
                if (d < best.distance)
                    best = {std::clamp(t, first_, last_), d, true, best.alone};
            }
    }

    std::size_t row_of(double time) const {
        double const place = (time - first_) / step_;
        return place > 0 ? std::min(static_cast<std::size_t>(std::lround(place)), rows_.size() - 1) : 0;
    }
    double time_of(std::size_t k) const { return first_ + step_ * static_cast<double>(k); }

    PoseLog<Cell, Flange> pass_;
    PassComponents scale_{};
    double first_, last_, step_ = 0;
    std::vector<Row> rows_;
};

} // namespace seamhold::detail

#endif
