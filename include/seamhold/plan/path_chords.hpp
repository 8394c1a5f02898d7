#ifndef SEAMHOLD_PLAN_PATH_CHORDS_HPP
#define SEAMHOLD_PLAN_PATH_CHORDS_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/seam/travel_by.hpp"
#include "seamhold/surface/closest_point.hpp"
#include "seamhold/surface/convex.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <span>
#include <utility>
#include <vector>

/// Paths as straight chords, for questions of nearness between many seams.
namespace seamhold {

/// A path as chords between points on it. A held point is one chord without length.
struct PathChords {
    std::vector<Point<Part>> points; ///< in order of travel; at least one
    double sagitta;                  ///< the path is nowhere farther from its chord than this, m

    /// The number of chords.
    std::size_t count() const { return points.size() > 1 ? points.size() - 1 : points.size(); }

    /// The ends of one chord.
    std::array<Point<Part>, 2> chord(std::size_t i) const {
        return {points[i], points[std::min(i + 1, points.size() - 1)]};
    }
};

/// The chords of a stretch of a path from one arc length to another, m, that stay within `tolerance`, m, of
/// it. Over a step h a curve of curvature κ or less is within κ h² / 8 of its chord (the error of linear
/// interpolation); κ is bounded from above, so the chords are on the safe side but for the gaps that a drawn
/// shape allows where its pieces meet (a millionth of the shorter). Throws BadInput for a tolerance that is
/// not above 0.
inline PathChords chords_of(AnyPath const& path, double from, double to, double tolerance = 2e-5) {
    if (!(tolerance > 0))
        throw BadInput("chords of a path need a tolerance above 0; given was " +
                       detail::text_of(tolerance * 1e3) + " mm");
    PathChords chords{{path.at(from).position}, 0};
    double begin = from, end = from, bend = 0; // of the chord that is not closed yet
    auto const close = [&] {
        if (end > begin)
            chords.points.push_back(path.at(end).position);
        chords.sagitta = std::max(chords.sagitta, bend * sqr(end - begin) / 8);
        begin = end;
        bend = 0;
    };
    auto const corners = path.corners();
    auto const is_corner = [&corners](double s) {
        return std::any_of(corners.begin(), corners.end(),
                           [s](Corner const& corner) { return std::abs(corner.arc_length - s) <= 1e-9; });
    };
    detail::each_curvature_bound(path, [&](double low, double high, double curvature) {
        low = std::max(low, from);
        high = std::min(high, to);
        if (!(high > low))
            return;
        bool const goes_on =
            std::max(bend, curvature) * sqr(high - begin) / 8 <= tolerance && !is_corner(low);
        if (!goes_on)
            close();
        double const steps =
            goes_on ? 1 : std::max(1.0, std::ceil((high - begin) * std::sqrt(curvature / (8 * tolerance))));
        double const step = (high - begin) / steps;
        bend = std::max(bend, curvature);
        for (double k = 1; k < steps; ++k) {
            end = begin + step;
            close();
            bend = curvature;
        }
        end = high;
    });
    close();
    return chords;
}

/// The chords of a whole path; see above.
inline PathChords chords_of(AnyPath const& path, double tolerance = 2e-5) {
    return chords_of(path, 0, path.length(), tolerance);
}

/// The chords of the paths of seams, their weaves not counted in; see above.
inline std::vector<PathChords> chords_of(std::vector<AnySeam> const& seams, double tolerance = 2e-5) {
    std::vector<PathChords> all;
    all.reserve(seams.size());
    for (auto const& seam : seams)
        all.push_back(chords_of(seam.path, tolerance));
    return all;
}

namespace detail {

/// The box around points.
inline BoundingBox<Part> box_around(std::span<Point<Part> const> points) {
    return bounding_box(ConvexView<Part>(points, 0));
}

/// How far two boxes are apart, m.
inline double apart(BoundingBox<Part> const& a, BoundingBox<Part> const& b) {
    auto const gap = [](double a_low, double a_high, double b_low, double b_high) {
        return std::max({0.0, b_low - a_high, a_low - b_high});
    };
    return norm(Direction<Part>{gap(a.low.x, a.high.x, b.low.x, b.high.x),
                                gap(a.low.y, a.high.y, b.low.y, b.high.y),
                                gap(a.low.z, a.high.z, b.low.z, b.high.z)});
}

/// How far the hulls of two sets of up to four points are apart, m: the distance of the origin from the hull
/// of all differences.
template <std::size_t A, std::size_t B>
double apart(std::array<Point<Part>, A> const& a, std::array<Point<Part>, B> const& b) {
    Point<Part> const origin{0, 0, 0};
    std::array<Point<Part>, A * B> differences;
    for (std::size_t i = 0; i < A; ++i)
        for (std::size_t k = 0; k < B; ++k)
            differences[i * B + k] = origin + (a[i] - b[k]);
    return closest_point<Part>(differences, origin).distance;
}

/// A run of chords, by its first and last point, and how far its points are from the straight line between
/// these, m.
struct ChordRun {
    std::size_t first, last;
    double deviation;
};

inline ChordRun chord_run(PathChords const& path, std::size_t first, std::size_t last) {
    auto const& a = path.points[first];
    auto const line = path.points[last] - a;
    double const squared = squared_norm(line);
    double most = 0;
    for (std::size_t i = first + 1; i < last; ++i) {
        auto const d = path.points[i] - a;
        double const share = squared > 0 ? std::clamp(dot(d, line) / squared, 0.0, 1.0) : 0;
        most = std::max(most, squared_norm(d - share * line));
    }
    return {first, last, std::sqrt(most)};
}

/// Descends into pairs of runs of chords of two paths. `look` is told the ends of a run of each, how far both
/// paths are at most from these two straight lines together (0 for single chords), and whether both are
/// single chords; it says whether to look closer.
template <class Look>
void look_closer(PathChords const& a, ChordRun const& of_a, PathChords const& b, ChordRun const& of_b,
                 Look const& look) {
    auto const single = [](ChordRun const& run) { return run.last - run.first <= 1; };
    auto const ends = [](PathChords const& path, ChordRun const& run) {
        return std::array<Point<Part>, 2>{path.points[run.first], path.points[run.last]};
    };
    bool const leaf = single(of_a) && single(of_b);
    if (!look(ends(a, of_a), ends(b, of_b), of_a.deviation + of_b.deviation, leaf) || leaf)
        return;
    if (single(of_b) || (!single(of_a) && of_a.deviation >= of_b.deviation)) {
        std::size_t const middle = (of_a.first + of_a.last) / 2;
        look_closer(a, chord_run(a, of_a.first, middle), b, of_b, look);
        look_closer(a, chord_run(a, middle, of_a.last), b, of_b, look);
    } else {
        std::size_t const middle = (of_b.first + of_b.last) / 2;
        look_closer(a, of_a, b, chord_run(b, of_b.first, middle), look);
        look_closer(a, of_a, b, chord_run(b, middle, of_b.last), look);
    }
}

/// The same for two whole paths.
template <class Look> void look_closer(PathChords const& a, PathChords const& b, Look const& look) {
    if (!a.points.empty() && !b.points.empty())
        look_closer(a, chord_run(a, 0, a.points.size() - 1), b, chord_run(b, 0, b.points.size() - 1), look);
}

/// The least of a distance over all chords of two paths, m, or `least` where none is below it; where it is
/// not above `enough`, some distance that is not above that. `distance` is told one chord of each; it must be
/// 0 or more and change by no more than its chords move.
template <class Distance>
double least_over(PathChords const& a, PathChords const& b, double least, double enough,
                  Distance const& distance) {
    look_closer(a, b, [&](auto const& of_a, auto const& of_b, double deviation, bool leaf) {
        if (least <= enough)
            return false;
        double const there = distance(of_a, of_b);
        if (!(there - deviation < least))
            return false;
        least = std::min(least, there + deviation); // of every place of a run's line the path is that near
        return !leaf;
    });
    return least;
}

/// Calls use(i, k), i < k, for all pairs of ranges [low, high] that come within `reach` of each other: sorted
/// by their low ends, each is held against those that begin before it is passed.
template <class Use> void each_near_pair(std::vector<Range> const& ranges, double reach, Use const& use) {
    std::vector<std::size_t> order(ranges.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(),
              [&](std::size_t a, std::size_t b) { return ranges[a].low < ranges[b].low; });
    for (std::size_t m = 0; m < order.size(); ++m)
        for (std::size_t n = m + 1; n < order.size(); ++n) {
            if (ranges[order[n]].low > ranges[order[m]].high + reach)
                break;
            use(std::min(order[m], order[n]), std::max(order[m], order[n]));
        }
}

} // namespace detail

} // namespace seamhold

#endif
