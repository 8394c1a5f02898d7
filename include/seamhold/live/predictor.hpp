#ifndef SEAMHOLD_LIVE_PREDICTOR_HPP
#define SEAMHOLD_LIVE_PREDICTOR_HPP

#include "seamhold/live/message.hpp"
#include "seamhold/live/motion_filter.hpp"
#include "seamhold/number/bad_input.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <string>
#include <type_traits>
#include <utility>

namespace seamhold {

/// What a `Predictor` is made from.
struct PredictorSettings {
    double period;            ///< usual time between samples, s
    int order = 2;            ///< of the extrapolation: 1 speed, 2 acceleration, 3 jerk
    double rate_ratio = 1000; ///< deviation of a measured rate over that of a measured value, 1/s
};

/// D quantities as foretold from what arrived: a cubic in the robot's time.
template <int D> struct Prediction {
    RobotTime newest;         ///< of what the newest sample speaks
    RobotTime about;          ///< where the cubic has its zero
    double coefficient[4][D]; ///< of (t − about)^k
    bool interpolated;        ///< between set-points that lie ahead

    /// The quantities at robot time t, s.
    std::array<double, D> at(double t) const {
        double const s = t - about.seconds;
        std::array<double, D> r;
        for (std::size_t d = 0; d < D; ++d)
            r[d] =
                ((s * coefficient[3][d] + coefficient[2][d]) * s + coefficient[1][d]) * s + coefficient[0][d];
        return r;
    }
};

/// Foretells D quantities a few sample periods ahead from samples that come late, noisy and unevenly.
///
/// A bank of `MotionFilter`s listens to the same samples: some of the order asked for, with memories from
/// half a period to eight, and one that follows a derivative more, with a memory of one period. What each
/// makes of a quantity is weighed by how likely the last dozen samples were by it, the noise being measured;
/// the prediction is the weighted mean. So a quantity at rest or in steady motion is averaged over many
/// samples, and one whose acceleration jumps is followed from the last two or three. Why so: the best single
/// polynomial depends on jerk and noise, which nobody tells; the bank comes within some hundredths of the
/// best at each, or below it (docs/live.md has the table). Tried and not better at the 99.9th percentile:
/// filters that mix their states (interacting models), jerks of known sizes as hypotheses, any one order
/// alone.
///
/// The weights are a Student likelihood: the noise measured over some 200 samples counts as 100 of them.
/// Where not even the best filter of the last dozen samples does with that noise (after a rest without any,
/// say), what it needed counts instead.
///
/// No heap, no exception, trivially copyable. Samples that are not finite, or not later than the newest, are
/// passed over.
template <int D> class Predictor {
public:
    /// Empty. Throws BadInput for an order other than 1 to 3 or a period that is not above 0.
    explicit Predictor(PredictorSettings const& settings)
        : settings_(checked(settings)), bank_(bank_of(settings, std::make_index_sequence<bank_size>())) {
        restart();
    }

    /// Forgets everything.
    void restart() {
        begin();
        noise_count_ = 0;
        for (int d = 0; d < D; ++d)
            noise_[d] = level_[d] = 0;
    }

    /// Takes in a sample. False, and nothing happens, where it is not finite, beyond 1e100, or not later than
    /// the newest. After a gap of more than 25 periods it starts anew, but keeps the measured noise.
    bool add(Sample<D> const& sample) {
        double const t = sample.time.seconds;
        for (int d = 0; d < D; ++d)
            if (!MotionFilter<D>::usable(sample.value[d]) ||
                (sample.has_rates && !MotionFilter<D>::usable(sample.rate[d])))
                return false;
        if (!is_finite(t) || (count_ > 0 && !(sample.time > newest().time)))
            return false;
        if (count_ > 0 && sample.time - newest().time > 25 * settings_.period)
            begin();
        for (auto& filter : bank_)
            static_cast<void>(sample.has_rates ? filter.add(t, sample.value, sample.rate)
                                               : filter.add(t, sample.value));
        last_ = (last_ + 1) % ring;
        ring_[last_] = sample;
        count_ = count_ < 1000000 ? count_ + 1 : count_;
        if (count_ > settings_.order + 2)
            weigh();
        return true;
    }

    /// Whether enough samples came to foretell from: four for each number that the order asks for.
    bool ready() const { return count_ >= 4 * (settings_.order + 1); }

    /// Samples since the start or since the last long gap, counted up to a million.
    int count() const { return count_; }

    /// The newest sample; read only after one came.
    Sample<D> const& newest() const { return ring_[last_]; }

    /// A cubic good from robot time `from` on for a period and a half. Where set-points lie ahead of the
    /// middle of that it goes through the four about it, and is interpolated to the fourth order of the
    /// period; else it is the extrapolation of the bank from the newest sample. All 0 before a sample came.
    /// Of set-points the newest 64 are kept: what lies further back is not to be asked for.
    Prediction<D> predict(RobotTime from) const {
        RobotTime const middle = from + 0.75 * settings_.period;
        bool const ahead = count_ >= 4 && newest().kind == SampleKind::set_point && middle < newest().time;
        return ahead ? interpolate(middle) : extrapolate();
    }

    /// The extrapolation of the bank from the newest sample, set-points or not. All 0 before a sample came.
    Prediction<D> extrapolate() const {
        Prediction<D> r{};
        if (count_ == 0)
            return r;
        r.newest = newest().time;
        r.about = r.newest;
        for (int n = 0; n <= 3; ++n)
            for (int d = 0; d < D; ++d) {
                double sum = 0;
                for (std::size_t k = 0; k < bank_size; ++k)
                    sum += weight_[k][d] * bank_[k].coefficient(d, n);
                r.coefficient[n][d] = without_denormal(sum);
            }
        return r;
    }

    /// The variances that the extrapolations of the quantities are expected to have, `horizon` s beyond the
    /// newest sample: of the noise, and of what the filters leave to chance and differ by.
    std::array<double, D> variances(double horizon) const {
        double const t = bank_[0].time() + horizon;
        std::array<double, D> r;
        double unit[bank_size];
        for (std::size_t k = 0; k < bank_size; ++k)
            unit[k] = bank_[k].unit_variance(t);
        for (int d = 0; d < D; ++d) {
            double value[bank_size];
            double mean = 0;
            for (std::size_t k = 0; k < bank_size; ++k) {
                value[k] = bank_[k].value(d, t);
                mean += weight_[k][d] * value[k];
            }
            double sum = 0;
            for (std::size_t k = 0; k < bank_size; ++k)
                sum += weight_[k][d] * (unit[k] * level_[d] + (value[k] - mean) * (value[k] - mean));
            r[static_cast<std::size_t>(d)] = sum;
        }
        return r;
    }

    /// The measured variance of the samples of quantity d.
    double noise_variance(int d) const { return noise_[d]; }

    /// The settings that it was made from.
    PredictorSettings const& settings() const { return settings_; }

private:
    static constexpr double memories[] = {0.5, 0.7, 1, 2, 4, 8, 1}; // periods; the last: a derivative more
    static constexpr std::size_t bank_size = std::size(memories);
    static constexpr int ring = 64;
    static constexpr double forget = 0.92;       // of likelihoods, a sample
    static constexpr double noise_samples = 200; // the noise is measured over
    static constexpr double noise_trust = 100;   // samples that the measured noise counts for
    static constexpr double least_noise = 1e-24; // variance; 1e-12 m or rad is below all that is sent

    static PredictorSettings const& checked(PredictorSettings const& s) {
        if (s.order < 1 || s.order > 3)
            throw BadInput("predictor: order is " + std::to_string(s.order) + ", but must be 1 to 3");
        if (!(s.period > 0) || !is_finite(s.period))
            throw BadInput("predictor: period is " + detail::text_of(s.period) + " s, but must be above 0");
        return s;
    }

    template <std::size_t... k>
    static std::array<MotionFilter<D>, bank_size> bank_of(PredictorSettings const& s,
                                                          std::index_sequence<k...>) {
        return {MotionFilter<D>({k + 1 < bank_size ? s.order : std::min(s.order + 1, 3),
                                 memories[k] * s.period, s.period, s.rate_ratio})...};
    }

    void begin() {
        for (auto& filter : bank_)
            filter.restart();
        for (std::size_t k = 0; k < bank_size; ++k) {
            spread_[k] = 0;
            for (int d = 0; d < D; ++d) {
                square_[k][d] = 0;
                weight_[k][d] = 1.0 / bank_size;
            }
        }
        count_ = 0;
    }

    void weigh() {
        noise_count_ = std::min(noise_count_ + 1, noise_samples);
        double const seen = 1 / (1 - forget);
        for (std::size_t k = 0; k < bank_size; ++k)
            spread_[k] = forget * spread_[k] + 2 * std::log(bank_[k].spread());
        for (int d = 0; d < D; ++d) {
            double square = 0;
            double least = 1e300;
            for (std::size_t k = 0; k < bank_size; ++k) {
                double const z = bank_[k].surprise(d);
                square_[k][d] = forget * square_[k][d] + z * z;
                square += weight_[k][d] * z * z;
                least = std::min(least, square_[k][d] / seen);
            }
            // what a motion surprises by is not to pass for noise: three deviations at most
            if (noise_count_ > 20)
                square = std::min(square, 9 * level_[d]);
            noise_[d] = std::max(noise_[d] + (square - noise_[d]) / noise_count_, least_noise);
            level_[d] = std::max(noise_[d], least);
            double log_likelihood[bank_size];
            double most = -1e300;
            for (std::size_t k = 0; k < bank_size; ++k) {
                log_likelihood[k] =
                    -0.5 *
                    ((noise_trust + seen) * std::log(noise_trust * level_[d] + square_[k][d]) + spread_[k]);
                most = std::max(most, log_likelihood[k]);
            }
            double sum = 0;
            for (std::size_t k = 0; k < bank_size; ++k)
                sum += weight_[k][d] = std::exp(log_likelihood[k] - most);
            for (std::size_t k = 0; k < bank_size; ++k)
                weight_[k][d] /= sum;
        }
    }

    // Denormal numbers would slow the tick down.
    static double without_denormal(double x) { return std::abs(x) < 1e-200 ? 0 : x; }

    Sample<D> const& back(int steps) const { return ring_[(last_ + ring - steps) % ring]; }

    // Through four samples, by Newton's divided differences.
    Prediction<D> interpolate(RobotTime middle) const {
        Prediction<D> r{newest().time, middle, {}, true};
        int const kept = std::min(count_, ring);
        int first = 3; // steps back of the earliest of the four
        while (first + 1 < kept && middle < back(first - 1).time)
            ++first;
        double t[4];
        for (int i = 0; i < 4; ++i)
            t[i] = back(first - i).time - middle;
        for (int d = 0; d < D; ++d) {
            double f[4];
            for (int i = 0; i < 4; ++i)
                f[i] = back(first - i).value[d];
            for (int n = 1; n < 4; ++n)
                for (int i = 3; i >= n; --i)
                    f[i] = (f[i] - f[i - 1]) / (t[i] - t[i - n]);
            double c[4] = {f[3], 0, 0, 0};
            for (int i = 2; i >= 0; --i) {
                for (int n = 3; n > 0; --n)
                    c[n] = c[n - 1] - t[i] * c[n];
                c[0] = f[i] - t[i] * c[0];
            }
            for (int n = 0; n < 4; ++n)
                r.coefficient[n][d] = without_denormal(c[n]);
        }
        return r;
    }

    PredictorSettings settings_;
    std::array<MotionFilter<D>, bank_size> bank_;
    double weight_[bank_size][D] = {};
    double square_[bank_size][D] = {}; // of surprises, forgetting
    double spread_[bank_size] = {};    // logarithms of expected variances, forgetting
    double noise_[D] = {};             // variances
    double level_[D] = {};             // of noise: as measured, or more where of late no filter does without
    double noise_count_ = 0;
    Sample<D> ring_[ring] = {};
    int last_ = 0;
    int count_ = 0;
};

static_assert(std::is_trivially_copyable_v<Predictor<7>>);

} // namespace seamhold

#endif
