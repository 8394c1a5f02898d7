// The drawing of the main job: 19 seams on the lid and the shoulder.
#ifndef TRAY_LID_AND_SHOULDER_HPP
#define TRAY_LID_AND_SHOULDER_HPP

#include "drawing.hpp"

namespace tray {

/// The same numbers as in tray.toml and tray_commanded.toml: millimetres, degrees, seconds.
inline Drawing lid_and_shoulder() {
    constexpr std::size_t lid = 0, shoulder = 1;
    constexpr double speed = 16.0 / 60.0; // m/s, every seam: 16 m/min
    constexpr Weave fast_weave{300, 0.5};
    std::vector<Face> const faces{
        {placed({0, 0, 0}, 0, 0, 0)},
        {placed({700, 0, 0}, 0, 35, 0)}, // starts at the lid's end and falls away
    };
    return {faces,
            {
                {"L01", lid, 0.72, speed, {{straight(18, -128, 90, -128)}}},
                {"L02", lid, 1.005, speed, {{straight(118, -110, 118, -45)}}, fast_weave},
                {"L03", lid, 1.265, speed, {{arc(175, 0, 10, -90, 360)}}},
                {"L04", lid, 1.515, speed, {{arc(222, 55, 32, 200, -140)}}},
                {"L05", lid, 1.825, speed, {{straight(280, 138, 340, 138)}}},
                {"L06", lid, 2.065, speed, {{straight(366, 112, 366, 50)}}, fast_weave},
                {"L07", lid, 2.315, speed, {{arc(400, -5, 11, 90, -360)}}},
                {"L08", lid, 2.59, speed, {{straight(425, -55, 478, -95)}}},
                {"L09", lid, 2.855, speed, {{arc(515, -105, 22, 180, 180)}}},
                {"L10", lid, 3.13, speed, {{straight(548, -75, 548, -15)}}, fast_weave},
                {"L11", lid, 3.37, speed, {{arc(570, 35, 9, -90, 360)}}},
                {"L12", lid, 3.60, speed, {{straight(580, 85, 620, 128)}}, std::nullopt, 2},
                {"L13", lid, 3.835, speed, {{straight(650, 120, 650, 58)}}},
                {"L14", lid, 4.085, speed, {{arc(670, 10, 10, 90, 360)}}},
                {"S01", shoulder, 4.335, speed, {{straight(22, -45, 22, -118)}}},
                {"S02", shoulder, 4.625, speed, {{straight(45, -120, 105, -85)}}, fast_weave},
                {"S03", shoulder, 4.905, speed, {{arc(110, -30, 12, 180, 360)}}},
                {"S04", shoulder, 5.205, speed, {{arc(145, 45, 32, 200, -130)}}},
                {"S05", shoulder, 5.495, speed, {{straight(175, 120, 230, 92)}}},
            },
            {}};
}

} // namespace tray

#endif
