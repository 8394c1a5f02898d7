#include "seamhold/limit/report.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/any_face.hpp"
#include "seamhold/seam/extent.hpp"
#include "seamhold/seam/lettering.hpp"
#include "seamhold/seam/travel_by.hpp"

#include <algorithm>
#include <string>
#include <vector>

// Common practice, no source: lettering within a plate of 50 mm × 100 mm at 15 m/min stays within an ordinary
// head's limits.

using namespace seamhold;
using namespace seamhold::test;

namespace {

HeadDynamics ordinary() { return {20, 1.5e4, 4e3, milliseconds(0.5), milliseconds(2), 0.5, milliseconds(5)}; }

/// Four lines on the plate, every sign of the alphabet, as one seam a stroke with 20 ms between.
std::vector<ScheduledSeam> lettered(double start) {
    AnyFace const plate = Plane<>{Pose<Part, Face>::identity()};
    std::vector<ScheduledSeam> seams;
    std::vector<DrawnShape> all;
    char const* const lines[] = {"ABCDEFGHIJ", "KLMNOPQRST", "UVWXYZ-./+", "0123456789"};
    for (int i = 0; i < 4; ++i) {
        auto const text = lettering(lines[i], {0.008, 0.25}, StraightBaseline{{0.003, 0.038 - 0.0115 * i}});
        for (auto const& stroke : text.strokes) {
            AnySeam const seam = at_speed(path_on(stroke.shape, plate).path, metres_per_minute(15));
            seams.push_back({"stroke " + std::to_string(seams.size() + 1), start, seam});
            start += seam.duration() + 0.02;
            all.push_back(stroke.shape);
        }
    }
    auto const extent = extent_of(all);
    CHECK(extent.low_x >= 0);
    CHECK(extent.low_y >= 0);
    CHECK(extent.high_x <= 0.1);
    CHECK(extent.high_y <= 0.05);
    CHECK(extent.width() > 0.06); // it fills the plate
    CHECK(extent.height() > 0.04);
    return seams;
}

std::vector<SeamReport> reported(AnyFlangeMotion const& flange) {
    auto h = head();
    h.focus_path = 0.54;
    AnyChain const chain{flange, AnyPartMotion(Rest<Cell, Part>{Pose<Cell, Part>::identity()}),
                         Pose<Flange, Head>::identity(), h};
    return report({chain, ordinary(), degrees(25), lettered(1)}, 1e-4);
}

Pose<Cell, Flange> looking_down(double x, double y) {
    return {{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {x, y, 0.5}};
}

} // namespace

TEST_CASE("the whole alphabet on a plate of 50 mm × 100 mm at 15 m/min, head at rest and sweeping") {
    AnyFlangeMotion const rest = Rest<Cell, Flange>{looking_down(0.05, 0.025)};
    // Over all of the lettering the head moves by about half the plate.
    AnyFlangeMotion const sweep = Steady<Cell, Flange>{looking_down(0.03, 0.025), {0.005, 0, 0}, 1};
    for (auto const& flange : {rest, sweep}) {
        auto const reports = reported(flange);
        CHECK(reports.size() > 40);
        double most = 0;
        for (auto const& r : reports) {
            CAPTURE(r.name);
            CAPTURE(to_string(r.binding()));
            CHECK(r.within());
            most = std::max(
                {most, r.peak(Limit::x_acceleration).utilisation, r.peak(Limit::y_acceleration).utilisation});
        }
        // The tightest bend is a twelfth of 8 mm: v²/r = 94 m/s² at half a metre turns a mirror with 94
        // rad/s², a hundred and sixtieth of the limit.
        CHECK(most > 0.002);
        CHECK(most < 0.02);
    }
}

TEST_CASE("two lines around a circle on the same plate") {
    AnyFace const plate = Plane<>{Pose<Part, Face>::identity()};
    auto const around = lettering("TR-204/A", {0.006, 0.25}, RoundBaseline{{0.05, 0.025}, 0.015, 1.5707963});
    std::vector<ScheduledSeam> seams;
    double start = 1;
    for (auto const& stroke : around.strokes) {
        AnySeam const seam = at_speed(path_on(stroke.shape, plate).path, metres_per_minute(15));
        seams.push_back({"stroke " + std::to_string(seams.size() + 1), start, seam});
        start += seam.duration() + 0.02;
    }
    auto h = head();
    h.focus_path = 0.54;
    AnyChain const chain{AnyFlangeMotion(Rest<Cell, Flange>{looking_down(0.05, 0.025)}),
                         AnyPartMotion(Rest<Cell, Part>{Pose<Cell, Part>::identity()}),
                         Pose<Flange, Head>::identity(), h};
    for (auto const& r : report({chain, ordinary(), degrees(25), seams}, 1e-4))
        CHECK(r.within());
}
