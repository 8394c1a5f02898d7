// The drawing of the third job: shapes, weaves and patterns on the lid, over the formed bend and on the
// shoulder.
#ifndef TRAY_SHAPES_HPP
#define TRAY_SHAPES_HPP

#include "drawing.hpp"
#include "stitches.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace tray {

/// A face through touched points: the origin, one on its x axis, one on the side of its y axis; millimetres.
inline Matrix touched(Vector origin, Vector on_x, Vector y_side) {
    auto const unit = [](Vector v) { return 1 / length(v) * v; };
    auto const cross = [](Vector a, Vector b) {
        return Vector{a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
    };
    Vector const x = unit(on_x - origin);
    Vector const z = unit(cross(x, y_side - origin));
    Vector const y = cross(z, x);
    return {{{x.x, y.x, z.x, 0.001 * origin.x},
             {x.y, y.y, z.y, 0.001 * origin.y},
             {x.z, y.z, z.z, 0.001 * origin.z},
             {0, 0, 0, 1}}};
}

/// Copies of a seam, each a step and a time later than the one before; `seam` is the first.
inline void add_copies(std::vector<Seam>& seams, Seam const& seam, std::vector<Track> const& tracks,
                       double gap_s) {
    double start = seam.start_s;
    for (std::size_t i = 0; i < tracks.size(); ++i) {
        Seam copy = seam;
        copy.name = seam.name + "." + std::to_string(i + 1);
        copy.start_s = start;
        copy.track = tracks[i];
        start += duration_of(copy) + gap_s;
        seams.push_back(copy);
    }
}

/// The same numbers as in tray_shapes.toml: millimetres, degrees, seconds. The lettering is left out.
inline Drawing shapes() {
    constexpr std::size_t lid = 0, shoulder = 1, bend = 2, bend_middle = 3;
    constexpr double speed = 16.0 / 60.0; // m/s, where no law changes it
    double const lid_ends = 681.08207267;
    Drawing drawing;
    drawing.faces = {
        {placed({0, 0, 0}, 0, 0, 0)},
        {touched({700, 0, 0}, {781.915, 0, -57.358}, {700, 100, 0})},
        // x across the sweep, towards -y of the part: turned by -90 degrees about the normal.
        {placed({lid_ends, 0, 0}, -90, 0, 0), 60},
        // The triangles stand for the same tube; here it is exact, with its origin in the middle of the bend.
        {placed({lid_ends, 0, -60}, 0, 17.5, 0) * shift({0, -0.092, 0.06}) * turn_z(radians(-90)), 60},
    };
    std::vector<Seam>& s = drawing.seams;
    // clang-format off
    s.push_back({"C", lid, 0.72, speed, placed(c_shape(18, 9), 50, -105)});
    s.push_back({"staple", lid, 0.915, speed, placed(staple_shape(28, 12, 3), 92, -68)});
    s.push_back({"S", lid, 1.119, speed, placed(s_shape(15, 180), 130, -22, 90)});
    s.push_back({"wave", lid, 1.314, speed, placed(wave_shape(9, 3, 36), 150, 42)});
    s.push_back({"spiral", lid, 1.566, speed, placed(spiral_shape(2, 9, 3.5), 222, 98)});
    s.push_back({"slot", lid, 1.845, speed, placed(slot_shape(30, 10, 2), 276, 72, 60)});
    s.push_back({"ellipse", lid, 2.139, speed, placed(ellipse_shape(30, 15, 2), 330, 18, -20), std::nullopt, 2});
    s.push_back({"zigzag", lid, 2.437, std::nullopt, placed(rounded_shape({{0, 0}, {14, 20}, {28, 0}, {42, 20}}, 3), 366, -48)});
    s.push_back({"curve", lid, 2.758, speed,
                 smooth_shape({{428, -70}, {438, -88}, {455, -92}, {464, -78}, {480, -72}, {490, -84}})});
    // clang-format on
    drawing.left_out = {"number."};

    std::vector<Track> tacks; // there along the first row, back along the second
    for (double const x : {556.0, 568.0, 580.0})
        tacks.push_back({{straight(x, -52, x + 6, -52)}});
    for (double const x : {580.0, 568.0, 556.0})
        tacks.push_back({{straight(x + 6, -62, x, -62)}});
    add_copies(s, {"tack", lid, 3.73, speed, {}}, tacks, 0.007);
    std::vector<Track> rays; // 7.5 mm to 12.5 mm from the center
    for (double degrees = -90; degrees < 270; degrees += 72)
        rays.push_back(placed({{straight(7.5, 0, 12.5, 0)}}, 608, 0, degrees));
    add_copies(s, {"ray", lid, 3.918, speed, {}}, rays, 0.007);

    // clang-format off
    s.push_back({"growing", lid, 4.058, speed, {{straight(640, 34, 640, 66)}}, Weave{100, 0.5, Swing::across, 60, 3}});
    s.push_back({"circling", lid, 4.196, speed, {{straight(662, 88, 662, 118)}}, Weave{60, 2, Swing::circle}});

    s.push_back({"helix", bend, 4.327, speed, {{straight(-105, 5, -75, 32)}}});
    s.push_back({"S over", bend, 4.497, speed, placed(s_shape(14, 180), -35, 18, 90)});
    // The taught places are those of a helix, to a micrometre: from 5 to 30 degrees over the bend, 40 mm across.
    s.push_back({"taught", bend, 4.68, speed, {{straight(20, 60 * radians(5), 60, 60 * radians(30))}}});
    s.push_back({"on triangles", bend_middle, 4.878, speed, s_shape(10, 200)});

    s.push_back({"eights", shoulder, 5.027, speed, {{straight(62, -112, 84, -86)}}, Weave{60, 3, Swing::eight}});
    s.push_back({"teeth", shoulder, 5.173, speed, {{straight(104, -66, 118, -36)}}, Weave{60, 3, Swing::teeth, 60, 3, 0.2}});
    s.push_back({"inwards", shoulder, 5.316, speed, backwards(placed(spiral_shape(2, 8, 3), 134, 2))});
    s.push_back({"corner", shoulder, 5.571, std::nullopt, backwards(placed(rounded_shape({{0, 0}, {14, 0}, {14, 14}}, 0), 160, 44))});
    // clang-format on
    std::vector<Track> dots;
    dots.reserve(4);
    for (int i = 0; i < 4; ++i)
        dots.push_back({{still(176 + 5 * i, 110 - 6 * i)}});
    add_copies(s, {"dot", shoulder, 5.697, 0.0, {}, std::nullopt, 0, 0.008}, dots, 0.007);
    return drawing;
}

} // namespace tray

#endif
