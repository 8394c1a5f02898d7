// What a drawing of the heat-pump tray says, and the head above it, as the independent cell knows them.
//
// Its seams stand in lid_and_shoulder.hpp and shapes.hpp: a second copy of the numbers in the job files, kept
// apart by hand, so that each can show a mistake in the other. All numbers are invented; the head's are those
// an ordinary one might have.
#ifndef TRAY_DRAWING_HPP
#define TRAY_DRAWING_HPP

#include "track.hpp"
#include "weave.hpp"

#include <optional>
#include <string>
#include <vector>

namespace tray {

// ---- The head, metres and seconds. ----
inline constexpr double mirror_separation = 0.040;
inline constexpr double focus_path_at_zero = 0.540; // from the first mirror to the focus, lens at zero
inline constexpr double focus_ratio = 8;            // the focus moves this much more than the lens
inline constexpr double mirror_lag = 0.0005;
inline constexpr double focus_lag = 0.005;

// ---- The part: planes, and a tube. z is the normal out of the face, towards the head. ----
struct Face {
    Matrix part_from_face;     // its origin on the face
    double tube_radius_mm = 0; // 0: a plane. Else x runs along the tube and y around it
};

/// The point of a face at x and y of its flattened drawing, metres, in the part's frame.
inline Vector point_on(Face const& face, double x, double y) {
    if (face.tube_radius_mm == 0)
        return move_point(face.part_from_face, {x, y, 0});
    double const radius = 0.001 * face.tube_radius_mm;
    return move_point(face.part_from_face,
                      {x, radius * std::sin(y / radius), radius * (std::cos(y / radius) - 1)});
}

/// A seam: its line on its face, and how the light goes along it.
struct Seam {
    std::string name;
    std::size_t face; // its number in the drawing
    double start_s;
    std::optional<double>
        speed; // m/s; none where the job slows down by a law that this drawing does not know
    Track track;
    std::optional<Weave> weave = std::nullopt;
    double focus_offset_mm = 0; // along the beam, positive below the surface
    double hold_s = 0;          // of a point
};

/// How long the seam takes, where the drawing knows it.
inline double duration_of(Seam const& seam) {
    return seam.hold_s > 0 ? seam.hold_s : seam.track.length() / *seam.speed;
}

/// All that one job welds.
struct Drawing {
    std::vector<Face> faces;
    std::vector<Seam> seams;
    std::vector<std::string> left_out; // seams whose names begin like this are welded but not drawn here
};

/// The point of a seam's line after a way along it, in the part's frame; without a weave.
inline Vector line_point(Drawing const& drawing, Seam const& seam, double way) {
    Place const p = seam.track.at(way);
    return point_on(drawing.faces[seam.face], p.x, p.y);
}

/// The point that the drawing wants at a time, in the part's frame, for a seam whose speed it knows.
inline Vector drawn_point(Drawing const& drawing, Seam const& seam, double time) {
    double const since = time - seam.start_s;
    Offset const swing = seam.weave ? offset(*seam.weave, since, duration_of(seam)) : Offset{0, 0};
    Place const p = seam.track.at(*seam.speed * since + swing.along);
    // The normal is z, so across = normal x tangent = (-ty, tx): to the left, seen from the head.
    return point_on(drawing.faces[seam.face], p.x - swing.across * p.ty, p.y + swing.across * p.tx);
}

} // namespace tray

#endif
