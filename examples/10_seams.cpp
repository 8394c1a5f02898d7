// Seams on an inclined face: shapes by arc length, laid on the tray's shoulder, travelled at a constant
// speed, one of them weaving. Every number is invented. Returns 1 if a length, a normal or a speed worked out
// by hand is not met.
#include "seamhold/frame.hpp"
#include "seamhold/number.hpp"
#include "seamhold/seam.hpp"

#include <cmath>
#include <cstdio>

using namespace seamhold;

// How fast the spot runs `time` seconds after the seam's start, m/s.
double spot_speed(AnySeam const& seam, double time) {
    auto const p = seam.at(Taylor<double, 1>::variable(time)).position;
    return std::hypot(p.x.derivative(1), p.y.derivative(1), p.z.derivative(1));
}

int main() {
    // [surface]
    // The shoulder starts at the lid's end, x = 700 mm, and falls away by 35°.
    Plane<> const shoulder{{from_zyx_angles<Part, Face>(0, degrees(35), 0), {0.7, 0, 0}}};
    SurfacePoint<double> const place = shoulder.at(0.05, 0.02); // 50 mm down the slope, 20 mm across
    // [surface] end
    // [seams]
    double const speed = metres_per_minute(16);
    FacePoint const middle{0.08, 0};
    AnySeam const stitch = at_speed(straight_between({0.02, -0.05}, {0.02, 0.05}), shoulder, speed);
    AnySeam const corner = at_speed(arc_around(middle, 0.03, degrees(200), degrees(-140)), shoulder, speed);
    AnySeam const ring = at_speed(circle_around(middle, 0.02), shoulder, speed,
                                  Weave{.frequency = 300, .amplitude = millimetres(0.5)});
    AnySeam const tack = held({0.14, 0.01}, shoulder, milliseconds(80));
    // [seams] end
    std::printf("a place on the shoulder: (%.2f, %.2f, %.2f) mm, normal (%.4f, %.4f, %.4f)\n",
                in_millimetres(place.position.x), in_millimetres(place.position.y),
                in_millimetres(place.position.z), place.normal.x, place.normal.y, place.normal.z);
    struct Named {
        char const* name;
        AnySeam const& seam;
    };
    for (auto const& [name, seam] :
         {Named{"stitch", stitch}, {"corner", corner}, {"ring", ring}, {"tack", tack}})
        std::printf("%s: %.2f mm in %.2f ms, spot at %.2f m/min when it starts\n", name,
                    in_millimetres(seam.length()), in_milliseconds(seam.duration()),
                    in_metres_per_minute(spot_speed(seam, 0)));

    // By hand: radius times turn, the sine and cosine of 35°, and the swing's A ω square to the way.
    double const swing = 0.0005 * 600 * 3.14159265358979;
    double const off =
        std::abs(corner.length() - 0.03 * degrees(140)) + std::abs(place.normal.x - 0.573576436351046) +
        std::abs(place.normal.z - 0.819152044288992) + std::abs(spot_speed(stitch, 0.1) - speed) +
        std::abs(spot_speed(ring, 0) - std::hypot(speed, swing)) + spot_speed(tack, 0.01);
    return off < 1e-14 ? 0 : 1; // a dozen roundings of numbers below one
}
