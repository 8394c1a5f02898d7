#ifndef SEAMHOLD_PLAN_REACH_WIDTH_HPP
#define SEAMHOLD_PLAN_REACH_WIDTH_HPP

#include "seamhold/follow/job.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <utility>
#include <vector>

/// What no head at rest can reach together, wherever it is held.
namespace seamhold {

namespace detail {
/// A box in the head frame.
struct HeadBox {
    Interval x, y, z;
};

/// Whether a head is proven to reach no place of a box, with the focus at any of these offsets.
template <class HeadModel> bool out_of_reach(HeadModel const& head, HeadBox const& box, Interval offset) {
    Point<Head, Interval> const p{box.x, box.y, box.z};
    auto const command = head.command(p, offset);
    auto const c = head.clearance(p, command);
    if (c.in_front.high < 0)
        return true;
    // Of a box that is in front in part, what is told of the rest only widens the answer.
    auto const ranges = head.ranges();
    auto const beyond = [](Range const& range, Interval const& x) {
        return x.low > range.high + 1e-12 || x.high < range.low - 1e-12;
    };
    return beyond(ranges.x_mirror, command.x_mirror) || beyond(ranges.y_mirror, command.y_mirror) ||
           beyond(ranges.focus, command.focus) || c.field.high < -1e-12;
}
} // namespace detail

/// The largest distance, m, between two places that one pose of the head reaches, by the ranges of its axes
/// and its field alone: an upper bound that is proven by intervals, for an ideal pair of mirrors no more than
/// four times `smallest` above the true width. Space is halved until boxes are proven out of reach or no
/// larger than `smallest`, m (0: a 48th of the head's working distance); places farther than 128 m, or nearer
/// to the mirror's plane than a 1024th of the working distance, do not count. Infinity where more than
/// `budget` boxes would be looked at: so it is for heads whose formulas say nothing about large boxes.
inline double reach_width(AnyHead const& head, Range const& focus_offsets, double smallest = 0,
                          std::size_t budget = 200000) {
    Interval const offset(focus_offsets.low, focus_offsets.high);
    double const size = smallest > 0 ? smallest : head.working_distance() / 48;
    constexpr double farthest = 128; // m, and a power of 2, so that halves are exact
    double const nearest = head.working_distance() / 1024;
    std::vector<detail::HeadBox> boxes{{Interval(-farthest, farthest), Interval(-farthest, farthest),
                                        Interval(nearest, nearest + 2 * farthest)}};
    // Of each row of the smallest boxes along x only the ends count.
    std::map<std::pair<double, double>, Range> rows;
    double cube = 2 * farthest;
    std::size_t looked_at = 0;
    while (!boxes.empty()) {
        std::vector<detail::HeadBox> left;
        bool const last = cube <= size;
        for (auto const& box : boxes) {
            if (++looked_at > budget)
                return no_limit;
            if (detail::out_of_reach(head, box, offset))
                continue;
            if (last) {
                auto const at = std::pair{box.y.low, box.z.low};
                auto const row = rows.insert({at, Range{box.x.low, box.x.high}}).first;
                row->second = {std::min(row->second.low, box.x.low), std::max(row->second.high, box.x.high)};
                continue;
            }
            auto const half = [](Interval const& x, int upper) {
                double const middle = x.low + (x.high - x.low) / 2;
                return upper != 0 ? Interval(middle, x.high) : Interval(x.low, middle);
            };
            for (int k = 0; k < 8; ++k)
                left.push_back({half(box.x, k & 1), half(box.y, k & 2), half(box.z, k & 4)});
        }
        boxes = std::move(left);
        cube /= 2;
    }
    double widest = 0;
    double const edge = 2 * cube; // of a smallest box
    for (auto one = rows.begin(); one != rows.end(); ++one)
        for (auto other = one; other != rows.end(); ++other) {
            double const x =
                std::max(one->second.high - other->second.low, other->second.high - one->second.low);
            double const y = std::abs(one->first.first - other->first.first) + edge;
            double const z = std::abs(one->first.second - other->first.second) + edge;
            widest = std::max(widest, sqr(x) + sqr(y) + sqr(z));
        }
    return std::sqrt(widest) * (1 + 1e-14);
}

/// Seams of a job of which no two can be reached as a whole from one pose of the head, since two of their
/// places are farther apart than `width`, m: from one of them on always the next that is apart from all so
/// far, and of all starts the longest such row. As many stops are needed. Seams that no pose reaches as a
/// whole, since they are themselves wider, are left out.
inline std::vector<std::size_t> seams_apart(Job const& job, double width) {
    constexpr int places = 5;
    std::vector<std::vector<Point<Part>>> at(job.seams.size());
    for (std::size_t s = 0; s < job.seams.size(); ++s)
        for (int k = 0; k < places; ++k)
            at[s].push_back(job.seams[s].seam.at(job.seams[s].seam.duration() * k / (places - 1)).position);
    auto const farthest = [&](std::size_t a, std::size_t b) {
        double most = 0;
        for (auto const& p : at[a])
            for (auto const& q : at[b])
                most = std::max(most, squared_norm(p - q));
        return std::sqrt(most);
    };
    std::vector<std::size_t> best;
    std::vector<bool> too_wide(at.size());
    for (std::size_t s = 0; s < at.size(); ++s)
        too_wide[s] = farthest(s, s) > width;
    for (std::size_t first = 0; first < at.size(); ++first) {
        if (too_wide[first])
            continue;
        // Of those that are apart from all so far, the one whose farthest from them is nearest: room is kept.
        std::vector<std::size_t> row{first};
        std::vector<double> reach(at.size(), no_limit); ///< to the nearest of the row
        for (std::size_t last = first;;) {
            std::size_t next = at.size();
            for (std::size_t s = 0; s < at.size(); ++s) {
                reach[s] = s == last || too_wide[s] ? 0 : std::min(reach[s], farthest(s, last));
                if (reach[s] > width && (next == at.size() || reach[s] < reach[next]))
                    next = s;
            }
            if (next == at.size())
                break;
            row.push_back(next);
            last = next;
        }
        if (row.size() > best.size())
            best = row;
    }
    std::sort(best.begin(), best.end());
    return best;
}

} // namespace seamhold

#endif
