#ifndef SEAMHOLD_CALIBRATE_MOUNT_MODEL_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_MODEL_HPP

#include "seamhold/calibrate/beam_residual.hpp"
#include "seamhold/frame/eigen.hpp"
#include "seamhold/frame/pose_step.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/statistics/least_squares.hpp"

#include <cstddef>
#include <cstdint>
#include <vector>

/// What the calibrations of a mount by beams share: the unknowns, the rows, and how a step moves them.
namespace seamhold::detail {

/// What the beams meet, and what of it is unknown besides the mount.
enum class Met : std::uint8_t {
    target,     ///< one point: its three coordinates are unknown
    plate,      ///< marks on a plate: its pose is unknown
    known_plate ///< marks on a plate: nothing else is unknown
};

/// Numbers of a step: six of the mount, then those of what is met.
constexpr int unknowns_of(Met met) { return met == Met::target ? 9 : met == Met::plate ? 12 : 6; }

/// An observation as the fit wants it: the head's beam is known, so it is traced once.
struct MountBeam {
    Pose<Cell, Flange> cell_from_flange;
    Ray<double> ray;
    double x = 0; ///< the found place, m; 0 for a target
    double y = 0;
};

/// The unknowns. A target is the plate's origin.
struct MountState {
    Pose<Flange, Head> flange_from_head;
    Pose<Cell, Plate> cell_from_plate;
};

/// A state moved by a step whose numbers may have derivatives.
template <Met met, class T> struct MovedMount {
    Pose<Flange, Head, T> flange_from_head;
    Pose<Cell, Plate, T> cell_from_plate;

    template <class Step> MovedMount(MountState const& state, Step const& step) {
        flange_from_head = moved_by(state.flange_from_head,
                                    std::array<T, 6>{step(0), step(1), step(2), step(3), step(4), step(5)});
        cell_from_plate = number_cast<T>(state.cell_from_plate);
        if constexpr (met == Met::target)
            cell_from_plate.origin =
                state.cell_from_plate.origin + Direction<Cell, T>{step(6), step(7), step(8)};
        if constexpr (met == Met::plate)
            cell_from_plate = moved_by(state.cell_from_plate, std::array<T, 6>{step(6), step(7), step(8),
                                                                               step(9), step(10), step(11)});
    }
};

/// What one observation misses, two numbers, m.
template <Met met, class T>
std::array<T, 2> missed(MountBeam const& beam, Pose<Flange, Head, T> const& flange_from_head,
                        Pose<Cell, Plate, T> const& cell_from_plate) {
    if constexpr (met == Met::target) {
        return target_beside_beam(beam.cell_from_flange, flange_from_head, cell_from_plate.origin, beam.ray);
    } else {
        auto const place = place_on_plate(cell_from_plate, beam.cell_from_flange, flange_from_head, beam.ray);
        return {place.x - beam.x, place.y - beam.y};
    }
}

/// How far along its beam what was met is, m, and whether the beam comes to it from the right side.
struct MetAt {
    double distance;
    bool from_front;
};
inline MetAt met_at(Met met, MountBeam const& beam, MountState const& state) {
    if (met == Met::target) {
        auto const p = inverse_times(state.flange_from_head,
                                     inverse_times(beam.cell_from_flange, state.cell_from_plate.origin));
        double const distance = dot(beam.ray.direction, p - beam.ray.origin);
        return {distance, distance > 0};
    }
    auto const place =
        place_on_plate(state.cell_from_plate, beam.cell_from_flange, state.flange_from_head, beam.ray);
    return {place.distance, place.distance > 0 && place.toward < 0};
}

/// Residuals and their derivatives by the step, two rows a beam. The derivatives are of the order of 1 (m per
/// m, m per rad); a column that is rounding all along is made 0, so that it does not pass for known.
template <Met met> Linearised mount_rows(std::vector<MountBeam> const& beams, MountState const& state) {
    constexpr int m = unknowns_of(met);
    using T = Gradient<double, m>;
    MovedMount<met, T> const moved(state, [](int i) { return T::variable(0, i); });
    auto const n = 2 * static_cast<Eigen::Index>(beams.size());
    Linearised rows{Eigen::VectorXd(n), Eigen::MatrixXd(n, m)};
    Eigen::Index row = 0;
    for (MountBeam const& beam : beams)
        for (T const& number : missed<met>(beam, moved.flange_from_head, moved.cell_from_plate)) {
            rows.residuals(row) = number.value;
            for (int k = 0; k < m; ++k)
                rows.jacobian(row, k) = number.partial[k];
            ++row;
        }
    for (int k = 0; k < m; ++k)
        if (rows.jacobian.col(k).cwiseAbs().maxCoeff() < 1e-12)
            rows.jacobian.col(k).setZero();
    return rows;
}

/// What `least_squares` asks of a mount.
struct MountProblem {
    Met met;
    std::vector<MountBeam> const& beams;

    /// Residuals and their derivatives.
    Linearised operator()(MountState const& state) const {
        switch (met) {
        case Met::target:
            return mount_rows<Met::target>(beams, state);
        case Met::plate:
            return mount_rows<Met::plate>(beams, state);
        case Met::known_plate:
            break;
        }
        return mount_rows<Met::known_plate>(beams, state);
    }

    /// Residuals alone.
    Eigen::VectorXd residuals(MountState const& state) const {
        Eigen::VectorXd rows(2 * static_cast<Eigen::Index>(beams.size()));
        Eigen::Index row = 0;
        for (MountBeam const& beam : beams) {
            auto const both =
                met == Met::target
                    ? missed<Met::target>(beam, state.flange_from_head, state.cell_from_plate)
                    : missed<Met::known_plate>(beam, state.flange_from_head, state.cell_from_plate);
            rows(row++) = both[0];
            rows(row++) = both[1];
        }
        return rows;
    }
};

/// How a step moves a state.
struct MountMove {
    Met met;

    MountState operator()(MountState const& state, Eigen::VectorXd const& step) const {
        auto const by = [&](int i) { return step(i); };
        auto const plain = [](auto const& moved) {
            return MountState{moved.flange_from_head, moved.cell_from_plate};
        };
        switch (met) {
        case Met::target:
            return plain(MovedMount<Met::target, double>(state, by));
        case Met::plate:
            return plain(MovedMount<Met::plate, double>(state, by));
        case Met::known_plate:
            break;
        }
        return plain(MovedMount<Met::known_plate, double>(state, by));
    }
};

} // namespace seamhold::detail

#endif
