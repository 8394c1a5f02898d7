#ifndef SEAMHOLD_PLAN_PLUME_HPP
#define SEAMHOLD_PLAN_PLUME_HPP

#include "seamhold/limit/beam_cone.hpp"
#include "seamhold/plan/path_chords.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

/// The plume above a fresh seam, through which no beam should go. That a plume takes light away, and that
/// welding waits for it or goes round it, is common practice, no source; so is the form it is given here, a
/// leaning column that stands for a time and is gone. Real plumes drift and spread with the draught, the
/// material and the power: measure, and give more than was seen. The drawing off of fume, what people
/// breathe, and the safety of the light are not settled here: they are the business of local codes and of
/// licensed practice.
namespace seamhold {

/// The column that stands above each place of a fresh seam.
struct Plume {
    Direction<Part> direction; ///< it leans this way from the seam, a unit vector
    double length;             ///< along the direction, m
    double radius;             ///< within which no beam's axis may pass, m: that of the column, and what the
                               ///< caller adds for the beam's own radius up there and for a weave
    double time;               ///< for which it stands after its place was welded, s
};

/// A plume as given, checked. Throws BadInput unless the direction is a unit vector (to 1e-6), and length,
/// radius and time are 0 or more and finite, the radius above 0.
inline Plume checked(Plume const& plume) {
    double const length = norm(plume.direction);
    if (!(std::abs(length - 1) <= 1e-6))
        throw BadInput("a plume's direction must be a unit vector; given was one of length " +
                       detail::text_of(length));
    auto const check = [](double x, bool may_be_zero, std::string const& name, double scale,
                          std::string const& unit) {
        if (!(may_be_zero ? x >= 0 : x > 0) || !is_finite(x))
            throw BadInput("a plume's " + name + " must be " + (may_be_zero ? "0 or more" : "above 0") +
                           "; given was " + detail::text_of(x * scale) + " " + unit);
    };
    check(plume.length, true, "length", 1e3, "mm");
    check(plume.radius, false, "radius", 1e3, "mm");
    check(plume.time, true, "time", 1, "s");
    return plume;
}

namespace detail {
/// `plume_gap`, or some gap that is not above `enough`, m, where that one is not.
inline double plume_gap(PathChords const& fresh, Plume const& plume, std::vector<Point<Part>> const& exits,
                        PathChords const& later, double enough) {
    (void)checked(plume);
    if (exits.empty())
        throw BadInput("beams past a plume need one exit of the head or more; given was none");
    for (auto const& exit : exits)
        if (!is_finite(exit))
            throw BadInput("an exit of the head past a plume is not finite");
    for (auto const& spot : later.points)
        if (!is_finite(spot))
            throw BadInput("a spot of the beam past a plume is not finite");
    double const infinity = std::numeric_limits<double>::infinity();
    double const grown = plume.radius + fresh.sagitta + later.sagitta;
    auto const up = plume.length * plume.direction;
    double least = infinity;
    for (std::size_t e = 0; e < exits.size() && (e == 0 || e + 1 < exits.size()); ++e)
        least = least_over(
            later, fresh, least, std::max(0.0, enough + grown), [&](auto const& spots, auto const& foot) {
                auto const& to_exit = exits[std::min(e + 1, exits.size() - 1)];
                std::array<Point<Part>, 4> const beams{exits[e], to_exit, spots[0], spots[1]};
                std::array<Point<Part>, 4> const sheet{foot[0], foot[1], foot[0] + up, foot[1] + up};
                return apart(beams, sheet);
            });
    return least - grown;
}

} // namespace detail

/// How much room a plume leaves to beams, m: the least distance of a beam's axis from the sheet that the
/// columns' own axes make over the whole fresh stretch, less the radius; 0 or less crosses. The beams are all
/// those from the way of the exit (where light leaves the head, in the part frame) to the path of a seam that
/// is welded later: from any place of the one to any place of the other. The exits are those of a few poses,
/// say at the start, the middle and the end of the seam's window of time; between two of them the head is
/// taken to go straight, and where its way bows by some mm those belong to the radius. On the safe side: both
/// paths count as their chords grown by their sagittas, between two exits and over a chord the beams are the
/// whole tetrahedron of both, and the columns stand over all of the fresh seam at once. So it is never above
/// the truth (but for 1e-12 m), and for one exit and one spot below it by the fresh path's sagitta at most.
/// Distances are those of convex hulls, see `closest_point`. Throws BadInput as `checked`, without exits, and
/// where one of them or a spot is not finite.
inline double plume_gap(PathChords const& fresh, Plume const& plume, std::vector<Point<Part>> const& exits,
                        PathChords const& later) {
    return detail::plume_gap(fresh, plume, exits, later, -std::numeric_limits<double>::infinity());
}

/// The same of one beam.
inline double plume_gap(PathChords const& fresh, Plume const& plume, BeamEnds<Part> const& beam) {
    return plume_gap(fresh, plume, {beam.head}, PathChords{{beam.spot}, 0});
}

/// Whether a beam may pass within the radius of a plume, from the exits of a few poses to a seam that is
/// welded later; see `plume_gap`. Where one does, the later seam starts not before the fresh one's end and
/// the plume's time.
inline bool plume_crosses(PathChords const& fresh, Plume const& plume, std::vector<Point<Part>> const& exits,
                          PathChords const& later) {
    return detail::plume_gap(fresh, plume, exits, later, 0) <= 0;
}

/// The same of one beam.
inline bool plume_crosses(PathChords const& fresh, Plume const& plume, BeamEnds<Part> const& beam) {
    return plume_crosses(fresh, plume, {beam.head}, PathChords{{beam.spot}, 0});
}

} // namespace seamhold

#endif
