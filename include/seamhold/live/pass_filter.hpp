#ifndef SEAMHOLD_LIVE_PASS_FILTER_HPP
#define SEAMHOLD_LIVE_PASS_FILTER_HPP

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

/// How far a program is and how it deviates from a recorded pass, estimated together. Only together can they
/// be told apart: along the motion a deviation and a delay look the same until the motion changes.
namespace seamhold::detail {

/// What the filter takes the robot to be.
struct PassModel {
    double deviation;   ///< usual size of a component of the deviation, 1 standard deviation, m
    double variation;   ///< how long the deviation takes to change, s of the program
    double rate_change; ///< how much the program's rate changes in 1 s, 1/√s; 0: it is 1 and stays
    double drift;       ///< how much the program's time wanders beside that, s/√s
    double stamp_noise; ///< of a sample's stamp, each on its own, 1 standard deviation, s
};

/// Seven components over the program's time as a filter sees them: lengths, m; those of the quaternion times
/// twice the lever of the spot.
using PassComponents = std::array<double, 7>;

/// An extended Kalman filter of the program's time and rate and of the deviation of each component with its
/// slope. A deviation is a stationary process with the correlation (1 + |Δ|/τ)·e^(−|Δ|/τ) over the program's
/// time, which is one with a slope and no more (Matérn's with 3/2; S. Särkkä, A. Solin, "Applied Stochastic
/// Differential Equations", Cambridge 2019, section 12.3, from memory). Some 3 µs a sample, no heap.
class PassFilter {
public:
    /// Of what a deviation and its slope become a program time `way` later.
    struct Step {
        double value, value_by_slope, slope_by_value, slope; ///< the transition
        double q_value, q_both, q_slope;                     ///< what chance adds, m², m²/s, m²/s²

        Step(double way, PassModel const& model) {
            double const w = 1 / model.variation, e = std::exp(-w * way),
                         a = model.deviation * model.deviation;
            value = e * (1 + w * way);
            value_by_slope = e * way;
            slope_by_value = -w * w * way * e;
            slope = e * (1 - w * way);
            q_value = std::max(0.0, a * (1 - value * value - w * w * value_by_slope * value_by_slope));
            q_both = -a * (value * slope_by_value + w * w * value_by_slope * slope);
            q_slope = std::max(0.0, a * (w * w - slope_by_value * slope_by_value - w * w * slope * slope));
        }
    };

    /// Starts from a program time and rate that are known to 1 standard deviation, and a usual deviation.
    void start(double program_time, double time_uncertainty, double rate, double rate_uncertainty,
               PassModel const& model) {
        x_ = {};
        p_ = {};
        x_[0] = program_time;
        x_[1] = rate;
        p_[0][0] = time_uncertainty * time_uncertainty;
        p_[1][1] = rate_uncertainty * rate_uncertainty;
        double const a = model.deviation * model.deviation;
        for (std::size_t d = 0; d < 7; ++d) {
            p_[value_of + d][value_of + d] = a;
            p_[slope_of + d][slope_of + d] = a / (model.variation * model.variation);
        }
    }

    /// Puts program time and rate at what is known from elsewhere, and leaves the deviation.
    void put(double program_time, double time_uncertainty, double rate, double rate_uncertainty) {
        x_[0] = program_time;
        x_[1] = rate;
        for (std::size_t i = 0; i < states; ++i)
            p_[0][i] = p_[i][0] = p_[1][i] = p_[i][1] = 0;
        p_[0][0] = time_uncertainty * time_uncertainty;
        p_[1][1] = rate_uncertainty * rate_uncertainty;
    }

    /// Goes on by dt s.
    void go_on(double dt, PassModel const& model) {
        Step const step(way(dt), model);
        x_[0] += dt * x_[1];
        for (std::size_t d = 0; d < 7; ++d)
            mix(x_[value_of + d], x_[slope_of + d], step);
        for (std::size_t i = 0; i < states; ++i)
            p_[0][i] += dt * p_[1][i];
        for (std::size_t i = 0; i < states; ++i)
            p_[i][0] += dt * p_[i][1];
        for (std::size_t d = 0; d < 7; ++d)
            for (std::size_t i = 0; i < states; ++i)
                mix(p_[value_of + d][i], p_[slope_of + d][i], step);
        for (auto& row : p_)
            for (std::size_t d = 0; d < 7; ++d)
                mix(row[value_of + d], row[slope_of + d], step);
        double const q = model.rate_change * model.rate_change;
        p_[0][0] += model.drift * model.drift * dt + q * dt * dt * dt / 3;
        p_[0][1] += q * dt * dt / 2;
        p_[1][0] = p_[0][1];
        p_[1][1] += q * dt;
        for (std::size_t d = 0; d < 7; ++d) {
            std::size_t const v = value_of + d, s = slope_of + d;
            p_[v][v] += step.q_value;
            p_[v][s] += step.q_both;
            p_[s][v] += step.q_both;
            p_[s][s] += step.q_slope;
        }
    }

    /// What a sample says: mean of the squares of the seven surprises over their expected squares, and their
    /// length, m.
    struct Surprise {
        double mean_square;
        double length;
    };

    /// How far a sample lies from what is expected. `pass` gives components and their slope at a program
    /// time.
    template <class Pass>
    Surprise surprise(PassComponents const& sample, Pass const& pass, PassModel const& model,
                      double variance) const {
        auto const at = pass(x_[0]);
        Surprise r{0, 0};
        for (std::size_t d = 0; d < 7; ++d) {
            double const h = at.slope[d], off = sample[d] - at.value[d] - x_[value_of + d];
            double const expected = h * h * (p_[0][0] + model.stamp_noise * model.stamp_noise) +
                                    2 * h * p_[0][value_of + d] + p_[value_of + d][value_of + d] + variance;
            r.mean_square += off * off / expected / 7;
            r.length += off * off;
        }
        r.length = std::sqrt(r.length);
        return r;
    }

    /// Takes in a sample whose components have this variance, m². The pass is taken as straight about where
    /// the program is, and once more where that turned out to be elsewhere, four times at most.
    template <class Pass>
    void take_in(PassComponents const& sample, Pass const& pass, PassModel const& model, double variance) {
        // The stamp's error is a state that lasts for one sample.
        x_[stamp] = 0;
        for (std::size_t i = 0; i < states; ++i)
            p_[stamp][i] = p_[i][stamp] = 0;
        p_[stamp][stamp] = model.stamp_noise * model.stamp_noise;
        auto const x = x_;
        auto const p = p_;
        double about = x_[0];
        for (int i = 0;; ++i) {
            auto const at = pass(about);
            for (std::size_t d = 0; d < 7; ++d)
                correct(sample[d] - at.value[d] - at.slope[d] * (x_[0] + x_[stamp] - about) -
                            x_[value_of + d],
                        at.slope[d], value_of + d, variance);
            if (i == 3 || std::abs(x_[0] - about) < 0.5e-3)
                return; // the pass bends by 2 m/s² · (0.5 ms)²/2 = 0.25 µm
            about = x_[0];
            x_ = x;
            p_ = p;
        }
    }

    /// How far the program is, s.
    double program_time() const { return x_[0]; }
    /// Its rate.
    double rate() const { return x_[1]; }
    /// 1 standard deviation of the program's time, s.
    double time_uncertainty() const { return std::sqrt(std::max(0.0, p_[0][0])); }
    /// 1 standard deviation of the rate.
    double rate_uncertainty() const { return std::sqrt(std::max(0.0, p_[1][1])); }
    /// The deviation of a component, m, as the k-th coefficient of a cubic over time: from d″ = −2d′/τ −
    /// d/τ².
    double coefficient(std::size_t d, int k, PassModel const& model) const {
        double const w = 1 / model.variation, v = x_[value_of + d], s = x_[slope_of + d], r = x_[1];
        switch (k) {
        case 0:
            return v;
        case 1:
            return s * r;
        case 2:
            return -w * (w * v / 2 + s) * r * r;
        default:
            return w * w * (2 * w * v + 3 * s) / 6 * r * r * r;
        }
    }

    /// Keeps the rate within what it can be.
    void hold_rate(double low, double high) { x_[1] = std::clamp(x_[1], low, high); }

    /// Second moments xx, yy, zz, xy, xz, yz, m², of the error of the spot dt s after the newest sample, from
    /// what is unknown now and what chance adds until then. `spot`: what a component moves the spot by.
    /// `slope`: of the pass's components at that time. `variance`: of a row of the pass, m².
    std::array<double, 6> moments(double dt, std::array<PassComponents, 3> const& spot,
                                  PassComponents const& slope, PassModel const& model,
                                  double variance) const {
        Step const step(way(dt), model);
        double const q =
            model.drift * model.drift * dt + model.rate_change * model.rate_change * dt * dt * dt / 3;
        std::array<std::array<double, states>, 3> g, gp;
        std::array<double, 3> along{};
        for (std::size_t i = 0; i < 3; ++i) {
            for (std::size_t d = 0; d < 7; ++d) {
                along[i] += spot[i][d] * slope[d];
                g[i][value_of + d] = spot[i][d] * step.value;
                g[i][slope_of + d] = spot[i][d] * step.value_by_slope;
            }
            g[i][0] = along[i];
            g[i][1] = along[i] * dt;
            g[i][stamp] = 0;
            for (std::size_t k = 0; k < states; ++k) {
                gp[i][k] = 0;
                for (std::size_t j = 0; j < states; ++j)
                    gp[i][k] += g[i][j] * p_[j][k];
            }
        }
        constexpr std::size_t pairs[6][2] = {{0, 0}, {1, 1}, {2, 2}, {0, 1}, {0, 2}, {1, 2}};
        std::array<double, 6> m{};
        for (std::size_t n = 0; n < 6; ++n) {
            auto const [i, k] = pairs[n];
            m[n] = along[i] * along[k] * q;
            for (std::size_t j = 0; j < states; ++j)
                m[n] += gp[i][j] * g[k][j];
            for (std::size_t d = 0; d < 7; ++d)
                m[n] += spot[i][d] * spot[k][d] * (step.q_value + variance);
        }
        return m;
    }

private:
    static constexpr std::size_t states = 17, value_of = 2, slope_of = 9, stamp = 16;

    // The program's time that dt s are. A deviation belongs to the place in the program; in a pause it still
    // changes a little.
    double way(double dt) const { return std::max(std::abs(x_[1]), 0.05) * dt; }

    static void mix(double& value, double& slope, Step const& step) {
        double const v = value;
        value = step.value * v + step.value_by_slope * slope;
        slope = step.slope_by_value * v + step.slope * slope;
    }

    // A measured sum of state `which` and h times the program's time at the sample that is `off` from what it
    // should be.
    void correct(double off, double h, std::size_t which, double variance) {
        std::array<double, states> column;
        for (std::size_t i = 0; i < states; ++i)
            column[i] = h * (p_[i][0] + p_[i][stamp]) + p_[i][which];
        double const inverse = 1 / (h * (column[0] + column[stamp]) + column[which] + variance);
        for (std::size_t i = 0; i < states; ++i) {
            double const gain = column[i] * inverse;
            x_[i] += gain * off;
            for (std::size_t k = 0; k < states; ++k)
                p_[i][k] -= gain * column[k];
        }
    }

    std::array<double, states> x_{}; ///< program time, rate, 7 deviations, 7 slopes of them, and what the
                                     ///< newest sample's stamp is off by
    std::array<std::array<double, states>, states> p_{};
};

} // namespace seamhold::detail

#endif
