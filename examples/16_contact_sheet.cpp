// All shapes and the whole alphabet, with the dimensions that a drawing gives. With the name of a folder it
// draws shapes.png and alphabet.png there (gnuplot). All numbers are invented. Returns 1 if a length worked
// out by hand is not met or a stroke of the alphabet has a corner.
#include "sheet_pictures.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::examples;

namespace {

// A clover leaf of the user's own: a template over its number.
struct Clover {
    template <class T> std::array<T, 2> operator()(T const& u) const {
        auto const radius = sin_cos(u * 3).cos * 0.003 + 0.009;
        auto const both = sin_cos(u);
        return {radius * both.cos, radius * both.sin};
    }
};

} // namespace

int main(int count, char** words) {
    double const mm = millimetres(1), turn = 2 * std::numbers::pi;
    // [stitches]
    DrawnShape const joint_ring = ring(20 * mm, 6 * mm);       // diameter, overlap along the circle
    DrawnShape const c = c_stitch(20 * mm, 12 * mm);           // diameter, opening
    DrawnShape const clamp = staple(24 * mm, 12 * mm, 3 * mm); // back, legs, corner radius
    DrawnShape const s = s_stitch(12 * mm);
    DrawnShape const hole = slot(26 * mm, 10 * mm, 4 * mm);
    DrawnShape const bracket =
        polyline({{0, 0}, {0, 14 * mm}, {12 * mm, 20 * mm}, {26 * mm, 8 * mm}}, 3 * mm);
    DrawnShape const sharp = polyline({{0, 0}, {0, 14 * mm}, {12 * mm, 20 * mm}, {26 * mm, 8 * mm}});
    DrawnShape const frame =
        closed_polyline({{0, 0}, {26 * mm, 0}, {26 * mm, 12 * mm}, {14 * mm, 20 * mm}, {0, 20 * mm}}, 3 * mm);
    // [stitches] end
    // [curves]
    DrawnShape const swings = wave(8 * mm, 3 * mm, 4 * 8 * mm);      // pitch, amplitude, length along x
    DrawnShape const outwards = spiral_out(2 * mm, 10 * mm, 3 * mm); // inner and outer radius, pitch
    DrawnShape const inwards = spiral_in(2 * mm, 10 * mm, 3 * mm);
    DrawnShape const oval = ellipse(26 * mm, 14 * mm); // over all
    DrawnShape const taught =
        smooth_curve({{0, 0}, {6 * mm, 5 * mm}, {13 * mm, 4 * mm}, {19 * mm, 12 * mm}, {28 * mm, 14 * mm}});
    DrawnShape const island = smooth_loop({{0, 0},
                                           {14 * mm, -3 * mm},
                                           {24 * mm, 4 * mm},
                                           {16 * mm, 11 * mm},
                                           {9 * mm, 16 * mm},
                                           {-1 * mm, 11 * mm}});
    DrawnShape const clover = curve_shape(Clover{}, 0, turn); // any curve of yours, by any parameter
    // [curves] end
    // [patterns]
    DrawnShape const dash = straight_between({-3 * mm, 0}, {3 * mm, 0});
    auto const row = row_of(dash.moved(0, 0, degrees(60)), 5, {6 * mm, 0});
    auto const grid = grid_of(dash, 3, 4, {10 * mm, 0}, {0, 5 * mm}); // every second row backwards
    auto const star = ring_of(c_stitch(5 * mm, 4 * mm).mirrored({0, 0}, degrees(90)), 7, {0, 0}, 18 * mm);
    auto const upright = ring_of(c_stitch(5 * mm, 4 * mm), 7, {0, 0}, 18 * mm, 0, OnRing::upright);
    // [patterns] end
    DrawnShape const leg = straight_between({0, 0}, {18 * mm, 0});
    DrawnShape const hook = leg.joined(arc_around({18 * mm, 6 * mm}, 6 * mm, degrees(-90), degrees(180)))
                                .joined(straight_between({18 * mm, 12 * mm}, {8 * mm, 12 * mm}));

    std::vector<Drawing> const sheet{
        {"straight", "25 mm", {straight_between({0, 0}, {25 * mm, 0})}},
        {"arc", "radius 14, turn 130°", {arc_around({0, 0}, 14 * mm, degrees(25), degrees(130))}},
        {"circle", "diameter 20", {circle_around({0, 0}, 20 * mm)}},
        {"ring", "diameter 20, overlap 6", {joint_ring}},
        {"C", "diameter 20, opening 12", {c}},
        {"staple", "back 24, legs 12, corners 3", {clamp}},
        {"S", "diameter 12, turn 180° each", {s}},
        {"slot", "26 by 10, overlap 4", {hole}},
        {"polyline", "4 points, corners kept", {sharp}},
        {"polyline, rounded", "the same, corners 3", {bracket}},
        {"closed polyline", "5 points, corners 3", {frame}},
        {"wave", "pitch 8, amplitude 3, 4 pitches", {swings}},
        {"spiral out", "radius 2 to 10, pitch 3", {outwards}},
        {"spiral in", "radius 10 to 2, pitch 3", {inwards}},
        {"ellipse", "26 by 14", {oval}},
        {"smooth curve", "through 5 taught points", {taught}},
        {"smooth loop", "through 6 taught points", {island}},
        {"your own curve", "r = 9 + 3 cos 3φ", {clover}},
        {"row", "5, step 6", row},
        {"grid, there and back", "3 by 4, steps 10 and 5", grid},
        {"ring of stitches", "7 C of 5 on diameter 18", star},
        {"ring of stitches, upright", "the same", upright},
        {"joined", "straight, arc, straight", {hook}},
        {"mirrored", "the S, in the x axis", {s.mirrored({0, 0}, 0)}},
        {"part", "the slot, from 8 to 50", {part_of(hole, 8 * mm, 50 * mm)}}};
    for (auto const& drawing : sheet) {
        auto const box = extent_of(drawing.shapes);
        std::printf("%-22s %-32s %7.2f mm of weld in %5.1f by %4.1f mm\n", drawing.name.c_str(),
                    drawing.dimensions.c_str(), in_millimetres(length_of(drawing.shapes)),
                    in_millimetres(box.width()), in_millimetres(box.height()));
    }

    // [lettering]
    LetterSize const size{.height = 7 * mm};
    std::string const number = "HP-TRAY 07/26.B";
    double const width = text_width(number, size); // to set it about a middle
    FacePoint const start{109 * mm - width / 2, -50 * mm};
    Lettering const line = lettering(number, size, StraightBaseline{start});
    Lettering const uphill =
        lettering("LOT 3198+2", {.height = 5 * mm}, StraightBaseline{{88 * mm, -88 * mm}, degrees(15)});
    FacePoint const middle{32 * mm, -57 * mm};
    Lettering const outside =
        lettering("LID 35 DEG", {.height = 6 * mm}, RoundBaseline{middle, 20 * mm, degrees(90)});
    Lettering const inside = lettering("NO 40-17", {.height = 6 * mm, .spacing = 0.4},
                                       RoundBaseline{middle, 27 * mm, degrees(-90), true});
    // [lettering] end
    std::printf("%s: %zu strokes, %.1f mm of weld and %.1f mm between strokes, %.1f mm wide\n",
                number.c_str(), line.strokes.size(), in_millimetres(line.length()),
                in_millimetres(line.air_length()), in_millimetres(line.width));

    std::vector<Lettering> alphabet;
    double y = 33;
    for (auto const* row_of_letters :
         {"ABCDEFGHIJKLMN", "OPQRSTUVWXYZ", "0123456789", "-./+  8B3S52Z0OQ1I7"}) {
        alphabet.push_back(lettering(row_of_letters, {10 * mm, 0.3}, StraightBaseline{{0, y * mm}}));
        y -= 16;
    }
    std::size_t corners = 0;
    for (auto const& letters : alphabet)
        for (auto const& stroke : letters.strokes)
            corners += stroke.shape.corners().size();

    if (count > 1) {
        draw_shapes(words[1], sheet);
        draw_alphabet(words[1], alphabet,
                      {{line, "on a line, 7 mm high", {109 * mm, -56 * mm}},
                       {uphill, "on a line at 15°, 5 mm high", {120 * mm, -89 * mm}},
                       {outside, "outside a circle of radius 20", {32 * mm, -52 * mm}},
                       {inside, "inside one of radius 27", {32 * mm, -72 * mm}}});
    }

    // By hand, mm: a ring and its overlap, three sides less what three corners save, half circles.
    double const off = std::abs(joint_ring.length() - (10 * turn + 6) * mm) +
                       std::abs(clamp.length() - (48 - 12 + 1.5 * turn) * mm) +
                       std::abs(s.length() - 6 * turn * mm) +
                       std::abs(c.length() - 10 * (turn - 2 * std::asin(0.6)) * mm) +
                       std::abs(hole.length() - (32 + 5 * turn + 4) * mm);
    return off < 1e-15 && corners == 0 ? 0 : 1;
}
