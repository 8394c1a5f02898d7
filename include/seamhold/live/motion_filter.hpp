#ifndef SEAMHOLD_LIVE_MOTION_FILTER_HPP
#define SEAMHOLD_LIVE_MOTION_FILTER_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <type_traits>

namespace seamhold {

/// What a `MotionFilter` is made from.
struct MotionFilterSettings {
    int order;                  ///< derivatives that are followed, 0 (place only) to 3 (jerk)
    double memory;              ///< how far back samples count, s; shorter follows faster and averages less
    double period;              ///< usual time between samples, s
    double rate_ratio = 1000;   ///< deviation of a measured rate over that of a measured value, 1/s
    double noise_samples = 100; ///< the noise is the mean over about so many samples
};

/// Recursive estimate of D quantities and their derivatives at the newest sample: a Kalman filter whose
/// derivative of order `order` + 1 is white noise. Its strength is put as a memory: with n the variance of a
/// sample, h the period, p the order and τ the memory it is n·h/τ^(2p+2), so that the gain depends on times
/// only and the noise is measured from how far samples lie from what was foretold (Bar-Shalom, Li and
/// Kirubarajan, Estimation with applications to tracking and navigation, 2001, sections 6.2 and 6.3, from
/// memory). One gain serves all D quantities. Uneven times and lost samples need no care. No heap, trivially
/// copyable, finite for finite input.
template <int D> class MotionFilter {
public:
    static_assert(D >= 1);
    static constexpr int max_order = 3; ///< jerk

    /// Empty. `noise`, the standard deviation of each quantity's samples where it is known, 0 where it is to
    /// be measured. Throws BadInput for settings outside of what they can be.
    explicit MotionFilter(MotionFilterSettings const& settings, std::array<double, D> const& noise = {})
        : settings_(settings), known_noise_(noise) {
        auto const refuse = [](char const* what, double given, char const* allowed) {
            throw BadInput(std::string("motion filter: ") + what + " is " + detail::text_of(given) +
                           ", but must be " + allowed);
        };
        if (settings.order < 0 || settings.order > max_order)
            refuse("order", settings.order, "0 to 3");
        if (!(settings.period > 0) || !is_finite(settings.period))
            refuse("period", settings.period, "above 0");
        if (!(settings.memory >= settings.period / 4) || !is_finite(settings.memory))
            refuse("memory", settings.memory, "at least a quarter of the period");
        if (!(settings.rate_ratio > 0) || !is_finite(settings.rate_ratio))
            refuse("rate_ratio", settings.rate_ratio, "above 0");
        if (!(settings.noise_samples >= 1) || !is_finite(settings.noise_samples))
            refuse("noise_samples", settings.noise_samples, "at least 1");
        for (double const n : noise)
            if (!(n >= 0) || !is_finite(n))
                refuse("noise", n, "0 or above");
        restart();
    }

    /// Forgets all samples, and the measured noise with them.
    void restart() {
        count_ = 0;
        noise_count_ = 0;
        for (int d = 0; d < D; ++d) {
            variance_[d] =
                known_noise_[static_cast<std::size_t>(d)] * known_noise_[static_cast<std::size_t>(d)];
            surprise_[d] = 0;
        }
    }

    /// Takes in values at a time, s. False, and nothing happens, for a time that is not after the newest, or
    /// for anything not finite. After a gap of more than 50 memories it starts anew, but keeps the noise.
    bool add(double time, double const (&value)[D]) { return take(time, value, nullptr); }

    /// The same with measured rates, by time; a filter of order 0 does without them.
    bool add(double time, double const (&value)[D], double const (&rate)[D]) {
        return take(time, value, rate);
    }

    /// Whether a number can be taken in: finite, and its square far from not being so.
    static bool usable(double x) { return is_finite(x) && std::abs(x) < 1e100; }

    /// Samples taken in since the start or the last such gap, counted up to a million.
    int count() const { return count_; }

    /// Whether enough samples came for all derivatives and a first measure of the noise.
    bool ready() const { return count_ >= 2 * (settings_.order + 2); }

    /// Of the newest sample, s; meaningless before one came.
    double time() const { return time_; }

    /// Derivatives that are followed.
    int order() const { return settings_.order; }

    /// Quantity d as Σ c_k·(t − time())^k: the c_k, 0 above the order.
    double coefficient(int d, int k) const { return k <= settings_.order ? x_[k][d] / power(k) : 0; }

    /// Quantity d or its derivative at a time t, s, extrapolated or back from the newest sample.
    double value(int d, double t, int derivative = 0) const {
        double const s = (t - time_) / settings_.memory;
        double sum = 0;
        for (int k = settings_.order; k >= derivative; --k)
            sum = sum * s + falling(k, derivative) * x_[k][d];
        return sum / power(derivative);
    }

    /// Variance that `value` is expected to have, from the noise and from what the filter leaves to chance.
    double variance(int d, double t, int derivative = 0) const {
        return unit_variance(t, derivative) * variance_[d];
    }

    /// The same where samples have variance 1.
    double unit_variance(double t, int derivative = 0) const {
        if (derivative > settings_.order)
            return 0;
        double const s = (t - time_) / settings_.memory;
        double row[max_order + 1] = {};
        double way = 1;
        for (int k = derivative; k <= settings_.order; ++k, way *= s)
            row[k] = falling(k, derivative) * way;
        double sum = 0;
        for (int i = 0; i <= settings_.order; ++i)
            for (int j = 0; j <= settings_.order; ++j)
                sum += row[i] * p_[i][j] * row[j];
        if (s > 0) {
            double const f = falling(derivative, derivative);
            sum += f * f * drive(derivative, derivative, s);
        }
        double const scale = power(derivative);
        return sum / (scale * scale);
    }

    /// Standard deviation of the samples of quantity d: as given, or as measured. While the motion is
    /// livelier than the memory allows for it counts as noise.
    double noise(int d) const { return std::sqrt(variance_[d]); }

    /// How far the newest sample lay from what was foretold of quantity d, over the deviation that was
    /// expected for a sample with noise 1: what the noise is measured from.
    double surprise(int d) const { return surprise_[d]; }

    /// The deviation that was expected for the newest sample, foretold and noise together, over the noise's.
    double spread() const { return spread_; }

    /// The settings that it was made from.
    MotionFilterSettings const& settings() const { return settings_; }

private:
    // Deviation of the derivative k before samples came, over k! times the noise over the period to the k:
    // large against what one sample makes of it, small enough to leave ten digits.
    static constexpr double unknown = 1e3;

    // k(k−1)…(k−n+1)
    static double falling(int k, int n) {
        double f = 1;
        for (int i = 0; i < n; ++i)
            f *= k - i;
        return f;
    }

    double power(int k) const {
        double r = 1;
        for (int i = 0; i < k; ++i)
            r *= settings_.memory;
        return r;
    }

    // What white noise in the derivative of order p + 1 adds to the covariance of coefficients i and j within
    // s memories: ∫ of (s−u)^(p−i)/((p−i)! i!) times the same of j, over u from 0 to s.
    double drive(int i, int j, double s) const {
        int const p = settings_.order;
        int const n = 2 * p + 1 - i - j;
        double r = settings_.period / settings_.memory / n;
        for (int k = 0; k < n; ++k)
            r *= s;
        return r / (falling(p - i, p - i) * falling(i, i) * falling(p - j, p - j) * falling(j, j));
    }

    bool take(double time, double const* value, double const* rate) {
        bool good = is_finite(time);
        for (int d = 0; d < D; ++d)
            good = good && usable(value[d]) && (!rate || usable(rate[d]));
        if (!good || (count_ > 0 && !(time > time_)))
            return false;
        if (count_ > 0 && time - time_ > 50 * settings_.memory)
            count_ = 0;
        if (count_ == 0)
            begin(value);
        else {
            foretell((time - time_) / settings_.memory);
            correct(0, value, 1);
        }
        if (rate && settings_.order >= 1) {
            double const ratio = settings_.rate_ratio * settings_.memory;
            double scaled[D];
            for (int d = 0; d < D; ++d)
                scaled[d] = rate[d] * settings_.memory;
            correct(1, scaled, ratio * ratio);
        }
        time_ = time;
        count_ = count_ < 1000000 ? count_ + 1 : count_;
        return true;
    }

    void begin(double const* value) {
        spread_ = 1;
        double const ratio = settings_.memory / settings_.period;
        double deviation = unknown;
        for (int i = 0; i <= max_order; ++i) {
            for (int j = 0; j <= max_order; ++j)
                p_[i][j] = 0;
            deviation *= i == 0 ? 1 : ratio;
            if (i <= settings_.order)
                p_[i][i] = i == 0 ? 1 : deviation * deviation;
        }
        for (int d = 0; d < D; ++d) {
            x_[0][d] = value[d];
            surprise_[d] = 0;
            for (int k = 1; k <= max_order; ++k)
                x_[k][d] = 0;
        }
    }

    void foretell(double s) {
        int const p = settings_.order;
        // a Taylor shift, by repeated sums; the covariance likewise from both sides
        for (int i = 0; i < p; ++i)
            for (int k = p - 1; k >= i; --k) {
                for (int d = 0; d < D; ++d)
                    x_[k][d] += s * x_[k + 1][d];
                for (int j = 0; j <= p; ++j)
                    p_[k][j] += s * p_[k + 1][j];
            }
        for (int i = 0; i < p; ++i)
            for (int k = p - 1; k >= i; --k)
                for (int j = 0; j <= p; ++j)
                    p_[j][k] += s * p_[j][k + 1];
        for (int i = 0; i <= p; ++i)
            for (int j = 0; j <= p; ++j)
                p_[i][j] += drive(i, j, s);
    }

    // A measurement of coefficient `which` with `noise` times the variance of a value.
    void correct(int which, double const* measured, double noise) {
        int const p = settings_.order;
        double const total = p_[which][which] + noise;
        double gain[max_order + 1];
        for (int k = 0; k <= p; ++k)
            gain[k] = p_[k][which] / total;
        bool const judged = which == 0 && count_ > p;
        if (judged)
            noise_count_ =
                noise_count_ + 1 < settings_.noise_samples ? noise_count_ + 1 : settings_.noise_samples;
        if (which == 0)
            spread_ = std::sqrt(total);
        for (int d = 0; d < D; ++d) {
            double const off = measured[d] - x_[which][d];
            for (int k = 0; k <= p; ++k)
                x_[k][d] += gain[k] * off;
            if (judged) {
                surprise_[d] = off / spread_;
                if (known_noise_[static_cast<std::size_t>(d)] == 0)
                    variance_[d] += (surprise_[d] * surprise_[d] - variance_[d]) / noise_count_;
            }
        }
        double const old[max_order + 1] = {p_[which][0], p_[which][1], p_[which][2], p_[which][3]};
        for (int i = 0; i <= p; ++i)
            for (int j = 0; j <= i; ++j)
                p_[i][j] = p_[j][i] = p_[i][j] - gain[i] * old[j];
    }

    MotionFilterSettings settings_;
    std::array<double, D> known_noise_;
    double x_[max_order + 1][D] = {};             // coefficients of ((t − time)/memory)^k
    double p_[max_order + 1][max_order + 1] = {}; // their covariance over the variance of a sample
    double variance_[D] = {};
    double surprise_[D] = {};
    double spread_ = 1;
    double noise_count_ = 0;
    double time_ = 0;
    int count_ = 0;
};

static_assert(std::is_trivially_copyable_v<MotionFilter<7>>);

} // namespace seamhold

#endif
