#ifndef SEAMHOLD_CALIBRATE_POSE_ACCURACY_HPP
#define SEAMHOLD_CALIBRATE_POSE_ACCURACY_HPP

#include "seamhold/calibrate/pose_scatter.hpp"
#include "seamhold/frame/pose.hpp"

#include <optional>
#include <utility>

namespace seamhold {

/// What is done with repeats that lie apart from all others.
enum class Outliers {
    counted, ///< they are named and count like the rest, as ISO 9283 has it: a robot that strays is not good
    left_out ///< they are named and do not count: misreadings of the instrument, after someone has looked
};

/// How well a robot comes back to one pose, by the formulas of ISO 9283:1998, 7.2 (from memory). Positions
/// and the standard's angles a, b, c are given about the axes x, y, z of To. The angles are the parts of the
/// rotation vector from the commanded to the attained orientation; angles that follow each other about the
/// same axes differ from them by half the product of two of them: 0.5 µrad where they are 1 mrad.
struct PoseAccuracy {
    std::size_t count;               ///< repeats that counted; the standard asks for 30
    std::array<double, 3> deviation; ///< AP_x, AP_y, AP_z: mean of the attained less the commanded place, m
    double position_accuracy;        ///< AP_p: the length of it, m
    std::array<double, 3> turn;      ///< AP_a, AP_b, AP_c: the same of the orientation, rad
    double mean_distance;            ///< l̄: mean distance of the attained places from their mean, m
    double distance_deviation;       ///< S_l: standard deviation of these distances, divisor n − 1, m
    double position_repeatability;   ///< RP_l = l̄ + 3 S_l, m
    std::array<double, 3> turn_repeatability; ///< RP_a, RP_b, RP_c: ± 3 standard deviations, rad
    std::vector<double> distances;            ///< l_j of every repeat from the mean, m
    std::vector<bool> outlier;                ///< repeats apart from all others in place or orientation
    PoseScatter scatter;                      ///< for the budget, in the axes of From
};

namespace detail {

/// Mean and standard deviation of the marked numbers.
struct MeanDeviation {
    double mean;
    double deviation;
};

/// Of the numbers whose row counts; 0 for the deviation of one.
inline MeanDeviation mean_deviation(std::vector<double> const& x, std::vector<bool> const& counts) {
    double n = 0, sum = 0, squares = 0;
    for (std::size_t i = 0; i < x.size(); ++i)
        if (counts[i]) {
            ++n;
            sum += x[i];
        }
    double const mean = sum / n;
    for (std::size_t i = 0; i < x.size(); ++i)
        if (counts[i])
            squares += sqr(x[i] - mean);
    return {mean, n > 1 ? std::sqrt(squares / (n - 1)) : 0.0};
}

/// The figures of positions p (m) and angles a (rad), both as deviations from what was commanded.
struct RepeatFigures {
    std::array<double, 3> mean, turn, turn_deviation;
    double accuracy, mean_distance, distance_deviation;
    std::vector<double> distances;
};

/// Means, distances from the mean, and their standard deviations, of the repeats that count.
inline RepeatFigures repeat_figures(std::vector<std::array<double, 3>> const& p,
                                    std::vector<std::array<double, 3>> const& a,
                                    std::vector<bool> const& counts) {
    RepeatFigures r{};
    for (std::size_t k = 0; k < 3; ++k) {
        std::vector<double> place, angle;
        for (std::size_t i = 0; i < p.size(); ++i) {
            place.push_back(p[i][k]);
            angle.push_back(a[i][k]);
        }
        r.mean[k] = mean_deviation(place, counts).mean;
        auto const of_angle = mean_deviation(angle, counts);
        r.turn[k] = of_angle.mean;
        r.turn_deviation[k] = of_angle.deviation;
    }
    r.accuracy = std::sqrt(sqr(r.mean[0]) + sqr(r.mean[1]) + sqr(r.mean[2]));
    for (auto const& x : p)
        r.distances.push_back(
            std::sqrt(sqr(x[0] - r.mean[0]) + sqr(x[1] - r.mean[1]) + sqr(x[2] - r.mean[2])));
    auto const of_distance = mean_deviation(r.distances, counts);
    r.mean_distance = of_distance.mean;
    r.distance_deviation = of_distance.deviation;
    return r;
}

/// What places look like that do not fit what was commanded: another unit, or swapped columns; "" where
/// nothing makes them fit much better.
inline std::string slip_of_places(std::array<double, 3> const& given, std::array<double, 3> const& wanted) {
    auto const misfit = [&](std::array<double, 3> const& p) {
        return std::sqrt(sqr(p[0] - wanted[0]) + sqr(p[1] - wanted[1]) + sqr(p[2] - wanted[2]));
    };
    double const size = std::sqrt(sqr(wanted[0]) + sqr(wanted[1]) + sqr(wanted[2]));
    double const now = misfit(given);
    auto const fits = [&](std::array<double, 3> const& p) {
        return misfit(p) < std::min(0.05 * now, 0.1 * size);
    };
    if (!(now > 0.02 * size) || !(now > 1e-3))
        return "";
    struct Scale {
        double factor;
        char const* name;
    };
    for (auto const& scale : {Scale{1e-3, "millimetres given as metres"},
                              Scale{1e3, "metres divided by 1000"}, Scale{0.0254, "inches given as metres"}})
        if (fits({scale.factor * given[0], scale.factor * given[1], scale.factor * given[2]}))
            return scale.name;
    if (fits({given[1], given[0], given[2]}))
        return "x and y swapped";
    if (fits({given[2], given[1], given[0]}))
        return "x and z swapped";
    if (fits({given[0], given[2], given[1]}))
        return "y and z swapped";
    return "";
}

} // namespace detail

/// The accuracy and repeatability of one commanded pose from repeats, approached from one direction each time
/// and measured after the robot has settled. Outliers are named in `outlier`; whether they count is for the
/// caller to say. Throws BadInput for fewer than two repeats that count, numbers that are not finite, and
/// places that fit what was commanded only in another unit or with columns swapped.
template <class To, class From>
PoseAccuracy pose_accuracy(Pose<To, From> const& commanded, std::vector<Pose<To, From>> const& attained,
                           Outliers outliers = Outliers::counted) {
    std::size_t const n = attained.size();
    if (n < 2)
        throw BadInput("the accuracy of a pose needs two or more repeats, 30 by ISO 9283; given " +
                       std::to_string(n));
    std::vector<std::array<double, 3>> places, turns;
    std::vector<std::array<double, 6>> steps;
    std::vector<double> x, y, z;
    for (std::size_t i = 0; i < n; ++i) {
        auto const d = attained[i].origin - commanded.origin;
        auto const turn = rotation_vector(attained[i].rotation * inverse(commanded.rotation));
        if (!is_finite(d.x + d.y + d.z + turn[0] + turn[1] + turn[2]))
            throw BadInput("repeat " + std::to_string(i + 1) +
                           " of the pose holds a number that is not finite");
        places.push_back({d.x, d.y, d.z});
        turns.push_back(turn);
        steps.push_back(step_between(commanded, attained[i]));
        x.push_back(attained[i].origin.x);
        y.push_back(attained[i].origin.y);
        z.push_back(attained[i].origin.z);
    }
    auto const slip =
        detail::slip_of_places({detail::middle_of(x), detail::middle_of(y), detail::middle_of(z)},
                               {commanded.origin.x, commanded.origin.y, commanded.origin.z});
    if (!slip.empty())
        throw BadInput("the attained places fit the commanded one only as " + slip);

    // Below a nanometre and a nanoradian all repeats are one.
    auto outlier = detail::apart_from_the_rest(detail::distances_from_median(places), 1e-9);
    auto const turned = detail::apart_from_the_rest(detail::distances_from_median(turns), 1e-9);
    std::vector<bool> counts(n, true);
    std::vector<std::array<double, 6>> counted;
    for (std::size_t i = 0; i < n; ++i) {
        outlier[i] = outlier[i] || turned[i];
        counts[i] = outliers == Outliers::counted || !outlier[i];
        if (counts[i])
            counted.push_back(steps[i]);
    }
    auto const scatter = pose_scatter(counted);
    auto const r = detail::repeat_figures(places, turns, counts);
    PoseAccuracy result{counted.size(),
                        r.mean,
                        r.accuracy,
                        r.turn,
                        r.mean_distance,
                        r.distance_deviation,
                        r.mean_distance + 3 * r.distance_deviation,
                        {},
                        r.distances,
                        outlier,
                        scatter};
    for (std::size_t k = 0; k < 3; ++k)
        result.turn_repeatability[k] = 3 * r.turn_deviation[k];
    return result;
}

} // namespace seamhold

#endif
