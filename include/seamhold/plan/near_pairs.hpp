#ifndef SEAMHOLD_PLAN_NEAR_PAIRS_HPP
#define SEAMHOLD_PLAN_NEAR_PAIRS_HPP

#include "seamhold/plan/path_chords.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

/// Which seams lie close to each other: for rules of cooling, and wherever heat spreads.
namespace seamhold {

/// Two seams whose paths come near each other.
struct NearPair {
    std::size_t one, other; ///< places in the list of paths, one < other
    double distance;        ///< m; not above the truth, and below it by the sagittas of both at most
};

/// All pairs of paths that come within a distance, m, of each other, in order. No pair within the distance is
/// left out; one that is farther apart by less than the sagittas of both may be named. Weaves are not counted
/// in: add both amplitudes to the distance. The paths are sorted along the longest edge of the box around all
/// of them, then held against each other by boxes, so that only chords that are near are looked at. Throws
/// BadInput for a distance that is not 0 or more and finite.
inline std::vector<NearPair> near_pairs(std::vector<PathChords> const& paths, double distance) {
    if (!(distance >= 0) || !is_finite(distance))
        throw BadInput("near seams need a distance of 0 or more; given was " +
                       detail::text_of(distance * 1e3) + " mm");
    std::vector<NearPair> pairs;
    if (paths.empty())
        return pairs;
    std::vector<BoundingBox<Part>> boxes;
    double sagitta = 0;
    for (auto const& path : paths) {
        boxes.push_back(detail::box_around(path.points));
        sagitta = std::max(sagitta, path.sagitta);
    }
    auto all = boxes.front();
    for (auto const& box : boxes)
        all = hull(all, box);
    auto const edge = all.high - all.low;
    std::vector<Range> ranges;
    ranges.reserve(boxes.size());
    for (auto const& box : boxes)
        ranges.push_back(edge.x >= std::max(edge.y, edge.z) ? Range{box.low.x, box.high.x}
                         : edge.y >= edge.z                 ? Range{box.low.y, box.high.y}
                                                            : Range{box.low.z, box.high.z});
    detail::each_near_pair(ranges, distance + 2 * sagitta, [&](std::size_t i, std::size_t k) {
        double const slack = paths[i].sagitta + paths[k].sagitta;
        if (detail::apart(boxes[i], boxes[k]) > distance + slack)
            return;
        double const within = std::nextafter(distance + slack, std::numeric_limits<double>::infinity());
        double const least = detail::least_over(
            paths[i], paths[k], within, 0, [](auto const& a, auto const& b) { return detail::apart(a, b); });
        if (least < within)
            pairs.push_back({i, k, std::max(0.0, least - slack)});
    });
    std::sort(pairs.begin(), pairs.end(), [](NearPair const& a, NearPair const& b) {
        return a.one != b.one ? a.one < b.one : a.other < b.other;
    });
    return pairs;
}

} // namespace seamhold

#endif
