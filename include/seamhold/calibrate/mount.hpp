#ifndef SEAMHOLD_CALIBRATE_MOUNT_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_HPP

#include "seamhold/calibrate/mount_checks.hpp"

#include <limits>
#include <utility>
#include <vector>

/// Where the head sits on the flange, from beams. Nothing is inverted: each beam is what the head makes of a
/// command (`ray`), carried into the cell, and what it misses is made small.
namespace seamhold {

namespace detail {

/// A solved mount with what it leaves of the rest of the unknowns.
struct CalibratedMount {
    MountFit mount;
    MountState state;
    Eigen::MatrixXd covariance; ///< of all unknowns
};

template <class H>
CalibratedMount calibrated_mount(Met met, H const& head, std::vector<MountNote> const& notes,
                                 Pose<Cell, Plate> const& plate, MountOptions const& options) {
    check_options(options);
    check_notes(notes, met);
    if (met == Met::known_plate)
        check_pose(plate, "the plate's pose");
    double const plausible = plausible_deviation_of(options);
    auto const beams = traced(head, notes);
    std::optional<SolvedMount> given;
    std::string trouble;
    for (std::size_t i = 0; trouble.empty() && i < beams.size(); ++i)
        if (!is_beam(beams[i].ray))
            trouble = "the head makes no beam of the command of " + observation(i);
    if (trouble.empty()) {
        try {
            given = solved_mount({met, beams}, plate, options);
        } catch (BadInput const& error) {
            trouble = error.what();
        }
    }

    auto const commands = [&] {
        std::vector<Command<>> all;
        all.reserve(notes.size());
        for (MountNote const& note : notes)
            all.push_back(note.command);
        return all;
    };
    auto const candidates = [&](MountState const& state) {
        return candidates_near({met, beams}, commands(), state,
                               [&](Command<> const& command) { return head.ray(command); });
    };
    auto const rows_of = [&](FurtherObservation const& candidate) {
        return rows_of_beam(met, candidate.beam, given->fit.state);
    };
    auto const these = "these " + std::to_string(notes.size()) + " observations";
    double const tolerance = LeastSquaresOptions().rank_tolerance;
    if (given && !given->fit.determined)
        refuse_undetermined(these, given->fit, tolerance, candidates(given->fit.state), rows_of);
    bool const fits = given && given->plausible(plausible);
    if (!fits) {
        auto const slips = slips_found(met, head, notes, plate, options, plausible, given);
        if (!slips.empty())
            throw BadInput(
                listed(slips, ", or ") + ": so the observations fit, as given they do not" +
                (given ? " (residuals of " + text_of(in_millimetres(given->fit.deviation())) + " mm)" : ""));
        if (!given)
            throw BadInput(trouble);
        if (!given->from_front)
            throw BadInput("no mount fits " + these + ": the beams would come from behind");
    }

    SolvedMount const& solved = *given;
    auto const& fit = solved.fit;
    bool const contradicted =
        options.deviation &&
        scatter_more_than_stated(fit.sum_of_squares, fit.degrees_of_freedom, *options.deviation);
    bool const stated = options.deviation && !contradicted;
    double const variance = stated ? sqr(*options.deviation) : sqr(fit.deviation());
    Eigen::MatrixXd const covariance = variance * fit.unit_covariance;
    CalibratedMount result{{fit.state.flange_from_head,
                            covariance.topLeftCorner<6, 6>(),
                            fit.deviation(),
                            stated ? std::numeric_limits<double>::infinity() : fit.degrees_of_freedom,
                            {},
                            {},
                            fits,
                            solved.start_left,
                            {}},
                           fit.state,
                           covariance};
    MountFit& mount = result.mount;
    mount.as_stated = !contradicted;
    for (std::size_t i = 0; i < notes.size(); ++i) {
        auto const row = 2 * static_cast<Eigen::Index>(i);
        double const x = fit.residuals(row), y = fit.residuals(row + 1);
        mount.residuals.push_back({x, y, std::hypot(x, y)});
        if (solved.outlier[i])
            mount.outliers.push_back(i);
    }
    Eigen::MatrixXd const used = fit.weights.cwiseSqrt().asDiagonal() * fit.jacobian;
    auto const further = candidates(fit.state);
    mount.weakest = weakness(mount.covariance, options.most_deviation, used, further, rows_of);
    for (double const deviation : mount.deviations())
        if (!(deviation <= options.most_deviation))
            throw BadInput(these + " hardly determine the mount: " + mount.weakest.direction +
                           " has a standard deviation of " + size_in_words(mount.weakest.step) + "; " +
                           advice_in_words(advised(used, further, rows_of, 6).advice));
    return result;
}

template <class Given> std::vector<MountNote> notes_of(std::vector<Given> const& given) {
    std::vector<MountNote> notes;
    notes.reserve(given.size());
    for (Given const& one : given) {
        if constexpr (std::is_same_v<Given, PlateMark>)
            notes.push_back({one.cell_from_flange, one.command, one.x, one.y});
        else
            notes.push_back({one.cell_from_flange, one.command, 0, 0});
    }
    return notes;
}

} // namespace detail

/// Where the head sits on the flange and where the target is, from one target that was hit with the beam from
/// many poses. Minimises the squared distances of the target from the beams; the noise is taken as the same
/// in all directions across the beam. The head is any that has `ray(command)`. At least 5 observations, so
/// that one number is left to judge by; 12 or more are wanted, with the flange turned about two axes by 20°
/// or more and the mirrors deflected in x and in y. Up to one observation in four may be grossly wrong: they
/// are left out and named. Look at `plausible`, `start_left` and `as_stated` before the mount is used; a
/// budget refuses an implausible one. Throws BadInput for too few observations; for a number that is not
/// finite, by its place; for poses that do not determine the mount, with what is open and what would close
/// it; for observations that only fit once a unit or a column is put right, with its name; if two mounts fit;
/// if beams would come from behind. Exact to 1e-9 rad and m without noise (1000 random cells). Without a
/// start it takes some 5 to 30 ms (12 to 100 observations, one core).
template <class H>
MountFromTarget calibrate_mount(H const& head, std::vector<BeamOnTarget> const& hits,
                                MountOptions const& options = {}) {
    auto const solved = detail::calibrated_mount(detail::Met::target, head, detail::notes_of(hits),
                                                 Pose<Cell, Plate>::identity(), options);
    return {solved.mount, solved.state.cell_from_plate.origin,
            solved.covariance.template bottomRightCorner<3, 3>()};
}

/// Where the head sits on the flange, from marks on a plate whose place in the cell is known. Minimises the
/// squared distances in the plate's plane of the marks found from where the beams meet it. At least 4
/// observations. Throws as above.
template <class H>
MountFromPlate calibrate_mount(H const& head, std::vector<PlateMark> const& marks,
                               Pose<Cell, Plate> const& cell_from_plate, MountOptions const& options = {}) {
    auto const solved = detail::calibrated_mount(detail::Met::known_plate, head, detail::notes_of(marks),
                                                 cell_from_plate, options);
    return {solved.mount, cell_from_plate, PoseCovariance::Zero()};
}

/// Where the head sits on the flange and where the plate is, from marks on it. At least 7 observations.
/// Throws as above; mirrored marks would fit a plate that is seen from behind, and are refused.
template <class H>
MountFromPlate calibrate_mount(H const& head, std::vector<PlateMark> const& marks,
                               MountOptions const& options = {}) {
    auto const solved = detail::calibrated_mount(detail::Met::plate, head, detail::notes_of(marks),
                                                 Pose<Cell, Plate>::identity(), options);
    return {solved.mount, solved.state.cell_from_plate, solved.covariance.template bottomRightCorner<6, 6>()};
}

} // namespace seamhold

#endif
