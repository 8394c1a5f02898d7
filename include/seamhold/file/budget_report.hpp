#ifndef SEAMHOLD_FILE_BUDGET_REPORT_HPP
#define SEAMHOLD_FILE_BUDGET_REPORT_HPP

#include "seamhold/budget/required.hpp"
#include "seamhold/budget/seam_budget.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <string>
#include <vector>

/// Error budgets for people and for programs.
namespace seamhold {

/// The budget of a seam: its worst point, the sources in the order of what they do, and, against a tolerance,
/// what would be required of each.
inline std::string text_of(SeamBudget const& budget, double coverage = 0.95) {
    using detail::fixed;
    auto const& worst = budget.worst_point();
    auto const ellipse = worst.covariance.ellipse(coverage);
    std::string text = "Seam " + budget.seam + ": a prediction for the deviations given, not a proof\n";
    text += "  worst at " + fixed(in_millimetres(worst.arc_length), 1) +
            " mm: " + fixed(in_micrometres(worst.covariance.across_deviation()), 1) + " um across, " +
            fixed(in_micrometres(worst.covariance.along_deviation()), 1) +
            " um along (standard deviations), mean " + fixed(in_micrometres(worst.across_shift), 1) +
            " um across, " + fixed(in_micrometres(worst.along_shift), 1) + " um along; focus " +
            fixed(in_micrometres(worst.defocus_deviation()), 0) + " um\n";
    text += "  " + fixed(100 * coverage, 0) + " % ellipse there: half axes " +
            fixed(in_micrometres(ellipse.semi_major), 1) + " and " +
            fixed(in_micrometres(ellipse.semi_minor), 1) + " um, the longer one " +
            fixed(in_degrees(ellipse.angle), 0) + " deg from the seam\n";
    if (budget.options.tolerance)
        text += "  within +- " + fixed(in_micrometres(budget.options.tolerance->across), 0) + " um across" +
                (is_finite(budget.options.tolerance->along_at_ends)
                     ? ", +- " + fixed(in_micrometres(budget.options.tolerance->along_at_ends), 0) +
                           " um along at its ends"
                     : "") +
                ": " + fixed(100 * budget.probability_within(), 3) + " % there; wanted are " +
                fixed(100 * budget.options.probability, 2) +
                " %: " + (budget.within() ? "kept" : "NOT KEPT") + "\n";
    detail::AlignedText table("lrrrr");
    table.add({"source", "share across", "across, um", "along, um", "most at, mm"});
    for (auto const& r : budget.ranked)
        table.add({r.name, fixed(100 * r.share, 1) + " %", fixed(in_micrometres(r.across_deviation), 1),
                   fixed(in_micrometres(r.along_deviation), 1), fixed(in_millimetres(r.largest_at), 1)});
    text += table.text(4);
    if (budget.options.tolerance) {
        auto const needed = required(budget);
        text += "  Within the tolerance if\n    " + needed.together.in_words() + "\n";
        for (auto const& one : needed.sources)
            text += "    " + one.in_words() + "\n";
    }
    return text;
}

/// The same for a job, worst seam first.
inline std::string text_of(std::vector<SeamBudget> const& budgets, double coverage = 0.95) {
    std::string text;
    for (auto const& budget : budgets)
        text += text_of(budget, coverage);
    return text;
}

/// Budgets as comma-separated values, a row a point: seam, arc_length_mm, across_um, along_um (standard
/// deviations), correlation of both, mean_across_um, mean_along_um, focus_um, incidence_deg, and a column a
/// source with its standard deviation across, um.
inline std::string budget_csv(std::vector<SeamBudget> const& budgets) {
    using detail::shortest;
    std::string text = "seam,arc_length_mm,across_um,along_um,correlation,mean_across_um,mean_along_um,focus_"
                       "um,incidence_deg";
    if (!budgets.empty())
        for (auto const& source : budgets.front().sources) {
            std::string name = source.name;
            for (char& c : name)
                c = c == ' ' || c == ',' || c == '"' ? '_' : c;
            text += ',';
            text += name;
            text += "_across_um";
        }
    text += '\n';
    for (auto const& budget : budgets)
        for (auto const& p : budget.points) {
            auto const& c = p.covariance;
            double const product = c.across_deviation() * c.along_deviation();
            text += budget.seam;
            for (double const x : {in_millimetres(p.arc_length), in_micrometres(c.across_deviation()),
                                   in_micrometres(c.along_deviation()), product > 0 ? c.mixed / product : 0.0,
                                   in_micrometres(p.across_shift), in_micrometres(p.along_shift),
                                   in_micrometres(p.defocus_deviation()), in_degrees(p.incidence)}) {
                text += ',';
                text += shortest(x);
            }
            for (auto const& one : p.contributions) {
                text += ',';
                text += shortest(in_micrometres(one.covariance.across_deviation()));
            }
            text += '\n';
        }
    return text;
}

} // namespace seamhold

#endif
