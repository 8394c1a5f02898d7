#ifndef SEAMHOLD_CALIBRATE_HEAD_MODEL_HPP
#define SEAMHOLD_CALIBRATE_HEAD_MODEL_HPP

#include "seamhold/calibrate/beam_residual.hpp"
#include "seamhold/calibrate/head_fit.hpp"
#include "seamhold/frame/pose_step.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/statistics/least_squares.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace seamhold::detail {

/// Everything that a calibration of a head moves.
struct HeadState {
    HeadCorrection<> correction;
    Pose<Flange, Head> mount;
    Pose<Cell, Plate> plate;
    FieldPolynomial field;
};

/// Marks as a freed head predicts them. Rows: two a mark, found less predicted, in units of the marks'
/// deviation where it is given, else in m; then one for each drawn deviation. Columns: freed parameters, six
/// of a freed mount, six of a freed plate, terms of the field.
template <class Objective> class HeadModel {
public:
    HeadModel(HeadParts<Objective> const& drawn, std::vector<PlateMark> const& marks,
              MarkingPlace const& place, HeadFitOptions const& options)
        : drawn_(drawn), marks_(marks), place_(place), options_(options),
          scale_(1 / options.mark_deviation.value_or(1)) {}

    Eigen::Index freed() const { return static_cast<Eigen::Index>(options_.freed.size()); }
    Eigen::Index plate_column() const { return freed() + (place_.mount_freed ? 6 : 0); }
    Eigen::Index field_column() const { return plate_column() + (place_.plate_freed ? 6 : 0); }
    Eigen::Index mark_rows() const { return 2 * static_cast<Eigen::Index>(marks_.size()); }
    double scale() const { return scale_; }

    /// Whether the head's drawn deviations count, one a parameter.
    bool counts(FreedParameter const& freed) const { return is_finite(freed.drawn_deviation); }

    /// What the head predicts for a mark at plain numbers.
    PlaceOnPlate<double> place(HeadState const& state, PlateMark const& mark) const {
        auto const mirrors = corrected(drawn_.mirrors, state.correction);
        auto const objective = corrected(drawn_.objective, state.correction);
        auto const angles = true_angles(state, mark);
        return place_on_plate(state.plate, mark.cell_from_flange, state.mount,
                              objective.beam(mirrors.trace(angles[0], angles[1])));
    }

    Linearised linearised(HeadState const& state) const {
        Eigen::Index const terms = static_cast<Eigen::Index>(state.field.terms.size());
        Eigen::Index const columns = field_column() + terms;
        auto const drawn_rows = static_cast<Eigen::Index>(std::count_if(
            options_.freed.begin(), options_.freed.end(), [this](auto const& f) { return counts(f); }));
        Linearised rows{Eigen::VectorXd::Zero(mark_rows() + drawn_rows),
                        Eigen::MatrixXd::Zero(mark_rows() + drawn_rows, columns)};

        // Beams, with their derivatives by parameters of the head, a few at a time, and by the true angles.
        std::vector<Beam> beams(marks_.size());
        for (std::size_t at = 0; at == 0 || at < options_.freed.size(); at += at_once)
            trace(state, at, beams);

        Seeded<Head, Flange, 6> const mount(state.mount);
        Seeded<Plate, Cell, 12> const plate(state.plate);
        for (std::size_t i = 0; i < marks_.size(); ++i) {
            auto const& beam = beams[i];
            auto const got =
                place_on_plate(plate.pose, marks_[i].cell_from_flange, mount.pose, beam.seeded());
            auto const row = 2 * static_cast<Eigen::Index>(i);
            for (Eigen::Index k = 0; k < 2; ++k) {
                auto const& of = k == 0 ? got.x : got.y;
                Eigen::Map<Eigen::Matrix<double, 18, 1> const> const by(of.partial);
                rows.residuals(row + k) = scale_ * ((k == 0 ? marks_[i].x : marks_[i].y) - of.value);
                auto to = rows.jacobian.row(row + k);
                Eigen::RowVectorXd const by_beam = -scale_ * (by.head<6>().transpose() * beam.by);
                to.head(freed()) = by_beam.head(freed());
                if (place_.mount_freed)
                    to.segment(freed(), 6) = -scale_ * by.segment<6>(6).transpose();
                if (place_.plate_freed)
                    to.segment(plate_column(), 6) = -scale_ * by.tail<6>().transpose();
                for (Eigen::Index t = 0; t < terms; ++t) {
                    auto const& term = state.field.terms[static_cast<std::size_t>(t)];
                    to(field_column() + t) =
                        by_beam(freed() + (term.of_y ? 1 : 0)) *
                        state.field.value(term, marks_[i].command.x_mirror, marks_[i].command.y_mirror);
                }
            }
        }
        Eigen::Index row = mark_rows();
        for (std::size_t k = 0; k < options_.freed.size(); ++k)
            if (auto const& f = options_.freed[k]; counts(f)) {
                rows.residuals(row) = -state.correction[f.parameter] / f.drawn_deviation;
                rows.jacobian(row, static_cast<Eigen::Index>(k)) = -1 / f.drawn_deviation;
                ++row;
            }
        return rows;
    }

    HeadState moved(HeadState state, Eigen::VectorXd const& step) const {
        auto const six = [&step](Eigen::Index from) {
            std::array<double, 6> by{};
            for (std::size_t k = 0; k < 6; ++k)
                by[k] = step(from + static_cast<Eigen::Index>(k));
            return by;
        };
        for (std::size_t k = 0; k < options_.freed.size(); ++k)
            state.correction[options_.freed[k].parameter] += step(static_cast<Eigen::Index>(k));
        if (place_.mount_freed)
            state.mount = moved_by(state.mount, six(freed()));
        if (place_.plate_freed)
            state.plate = moved_by(state.plate, six(plate_column()));
        for (std::size_t t = 0; t < state.field.terms.size(); ++t)
            state.field.terms[t].coefficient += step(field_column() + static_cast<Eigen::Index>(t));
        return state;
    }

private:
    static constexpr std::size_t at_once = 6; ///< parameters of the head
    using Traced = Gradient<double, 8>;       ///< by so many, and by the two true angles
    using Placed = Gradient<double, 18>;      ///< by a beam's six numbers, the mount's and the plate's

    /// A beam and its derivatives, origin then direction, by freed parameters and the two true angles.
    struct Beam {
        std::array<double, 6> value;
        Eigen::Matrix<double, 6, Eigen::Dynamic> by;

        Ray<Placed> seeded() const {
            auto const v = [this](int k) { return Placed::variable(value[static_cast<std::size_t>(k)], k); };
            return {{v(0), v(1), v(2)}, {v(3), v(4), v(5)}, Placed(0.0), Placed(0.0)};
        }
    };

    /// A pose that may move by a step of six numbers, from column `first` of `Placed` on.
    template <class From, class To, int first> struct Seeded {
        Pose<To, From, Placed> pose;
        explicit Seeded(Pose<To, From> const& at)
            : pose(moved_by(at, std::array<Placed, 6>{
                                    Placed::variable(0.0, first), Placed::variable(0.0, first + 1),
                                    Placed::variable(0.0, first + 2), Placed::variable(0.0, first + 3),
                                    Placed::variable(0.0, first + 4), Placed::variable(0.0, first + 5)})) {}
    };

    std::array<double, 2> true_angles(HeadState const& state, PlateMark const& mark) const {
        double const x = mark.command.x_mirror, y = mark.command.y_mirror;
        auto const from = drawn_.map ? drawn_.map->forward(x, y) : std::array<double, 2>{x, y};
        auto const by = state.field.at(x, y);
        return {from[0] + by[0], from[1] + by[1]};
    }

    void trace(HeadState const& state, std::size_t at, std::vector<Beam>& beams) const {
        HeadCorrection<Traced> correction;
        for (std::size_t k = 0; k < head_parameters; ++k)
            correction.by[k] = Traced(state.correction.by[k]);
        std::size_t const end = std::min(at + at_once, options_.freed.size());
        bool in_objective = false;
        for (std::size_t k = at; k < end; ++k) {
            auto const parameter = options_.freed[k].parameter;
            correction[parameter].partial[k - at] = 1;
            in_objective = in_objective || parameter >= HeadParameter::focal_length;
        }
        auto const mirrors = corrected(drawn_.mirrors, correction);
        auto const beams_of = [&](auto const& objective) {
            for (std::size_t i = 0; i < marks_.size(); ++i) {
                auto const angles = true_angles(state, marks_[i]);
                auto const ray = objective.beam(
                    mirrors.trace(Traced::variable(angles[0], 6), Traced::variable(angles[1], 7)));
                auto& beam = beams[i];
                if (at == 0)
                    beam.by.resize(6, freed() + 2);
                Eigen::Index row = 0;
                for (Traced const& x : {ray.origin.x, ray.origin.y, ray.origin.z, ray.direction.x,
                                        ray.direction.y, ray.direction.z}) {
                    beam.value[static_cast<std::size_t>(row)] = x.value;
                    for (std::size_t k = at; k < end; ++k)
                        beam.by(row, static_cast<Eigen::Index>(k)) = x.partial[k - at];
                    beam.by(row, freed()) = x.partial[6];
                    beam.by(row, freed() + 1) = x.partial[7];
                    ++row;
                }
            }
        };
        // A lens that is not freed stays as it is: a table of chief rays knows plain numbers only.
        if (in_objective)
            beams_of(corrected(drawn_.objective, correction));
        else
            beams_of(corrected(drawn_.objective, state.correction));
    }

    HeadParts<Objective> const& drawn_;
    std::vector<PlateMark> const& marks_;
    MarkingPlace const& place_;
    HeadFitOptions const& options_;
    double scale_;
};

} // namespace seamhold::detail

#endif
