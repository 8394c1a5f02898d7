#ifndef SEAMHOLD_RECORD_FACTOR_TAIL_HPP
#define SEAMHOLD_RECORD_FACTOR_TAIL_HPP

#include "seamhold/number/number.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

namespace seamhold::detail {

/// A value that a share of others is below, by a straight line between neighbours in order.
inline double share_quantile(std::vector<double> values, double share) {
    std::sort(values.begin(), values.end());
    double const place = std::clamp(share * static_cast<double>(values.size() + 1) - 1, 0.0,
                                    static_cast<double>(values.size() - 1));
    auto const i = std::min(static_cast<std::size_t>(place), values.size() - 1);
    std::size_t const next = std::min(i + 1, values.size() - 1);
    return values[i] + (place - static_cast<double>(i)) * (values[next] - values[i]);
}

/// The upper tail of passing factors of simulated parts. Beyond the greatest tenth its logarithm falls in
/// proportion to the square of the factor, as that of the greatest of normal numbers does; counted further
/// in.
class FactorTail {
public:
    /// Of 20 factors or more.
    explicit FactorTail(std::span<double const> factors) : factors_(factors.begin(), factors.end()) {
        std::sort(factors_.begin(), factors_.end());
        double const n = static_cast<double>(factors_.size());
        std::size_t const top = factors_.size() / 10;
        start_ = sqr(factors_[factors_.size() - top - 1]);
        beyond_ = static_cast<double>(top) / n;
        for (std::size_t i = factors_.size() - top; i < factors_.size(); ++i)
            slope_ += (sqr(factors_[i]) - start_) / static_cast<double>(top);
    }

    /// The share of parts whose factor is above 1, in (0, 1).
    double above_one() const {
        if (start_ < 1)
            return slope_ > 0 ? std::max(beyond_ * std::exp((start_ - 1) / slope_), 1e-12) : 1e-12;
        auto const above = factors_.end() - std::upper_bound(factors_.begin(), factors_.end(), 1.0);
        return (static_cast<double>(above) + 0.5) / (static_cast<double>(factors_.size()) + 1);
    }

    /// The factor that a share of parts is below.
    double quantile(double share) const {
        return 1 - share < beyond_ ? std::sqrt(start_ + slope_ * std::log(beyond_ / (1 - share)))
                                   : share_quantile(factors_, share);
    }

private:
    std::vector<double> factors_; // rising
    double start_ = 0;            // square of the factor from which on the tail is drawn
    double beyond_ = 0;           // share of parts above it
    double slope_ = 0;            // mean of what the squares are above it
};

/// A number of each simulated truth, once from all simulated parts and once from either half of them.
struct HalvedValue {
    double all, even, odd;
};

/// Scatter of values, drawn together as far as it comes only from so few parts being simulated: what both
/// halves agree on is true.
struct TrueScatter {
    double all = 0, common = 0; // sums of squares, and of products between the halves

    void take(HalvedValue const& off) {
        all += sqr(off.all);
        common += off.even * off.odd;
    }

    double keep(double more = 0) const {
        return all > 0 ? std::sqrt((std::max(common, 0.0) + more) / all) : 0;
    }
};

/// The same values with their true scatter. `together` that follow each other were looked at with the same
/// parts, so that the noise of their mean is another; by how much the mean of all misses is left in.
inline std::vector<double> without_noise(std::vector<HalvedValue> const& values, std::size_t together) {
    auto const mean_of = [&values](std::size_t from, std::size_t count) {
        HalvedValue mean{0, 0, 0};
        for (std::size_t i = from; i < from + count; ++i) {
            mean.all += values[i].all / static_cast<double>(count);
            mean.even += values[i].even / static_cast<double>(count);
            mean.odd += values[i].odd / static_cast<double>(count);
        }
        return mean;
    };
    auto const off = [](HalvedValue const& a, HalvedValue const& b) {
        return HalvedValue{a.all - b.all, a.even - b.even, a.odd - b.odd};
    };
    auto const mean = mean_of(0, values.size());
    TrueScatter within, between;
    double noise = 0; // of the means of groups: half the difference of the halves has as much
    for (std::size_t g = 0; g < values.size(); g += together) {
        auto const group = off(mean_of(g, together), mean);
        between.take(group);
        noise += sqr((group.even - group.odd) / 2);
        for (std::size_t i = g; i < g + together; ++i)
            within.take(off(values[i], mean_of(g, together)));
    }
    std::size_t const whole_groups = values.size() / together;
    auto const groups = static_cast<double>(whole_groups);
    double const keep_within = within.keep(), keep_between = between.keep(noise / groups);
    std::vector<double> result;
    for (std::size_t i = 0; i < values.size(); ++i) {
        double const group = mean_of(i / together * together, together).all;
        result.push_back(mean.all + keep_between * (group - mean.all) +
                         keep_within * (values[i].all - group));
    }
    return result;
}

} // namespace seamhold::detail

#endif
