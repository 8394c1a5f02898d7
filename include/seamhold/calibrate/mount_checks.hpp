#ifndef SEAMHOLD_CALIBRATE_MOUNT_CHECKS_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_CHECKS_HPP

#include "seamhold/calibrate/mount_advice.hpp"
#include "seamhold/calibrate/mount_solve.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// Bad input of a mount's calibration: what cannot be, and what fits once a unit or a column is put right.
namespace seamhold::detail {

/// An observation as it was given; x and y are 0 for a target.
struct MountNote {
    Pose<Cell, Flange> cell_from_flange;
    Command<> command;
    double x;
    double y;
};

/// An observation by its place in the list, from 1.
inline std::string observation(std::size_t i) { return "observation " + std::to_string(i + 1); }

/// Throws BadInput for too few observations and, naming the first, for numbers that are not finite.
inline void check_notes(std::vector<MountNote> const& notes, Met met) {
    auto const unknowns = static_cast<std::size_t>(unknowns_of(met));
    std::size_t const least = unknowns / 2 + 1;
    if (notes.size() < least)
        throw BadInput("a mount with " + std::to_string(unknowns) + " unknown numbers (" +
                       (met == Met::target  ? "the head's six and the target's three"
                        : met == Met::plate ? "the head's six and the plate's six"
                                            : "the head's six") +
                       ") needs at least " + std::to_string(least) + " observations of two; given " +
                       std::to_string(notes.size()));
    for (std::size_t i = 0; i < notes.size(); ++i) {
        check_pose(notes[i].cell_from_flange, "the flange's pose of " + observation(i));
        auto const& c = notes[i].command;
        if (!is_finite(c.x_mirror) || !is_finite(c.y_mirror) || !is_finite(c.focus))
            throw BadInput("the command of " + observation(i) + " is not finite");
        if (!is_finite(notes[i].x) || !is_finite(notes[i].y))
            throw BadInput("the place of the mark of " + observation(i) + " is not finite");
    }
    refuse_repeats(notes, "observations", [](MountNote const& a, MountNote const& b) {
        return a.x == b.x && a.y == b.y && a.command.x_mirror == b.command.x_mirror &&
               a.command.y_mirror == b.command.y_mirror && same_pose(a.cell_from_flange, b.cell_from_flange);
    });
}

/// Throws BadInput for options that mean nothing.
inline void check_options(MountOptions const& options) {
    if (options.start)
        check_pose(*options.start, "the mount's start");
    if (options.deviation && !(*options.deviation > 0 && is_finite(*options.deviation)))
        throw BadInput("the standard deviation of a found place must be above 0 and finite; given " +
                       text_of(*options.deviation) + " m");
    if (!(options.plausible_deviation > 0) || !(options.most_deviation > 0))
        throw BadInput("what counts as plausible or as determined must be above 0");
}

/// The notes with their beams traced.
template <class H> std::vector<MountBeam> traced(H const& head, std::vector<MountNote> const& notes) {
    std::vector<MountBeam> beams;
    beams.reserve(notes.size());
    for (MountNote const& note : notes)
        beams.push_back({note.cell_from_flange, head.ray(note.command), note.x, note.y});
    return beams;
}

/// Whether a beam is one: finite, of length one, to the head's front.
inline bool is_beam(Ray<double> const& ray) {
    return is_finite(ray.origin) && is_finite(norm(ray.direction)) &&
           std::abs(norm(ray.direction) - 1) < 1e-6 && ray.direction.z > 0;
}

/// A mix-up, and how it is put right to see whether the data fit then.
struct MountSlip {
    std::string name;
    std::function<void(MountNote&)> put_right;
    std::function<void(Pose<Cell, Plate>&)> put_plate_right; ///< may be empty
};

/// The mix-ups that are looked for.
inline std::vector<MountSlip> mount_slips(Met met) {
    std::vector<MountSlip> slips;
    auto const add = [&](std::string const& name, std::function<void(MountNote&)> const& right) {
        slips.push_back({name, right, {}});
    };
    auto const turn_mirrors = [](double x, double y) {
        return [x, y](MountNote& n) {
            n.command.x_mirror *= x;
            n.command.y_mirror *= y;
        };
    };
    add("mirror angles look like degrees given as radians", turn_mirrors(degrees(1), degrees(1)));
    add("mirror angles look like milliradians given as radians", turn_mirrors(1e-3, 1e-3));
    add("mirror angles look like optical ones given as mechanical: twice too large", turn_mirrors(0.5, 0.5));
    add("mirror angles look halved", turn_mirrors(2, 2));
    add("x and y mirror angles look swapped",
        [](MountNote& n) { std::swap(n.command.x_mirror, n.command.y_mirror); });
    add("the sign of one mirror's angle looks reversed (x)", turn_mirrors(-1, 1));
    add("the sign of one mirror's angle looks reversed (y)", turn_mirrors(1, -1));
    add("flange poses look inverted: the cell in the flange in place of the flange in the cell",
        [](MountNote& n) { n.cell_from_flange = as<Cell, Flange>(inverse(n.cell_from_flange)); });

    auto const scale_flange = [](MountNote& n, double by) {
        auto& o = n.cell_from_flange.origin;
        o = {by * o.x, by * o.y, by * o.z};
    };
    auto const scale_mark = [](MountNote& n, double by) {
        n.x *= by;
        n.y *= by;
    };
    auto const scale_plate = [](Pose<Cell, Plate>& plate, double by) {
        plate.origin = {by * plate.origin.x, by * plate.origin.y, by * plate.origin.z};
    };
    struct Unit {
        char const* name;
        double factor;
    };
    for (Unit const unit :
         {Unit{"millimetres given as metres", 1e-3}, Unit{"metres taken for millimetres", 1e3},
          Unit{"inches given as metres", 0.0254}, Unit{"inches taken for millimetres", 25.4},
          Unit{"millimetres taken for inches", 1 / 25.4}}) {
        double const by = unit.factor;
        std::string const as = std::string(" look like ") + unit.name;
        add("flange positions" + as, [=](MountNote& n) { scale_flange(n, by); });
        if (met == Met::target)
            continue;
        add("marks" + as, [=](MountNote& n) { scale_mark(n, by); });
        auto const both = [=](MountNote& n) {
            scale_flange(n, by);
            scale_mark(n, by);
        };
        if (met == Met::plate) {
            add("flange positions and marks" + as, both);
            continue;
        }
        auto const plate = [=](Pose<Cell, Plate>& p) { scale_plate(p, by); };
        slips.push_back(
            {"the plate's position" + std::string(" looks like ") + unit.name, [](MountNote&) {}, plate});
        slips.push_back(
            {"flange and plate positions" + as, [=](MountNote& n) { scale_flange(n, by); }, plate});
        slips.push_back({"all lengths" + as, both, plate});
    }
    if (met != Met::target) {
        add("x and y of the marks look swapped", [](MountNote& n) { std::swap(n.x, n.y); });
        add("marks look mirrored (the sign of x)", [](MountNote& n) { n.x = -n.x; });
        add("marks look mirrored (the sign of y)", [](MountNote& n) { n.y = -n.y; });
    }
    return slips;
}

/// The mix-ups after which the data fit: those whose residuals are near the best of them. `given` is the fit
/// as given, if there was one: a mix-up must fit five times better, unless what was given cannot be.
template <class H>
std::vector<std::string> slips_found(Met met, H const& head, std::vector<MountNote> const& notes,
                                     Pose<Cell, Plate> const& plate, MountOptions const& options,
                                     double plausible_deviation, std::optional<SolvedMount> const& given) {
    double const bar = given && given->from_front && given->in_scale()
                           ? given->fit.deviation() / 5
                           : std::numeric_limits<double>::infinity();
    MountOptions other = options;
    other.start.reset();
    struct Found {
        std::string name;
        double deviation;
    };
    std::vector<Found> found;
    for (MountSlip const& slip : mount_slips(met)) {
        auto tried = notes;
        for (MountNote& note : tried)
            slip.put_right(note);
        auto tried_plate = plate;
        if (slip.put_plate_right)
            slip.put_plate_right(tried_plate);
        auto const beams = traced(head, tried);
        if (!std::all_of(beams.begin(), beams.end(), [](MountBeam const& b) { return is_beam(b.ray); }))
            continue;
        try {
            auto const solved = searched({met, beams}, tried_plate, other);
            double const deviation = solved.fit.deviation();
            if (solved.fit.determined && solved.plausible(plausible_deviation) && deviation <= bar)
                found.push_back({slip.name, deviation});
        } catch (BadInput const&) {
            // Two mounts fit, or none can be started from: it explains nothing.
        }
    }
    double best = std::numeric_limits<double>::infinity();
    for (Found const& one : found)
        best = std::min(best, one.deviation);
    std::vector<std::string> names;
    for (Found const& one : found)
        if (one.deviation <= 2 * best + 1e-12)
            names.push_back(one.name);
    return names;
}

} // namespace seamhold::detail

#endif
