#ifndef SEAMHOLD_HEAD_START_FIT_HPP
#define SEAMHOLD_HEAD_START_FIT_HPP

#include "seamhold/curve/banded.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

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
        // Normal equations: a start may lose half the digits.
        detail::BandedMatrix products(count, count);
        std::vector<std::array<double, 2>> right(count, std::array<double, 2>{});
        for (auto const& sample : samples) {
            auto const terms = terms_at(scaled(sample.at));
            for (std::size_t i = 0; i < count; ++i) {
                right[i][0] += terms[i] * (sample.angles[0] - sample.at[0]);
                right[i][1] += terms[i] * (sample.angles[1] - sample.at[1]);
                for (std::size_t k = 0; k <= i; ++k)
                    products.add(i, k, terms[i] * terms[k]);
            }
        }
        // A little on the diagonal, for directions that are not sampled (a lens whose distance does not
        // vary).
        for (std::size_t i = 0; i < count; ++i)
            products.add(i, i, 1e-13 * static_cast<double>(samples.size()));
        if (!products.factorise(0))
            return; // then without a correction
        auto const fitted = products.solve(std::move(right));
        std::copy(fitted.begin(), fitted.end(), coefficient_.begin());
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
    static constexpr std::size_t count = 56; ///< (degree + 3 over 3)

    /// The products of powers, the third number's running fastest, then the second's.
    static std::array<double, count> terms_at(std::array<double, 3> const& x) {
        std::array<double, count> terms;
        std::size_t term = 0;
        for (int a = 0; a <= degree; ++a)
            for (int b = 0; a + b <= degree; ++b)
                for (int c = 0; a + b + c <= degree; ++c)
                    terms[term++] = std::pow(x[0], a) * std::pow(x[1], b) * std::pow(x[2], c);
        return terms;
    }

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
