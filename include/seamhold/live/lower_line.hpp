#ifndef SEAMHOLD_LIVE_LOWER_LINE_HPP
#define SEAMHOLD_LIVE_LOWER_LINE_HPP

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>

namespace seamhold {

/// The lowest of `count` points.
struct LowPoint {
    double x, y;
    double count;
};

namespace detail {
/// ∫ tᵏ exp(−z·t) dt over 0 … 1 for k = 0, 1, 2 and z ≥ 0.
inline std::array<double, 3> exponential_moments(double z) {
    if (z < 1) { // the series; its terms fall below 1e-17 after 16
        std::array<double, 3> sum{};
        double term = 1;
        for (int i = 0; i < 18; ++i) {
            for (std::size_t k = 0; k < 3; ++k)
                sum[k] += term / static_cast<double>(i + 1 + static_cast<int>(k));
            term *= -z / (i + 1);
        }
        return sum;
    }
    double const rest = std::exp(-z);
    double const none = (1 - rest) / z;
    double const once = (none - rest) / z;
    return {none, once, (2 * once - rest) / z};
}
} // namespace detail

/// The straight line that points scatter above, from the lowest points of at most `Capacity` blocks of them.
///
/// Near the line the points lie as thickly as exponential heights of mean τ would. With n points the line
/// y = a + b·(x − X), X their mean place, is then as likely as exp(n·a/τ) wherever it lies below all points,
/// and impossible elsewhere. Given b, a lies below the height h(b) of the highest such line by an exponential
/// with mean τ/n; and b is as likely as exp(n·h(b)/τ), where h is made of straight pieces, one for each
/// corner of the lower convex hull. All moments are sums over the corners. τ comes from the blocks' heights,
/// of which the upper quarter counts as `at least so much`, so that stray points far above have no say.
///
/// Where points do not lie thickly down to the line, but thin out towards it, the true line lies further
/// below than that says. How far is guessed from the heights' distribution, and the deviation stated is
/// enlarged by it; for exponential heights this does next to nothing.
template <std::size_t Capacity> class LowerLine {
public:
    /// Fits to blocks in order of x, strictly increasing; there must be one at least, and all numbers finite.
    /// The slope is taken to be within ±`slope_bound`, all alike before the points are seen. `first_scatter`,
    /// above 0, counts as one more block's height towards τ, so that few points do not seem exact.
    void fit(std::span<LowPoint const> blocks, double slope_bound, double first_scatter) {
        double n = 0, sum = 0;
        for (auto const& block : blocks) {
            n += block.count;
            sum += block.count * (block.x - blocks.back().x);
        }
        middle_ = blocks.back().x + sum / n;
        take_hull(blocks, slope_bound);
        measure_scatter(blocks, first_scatter);
        take_moments(slope_bound, n);
    }

    /// The line at x: the mean of all lines that may be.
    double at(double x) const { return height_ + slope_ * (x - middle_); }

    /// Its slope.
    double slope() const { return slope_; }

    /// The variance of the line at x.
    double variance(double x) const {
        double const from = x - middle_;
        return std::max(height_variance_ + from * (2 * covariance_ + from * slope_variance_), 0.0);
    }

    /// The standard deviation of its slope.
    double slope_deviation() const { return std::sqrt(slope_variance_); }

    /// τ: the mean height of the points above the line as thick as they lie near it.
    double scatter() const { return scatter_; }

    /// The median of the blocks' heights above the line.
    double typical_height() const { return typical_height_; }

private:
    // The lower convex hull by the monotone chain (A. Andrew, Information Processing Letters 9(5), 1979,
    // 216–219, from memory), and the highest line below it at the middle.
    void take_hull(std::span<LowPoint const> blocks, double slope_bound) {
        corners_ = 0;
        for (auto const& p : blocks) {
            while (corners_ >= 2) {
                auto const& a = hull_[corners_ - 2];
                auto const& b = hull_[corners_ - 1];
                if ((b.y - a.y) * (p.x - a.x) < (p.y - a.y) * (b.x - a.x))
                    break;
                --corners_;
            }
            hull_[corners_++] = p;
        }
        std::size_t right = 0;
        while (right + 1 < corners_ && hull_[right].x < middle_)
            ++right;
        best_slope_ = 0;
        if (right > 0)
            best_slope_ = slope_between(right - 1);
        best_slope_ = std::clamp(best_slope_, -slope_bound, slope_bound);
        best_height_ = hull_[0].y - best_slope_ * (hull_[0].x - middle_);
        for (std::size_t i = 1; i < corners_; ++i)
            best_height_ = std::min(best_height_, hull_[i].y - best_slope_ * (hull_[i].x - middle_));
    }

    double slope_between(std::size_t i) const {
        return (hull_[i + 1].y - hull_[i].y) / (hull_[i + 1].x - hull_[i].x);
    }

    double above_best(LowPoint const& p) const { return p.y - best_height_ - best_slope_ * (p.x - middle_); }

    // The lowest of m points lies above the line by an exponential with mean τ/m. Two blocks lie on the line.
    // Source of the estimate from the lower part of a sample: B. Epstein, M. Sobel, "Life testing", J.
    // American Statistical Association 48, 1953, 486–502 (from memory).
    void measure_scatter(std::span<LowPoint const> blocks, double first_scatter) {
        std::array<double, Capacity> height{};
        std::size_t const count = std::min(blocks.size(), Capacity);
        for (std::size_t i = 0; i < count; ++i)
            height[i] = above_best(blocks[i]);
        auto const median = height.begin() + static_cast<std::ptrdiff_t>(count / 2);
        auto const end = height.begin() + static_cast<std::ptrdiff_t>(count);
        std::nth_element(height.begin(), median, end);
        typical_height_ = *median;
        for (std::size_t i = 0; i < count; ++i)
            height[i] = blocks[i].count * above_best(blocks[i]);
        std::size_t const used = count - count / 4;
        auto const last = height.begin() + static_cast<std::ptrdiff_t>(used - 1);
        std::nth_element(height.begin(), last, end);
        double sum = 0;
        for (std::size_t i = 0; i < used; ++i)
            sum += height[i];
        known_ = static_cast<double>(used < 3 ? 1 : used - 1);
        scatter_ = (sum + static_cast<double>(count - used) * *last + first_scatter) / known_;
        // Heights of share 1 − exp(−heightᵏ) (Weibull's) have m = 0.388, 0.574 and 0.675 for k = 1, 2 and 3;
        // the lowest of B is typically B^(−1/k) of the scale. For k = 1 that is counted already.
        below_ = 0;
        if (used > 4 && *last > 0) {
            double const m = sum / (static_cast<double>(used - 2) * *last);
            double const k = m < 0.95 ? 1 + (m / (1 - m) - 0.634) / 0.72 : 20;
            double const all = static_cast<double>(count);
            if (k > 1)
                below_ = typical_height_ * (std::pow(all, -1 / k) - 1 / all);
        }
    }

    void take_moments(double slope_bound, double n) {
        double const density = n / scatter_;
        double total = 0, d = 0, dd = 0, h = 0, hh = 0, dh = 0;
        for (std::size_t i = 0; i < corners_; ++i) {
            // Slopes, counted from the best one, at which this corner carries the line: h = above −
            // place·slope.
            double const low = (i > 0 ? std::max(slope_between(i - 1), -slope_bound) : -slope_bound);
            double const high = (i + 1 < corners_ ? std::min(slope_between(i), slope_bound) : slope_bound);
            if (!(high > low))
                continue;
            double const place = hull_[i].x - middle_;
            double const above = above_best(hull_[i]);
            double const width = high - low;
            // From the likelier end inwards.
            double const start = (place >= 0 ? low : high) - best_slope_;
            double const step = place >= 0 ? width : -width;
            double const at_start = above - place * start;
            double const fall = place * step;
            auto const m = detail::exponential_moments(density * fall);
            double const weight = width * std::exp(std::min(density * at_start, 0.0));
            total += weight * m[0];
            d += weight * (start * m[0] + step * m[1]);
            dd += weight * (start * start * m[0] + 2 * start * step * m[1] + step * step * m[2]);
            h += weight * (at_start * m[0] - fall * m[1]);
            hh += weight * (at_start * at_start * m[0] - 2 * at_start * fall * m[1] + fall * fall * m[2]);
            dh += weight *
                  (start * at_start * m[0] + (step * at_start - start * fall) * m[1] - step * fall * m[2]);
        }
        d /= total;
        h /= total;
        slope_ = best_slope_ + d;
        height_ = best_height_ + h - 1 / density;
        // τ is itself known from `known_` blocks only.
        // Half of it: at the ends of the blocks the line's deviation is some four times that at the middle,
        // τ/n.
        double const astray = 0.5 * below_ * density;
        double const unsure = (1 + 2 / known_) * (1 + astray * astray);
        height_variance_ = unsure * (std::max(hh / total - h * h, 0.0) + 1 / (density * density));
        slope_variance_ = unsure * std::max(dd / total - d * d, 0.0);
        covariance_ = unsure * (dh / total - d * h);
    }

    std::array<LowPoint, Capacity> hull_{};
    std::size_t corners_ = 0;
    double middle_ = 0, best_slope_ = 0, best_height_ = 0;
    double scatter_ = 0, typical_height_ = 0, below_ = 0, known_ = 1;
    double height_ = 0, slope_ = 0;
    double height_variance_ = 0, slope_variance_ = 0, covariance_ = 0;
};

} // namespace seamhold

#endif
