#ifndef SEAMHOLD_CALIBRATE_PATH_ACCURACY_HPP
#define SEAMHOLD_CALIBRATE_PATH_ACCURACY_HPP

#include "seamhold/calibrate/pose_accuracy.hpp"
#include "seamhold/motion/pose_log.hpp"
#include "seamhold/number/taylor.hpp"

#include <cstdint>
#include <limits>

namespace seamhold {

/// A place of the commanded path at which attained paths are compared with it: a calculation point of ISO
/// 9283.
template <class To, class From> struct CalculationPoint {
    Pose<To, From> pose;   ///< commanded
    Point<To> place;       ///< of the tool there, m
    Direction<To> tangent; ///< of the tool's path, length 1
    double speed;          ///< commanded, m/s
};

namespace detail {

/// A tool's place and velocity at a time of a motion.
template <class To> struct ToolAt {
    Point<To> place;
    Direction<To> velocity;
};

template <class To, class From, class M>
ToolAt<To> tool_at(M const& motion, Point<From> const& tool, double t) {
    using T = Taylor<double, 1>;
    auto const p = motion.at(T::variable(t)) * number_cast<T>(tool);
    return {value_of(p), {p.x.derivative(1), p.y.derivative(1), p.z.derivative(1)}};
}

} // namespace detail

/// Points on a commanded motion between two of its times, evenly along the tool's path; the first and the
/// last lie half a spacing inside. `tool`: the point that counts (that of the focus, say), in the axes of
/// From, m. The standard wants 10 or more. Throws BadInput for no points, times that do not increase or are
/// not covered, and a tool that does not move between them.
template <class To, class From, class CommandMotion>
std::vector<CalculationPoint<To, From>> calculation_points(CommandMotion const& commanded, double begin,
                                                           double end, std::size_t count,
                                                           Point<From> const& tool) {
    if (count == 0)
        throw BadInput("a path is compared at one calculation point or more; asked for 0");
    if (!(begin < end) || !has_data(commanded, begin) || !has_data(commanded, end))
        throw BadInput("the commanded path has no data from " + detail::text_of(begin) + " s to " +
                       detail::text_of(end) + " s");
    // The length by chords, fine enough to spread points evenly; the points themselves lie on the path.
    std::size_t const chords = 40 * (count + 5);
    auto const time = [&](std::size_t i) {
        return begin + (end - begin) * static_cast<double>(i) / static_cast<double>(chords);
    };
    std::vector<double> length{0};
    for (std::size_t i = 1; i <= chords; ++i)
        length.push_back(length.back() +
                         norm(commanded.at(time(i)) * tool - commanded.at(time(i - 1)) * tool));
    if (!(length.back() > 1e-9))
        throw BadInput("the tool does not move on the commanded path from " + detail::text_of(begin) +
                       " s to " + detail::text_of(end) + " s");
    std::vector<CalculationPoint<To, From>> points;
    for (std::size_t i = 0; i < count; ++i) {
        double const s = length.back() * (static_cast<double>(i) + 0.5) / static_cast<double>(count);
        auto const above =
            static_cast<std::size_t>(std::upper_bound(length.begin(), length.end() - 1, s) - length.begin());
        double const share = (s - length[above - 1]) / (length[above] - length[above - 1]);
        double const t = time(above - 1) + share * (time(above) - time(above - 1));
        auto const at = detail::tool_at<To>(commanded, tool, t);
        double const speed = norm(at.velocity);
        if (!(speed > 0))
            throw BadInput("the tool rests on the commanded path at " + detail::text_of(t) +
                           " s: its path has no direction there");
        points.push_back({commanded.at(t), at.place, 1 / speed * at.velocity, speed});
    }
    return points;
}

/// How well repeated paths keep to one calculation point. Symbols and axes as in `PoseAccuracy`.
struct PathPointAccuracy {
    std::array<double, 3> deviation; ///< mean of the attained less the commanded place, m; lies in the plane
                                     ///< across the commanded path
    double distance;                 ///< its length, m
    std::array<double, 3> turn;      ///< mean deviation of orientation, rad
    double mean_distance;            ///< l̄: of the attained places from their mean, m
    double distance_deviation;       ///< S_l, m
    std::array<double, 3> turn_deviation; ///< standard deviations of orientation, rad
    double speed;                         ///< mean of the attained ones, m/s
    double speed_deviation;               ///< from repeat to repeat, m/s
    PoseScatter scatter;                  ///< for the budget, in the axes of From
};

/// What a whole path gives an error budget: six numbers as in `PoseScatter`. A place on the path lies off by
/// its own mean, the same in every repeat, and by what differs between repeats.
struct PathScatter {
    std::array<double, 6> mean;             ///< of all calculation points
    Eigen::Matrix<double, 6, 6> along_path; ///< how the points' means scatter about it: systematic
    Eigen::Matrix<double, 6, 6> repeats;    ///< mean of the points' covariances: random
};

/// How well a robot keeps to a path, by ISO 9283:1998, 8.2, 8.3 and 8.6 (formulas from memory).
struct PathAccuracy {
    std::size_t count;                        ///< repeats that counted; the standard asks for 10
    double position_accuracy;                 ///< AT_p: largest `distance` of a point, m
    std::array<double, 3> turn_accuracy;      ///< AT_a, AT_b, AT_c: largest mean deviation, rad, 0 or more
    double position_repeatability;            ///< RT_p: largest l̄ + 3 S_l of a point, m
    std::array<double, 3> turn_repeatability; ///< RT_a, RT_b, RT_c: largest 3 standard deviations, rad
    std::size_t worst_accuracy;               ///< the point of AT_p
    std::size_t worst_repeatability;          ///< the point of RT_p
    double velocity_accuracy;      ///< AV: mean attained less commanded speed, as a share of the commanded
    double velocity_repeatability; ///< RV: 3 standard deviations of the repeats' mean speed, as such a share
    double velocity_fluctuation;   ///< FV: largest difference of two speeds in one repeat, m/s
    std::vector<bool> outlier;     ///< repeats apart from all others
    std::vector<PathPointAccuracy> points;
    PathScatter scatter; ///< for the budget
};

namespace detail {

/// Where a log crosses the plane across the commanded path at a point.
struct Crossing {
    double time;
    double distance; ///< from the point, m
};

/// Crossings in the direction of the path, no farther from the point than `reach`.
template <class To, class From>
std::vector<Crossing> crossings(PoseLog<To, From> const& log, CalculationPoint<To, From> const& point,
                                Point<From> const& tool, double reach) {
    std::vector<Crossing> found;
    auto const times = log.times();
    auto const ahead = [&](double t) { return dot(log.at(t) * tool - point.place, point.tangent); };
    double before = ahead(times.front());
    for (std::size_t i = 1; i < times.size(); ++i) {
        double const after = ahead(times[i]);
        if (before < 0 && after >= 0 && log.covers(0.5 * (times[i - 1] + times[i]))) {
            // The rule of false position, halving the value of an end that stays (Illinois).
            double low = times[i - 1], high = times[i], at_low = before, at_high = after, t = high;
            int side = 0;
            for (int step = 0; step < 60 && high > low && at_high > at_low; ++step) {
                t = high - at_high * (high - low) / (at_high - at_low);
                double const value = ahead(t);
                if (std::abs(value) < 1e-15)
                    break;
                if (value < 0) {
                    low = t;
                    at_low = value;
                    if (side == -1)
                        at_high *= 0.5;
                    side = -1;
                } else {
                    high = t;
                    at_high = value;
                    if (side == 1)
                        at_low *= 0.5;
                    side = 1;
                }
            }
            double const distance = norm(log.at(t) * tool - point.place);
            if (distance <= reach)
                found.push_back({t, distance});
        }
        before = after;
    }
    return found;
}

/// One crossing for each point, in order of time, that together lie nearest to their points: a path that
/// crosses itself or ends where it began has several. Empty where there is none such; `missing` in the result
/// then is the first point that cannot be reached.
struct ChosenCrossings {
    std::vector<double> times;
    std::size_t missing = 0;
};

inline ChosenCrossings in_order(std::vector<std::vector<Crossing>> const& all) {
    double const none = std::numeric_limits<double>::infinity();
    std::size_t const m = all.size();
    std::vector<std::vector<double>> cost(m);
    std::vector<std::vector<std::size_t>> from(m);
    for (std::size_t i = 0; i < m; ++i) {
        double best = i == 0 ? 0 : none;
        std::size_t best_from = 0, next = 0;
        bool any = false;
        for (auto const& crossing : all[i]) {
            // Crossings are in order of time; so are those of the point before.
            while (i > 0 && next < all[i - 1].size() && all[i - 1][next].time < crossing.time) {
                if (cost[i - 1][next] < best) {
                    best = cost[i - 1][next];
                    best_from = next;
                }
                ++next;
            }
            cost[i].push_back(best + sqr(crossing.distance));
            from[i].push_back(best_from);
            any = any || best < none;
        }
        if (!any)
            return {{}, i};
    }
    ChosenCrossings chosen{std::vector<double>(m), m};
    auto k = static_cast<std::size_t>(std::min_element(cost[m - 1].begin(), cost[m - 1].end()) -
                                      cost[m - 1].begin());
    for (std::size_t i = m; i-- > 0;) {
        chosen.times[i] = all[i][k].time;
        k = from[i][k];
    }
    return chosen;
}

} // namespace detail

/// How path accuracy is made out.
struct PathAccuracyOptions {
    double reach = 0.02; ///< an attained path this far from a calculation point is not there, m
    Outliers outliers = Outliers::counted; ///< whether repeats apart from all others count
};

/// The accuracy and repeatability of a path from repeated logs of it. Each log is cut by the plane across the
/// commanded path at each point, so that when its clock was started, and how fast the robot went, does not
/// matter; crossings are taken in order and in the direction of the path. Choose points clear of the path's
/// ends: a log that has not yet reached the first plane is refused. `tool` as for `calculation_points`.
/// Throws BadInput for no points, fewer than two logs that count, and a log that does not come by a point.
template <class To, class From>
PathAccuracy path_accuracy(std::vector<CalculationPoint<To, From>> const& points,
                           std::vector<PoseLog<To, From>> const& logs, Point<From> const& tool,
                           PathAccuracyOptions const& options = {}) {
    std::size_t const n = logs.size(), m = points.size();
    if (m == 0 || n < 2)
        throw BadInput("the accuracy of a path needs a calculation point and two logs or more, 10 of each by "
                       "ISO 9283; given " +
                       std::to_string(m) + " and " + std::to_string(n));
    if (!(options.reach > 0))
        throw BadInput("the reach of a calculation point must be above 0 m; given was " +
                       detail::text_of(options.reach));
    using Three = std::vector<std::array<double, 3>>;
    std::vector<Three> places(m), turns(m);
    std::vector<std::vector<std::array<double, 6>>> steps(m);
    std::vector<std::vector<double>> speeds(m);
    for (std::size_t j = 0; j < n; ++j) {
        std::vector<std::vector<detail::Crossing>> all;
        all.reserve(m);
        for (auto const& point : points)
            all.push_back(detail::crossings(logs[j], point, tool, options.reach));
        auto const chosen = detail::in_order(all);
        if (chosen.times.empty())
            throw BadInput(
                "log " + std::to_string(j + 1) + " does not come by calculation point " +
                std::to_string(chosen.missing + 1) + " within " + detail::text_of(1e3 * options.reach) +
                " mm in the direction of the path and after the points before: choose points clear "
                "of the ends, and see that units and columns are right");
        for (std::size_t i = 0; i < m; ++i) {
            auto const pose = logs[j].at(chosen.times[i]);
            auto const tool_now = detail::tool_at<To>(logs[j], tool, chosen.times[i]);
            auto const d = tool_now.place - points[i].place;
            places[i].push_back({d.x, d.y, d.z});
            turns[i].push_back(rotation_vector(pose.rotation * inverse(points[i].pose.rotation)));
            steps[i].push_back(step_between(points[i].pose, pose));
            speeds[i].push_back(norm(tool_now.velocity));
        }
    }

    // How far each log lies from the median of all, over all points.
    std::vector<double> off(n, 0.0), turned_off(n, 0.0);
    for (std::size_t i = 0; i < m; ++i) {
        auto const places_off = detail::distances_from_median(places[i]);
        auto const turns_off = detail::distances_from_median(turns[i]);
        for (std::size_t j = 0; j < n; ++j) {
            off[j] = std::max(off[j], places_off[j]);
            turned_off[j] = std::max(turned_off[j], turns_off[j]);
        }
    }
    PathAccuracy result{};
    result.outlier = detail::apart_from_the_rest(off, 1e-9);
    auto const turned = detail::apart_from_the_rest(turned_off, 1e-9);
    std::vector<bool> counts(n, true);
    for (std::size_t j = 0; j < n; ++j) {
        result.outlier[j] = result.outlier[j] || turned[j];
        counts[j] = options.outliers == Outliers::counted || !result.outlier[j];
        result.count += counts[j] ? 1 : 0;
    }

    std::vector<double> mean_speed(n, 0.0), slowest(n, std::numeric_limits<double>::infinity()),
        fastest(n, 0.0);
    double commanded_speed = 0;
    result.scatter.along_path.setZero();
    result.scatter.repeats.setZero();
    std::vector<std::array<double, 6>> means;
    for (std::size_t i = 0; i < m; ++i) {
        auto const r = detail::repeat_figures(places[i], turns[i], counts);
        auto const speed = detail::mean_deviation(speeds[i], counts);
        std::vector<std::array<double, 6>> counted;
        for (std::size_t j = 0; j < n; ++j) {
            if (counts[j])
                counted.push_back(steps[i][j]);
            mean_speed[j] += speeds[i][j] / static_cast<double>(m);
            slowest[j] = std::min(slowest[j], speeds[i][j]);
            fastest[j] = std::max(fastest[j], speeds[i][j]);
        }
        commanded_speed += points[i].speed / static_cast<double>(m);
        result.points.push_back({r.mean, r.accuracy, r.turn, r.mean_distance, r.distance_deviation,
                                 r.turn_deviation, speed.mean, speed.deviation, pose_scatter(counted)});
        auto const& here = result.points.back();
        if (here.distance > result.position_accuracy) {
            result.position_accuracy = here.distance;
            result.worst_accuracy = i;
        }
        double const repeatability = here.mean_distance + 3 * here.distance_deviation;
        if (repeatability > result.position_repeatability) {
            result.position_repeatability = repeatability;
            result.worst_repeatability = i;
        }
        for (std::size_t k = 0; k < 3; ++k) {
            result.turn_accuracy[k] = std::max(result.turn_accuracy[k], std::abs(here.turn[k]));
            result.turn_repeatability[k] = std::max(result.turn_repeatability[k], 3 * here.turn_deviation[k]);
        }
        result.scatter.repeats += here.scatter.covariance / static_cast<double>(m);
        means.push_back(here.scatter.mean);
    }
    if (m > 1) {
        auto const of_means = pose_scatter(means);
        result.scatter.mean = of_means.mean;
        result.scatter.along_path = of_means.covariance;
    } else {
        result.scatter.mean = means[0];
    }
    auto const speed = detail::mean_deviation(mean_speed, counts);
    result.velocity_accuracy = (speed.mean - commanded_speed) / commanded_speed;
    result.velocity_repeatability = 3 * speed.deviation / commanded_speed;
    for (std::size_t j = 0; j < n; ++j)
        if (counts[j])
            result.velocity_fluctuation = std::max(result.velocity_fluctuation, fastest[j] - slowest[j]);
    return result;
}

} // namespace seamhold

#endif
