#ifndef SEAMHOLD_CALIBRATE_PART_CHECKS_HPP
#define SEAMHOLD_CALIBRATE_PART_CHECKS_HPP

#include "seamhold/calibrate/part_fit.hpp"
#include "seamhold/frame/fit.hpp"
#include "seamhold/frame/pose_step.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

/// What is looked at before a part is fitted: units, columns, mirror images.
namespace seamhold::detail {

/// The middle one of positive numbers.
inline double median_distance(std::vector<double> distances) {
    auto const middle = distances.begin() + static_cast<std::ptrdiff_t>(distances.size() / 2);
    std::nth_element(distances.begin(), middle, distances.end());
    return *middle;
}

inline std::vector<TouchedPoint<Cell, Part>> points_of(std::vector<PartTouch> const& touches) {
    std::vector<TouchedPoint<Cell, Part>> points;
    for (auto const& touch : touches)
        if (auto const* point = std::get_if<PointTouch>(&touch))
            points.push_back({point->known, point->touched});
    return points;
}

/// Three columns read another way.
struct ColumnOrder {
    std::array<int, 3> column; ///< which given column is read as x, y and z
    char const* name;
};

inline constexpr std::array<ColumnOrder, 5> other_orders{
    {{{1, 0, 2}, "x and y have changed places"},
     {{0, 2, 1}, "y and z have changed places"},
     {{2, 1, 0}, "x and z have changed places"},
     {{1, 2, 0}, "the columns stand in the order z, x, y"},
     {{2, 0, 1}, "the columns stand in the order y, z, x"}}};

template <class F> Point<F> reordered(Point<F> const& p, ColumnOrder const& order) {
    std::array<double, 3> const given{p.x, p.y, p.z};
    auto const at = [&](std::size_t k) { return given[static_cast<std::size_t>(order.column[k])]; };
    return {at(0), at(1), at(2)};
}

/// The angle between two poses, rad.
inline double turn_between(Pose<Cell, Part> const& a, Pose<Cell, Part> const& b) {
    auto const step = step_between(a, b);
    return std::sqrt(sqr(step[0]) + sqr(step[1]) + sqr(step[2]));
}

/// A closed fit of points, and the median length of its residuals.
struct PointFit {
    Pose<Cell, Part> pose;
    double miss;
};

inline PointFit fit_of(std::vector<TouchedPoint<Cell, Part>> const& points) {
    auto const fit = fit_pose(points);
    std::vector<double> lengths;
    for (auto const& r : fit.residuals)
        lengths.push_back(norm(r));
    return {fit.pose, median_distance(lengths)};
}

/// A ratio of lengths that a mixed-up unit makes.
struct LengthSlip {
    double ratio; ///< touched by known
    char const* name;
};

inline constexpr std::array<LengthSlip, 6> length_slips{
    {{1000, "touched points look like millimetres given as metres"},
     {1e-3, "known points look like millimetres given as metres"},
     {1 / 0.0254, "touched points look like inches given as metres"},
     {0.0254, "known points look like inches given as metres"},
     {25.4, "known points look like inches and touched ones like millimetres, in one unit"},
     {1 / 25.4, "known points look like millimetres and touched ones like inches, in one unit"}}};

/// Refuses points, three or more beside a line, that look like another unit, other columns or a mirror image.
inline void check_points(std::vector<TouchedPoint<Cell, Part>> const& points, PartOptions const& options) {
    std::vector<double> ratios;
    std::size_t const stride = points.size() / 200 + 1; // of many, some two hundred tell it as well
    for (std::size_t i = 0; i < points.size(); i += stride)
        for (std::size_t k = 0; k < i; k += stride) {
            double const known = norm(points[i].known - points[k].known);
            double const touched = norm(points[i].touched - points[k].touched);
            if (known > 0)
                ratios.push_back(touched / known);
        }
    double const ratio = median_distance(ratios);
    for (auto const& slip : length_slips)
        if (std::abs(ratio / slip.ratio - 1) < 0.1)
            throw BadInput(std::string("the ") + slip.name + ": distances between touched points are " +
                           text_of(ratio) + " times those of the drawing");

    double const plausible = std::max(options.plausible_deviation, 4 * options.deviation.value_or(0));
    auto const given = fit_of(points);
    bool const turned = options.start && turn_between(*options.start, given.pose) > 1;
    if (points.size() < 4 && !turned)
        return; // three points and their mirror image are the same triangle
    if (!(given.miss > plausible) && !turned)
        return;
    std::optional<PointFit> mirrored;
    for (auto const& order : other_orders) {
        auto read = points;
        for (auto& point : read)
            point.touched = reordered(point.touched, order);
        auto const other = fit_of(read);
        bool const nearer = 5 * other.miss < given.miss && given.miss > plausible;
        if (!options.start) {
            // Any odd order of columns is a mirror image; without a start they are not told apart.
            if (nearer)
                mirrored = other;
            continue;
        }
        bool const as_expected = turn_between(*options.start, other.pose) < 0.5 &&
                                 (other.miss <= plausible || other.miss <= 2 * given.miss);
        if ((nearer || turned) && as_expected)
            throw BadInput(std::string("the touched points look as if ") + order.name +
                           ": so read they miss by " + text_of(in_millimetres(other.miss)) +
                           " mm, and the part lies about as it should");
    }
    auto image = points;
    for (auto& point : image)
        point.touched.x = -point.touched.x;
    if (!mirrored)
        mirrored = fit_of(image);
    if (5 * mirrored->miss < given.miss && given.miss > plausible)
        throw BadInput(
            "the touched points look like a mirror image of the known ones: so read they miss by " +
            text_of(in_millimetres(mirrored->miss)) + " mm instead of " +
            text_of(in_millimetres(given.miss)) +
            " mm. One list is left-handed, or two of its columns have changed places");
}

/// Touches with their touched places read another way; beams stay.
template <class Read> std::vector<PartTouch> read_as(std::vector<PartTouch> touches, Read const& read) {
    for (auto& touch : touches)
        std::visit(
            [&](auto& t) {
                if constexpr (!std::is_same_v<std::decay_t<decltype(t)>, BeamTouch>)
                    t.touched = read(t.touched);
            },
            touch);
    return touches;
}

/// The median of what touches miss at a pose, m.
inline double median_miss(std::vector<PartTouch> const& touches, Pose<Cell, Part> const& pose) {
    std::vector<double> misses;
    for (auto const& touch : touches) {
        auto const r = rows_of(touch, pose);
        misses.push_back(std::sqrt(sqr(r.rows[0]) + sqr(r.rows[1]) + sqr(r.rows[2])));
    }
    return median_distance(misses);
}

/// Refuses touches that miss the features far where the part should lie, and that another unit or order of
/// columns brings there.
inline void check_against_start(std::vector<PartTouch> const& touches, Pose<Cell, Part> const& start) {
    double const given = median_miss(touches, start);
    // Common practice, no source: a part lies within 5 cm of where it should.
    if (!(given > 0.05))
        return;
    double best = std::min(given / 10, 0.05);
    std::string looks_as_if;
    auto const suspect = [&](std::vector<PartTouch> const& read, std::string const& what) {
        double const other = median_miss(read, start);
        if (other < best) {
            best = other;
            looks_as_if = what;
        }
    };
    auto const scaled = [&](double by) {
        return read_as(touches, [by](Point<Cell> const& p) {
            return Point<Cell>{by * p.x, by * p.y, by * p.z};
        });
    };
    suspect(scaled(1e-3), "millimetres were given as metres");
    suspect(scaled(0.0254), "inches were given as metres");
    suspect(scaled(1e3), "metres were given as millimetres");
    for (auto const& order : other_orders)
        suspect(read_as(touches, [&](Point<Cell> const& p) { return reordered(p, order); }), order.name);
    if (!looks_as_if.empty())
        throw BadInput("the touched places look as if " + looks_as_if +
                       ": at the start's place of the part they miss by " + text_of(in_millimetres(best)) +
                       " mm so read and by " + text_of(in_millimetres(given)) + " mm as given");
}

} // namespace seamhold::detail

#endif
