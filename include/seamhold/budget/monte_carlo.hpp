#ifndef SEAMHOLD_BUDGET_MONTE_CARLO_HPP
#define SEAMHOLD_BUDGET_MONTE_CARLO_HPP

#include "seamhold/budget/seam_budget.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/quantiles.hpp"
#include "seamhold/statistics/random_numbers.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numeric>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// How a trial is made.
struct MonteCarloOptions {
    std::size_t draws = 100'000;
    std::uint64_t seed = 1;
    double level = 0.95;   ///< what the quantiles hold, and of the shares' intervals
    bool quantiles = true; ///< whether they are wanted; they cost some time
};

/// A share of the draws, with the interval of the true one.
struct DrawnShare {
    double share;
    Bounds bounds; ///< at the level asked for
};

/// The spot at one point of a seam as the draws have it.
struct MonteCarloPoint {
    double arc_length;                      ///< m
    SurfaceCovariance covariance;           ///< m²
    double along_shift;                     ///< mean, m
    double across_shift;                    ///< mean, m
    double defocus_deviation;               ///< m
    double defocus_shift;                   ///< mean, m
    Bounds along = {0, 0};                  ///< the middle `level` of the draws, m; 0 where not wanted
    Bounds across = {0, 0};                 ///< the same across, m
    std::optional<DrawnShare> outside = {}; ///< of the tolerance, across or, at an end, along
};

/// What came of the draws.
struct MonteCarlo {
    std::vector<MonteCarloPoint> points;
    std::optional<DrawnShare> seam_outside = {}; ///< draws in which any point was outside the tolerance
};

/// The share `count` of `draws` with its interval at a level, by Wilson's score: sensible at 0 and at all
/// too. Source: E. Wilson, J. American Statistical Association 22, 1927, 209–212; NIST/SEMATECH e-Handbook of
/// Statistical Methods, section 7.2.4.1 (from memory).
inline DrawnShare drawn_share(std::size_t count, std::size_t draws, double level = 0.95) {
    double const n = static_cast<double>(draws);
    double const share = static_cast<double>(count) / n;
    double const z = normal_quantile((1 + level) / 2);
    double const shrink = 1 / (1 + sqr(z) / n);
    double const middle = shrink * (share + sqr(z) / (2 * n));
    double const half = shrink * z * std::sqrt(share * (1 - share) / n + sqr(z) / (4 * sqr(n)));
    return {share, {std::max(middle - half, 0.0), std::min(middle + half, 1.0)}};
}

namespace detail {

/// Draws errors for the points of a seam in turn. Systematic numbers are drawn once for each trial, slow ones
/// follow x ← ρ·x + √(1 − ρ²)·(new), ρ = exp(−time between the points / correlation time), random ones are
/// new at every point.
class ErrorDraws {
public:
    ErrorDraws(std::vector<RootedSource> const& sources, std::size_t draws, std::uint64_t seed)
        : random_(seed), base_(draws, mean_of(sources)) {
        for (auto const& rooted : sources)
            for (auto const& column : rooted.root) {
                auto const& source = rooted.source;
                Drawn const drawn{column, source.shape == ErrorShape::uniform, source.correlation_time};
                (source.kind == ErrorKind::systematic ? systematic_
                 : source.kind == ErrorKind::slow     ? slow_
                                                      : random_columns_)
                    .push_back(drawn);
            }
        slow_states_.resize(draws * slow_.size());
        for (auto& e : base_)
            for (auto const& drawn : systematic_)
                drawn.column.add_to(e, number(drawn));
    }

    /// Goes to a point `later` s after the one before.
    void go_on(double later) {
        keeps_.clear();
        renews_.clear();
        for (auto const& drawn : slow_) {
            double const keep = first_ ? 0 : std::exp(-later / drawn.correlation_time);
            keeps_.push_back(keep);
            renews_.push_back(std::sqrt(1 - sqr(keep)));
        }
        first_ = false;
    }

    /// The errors of trial `draw` at the point; to be asked once for each, in order.
    ErrorNumbers<> at(std::size_t draw) {
        ErrorNumbers<> e = base_[draw];
        for (std::size_t k = 0; k < slow_.size(); ++k) {
            double& state = slow_states_[draw * slow_.size() + k];
            state = keeps_[k] * state + renews_[k] * random_.normal();
            slow_[k].column.add_to(e, state);
        }
        for (auto const& drawn : random_columns_)
            drawn.column.add_to(e, number(drawn));
        return e;
    }

private:
    struct Drawn {
        ErrorColumn column;
        bool uniform;
        double correlation_time;
    };

    double number(Drawn const& drawn) { return drawn.uniform ? random_.uniform() : random_.normal(); }

    RandomNumbers random_;
    std::vector<ErrorNumbers<>> base_; ///< means and systematic numbers of each trial
    std::vector<Drawn> systematic_, slow_, random_columns_;
    std::vector<double> slow_states_, keeps_, renews_;
    bool first_ = true;
};

/// Mean of numbers.
inline double mean_of_draws(std::vector<double> const& numbers) {
    return std::accumulate(numbers.begin(), numbers.end(), 0.0) / static_cast<double>(numbers.size());
}

/// Their covariance, n − 1.
inline double covariance_of_draws(std::vector<double> const& a, double mean_a, std::vector<double> const& b,
                                  double mean_b) {
    double sum = 0;
    for (std::size_t i = 0; i < a.size(); ++i)
        sum += (a[i] - mean_a) * (b[i] - mean_b);
    return sum / static_cast<double>(a.size() - 1);
}

/// The middle `level` of numbers, which it sorts in part.
inline Bounds middle_share_of(std::vector<double>& numbers, double level) {
    auto const place = [&](double part) {
        auto const at = numbers.begin() + std::lround(part * static_cast<double>(numbers.size() - 1));
        std::nth_element(numbers.begin(), at, numbers.end());
        return *at;
    };
    double const low = place((1 - level) / 2);
    return {low, place((1 + level) / 2)};
}

} // namespace detail

/// The same as `budget_of` by drawing errors and looking where the spot goes: the formula at plain numbers,
/// no first order, no normal spot. Each trial is a seam: systematic errors are the same over it, slow ones
/// drift along it, random ones differ from point to point, so the share of seams that leave the tolerance
/// somewhere is right for the points looked at. From one seed the same numbers on every compiler. It takes
/// some 260 bytes for each draw. Where a clock error leads beyond a motion's data, the motion's continuation
/// is used. Throws BadInput as `budget_of` does, for fewer than 2 draws, and a level that is not above 0 and
/// below 1.
template <class ChainType, class SeamType>
MonteCarlo monte_carlo(ChainType const& chain, SeamType const& seam, double start,
                       std::vector<ErrorSource> const& sources, BudgetOptions const& options = {},
                       MonteCarloOptions const& trial = {}, std::string const& name = "of the budget") {
    detail::check(options);
    if (trial.draws < 2)
        throw BadInput("a trial needs 2 draws or more; given " + std::to_string(trial.draws));
    if (!(trial.level > 0 && trial.level < 1))
        throw BadInput("a trial's level must be above 0 and below 1; given was " +
                       detail::text_of(trial.level));
    auto const rooted = detail::rooted(sources);
    auto const spots = detail::believed(chain, seam, start, options.points, name);
    detail::ErrorDraws draws(rooted, trial.draws, trial.seed);
    std::vector<double> along(trial.draws), across(trial.draws), defocus(trial.draws);
    std::vector<char> left(trial.draws, 0); // whether the tolerance was left anywhere so far
    MonteCarlo result;
    for (std::size_t i = 0; i < spots.size(); ++i) {
        draws.go_on(i == 0 ? 0.0 : spots[i].time() - spots[i - 1].time());
        for (std::size_t draw = 0; draw < trial.draws; ++draw) {
            auto const spot = spots[i].at(draws.at(draw));
            along[draw] = spot.along;
            across[draw] = spot.across;
            defocus[draw] = spot.defocus;
        }
        MonteCarloPoint point{spots[i].arc_length(),         {}, detail::mean_of_draws(along),
                              detail::mean_of_draws(across), 0,  detail::mean_of_draws(defocus)};
        point.covariance = {
            detail::covariance_of_draws(along, point.along_shift, along, point.along_shift),
            detail::covariance_of_draws(across, point.across_shift, across, point.across_shift),
            detail::covariance_of_draws(along, point.along_shift, across, point.across_shift)};
        point.defocus_deviation = std::sqrt(
            detail::covariance_of_draws(defocus, point.defocus_shift, defocus, point.defocus_shift));
        if (!is_finite(point.covariance.along + point.covariance.across))
            throw BadInput("seam " + name +
                           ": a draw's beam misses the face; the errors are too large for it");
        if (options.tolerance) {
            bool const is_end = i == 0 || i + 1 == spots.size();
            std::size_t outside = 0;
            for (std::size_t draw = 0; draw < trial.draws; ++draw)
                if (!(std::abs(across[draw]) <= options.tolerance->across) ||
                    (is_end && !(std::abs(along[draw]) <= options.tolerance->along_at_ends))) {
                    ++outside;
                    left[draw] = 1;
                }
            point.outside = drawn_share(outside, trial.draws, trial.level);
        }
        if (trial.quantiles) {
            point.along = detail::middle_share_of(along, trial.level);
            point.across = detail::middle_share_of(across, trial.level);
        }
        result.points.push_back(point);
    }
    if (options.tolerance)
        result.seam_outside = drawn_share(static_cast<std::size_t>(std::count(left.begin(), left.end(), 1)),
                                          trial.draws, trial.level);
    return result;
}

} // namespace seamhold

#endif
