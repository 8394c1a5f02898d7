#ifndef SEAMHOLD_HEAD_START_FIT_HPP
#define SEAMHOLD_HEAD_START_FIT_HPP

#include "seamhold/frame/point.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>

namespace seamhold {

/// Where Newton starts: mirror angles as a polynomial of total degree 5 in three numbers that are at hand
/// (the angles of an ideal head and the reciprocal of the distance), fitted once. It saves steps and decides
/// nothing: the answer does not depend on it.
class StartFit {
public:
    /// One sample: the three numbers, and the angles that belong to them, rad.
    struct Sample {
        std::array<double, 3> at;
        std::array<double, 2> angles;
    };

    /// No correction: the start is the first two numbers themselves.
    StartFit() = default;

    /// The least-squares fit to samples, more than it has coefficients (56) and spread over the volume in
    /// which the start must be good.
    explicit StartFit(std::span<Sample const> samples) {
        for (std::size_t d = 0; d < 3; ++d) {
            double low = samples[0].at[d], high = low;
            for (auto const& sample : samples) {
                low = std::min(low, sample.at[d]);
                high = std::max(high, sample.at[d]);
            }
            middle_[d] = (low + high) / 2;
            scale_[d] = high > low ? 2 / (high - low) : 0;
        }
        auto const rows = static_cast<Eigen::Index>(samples.size());
        Eigen::MatrixXd terms(rows, count);
        Eigen::MatrixXd values(rows, 2);
        for (Eigen::Index i = 0; i < rows; ++i) {
            auto const& sample = samples[static_cast<std::size_t>(i)];
            auto const x = scaled(sample.at);
            Eigen::Index term = 0; // the third number's power runs fastest, then the second's
            for (int a = 0; a <= degree; ++a)
                for (int b = 0; a + b <= degree; ++b)
                    for (int c = 0; a + b + c <= degree; ++c)
                        terms(i, term++) = std::pow(x[0], a) * std::pow(x[1], b) * std::pow(x[2], c);
            values(i, 0) = sample.angles[0] - sample.at[0];
            values(i, 1) = sample.angles[1] - sample.at[1];
        }
        // Of least norm where a direction is not sampled (a lens whose distance does not vary).
        Eigen::MatrixXd const fitted = terms.completeOrthogonalDecomposition().solve(values);
        for (std::size_t k = 0; k < count; ++k)
            coefficient_[k] = {fitted(static_cast<Eigen::Index>(k), 0),
                               fitted(static_cast<Eigen::Index>(k), 1)};
    }

    /// The start for the three numbers, rad. Outside the sampled volume it gets poor, not dangerous: each
    /// number is held to one and a half times the volume's half size.
    [[gnu::always_inline]] std::array<double, 2> at(std::array<double, 3> const& numbers) const {
        auto const x = scaled(numbers);
        std::array<double, 2> angles{numbers[0], numbers[1]};
        auto const* next = coefficient_.data();
        double a_power = 1;
        detail::unroll<0, degree + 1>([&](auto a) __attribute__((always_inline)) {
            double ab_power = a_power;
            detail::unroll<0, degree + 1 - a>([&](auto b) __attribute__((always_inline)) {
                next += degree + 1 - a - b;
                auto sum = next[-1];
                detail::unroll<2, degree + 2 - a - b>([&](auto c) __attribute__((always_inline)) {
                    sum[0] = sum[0] * x[2] + next[-c][0];
                    sum[1] = sum[1] * x[2] + next[-c][1];
                });
                angles[0] += ab_power * sum[0];
                angles[1] += ab_power * sum[1];
                ab_power *= x[1];
            });
            a_power *= x[0];
        });
        return angles;
    }

private:
    static constexpr int degree = 5;
    static constexpr int count = 56; ///< (degree + 3 over 3)

    std::array<double, 3> scaled(std::array<double, 3> const& numbers) const {
        std::array<double, 3> x;
        for (std::size_t d = 0; d < 3; ++d)
            x[d] = std::clamp((numbers[d] - middle_[d]) * scale_[d], -1.5, 1.5);
        return x;
    }

    std::array<double, 3> middle_{};
    std::array<double, 3> scale_{};
    std::array<std::array<double, 2>, count> coefficient_{};
};

} // namespace seamhold

#endif
