#ifndef SEAMHOLD_CALIBRATE_POSE_SCATTER_HPP
#define SEAMHOLD_CALIBRATE_POSE_SCATTER_HPP

#include "seamhold/frame/pose_step.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/statistics/sample.hpp"

#include <Eigen/Core>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <string>
#include <vector>

namespace seamhold {

/// How repeated poses lie about the one that was commanded: what an error budget takes. Six numbers, a turn
/// (rotation vector, rad) and a shift (m) in the axes of From, as `moved_by` takes them. The mean is
/// systematic: the same in every repeat, so it adds up. The covariance is that of one repeat about the mean,
/// standard deviations and not the l + 3 S of ISO 9283.
struct PoseScatter {
    std::size_t count;                      ///< of repeats
    std::array<double, 6> mean;             ///< of attained from commanded, rad and m
    Eigen::Matrix<double, 6, 6> covariance; ///< of one repeat, divisor n − 1, rad² rad·m m²

    /// One of the six numbers, 0 to 5, as a sample: its mean, its standard deviation, and intervals of both
    /// for repeats that scatter normally.
    SampleSummary summary(std::size_t axis) const {
        SampleSummary s{};
        s.count = count;
        s.mean = mean[axis];
        auto const k = static_cast<Eigen::Index>(axis);
        s.deviation = std::sqrt(covariance(k, k));
        return s;
    }
};

/// The mean and the covariance of steps from a commanded pose to attained ones, see `step_between`. Throws
/// BadInput for fewer than two.
inline PoseScatter pose_scatter(std::vector<std::array<double, 6>> const& steps) {
    std::size_t const n = steps.size();
    if (n < 2)
        throw BadInput("a scatter of poses needs two or more; given " + std::to_string(n));
    PoseScatter scatter{n, {}, Eigen::Matrix<double, 6, 6>::Zero()};
    Eigen::Matrix<double, 6, 1> mean = Eigen::Matrix<double, 6, 1>::Zero();
    using Vector6 = Eigen::Map<Eigen::Matrix<double, 6, 1> const>;
    for (auto const& step : steps)
        mean += Vector6(step.data()) / static_cast<double>(n);
    for (auto const& step : steps) {
        Eigen::Matrix<double, 6, 1> const d = Vector6(step.data()) - mean;
        scatter.covariance += d * d.transpose() / static_cast<double>(n - 1);
    }
    Eigen::Map<Eigen::Matrix<double, 6, 1>>(scatter.mean.data()) = mean;
    return scatter;
}

namespace detail {

/// Which of some distances, 0 or more, lie apart from all others: up to a fifth of them, the least of which
/// is more than three times as far as the farthest of the rest and farther than `least`. Nothing is assumed
/// of how the rest are distributed; ten normal deviates along one line have such a gap once in a thousand
/// times.
inline std::vector<bool> apart_from_the_rest(std::vector<double> const& distances, double least) {
    std::size_t const n = distances.size();
    std::vector<std::size_t> order(n);
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(),
              [&](std::size_t a, std::size_t b) { return distances[a] > distances[b]; });
    std::vector<bool> apart(n, false);
    for (std::size_t most = n / 5; most > 0; --most)
        if (distances[order[most - 1]] > std::max(3 * distances[order[most]], least)) {
            for (std::size_t i = 0; i < most; ++i)
                apart[order[i]] = true;
            break;
        }
    return apart;
}

/// The middle of some numbers, or the mean of the two in the middle.
inline double middle_of(std::vector<double> x) {
    auto const half = x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2);
    std::nth_element(x.begin(), half, x.end());
    if (x.size() % 2 == 1)
        return *half;
    return (*half + *std::max_element(x.begin(), half)) / 2;
}

/// How far some vectors of three lie from their median, number by number.
inline std::vector<double> distances_from_median(std::vector<std::array<double, 3>> const& vectors) {
    std::array<double, 3> middle{};
    for (std::size_t k = 0; k < 3; ++k) {
        std::vector<double> column;
        column.reserve(vectors.size());
        for (auto const& v : vectors)
            column.push_back(v[k]);
        middle[k] = middle_of(std::move(column));
    }
    std::vector<double> distances;
    distances.reserve(vectors.size());
    for (auto const& v : vectors)
        distances.push_back(std::sqrt(sqr(v[0] - middle[0]) + sqr(v[1] - middle[1]) + sqr(v[2] - middle[2])));
    return distances;
}

} // namespace detail

} // namespace seamhold

#endif
