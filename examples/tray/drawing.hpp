// The drawing of the heat-pump tray and of the head above it, as the independent cell knows them.
//
// A second copy of the numbers in tray.toml, kept apart by hand, so that each can show a mistake in the
// other. All numbers are invented; the head's are those an ordinary one might have.
#ifndef TRAY_DRAWING_HPP
#define TRAY_DRAWING_HPP

#include "space.hpp"

#include <numbers>
#include <optional>
#include <variant>
#include <vector>

namespace tray {

// ---- The head, metres and seconds. ----
inline constexpr double mirror_separation = 0.040;
inline constexpr double focus_path_at_zero = 0.540; // from the first mirror to the focus, lens at zero
inline constexpr double focus_ratio = 8;            // the focus moves this much more than the lens
inline constexpr double mirror_lag = 0.0005;
inline constexpr double focus_lag = 0.005;

// ---- The part: two planes. z is the normal out of the face; x runs along the sweep. ----
struct Face {
    char const* name;
    Matrix part_from_face;
};
inline std::vector<Face> const faces{
    {"lid", placed({0, 0, 0}, 0, 0, 0)},
    {"shoulder", placed({700, 0, 0}, 0, 35, 0)}, // starts at the lid's end and falls away
};
enum FaceNumber : std::size_t { lid, shoulder };

// ---- The seams, in the x and y of their face: millimetres, degrees, seconds. ----
inline constexpr double spot_speed = 16.0 / 60.0; // m/s, every seam: 16 m/min

struct Straight {
    double from_x, from_y, to_x, to_y;
};
struct Arc {
    double center_x, center_y, radius, start_degrees, turn_degrees; // a full circle turns by 360
};
struct Weave {
    double frequency, amplitude_mm; // a sine that starts at zero, across the seam
};
struct Seam {
    char const* name;
    FaceNumber face;
    double start_s;
    std::variant<Straight, Arc> shape;
    std::optional<Weave> weave = std::nullopt;
    double focus_offset_mm = 0; // along the beam, positive below the surface
};

inline constexpr Weave fast_weave{300, 0.5};

inline std::vector<Seam> const seams{
    {"L01", lid, 0.72, Straight{18, -128, 90, -128}},
    {"L02", lid, 1.005, Straight{118, -110, 118, -45}, fast_weave},
    {"L03", lid, 1.265, Arc{175, 0, 10, -90, 360}},
    {"L04", lid, 1.515, Arc{222, 55, 32, 200, -140}},
    {"L05", lid, 1.825, Straight{280, 138, 340, 138}},
    {"L06", lid, 2.065, Straight{366, 112, 366, 50}, fast_weave},
    {"L07", lid, 2.315, Arc{400, -5, 11, 90, -360}},
    {"L08", lid, 2.59, Straight{425, -55, 478, -95}},
    {"L09", lid, 2.855, Arc{515, -105, 22, 180, 180}},
    {"L10", lid, 3.13, Straight{548, -75, 548, -15}, fast_weave},
    {"L11", lid, 3.37, Arc{570, 35, 9, -90, 360}},
    {"L12", lid, 3.60, Straight{580, 85, 620, 128}, std::nullopt, 2},
    {"L13", lid, 3.835, Straight{650, 120, 650, 58}},
    {"L14", lid, 4.085, Arc{670, 10, 10, 90, 360}},
    {"S01", shoulder, 4.335, Straight{22, -45, 22, -118}},
    {"S02", shoulder, 4.625, Straight{45, -120, 105, -85}, fast_weave},
    {"S03", shoulder, 4.905, Arc{110, -30, 12, 180, 360}},
    {"S04", shoulder, 5.205, Arc{145, 45, 32, 200, -130}},
    {"S05", shoulder, 5.495, Straight{175, 120, 230, 92}},
};

/// Length of the seam's line in metres, without the weave.
inline double length_of(Seam const& seam) {
    if (auto const* line = std::get_if<Straight>(&seam.shape))
        return 0.001 * std::hypot(line->to_x - line->from_x, line->to_y - line->from_y);
    Arc const& arc = std::get<Arc>(seam.shape);
    return 0.001 * arc.radius * std::abs(radians(arc.turn_degrees));
}

/// The time at which the seam ends.
inline double end_of(Seam const& seam) { return seam.start_s + length_of(seam) / spot_speed; }

/// The point that the drawing wants at a time, in the part's frame.
inline Vector drawn_point(Seam const& seam, double time) {
    double const since = time - seam.start_s;
    double const along = spot_speed * since;
    // Position and unit tangent on the face; the normal is z, and across = normal x tangent = (-ty, tx).
    double x = 0, y = 0, tx = 0, ty = 0;
    if (auto const* line = std::get_if<Straight>(&seam.shape)) {
        double const length = length_of(seam);
        tx = 0.001 * (line->to_x - line->from_x) / length;
        ty = 0.001 * (line->to_y - line->from_y) / length;
        x = 0.001 * line->from_x + along * tx;
        y = 0.001 * line->from_y + along * ty;
    } else {
        Arc const& arc = std::get<Arc>(seam.shape);
        double const radius = 0.001 * arc.radius;
        double const hand = arc.turn_degrees < 0 ? -1 : 1; // counter-clockwise is positive
        double const angle = radians(arc.start_degrees) + hand * along / radius;
        x = 0.001 * arc.center_x + radius * std::cos(angle);
        y = 0.001 * arc.center_y + radius * std::sin(angle);
        tx = -hand * std::sin(angle);
        ty = hand * std::cos(angle);
    }
    if (seam.weave) {
        double const offset =
            0.001 * seam.weave->amplitude_mm * std::sin(2 * std::numbers::pi * seam.weave->frequency * since);
        x -= offset * ty;
        y += offset * tx;
    }
    return move_point(faces[seam.face].part_from_face, {x, y, 0});
}

} // namespace tray

#endif
