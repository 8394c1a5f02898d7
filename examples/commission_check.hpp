#ifndef SEAMHOLD_EXAMPLES_COMMISSION_CHECK_HPP
#define SEAMHOLD_EXAMPLES_COMMISSION_CHECK_HPP

#include "commission_cell.hpp"

#include "seamhold/budget/required.hpp"
#include "seamhold/statistics/bounds.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <string>
#include <vector>

// What was found and said, against what is true and what happens.
namespace seamhold::examples {

/// One hidden number, and what was found of it.
struct Found {
    std::string name;
    double scale; // of the unit it is shown in
    double truth, found;
    Bounds bounds;
};

/// The six numbers of a pose, as steps from the drawn one; `half` of their intervals.
template <class To, class From, class Half>
void add_pose(std::vector<Found>& all, std::string const& name, Pose<To, From> const& drawn,
              Pose<To, From> const& truth, Pose<To, From> const& found, Half const& half) {
    static constexpr std::array<char const*, 6> axes{"turn about x, mrad", "turn about y, mrad",
                                                     "turn about z, mrad", "shift along x, mm",
                                                     "shift along y, mm",  "shift along z, mm"};
    auto const off = step_between(drawn, truth), missed = step_between(truth, found);
    for (std::size_t k = 0; k < 6; ++k) {
        double const at = off[k] + missed[k];
        all.push_back({name + axes[k], 1000, off[k], at, {at - half(k), at + half(k)}});
    }
}

/// Prints what was found of one cell, and in how many of `cells` cells the interval held the truth. The share
/// over all numbers.
inline double print_found(std::vector<Found> const& found, std::vector<int> const& covered, int cells) {
    std::printf("Found, with 95 %% intervals%22s true      found         ±          in %d cells\n", "",
                cells);
    double share = 0;
    for (std::size_t k = 0; k < found.size(); ++k) {
        auto const& f = found[k];
        std::printf("  %-36s %10.4f %10.4f  %8.4f  %s  %3.0f %%\n", f.name.c_str(), f.scale * f.truth,
                    f.scale * f.found, f.scale * (f.bounds.high - f.bounds.low) / 2,
                    f.bounds.contains(f.truth) ? "within" : "BEYOND", 100.0 * covered[k] / cells);
        share += 1.0 * covered[k] / cells / static_cast<double>(found.size());
    }
    std::printf("  %-80s %.1f %%\n", "all together", 100 * share);
    return share;
}

/// Prints what budgets say, what the worst of them comes from, and what would be required.
inline void print_budgets(std::vector<SeamBudget> const& budgets, SeamBudget const& worst,
                          Required const& wanted) {
    std::printf(
        "\nBudget at the worst points, mm      along   across   mean off across   within ± %.1f mm across\n",
        in_millimetres(worst.options.tolerance->across));
    for (auto const& budget : budgets) {
        auto const& p = budget.worst_point();
        std::printf("  seam %s, at %4.1f mm              %6.3f   %6.3f            %6.3f   %6.2f %%\n",
                    budget.seam.c_str(), in_millimetres(p.arc_length),
                    in_millimetres(p.covariance.along_deviation()),
                    in_millimetres(p.covariance.across_deviation()), in_millimetres(p.across_shift),
                    100 * budget.probability_within());
    }
    std::printf("Seam %s, from what most matters; for 99.73 %% within, each alone or all together\n",
                worst.seam.c_str());
    for (std::size_t k = 0; k < worst.ranked.size(); ++k) {
        auto const& one = worst.ranked[k];
        auto const& may = wanted.sources[k];
        std::printf("  %-18s across %5.1f um, along %5.1f um, share %4.1f %%", one.name.c_str(),
                    in_micrometres(one.across_deviation), in_micrometres(one.along_deviation),
                    100 * one.share);
        if (!may.possible)
            std::printf(", would not do even without it\n");
        else if (is_finite(may.factor))
            std::printf(", may be %.2f times what it is\n", may.factor);
        else
            std::printf(", does not matter\n");
    }
    std::printf("  all together: %.2f times what they are\n", wanted.together.factor);
}

/// A spot from the mean one in the measure of a budget's ellipse: two independent numbers of variance 1, if
/// the budget is right.
inline std::array<double, 2> in_deviations(BudgetPoint const& said, SpotOff const& off) {
    auto const& c = said.covariance;
    double const first = (off.along - said.along_shift) / std::sqrt(c.along);
    double const slope = c.mixed / c.along;
    double const rest = std::sqrt(c.across - slope * c.mixed);
    return {first, (off.across - said.across_shift - slope * (off.along - said.along_shift)) / rest};
}

/// Its squared distance from there: below 5.99 for 95 % of all.
inline double squared_distance(BudgetPoint const& said, SpotOff const& off) {
    auto const z = in_deviations(said, off);
    return z[0] * z[0] + z[1] * z[1];
}

/// What happened against what was said, over cells, seams, their points and runs.
struct Comparison {
    double spots = 0, within = 0;       // within the 95 % ellipse
    double across = 0, across_said = 0; // sums of squares, m²
    double along = 0, along_said = 0;

    void add(BudgetPoint const& said, SpotOff const& off) {
        ++spots;
        within += squared_distance(said, off) <= -2 * std::log(1 - 0.95) ? 1 : 0;
        across += sqr(off.across);
        along += sqr(off.along);
        across_said += said.covariance.across + sqr(said.across_shift);
        along_said += said.covariance.along + sqr(said.along_shift);
    }

    void print(char const* where) const {
        auto const rms = [this](double sum) { return in_millimetres(std::sqrt(sum / spots)); };
        std::printf(
            "  %-20s %6.0f spots, %.1f %% of them within the 95 %% ellipse; rms across %.3f mm, said %.3f; "
            "along %.3f mm, said %.3f\n",
            where, spots, 100 * within / spots, rms(across), rms(across_said), rms(along), rms(along_said));
    }

    /// Of the rms across, what happened over what was said.
    double ratio() const { return std::sqrt(across / across_said); }
};

/// A seam welded some times, each a new run of the robot: spots by points of its budget.
template <class ChainType>
std::vector<std::vector<SpotOff>> welded(CommissionCell& cell, ChainType const& chain,
                                         Drawn::Stitch const& stitch, SeamBudget const& budget, int runs) {
    std::vector<std::vector<SpotOff>> all(budget.points.size());
    for (int i = 0; i < runs; ++i) {
        auto const run = cell.new_run();
        for (std::size_t k = 0; k < all.size(); ++k) {
            double const t = budget.points[k].time, seam_time = t - stitch.start;
            auto const command = chain.follow(stitch.seam, seam_time, t).aim.command;
            all[k].push_back(cell.spot_off(run, command, t, stitch.seam, seam_time));
        }
    }
    return all;
}

} // namespace seamhold::examples

#endif
