// A head as it is: mirrors out of true, a focus table, a measured field map; a flat-field lens; and the
// volume that a head reaches. With the name of a folder it draws two pictures there (gnuplot). All numbers
// are invented. Returns 1 if the spot is not where it belongs.
#include "field_pictures.hpp"

#include "seamhold/head.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::examples;

namespace {

// Where the beam of two mirror angles crosses the plane z of the head frame, m.
template <class H> std::array<double, 2> found(H const& head, double x_mirror, double y_mirror, double z) {
    auto const ray = head.ray(Command<>{x_mirror, y_mirror, 0});
    double const way = (z - ray.origin.z) / ray.direction.z;
    return {ray.origin.x + way * ray.direction.x, ray.origin.y + way * ray.direction.y};
}

} // namespace

int main(int count, char** words) {
    // [ideal]
    Range const mirror{degrees(-10), degrees(10)};
    AxisRanges const ranges{mirror, mirror, {millimetres(-10), millimetres(10)}};
    MirrorPair<> const ideal = checked({.separation = millimetres(40),
                                        .focus_path = millimetres(540),
                                        .focus_ratio = 8,
                                        .x_range = mirror,
                                        .y_range = mirror,
                                        .focus_range = ranges.focus,
                                        .field_radius = millimetres(250)});
    // [ideal] end

    // [mirrors]
    // Start from the ideal pair and put out of true what was measured: the last axis leans by 2°, the first
    // mirror's surface lies 1 mm before its axis, the laser comes in 1° off.
    auto const true_pair = ideal_mirrors(millimetres(40));
    auto first = true_pair.first();
    auto last = true_pair.last();
    first.offset = millimetres(1);
    last.axis = unit(Direction<Head>{1, 0, std::tan(degrees(2))});
    auto const mirrors =
        traced_mirrors(true_pair.entry(), unit(Direction<Head>{1, std::tan(degrees(1)), 0}), first, last);

    // The focus axis by a table: optical path (m) against displacement of the lens (m).
    FocusTable const table({0.46, 0.50, 0.54, 0.58, 0.62}, {-0.0104, -0.0051, 0, 0.0049, 0.0096});
    auto const askew = real_head(HeadParts<OpenBeam>{mirrors, {}, table, ranges});

    Point<Head> const p{0.07, -0.05, 0.52};
    auto const aim = askew.aim(p); // Newton's method on the traced beam, one step
    // [mirrors] end
    auto const ray = askew.ray(aim.command);
    auto const at_focus = ray.origin + (ray.focus_path - ray.path) * ray.direction;
    double const miss = norm(at_focus - p);
    // The same point commanded as if the head were ideal.
    auto const ideal_words = ideal.command(p);
    auto const there = found(askew, ideal_words.x_mirror, ideal_words.y_mirror, p.z);
    double const ideal_miss = std::hypot(there[0] - p.x, there[1] - p.y);
    std::printf("aimed as it is: the focus is %.1e m off; aimed as if it were ideal: %.3f mm off\n", miss,
                in_millimetres(ideal_miss));

    // [map]
    // Marks burnt at 9 x 9 commands and measured on the plate; here the askew head stands for the real one.
    // What the ideal head would have needed to mark there is the true angle of the ideal head's mirrors.
    std::vector<FieldMark> marks;
    for (int i = -4; i <= 4; ++i)
        for (int k = -4; k <= 4; ++k) {
            double const x = degrees(2.6 * i), y = degrees(2.6 * k);
            auto const mark = found(askew, x, y, 0.5);
            auto const angles = ideal.command(Point<Head>{mark[0], mark[1], 0.5});
            marks.push_back({marks.size() + 1, {x, y}, {angles.x_mirror, angles.y_mirror}});
        }
    HeadParts<OpenBeam> parts{true_pair, {}, table, ranges};
    parts.map = fit_field_map(marks);
    auto const mapped = real_head(std::move(parts));
    auto const& report = mapped.parts().map->report(); // rms and worst residual, with the mark's row
    // [map] end
    double map_miss = 0;
    for (double x = -0.08; x <= 0.0801; x += 0.01)
        for (double y = -0.08; y <= 0.0801; y += 0.01) {
            auto const c = mapped.command(Point<Head>{x, y, 0.5});
            auto const spot = found(askew, c.x_mirror, c.y_mirror, 0.5);
            map_miss = std::max(map_miss, std::hypot(spot[0] - x, spot[1] - y));
        }
    std::printf("aimed by the map of %zu marks: %.2f um off at most (residual of the marks %.1e rad)\n",
                report.marks, in_micrometres(map_miss), report.worst);

    // [lens]
    // A flat-field lens behind the ideal mirrors: image height f·θ, chief rays nearly upright.
    FlatFieldLens<> lens{.focal_length = millimetres(510),
                         .exit_z = millimetres(60),
                         .working_distance = millimetres(440),
                         .depth = millimetres(80),
                         .x_slope = ChiefRaySlope<>::proportional(0.25),
                         .y_slope = ChiefRaySlope<>::proportional(0.2)};
    auto const corrected =
        real_head(HeadParts<FlatFieldLens<>>{true_pair, checked(lens), LinearFocus<>{0.44, 8}, ranges});
    auto const lens_aim = corrected.aim(p);
    // [lens] end
    auto const lens_ray = corrected.ray(lens_aim.command);
    auto const lens_focus = lens_ray.origin + (lens_ray.focus_path - lens_ray.path) * lens_ray.direction;
    double const lens_miss = norm(lens_focus - p);
    std::printf("through the flat-field lens: the focus is %.1e m off, %.1f degrees from upright\n",
                lens_miss, in_degrees(std::acos(lens_ray.direction.z)));

    // [volume]
    // What is reached with a tenth of every range kept free and the beam at most 18° from upright.
    WorkingVolume const volume(askew, {.margin = 0.1, .largest_angle = degrees(18)});
    Range const heights = volume.heights();
    double const aside = volume.reach(volume.middle(), {1, 0, 0}); // from its middle along x
    bool const reached = volume.contains({0.1, 0.05, 0.55});
    // [volume] end
    std::printf(
        "reached from z = %.1f to %.1f mm along the beam; %.1f mm from its middle along x; the point: %s\n",
        in_millimetres(heights.low), in_millimetres(heights.high), in_millimetres(aside),
        reached ? "yes" : "no");

    if (count > 1) {
        auto const grid = [&](auto const& head) {
            return field_grid([&](double x, double y) { return found(head, x, y, 0.5); }, mirror);
        };
        draw_field(words[1], grid(ideal), grid(askew), grid(corrected));
        draw_volume(words[1], volume);
    }
    bool const held = status_of(aim) == Status::ok && miss < 1e-10 && ideal_miss > 1e-3 && map_miss < 5e-6 &&
                      status_of(lens_aim) == Status::ok && lens_miss < 1e-10 && reached;
    return held ? 0 : 1;
}
