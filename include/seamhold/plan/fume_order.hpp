#ifndef SEAMHOLD_PLAN_FUME_ORDER_HPP
#define SEAMHOLD_PLAN_FUME_ORDER_HPP

#include "seamhold/plan/path_chords.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

/// Against the flow of fume: where it is drawn off to one side, seams are welded downstream first, so that
/// none is welded in the fume of a fresh one. Common practice, no source. How fume must be drawn off is not
/// settled here: it is the business of local codes and of licensed practice.
namespace seamhold {

/// How fume is drawn away from a seam.
struct FumeFlow {
    Direction<Part> direction; ///< it flows this way, a unit vector
    double distance;           ///< so far downstream of the seam it still matters, m
    double width;              ///< of the band in which it flows, across the direction, m
};

/// Two seams that fume puts in an order.
struct FumePair {
    std::size_t first, then; ///< places in the list of paths
    bool mutual; ///< either lies in part downstream of the other, and no order is free of fume: the one whose
                 ///< middle lies farther downstream is `first`, and a time between them must do the rest
};

namespace detail {

/// Downstream begins here, m: seams abreast of each other, to rounding, are not.
inline constexpr double abreast = 1e-6;

/// Whether something of path b lies in the fume of path a.
inline bool in_fume_of(PathChords const& a, PathChords const& b, FumeFlow const& flow) {
    auto const along = [&flow](Direction<Part> const& d) { return dot(d, flow.direction); };
    bool found = false;
    look_closer(a, b, [&](auto const& from, auto const& to, double deviation, bool leaf) {
        if (found)
            return false;
        double const grown = a.sagitta + b.sagitta + deviation;
        double const low = abreast - deviation, high = flow.distance + grown;
        // All ways from the one chord to the other are a parallelogram; of this, what lies between `low`
        // and `high` downstream, seen along the flow.
        std::array<Direction<Part>, 4> const ways{to[0] - from[0], to[1] - from[0], to[1] - from[1],
                                                  to[0] - from[1]};
        std::array<Point<Part>, 12> seen; // a corner that counts, and up to two cuts of each edge
        std::size_t count = 0;
        auto const see = [&](Direction<Part> const& way) {
            seen[count++] = Point<Part>{0, 0, 0} + (way - along(way) * flow.direction);
        };
        for (std::size_t n = 0; n < 4; ++n) {
            auto const &p = ways[n], &q = ways[(n + 1) % 4];
            double const at_p = along(p), at_q = along(q);
            if (at_p >= low && at_p <= high)
                see(p);
            for (double const bound : {low, high})
                if ((at_p < bound) != (at_q < bound))
                    see(p + ((bound - at_p) / (at_q - at_p)) * (q - p));
        }
        bool const near =
            count > 0 &&
            closest_point<Part>(std::span<Point<Part> const>(seen).first(count), {0, 0, 0}).distance <=
                flow.width / 2 + grown;
        found = near && leaf;
        return near;
    });
    return found;
}

} // namespace detail

/// Which of two seams must be welded first, for all pairs of which one lies in the fume of the other: more
/// than 1 µm and at most `distance` downstream of some place of it, and at most half the width beside it. On
/// the safe side by the sagittas of both; weaves are not counted in. Seams abreast are in no order. The
/// mutual ones aside, what is welded later is in nobody's fume; orders that contradict each other round a
/// circle, as seams that reach far round each other can, are for `sequence` to refuse. Sorted along the flow
/// first, so that only pairs within the distance are looked at. Throws BadInput for a direction that is not a
/// unit vector (to 1e-6), and for a distance or a width that is not above 0 and finite.
inline std::vector<FumePair> fume_order(std::vector<PathChords> const& paths, FumeFlow const& flow) {
    if (!(std::abs(norm(flow.direction) - 1) <= 1e-6))
        throw BadInput("the direction in which fume flows must be a unit vector; given was one of length " +
                       detail::text_of(norm(flow.direction)));
    for (double const size : {flow.distance, flow.width})
        if (!(size > 0) || !is_finite(size))
            throw BadInput("the distance and the width of a flow of fume must be above 0; given were " +
                           detail::text_of(flow.distance * 1e3) + " and " +
                           detail::text_of(flow.width * 1e3) + " mm");
    std::vector<BoundingBox<Part>> boxes;
    std::vector<Range> ranges; // along the flow
    double sagitta = 0;
    for (auto const& path : paths) {
        boxes.push_back(detail::box_around(path.points));
        double const infinity = std::numeric_limits<double>::infinity();
        Range range{infinity, -infinity};
        for (auto const& p : path.points) {
            double const along = dot(p - Point<Part>{0, 0, 0}, flow.direction);
            range = {std::min(range.low, along), std::max(range.high, along)};
        }
        ranges.push_back(range);
        sagitta = std::max(sagitta, path.sagitta);
    }
    double const reach = std::hypot(flow.distance, flow.width / 2) + 4 * sagitta;
    std::vector<FumePair> pairs;
    detail::each_near_pair(ranges, flow.distance + 2 * sagitta, [&](std::size_t i, std::size_t k) {
        if (detail::apart(boxes[i], boxes[k]) > reach)
            return;
        bool const other_in_one = detail::in_fume_of(paths[i], paths[k], flow);
        bool const one_in_other = detail::in_fume_of(paths[k], paths[i], flow);
        if (!other_in_one && !one_in_other)
            return;
        bool const mutual = other_in_one && one_in_other;
        double const farther = ranges[k].low + ranges[k].high - ranges[i].low - ranges[i].high;
        bool const other_first = mutual ? farther > detail::abreast : other_in_one;
        pairs.push_back(other_first ? FumePair{k, i, mutual} : FumePair{i, k, mutual});
    });
    std::sort(pairs.begin(), pairs.end(), [](FumePair const& a, FumePair const& b) {
        return a.first != b.first ? a.first < b.first : a.then < b.then;
    });
    return pairs;
}

} // namespace seamhold

#endif
