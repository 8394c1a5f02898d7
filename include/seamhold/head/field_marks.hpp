#ifndef SEAMHOLD_HEAD_FIELD_MARKS_HPP
#define SEAMHOLD_HEAD_FIELD_MARKS_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

/// What was measured in the field of a head: where marks were commanded and where they were found.
namespace seamhold {

/// One mark as angles: those that were commanded, and those that an ideal head would need to mark where the
/// mark was found.
struct FieldMark {
    std::size_t row;                 ///< where it stands in its file; messages name it
    std::array<double, 2> commanded; ///< x and y mirror, mechanical, rad
    std::array<double, 2> found;     ///< x and y mirror, mechanical, rad
};

/// One mark as it was written down.
struct MarkRow {
    std::size_t row;                 ///< of the file, counted from 1
    std::array<double, 2> commanded; ///< x and y on the plate, m, or the two mirror angles, rad
    std::array<double, 2> found;     ///< x and y on the plate, m
    bool commanded_are_angles;
};

/// Marks as angles from marks as written down. `angles_of_commanded(x, y)` gives the two mirror angles, as a
/// std::array, that the head was given for a place on the plate, m; `angles_of_found(x, y)` those with which
/// the ideal head reaches a place on the plate. What they throw is passed on.
template <class OfCommanded, class OfFound>
std::vector<FieldMark> marks_from(std::vector<MarkRow> const& rows, OfCommanded const& angles_of_commanded,
                                  OfFound const& angles_of_found) {
    std::vector<FieldMark> marks;
    marks.reserve(rows.size());
    for (auto const& row : rows)
        marks.push_back({row.row,
                         row.commanded_are_angles
                             ? row.commanded
                             : std::array<double, 2>(angles_of_commanded(row.commanded[0], row.commanded[1])),
                         std::array<double, 2>(angles_of_found(row.found[0], row.found[1]))});
    return marks;
}

namespace detail {

/// The rows and columns in which marks stand, roughly: what tells how fine a map they carry.
struct MarkLattice {
    std::array<double, 2> low;
    std::array<double, 2> high;
    std::array<double, 2> spacing; ///< between neighbours along each axis, rad
    std::array<std::size_t, 2> count;
};

inline std::string rows_text(FieldMark const& a, FieldMark const& b) {
    return "rows " + std::to_string(a.row) + " and " + std::to_string(b.row);
}

inline std::string place_text(std::array<double, 2> const& angles) {
    return std::string("(") + text_of(angles[0]) + ", " + text_of(angles[1]) + ") rad";
}

/// The lattice of the marks: the middle one of the distances to the nearest neighbours along each axis.
/// Throws BadInput for marks that are not finite, too few, or twice at the same command.
inline MarkLattice lattice_of(std::vector<FieldMark> const& marks) {
    constexpr double infinity = std::numeric_limits<double>::infinity();
    for (auto const& mark : marks)
        for (double const angle : {mark.commanded[0], mark.commanded[1], mark.found[0], mark.found[1]})
            if (!is_finite(angle))
                throw BadInput("row " + std::to_string(mark.row) +
                               " of a field's marks holds an angle that is not finite");
    if (marks.size() < 16)
        throw BadInput("a field map needs 5 x 5 marks, of which some may be missing; given were " +
                       std::to_string(marks.size()));
    MarkLattice lattice{{infinity, infinity}, {-infinity, -infinity}, {}, {}};
    for (auto const& mark : marks)
        for (std::size_t k = 0; k < 2; ++k) {
            lattice.low[k] = std::min(lattice.low[k], mark.commanded[k]);
            lattice.high[k] = std::max(lattice.high[k], mark.commanded[k]);
        }
    double const size[] = {lattice.high[0] - lattice.low[0], lattice.high[1] - lattice.low[1]};
    if (!(size[0] > 0) || !(size[1] > 0))
        throw BadInput("all marks of a field lie on one line, from " + place_text(lattice.low) + " to " +
                       place_text(lattice.high));

    std::vector<double> nearest[2];
    for (auto const& a : marks) {
        double least[] = {infinity, infinity};
        for (auto const& b : marks) {
            double const way[] = {std::abs(b.commanded[0] - a.commanded[0]) / size[0],
                                  std::abs(b.commanded[1] - a.commanded[1]) / size[1]};
            for (std::size_t k = 0; k < 2; ++k)
                if (way[1 - k] < 0.5 * way[k])
                    least[k] = std::min(least[k], way[k]);
            // Nearer than a thousandth of the field: 65 marks on a side are sixteen times that apart.
            if (&a < &b && std::max(way[0], way[1]) < 1e-3)
                throw BadInput(rows_text(a, b) + " of a field's marks have the same command, " +
                               place_text(a.commanded));
        }
        for (std::size_t k = 0; k < 2; ++k)
            if (least[k] < infinity)
                nearest[k].push_back(least[k]);
    }
    for (std::size_t k = 0; k < 2; ++k) {
        auto& all = nearest[k];
        auto const middle = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
        std::nth_element(all.begin(), middle, all.end());
        double const spacing = all.empty() ? 1 : *middle;
        lattice.spacing[k] = spacing * size[k];
        lattice.count[k] = static_cast<std::size_t>(std::lround(1 / spacing)) + 1;
    }
    for (std::size_t k = 0; k < 2; ++k)
        if (lattice.count[k] < 5)
            throw BadInput("a field map needs 5 x 5 marks or more; the " + std::to_string(marks.size()) +
                           " given stand in about " + std::to_string(lattice.count[0]) + " x " +
                           std::to_string(lattice.count[1]));
    return lattice;
}

/// Throws BadInput where the found marks do not lie as the commanded ones do: an axis runs the other way, x
/// and y change places, or the field folds over between two neighbours.
inline void check_directions(std::vector<FieldMark> const& marks, MarkLattice const& lattice) {
    // The straight part of found over commanded, from sums over all pairs' differences, that is, moments.
    auto const n = static_cast<double>(marks.size());
    double mean[4] = {};
    for (auto const& m : marks)
        for (std::size_t k = 0; k < 2; ++k) {
            mean[k] += m.commanded[k] / n;
            mean[2 + k] += m.found[k] / n;
        }
    double square[2][2] = {};
    double cross[2][2] = {};
    for (auto const& m : marks)
        for (std::size_t i = 0; i < 2; ++i)
            for (std::size_t j = 0; j < 2; ++j) {
                double const by = m.commanded[j] - mean[j];
                square[i][j] += (m.commanded[i] - mean[i]) * by;
                cross[i][j] += (m.found[i] - mean[2 + i]) * by;
            }
    double const determinant = square[0][0] * square[1][1] - square[0][1] * square[1][0];
    double slope[2][2];
    for (std::size_t i = 0; i < 2; ++i) {
        slope[i][0] = (cross[i][0] * square[1][1] - cross[i][1] * square[1][0]) / determinant;
        slope[i][1] = (cross[i][1] * square[0][0] - cross[i][0] * square[0][1]) / determinant;
    }
    auto const extremes = [&](std::size_t k) {
        auto const ends = std::minmax_element(marks.begin(), marks.end(), [k](auto const& a, auto const& b) {
            return a.commanded[k] < b.commanded[k];
        });
        return rows_text(*ends.first, *ends.second);
    };
    double const straight = std::abs(slope[0][0]) + std::abs(slope[1][1]);
    double const swapped = std::abs(slope[0][1]) + std::abs(slope[1][0]);
    if (swapped > straight)
        throw BadInput("the found marks of a field run along y where x was commanded, as between " +
                       extremes(0) + ": x and y have changed places");
    for (std::size_t k = 0; k < 2; ++k)
        if (!(slope[k][k] > 0))
            throw BadInput("the found marks of a field run the other way than commanded along " +
                           std::string(k == 0 ? "x" : "y") + ", as between " + extremes(k) +
                           (slope[1 - k][1 - k] > 0 ? ": the field is mirrored" : ": the field is turned"));

    for (auto const& a : marks)
        for (auto const& b : marks) {
            double way[2], gone[2];
            for (std::size_t k = 0; k < 2; ++k) {
                way[k] = (b.commanded[k] - a.commanded[k]) / lattice.spacing[k];
                gone[k] = (b.found[k] - a.found[k]) / lattice.spacing[k];
            }
            if (&a < &b && std::hypot(way[0], way[1]) < 1.3 && !(way[0] * gone[0] + way[1] * gone[1] > 0))
                throw BadInput("the found marks of a field fold over between " + rows_text(a, b) + ": from " +
                               place_text(a.commanded) + " to " + place_text(b.commanded) + " they go back");
        }
}

} // namespace detail

} // namespace seamhold

#endif
