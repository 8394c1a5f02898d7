#ifndef SEAMHOLD_CALIBRATE_POWER_LINE_HPP
#define SEAMHOLD_CALIBRATE_POWER_LINE_HPP

#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/fit_kept.hpp"
#include "seamhold/statistics/line_fit.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// One reading of a power meter at the work.
struct PowerRow {
    double commanded; ///< W
    double measured;  ///< W
};

/// How readings scatter.
enum class PowerScatter {
    watts, ///< by the same number of watts at all powers
    share  ///< in proportion to the power
};

/// What to command for a power wanted at the work.
struct CommandForPower {
    double command;   ///< W
    Bounds bounds;    ///< within which the right command lies at the level, W (Fieller)
    Bounds delivered; ///< within which a reading at `command` will lie at the level, W
};

/// The power at the work over what is commanded.
struct PowerLine {
    LineFit line;              ///< measured over commanded, W
    PowerScatter scatter;      ///< as it was taken
    std::vector<bool> outlier; ///< rows that were left out
    double lowest;             ///< commanded of the kept rows, W
    double highest;            ///< the same
    /// In words what was left out, and whether a straight line is not enough.
    std::vector<std::string> warnings;

    /// The power at the work for a command, W.
    double delivered(double command) const { return line.at(command); }

    /// The band in which the mean of `readings` further readings at one command will lie, W, as
    /// `LineFit::prediction`. Throws BadInput for a level outside of (0, 1) and for no readings.
    Bounds delivered_bounds(double command, double level = 0.95, double readings = 1) const {
        return line.prediction(command, level, readings,
                               scatter == PowerScatter::share ? 1 / sqr(command) : 1);
    }

    /// What to command for a power wanted at the work, W. Throws BadInput for a power beyond those that were
    /// measured: a line says nothing there. Throws too where the line does not rise clearly enough to bound
    /// the command, and for a level outside of (0, 1).
    CommandForPower command_for(double wanted, double level = 0.95) const {
        using detail::text_of;
        auto const crossing = line.crossing(wanted, level);
        double const beyond = 1e-9 * (highest - lowest);
        if (!(crossing.place >= lowest - beyond) || !(crossing.place <= highest + beyond))
            throw BadInput("a power of " + text_of(wanted) +
                           " W at the work lies beyond what was measured: " + text_of(delivered(lowest)) +
                           " to " + text_of(delivered(highest)) + " W");
        if (crossing.set != CrossingSet::between)
            throw BadInput("the measured power does not rise clearly with the command: no command can be "
                           "given for " +
                           text_of(wanted) + " W");
        return {crossing.place, crossing.bounds, delivered_bounds(crossing.place, level)};
    }
};

namespace detail {

/// The command from which on a meter reads about the same whatever is commanded. The highest readings are
/// held against the line through all below.
inline std::optional<double> flat_from(std::vector<PowerRow> rows) {
    std::sort(rows.begin(), rows.end(),
              [](PowerRow const& a, PowerRow const& b) { return a.commanded < b.commanded; });
    for (std::size_t first = 4; first + 2 <= rows.size(); ++first) {
        if (rows[first].commanded == rows.back().commanded ||
            rows[first].commanded == rows[first - 1].commanded ||
            rows[0].commanded == rows[first - 1].commanded)
            continue;
        std::vector<LinePoint> below;
        for (std::size_t i = 0; i < first; ++i)
            below.push_back({rows[i].commanded, rows[i].measured});
        auto const line = fit_line(below);
        double const rise =
            (rows.back().measured - rows[first].measured) / (rows.back().commanded - rows[first].commanded);
        bool flat = line.slope > 0 && rise < 0.2 * line.slope;
        // The first of them may stand where the line meets the flat top.
        for (std::size_t i = first + 1; i < rows.size() && flat; ++i)
            flat = rows[i].measured < line.prediction(rows[i].commanded, 0.999).low &&
                   rows[i].measured < line.at(rows[i].commanded) * (1 - 1e-6);
        if (flat)
            return rows[first].commanded;
    }
    return {};
}

/// Whether all numbers are whole multiples of ten: set values are, readings are not.
inline bool all_round(std::vector<PowerRow> const& rows, double PowerRow::*column) {
    return std::all_of(rows.begin(), rows.end(), [column](PowerRow const& row) {
        return std::abs(std::remainder(row.*column, 10.0)) < 1e-9;
    });
}

/// Throws BadInput for rows that cannot be a power line, and names what was probably confused.
inline void check_power_rows(std::vector<PowerRow> const& rows) {
    for (std::size_t i = 0; i < rows.size(); ++i) {
        std::string const where = " in row " + std::to_string(i + 1) + " of the power measurement";
        if (!is_finite(rows[i].commanded) || !is_finite(rows[i].measured))
            throw BadInput("a power" + where + " is not finite");
        if (!(rows[i].commanded > 0))
            throw BadInput("a commanded power of " + text_of(rows[i].commanded) + " W" + where +
                           " is not above 0");
        if (!(rows[i].measured > 0))
            throw BadInput("a measured power of " + text_of(rows[i].measured) + " W" + where +
                           " is not above 0: did the meter see the beam, and was its zero set?");
    }
    if (rows.size() < 5)
        throw BadInput("a power line needs 5 readings or more, better 10 over the powers used; given " +
                       std::to_string(rows.size()));
    // The middle one of the ratios: no single row turns it.
    std::vector<double> ratios;
    double highest = 0;
    for (auto const& row : rows) {
        ratios.push_back(row.measured / row.commanded);
        highest = std::max(highest, row.commanded);
    }
    auto const middle = ratios.begin() + static_cast<std::ptrdiff_t>(ratios.size() / 2);
    std::nth_element(ratios.begin(), middle, ratios.end());
    double const ratio = *middle;
    std::string const about = "the measured power is about " + text_of(ratio) + " times the commanded one: ";
    if (ratio < 0.005)
        throw BadInput(about + "the measured column looks like kilowatts given as watts");
    if (ratio > 200)
        throw BadInput(about + "the commanded column looks like kilowatts given as watts");
    if (ratio > 2 && highest <= 100)
        throw BadInput(about + "the commanded column looks like per cent given as watts");
    if (ratio > 1 && all_round(rows, &PowerRow::measured) && !all_round(rows, &PowerRow::commanded))
        throw BadInput(about + "and the measured column holds round numbers: the columns look swapped");
    if (ratio > 1.2)
        throw BadInput(about + "more than was commanded cannot arrive; are the columns swapped, or is the "
                               "meter set to another wavelength?");
}

} // namespace detail

/// The line of the power measured at the work over the power commanded, with its prediction band. Rows may
/// stand in any order; a few far off the line are named and left out, from 8 rows on. With `share`, each row
/// counts by its own share of the power. Throws BadInput, saying what was probably confused: for fewer than 5
/// readings, powers not above 0 or not finite, kilowatts or per cent given as watts, columns that look
/// swapped, one command only, a meter (or laser) that stays at one reading from some command on, and a line
/// that falls. Class 4 laser: read `docs/calibrate.md` before a meter stands in the beam.
inline PowerLine fit_power_line(std::vector<PowerRow> const& rows, PowerScatter scatter = PowerScatter::watts,
                                bool find_outliers = true) {
    using detail::text_of;
    detail::check_power_rows(rows);
    if (auto const flat = detail::flat_from(rows))
        throw BadInput(
            "from a command of " + text_of(*flat) +
            " W on the reading stays the same whatever is commanded: the meter is saturated or the "
            "laser is limited; leave these rows out and measure with a larger meter");
    std::vector<LinePoint> points;
    points.reserve(rows.size());
    for (auto const& row : rows)
        points.push_back(
            {row.commanded, row.measured, scatter == PowerScatter::share ? 1 / sqr(row.commanded) : 1});
    auto found = detail::line_without_outliers(points, find_outliers);
    if (!(found.line.slope > 0))
        throw BadInput("the measured power falls as the commanded one rises, by " +
                       text_of(found.line.slope) + " W for a W");
    PowerLine result{std::move(found.line), scatter, std::move(found.outlier), 0, 0, {}};
    result.lowest = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (result.outlier[i]) {
            result.warnings.push_back("row " + std::to_string(i + 1) + " is off by " +
                                      text_of(result.line.residuals[i]) + " W and was left out");
            continue;
        }
        result.lowest = std::min(result.lowest, rows[i].commanded);
        result.highest = std::max(result.highest, rows[i].commanded);
    }
    if (result.line.lack_of_fit && result.line.lack_of_fit->probability < 0.01)
        result.warnings.push_back(
            "a straight line is not enough: the means at repeated commands lie off it by "
            "more than the readings scatter");
    return result;
}

} // namespace seamhold

#endif
