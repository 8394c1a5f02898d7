#ifndef SEAMHOLD_RECORD_ALARM_STUDY_HPP
#define SEAMHOLD_RECORD_ALARM_STUDY_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/factor_tail.hpp"
#include "seamhold/record/passing_factor.hpp"
#include "seamhold/record/residual_paths.hpp"
#include "seamhold/record/residual_spectrum.hpp"
#include "seamhold/statistics/random_numbers.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// What a band was drawn from: means and deviations of good parts, channels × cells, channel by channel.
struct BandBasis {
    std::span<double const> mean; ///< in the sensor's unit
    /// From part to part, as the band uses it: smoothed along the seam. Where it was raised to a least one,
    /// good parts are taken to scatter so much.
    std::span<double const> deviation;
    std::uint64_t parts; ///< that were learnt, 5 or more
    /// Turns the variances of one channel's cells into those that the band uses, in place: the smoothing
    /// along the seam. It must be of degree 1: twice the variances, twice the result. Empty: they stay as
    /// they are.
    std::function<void(std::span<double> variances)> smooth;
};

/// How a prediction of false alarms is made.
struct AlarmOptions {
    double level = 0.95; ///< of the interval, in (0, 1) up to 0.9896
    /// Simulated, 480 or more; time goes with it, the error with its root. Below some 2000 the tails are
    /// rough.
    std::size_t paths = 9600;
    std::uint64_t seed = 1; ///< the same seed gives the same answer
};

namespace detail {

inline constexpr std::size_t drawn_spectra = 24, truths_a_spectrum = 8;

/// Throws BadInput for a share beyond what the simulated truths tell: `unknown` of them lie outside of it.
inline void check_told_by_truths(std::string const& what, double given, double unknown,
                                 std::string const& advice) {
    double const truths = static_cast<double>(drawn_spectra * truths_a_spectrum);
    double const most = (truths + 1 - unknown) / (truths + 1);
    if (!(given <= most))
        throw BadInput(what + " comes from " + text_of(truths) + " simulated truths, which tell one up to " +
                       text_of(std::floor(1e4 * most) / 1e4) + "; given was " + text_of(given) + advice);
}

/// The same for a confidence of limits for the whole part.
inline void check_whole_part_confidence(double confidence) {
    check_told_by_truths("the confidence of limits for the whole part", confidence, 1,
                         "; ask for less confidence, and for more coverage");
}

/// Mean and deviation of each number of rows that come one by one (B. Welford, "Note on a method for
/// calculating corrected sums of squares and products", Technometrics 4, 1962; from memory).
struct RunningCells {
    std::vector<double> mean, squares;
    std::uint64_t rows = 0;

    /// Takes a row, and leaves in it what it departs from the mean before it.
    void take(std::vector<double>& row) {
        double const n = static_cast<double>(++rows);
        for (std::size_t i = 0; i < row.size(); ++i) {
            row[i] -= mean[i];
            mean[i] += row[i] / n;
            squares[i] += sqr(row[i]) * (n - 1) / n;
        }
    }
};

/// The band that is looked at: one number a cell, channel by channel; half widths below and above the centre.
struct AlarmLimits {
    std::vector<double> centre, below, above;
};

/// Simulated good parts under a band that was learnt from few. With z the residual of a new part, true mean
/// μ = m − σ e, and true deviation σ = s/g, where m and s are what was learnt, its reading is m + s (z −
/// e)/g. The errors e and g have the distribution they have when n parts with residuals like z are learnt:
/// the mean of n, and their deviation after the same smoothing. So a truth is drawn: a spectrum, as n parts
/// would give it from the one that was seen (a few times, since it matters less), then e and g, and under it
/// parts. Each truth has its own rate, or the factor at which the wanted share passes; their scatter is what
/// is not known.
class AlarmStudy {
public:
    /// Simulates. See `predict_false_alarms` for what it refuses.
    AlarmStudy(AlarmLimits const& limits, BandBasis const& basis, ResidualSpectrum const& spectrum,
               CellRules const& rules, AlarmOptions const& options);

    /// The share of parts that fail, one a truth.
    std::vector<double> failing_rates() const {
        // On the scale of the logarithm of the odds errors are alike for great and small rates.
        auto rates = without_noise(halved([](FactorTail const& tail) {
                                       double const rate = tail.above_one();
                                       return std::log(rate / (1 - rate));
                                   }),
                                   truths);
        for (double& x : rates)
            x = 1 / (1 + std::exp(-x));
        return rates;
    }

    /// The factor at which a share of parts passes, one a truth.
    std::vector<double> factors(double share) const {
        auto factors = without_noise(halved([share](FactorTail const& tail) {
                                         return std::log(std::max(tail.quantile(share), 1e-300));
                                     }),
                                     truths);
        for (double& x : factors)
            x = std::exp(x);
        return factors;
    }

private:
    static constexpr std::size_t spectra = drawn_spectra, truths = truths_a_spectrum;
    static constexpr std::uint64_t most_learnt = 400;   // parts; errors of more are those of so many, scaled
    static constexpr std::uint64_t most_spectrum = 128; // the same for spectra

    struct Truth {
        RunningCells learnt;
        std::vector<double> shift, stretch; // reading less the centre: shift + stretch · residual
        std::vector<double> factors;
    };

    template <class F> std::vector<HalvedValue> halved(F const& value) const {
        std::vector<HalvedValue> values;
        for (auto const& factors : factors_) {
            // Both stretches of a pair of paths stand in one half.
            std::span<double const> const all = factors;
            std::size_t const half = all.size() / 2;
            values.push_back({value(FactorTail(all)), value(FactorTail(all.first(half))),
                              value(FactorTail(all.subspan(half)))});
        }
        return values;
    }

    static void check(AlarmLimits const& limits, BandBasis const& basis, ResidualSums const& seen,
                      AlarmOptions const& options);
    static ResidualPaths other_paths(ResidualSums const& seen, ResidualPaths const& paths,
                                     RandomNumbers& random);
    static void part_of(std::vector<double>& part, ResidualPaths const& paths,
                        std::vector<double> const& path, std::size_t start, RandomNumbers& random);

    std::vector<std::vector<double>> factors_; // of each truth
};

/// Two sums as one part's, weighed by 1 − share and share.
inline ResidualSums mixed(ResidualSums const& a, ResidualSums const& b, double share) {
    double const of_a = (1 - share) / static_cast<double>(a.parts);
    double const of_b = share / static_cast<double>(b.parts);
    auto const mix = [&](std::vector<double> const& x, std::vector<double> const& y) {
        std::vector<double> result(x.size());
        for (std::size_t i = 0; i < x.size(); ++i)
            result[i] = of_a * x[i] + of_b * y[i];
        return result;
    };
    return {a.channels,
            a.cells,
            1,
            mix(a.power, b.power),
            mix(a.cross, b.cross),
            mix(a.offsets, b.offsets),
            of_a * a.inverse_degrees + of_b * b.inverse_degrees,
            of_a * a.fourth_powers + of_b * b.fourth_powers,
            of_a * a.fourth_powers_normal + of_b * b.fourth_powers_normal};
}

inline void AlarmStudy::part_of(std::vector<double>& part, ResidualPaths const& paths,
                                std::vector<double> const& path, std::size_t start, RandomNumbers& random) {
    std::size_t const cells = paths.cells(), period = paths.period();
    double const sign = (random.bits() >> 63U) != 0 ? 1 : -1;
    auto const offsets = paths.draw_offsets(random);
    part.resize(paths.channels() * cells);
    for (std::size_t c = 0; c < paths.channels(); ++c)
        for (std::size_t i = 0; i < cells; ++i)
            part[c * cells + i] = sign * path[c * period + (start + i) % period] + offsets[c];
}

// Parts are drawn from what was seen and gathered as those were.
inline ResidualPaths AlarmStudy::other_paths(ResidualSums const& seen, ResidualPaths const& paths,
                                             RandomNumbers& random) {
    std::size_t const all = seen.channels * seen.cells;
    std::uint64_t const parts = std::min(seen.parts, most_spectrum) + 1;
    ResidualSpectrum again(seen.channels, seen.cells);
    RunningCells running{std::vector<double>(all), std::vector<double>(all)};
    std::vector<double> part, deviations(all);
    for (std::uint64_t j = 0; j < parts; ++j) {
        auto const pair = paths.draw(random);
        for (auto const* const path : {&pair.first, &pair.second}) {
            if (path == &pair.second && ++j == parts)
                break;
            part_of(part, paths, *path, 0, random);
            running.take(part);
            double const degrees = std::max(static_cast<double>(running.rows) - 1, 1.0);
            for (std::size_t i = 0; i < all; ++i)
                deviations[i] = std::sqrt(running.squares[i] / degrees);
            again.add(part, deviations, running.rows);
        }
    }
    double const share = std::sqrt(static_cast<double>(again.sums().parts) / static_cast<double>(seen.parts));
    return ResidualPaths(mixed(seen, again.sums(), share));
}

inline AlarmStudy::AlarmStudy(AlarmLimits const& limits, BandBasis const& basis,
                              ResidualSpectrum const& spectrum, CellRules const& rules,
                              AlarmOptions const& options) {
    auto const& seen = spectrum.sums();
    std::size_t const cells = seen.cells, all = seen.channels * cells;
    check(limits, basis, seen, options);
    RandomNumbers random(options.seed);
    ResidualPaths const seen_paths(seen);
    std::size_t const pairs = std::max<std::size_t>(options.paths / (2 * spectra), 10);
    std::uint64_t const learnt = std::min(basis.parts, most_learnt);
    // Errors of more parts than are learnt here are so much smaller.
    double const scale = std::sqrt(static_cast<double>(learnt) / static_cast<double>(basis.parts));
    std::vector<double> part, deviations(cells), work;
    for (std::size_t s = 0; s < spectra; ++s) {
        auto const paths = other_paths(seen, seen_paths, random);
        std::vector<Truth> now(truths, {{std::vector<double>(all), std::vector<double>(all)},
                                        std::vector<double>(all),
                                        std::vector<double>(all),
                                        {}});
        while (now[0].learnt.rows < learnt) {
            // Each truth learns from its own stretch of the same path, turned about or not.
            auto const pair = paths.draw(random);
            for (auto const* const path : {&pair.first, &pair.second})
                for (auto& truth : now)
                    if (truth.learnt.rows < learnt) {
                        part_of(part, paths, *path, random.bits() % paths.period(), random);
                        truth.learnt.take(part);
                    }
        }
        for (auto& truth : now)
            for (std::size_t c = 0; c < seen.channels; ++c) {
                std::size_t const row = c * cells;
                std::vector<double> variances(cells);
                for (std::size_t i = 0; i < cells; ++i)
                    variances[i] =
                        1 + scale * (truth.learnt.squares[row + i] / static_cast<double>(learnt - 1) - 1);
                if (basis.smooth)
                    basis.smooth(variances);
                for (std::size_t i = 0; i < cells; ++i) {
                    // A channel that never changed stays where it is.
                    truth.stretch[row + i] =
                        variances[i] > 0 ? basis.deviation[row + i] / std::sqrt(variances[i]) : 0;
                    truth.shift[row + i] = basis.mean[row + i] - limits.centre[row + i] -
                                           truth.stretch[row + i] * scale * truth.learnt.mean[row + i];
                }
            }
        for (std::size_t p = 0; p < pairs; ++p) {
            // All truths judge the same parts, so that they differ by what they are. Two stretches of a path
            // that do not overlap are two parts.
            auto const pair = paths.draw(random);
            for (auto const* const path : {&pair.first, &pair.second})
                for (std::size_t const start : {std::size_t(0), paths.period() / 2}) {
                    part_of(part, paths, *path, start, random);
                    for (auto& truth : now) {
                        double factor = 0;
                        for (std::size_t c = 0; c < seen.channels; ++c) {
                            for (std::size_t i = 0; i < cells; ++i) {
                                std::size_t const k = c * cells + i;
                                double const off = truth.shift[k] + truth.stretch[k] * part[k];
                                deviations[i] = off / (off < 0 ? limits.below[k] : limits.above[k]);
                            }
                            factor = passing_factor(deviations, rules, work, factor);
                        }
                        truth.factors.push_back(factor);
                    }
                }
        }
        for (auto& truth : now)
            factors_.push_back(std::move(truth.factors));
    }
}

inline void AlarmStudy::check(AlarmLimits const& limits, BandBasis const& basis, ResidualSums const& seen,
                              AlarmOptions const& options) {
    std::size_t const all = seen.channels * seen.cells;
    if (basis.mean.size() != all || basis.deviation.size() != all || limits.centre.size() != all)
        throw BadInput("residuals are of " + std::to_string(seen.channels) + " channels × " +
                       std::to_string(seen.cells) + " cells; means, deviations and the band were given for " +
                       std::to_string(basis.mean.size()) + ", " + std::to_string(basis.deviation.size()) +
                       " and " + std::to_string(limits.centre.size()));
    if (basis.parts < 5 || seen.parts < 4)
        throw BadInput("false alarms are predicted from 5 good parts on; learnt were " +
                       std::to_string(std::min(basis.parts, seen.parts + 1)));
    for (std::size_t i = 0; i < all; ++i)
        if (!is_finite(basis.mean[i]) || !is_finite(basis.deviation[i]) || !(basis.deviation[i] > 0))
            throw BadInput("false alarms need finite means and deviations above 0 in each cell; channel " +
                           std::to_string(i / seen.cells + 1) + ", cell " +
                           std::to_string(i % seen.cells + 1) + " has " + text_of(basis.mean[i]) + " and " +
                           text_of(basis.deviation[i]));
    if (!(options.level > 0 && options.level < 1))
        throw BadInput("the level of an interval must lie between 0 and 1; given was " +
                       text_of(options.level));
    check_told_by_truths("the level of an interval", options.level, 2, "");
    if (options.paths < 480)
        throw BadInput("a prediction of false alarms takes 480 simulated paths or more; given were " +
                       std::to_string(options.paths));
}

} // namespace detail

} // namespace seamhold

#endif
