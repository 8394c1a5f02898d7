#ifndef SEAMHOLD_TESTS_ARM_WRIST_ARMS_HPP
#define SEAMHOLD_TESTS_ARM_WRIST_ARMS_HPP

#include "seamhold/arm/serial_arm.hpp"
#include "support/arms.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"

#include <array>
#include <numbers>
#include <string>
#include <vector>

// Arms with a spherical wrist.

namespace seamhold::test {

/// An arm as written in a table, and what it is called.
struct NamedArm {
    std::string name;
    SerialArm<6> arm;
};

/// An invented industrial arm in standard rows: axis 2 stands 0.35 m ahead of axis 1 and 0.8 m up, upper arm
/// 1.1 m, axis 4 runs 0.2 m above axis 3, forearm 1.4 m, flange 0.2 m beyond the wrist centre. At zero the
/// upper arm is upright and the forearm level, ahead.
inline std::array<DhRow, 6> industrial_rows() {
    double const quarter = std::numbers::pi / 2;
    return {DhRow{0.8, 0.35, -quarter}, DhRow{0, 1.1, 0, -quarter}, DhRow{0, 0.2, -quarter},
            DhRow{1.4, 0, quarter},     DhRow{0, 0, -quarter},      DhRow{0.2, 0, 0}};
}

/// The same arm in modified rows: a and α belong to the link before.
inline std::array<DhRow, 6> industrial_rows_modified() {
    double const quarter = std::numbers::pi / 2;
    return {DhRow{0.8, 0, 0},     DhRow{0, 0.35, -quarter, -quarter},
            DhRow{0, 1.1, 0},     DhRow{1.4, 0.2, -quarter},
            DhRow{0, 0, quarter}, DhRow{0.2, 0, -quarter}};
}

/// A random arm with a spherical wrist, in either convention, with any last transform: any lengths within 0.5
/// m (upper arm and forearm at least 0.1 m), any constant angles, axes that point either way, and an axis 4
/// at any angle to axis 3. About every third has axis 2 meet axis 1, about every third no offset of the wrist
/// centre.
inline SerialArm<6> random_wrist_arm(Random& random) {
    double const quarter = std::numbers::pi / 2;
    auto const length = [&random] { return random.uniform(-0.5, 0.5); };
    auto const angle = [&random] { return random.uniform(-std::numbers::pi, std::numbers::pi); };
    auto const either = [&random](double a, double b) { return random.unit() < 0.5 ? a : b; };
    double const ahead = random.unit() < 1.0 / 3 ? 0 : length();
    double const upper = either(-1, 1) * random.uniform(0.1, 0.5);
    double const beside = random.unit() < 1.0 / 3 ? 0 : length(); // of the forearm, along axes 2 and 3
    // The forearm runs beside axis 3 by the length along axis 4, as its twist allows, and by the common
    // normal.
    double const twist = either(quarter, random.uniform(0.3, 2.8));
    double const along = random.uniform(0.1, 0.5), normal = length();
    double const offset_3 = beside - along * std::cos(twist);
    std::array<double, 6> theta{};
    for (double& t : theta)
        t = angle();
    auto const last = random_pose<Flange, Flange>(random, 0.2);
    double const first = either(-quarter, quarter), second = either(0, std::numbers::pi);
    double const fourth = either(-quarter, quarter), fifth = either(-quarter, quarter);
    double const up = length();
    if (random.unit() < 0.5)
        return SerialArm<6>::standard_dh(
            {DhRow{up, ahead, first, theta[0]}, DhRow{0, upper, second, theta[1]},
             DhRow{offset_3, normal, twist, theta[2]}, DhRow{along, 0, fourth, theta[3]},
             DhRow{0, 0, fifth, theta[4]}, DhRow{length(), length(), angle(), theta[5]}},
            last);
    return SerialArm<6>::modified_dh(
        {DhRow{up, length(), angle(), theta[0]}, DhRow{0, ahead, first, theta[1]},
         DhRow{offset_3, upper, second, theta[2]}, DhRow{along, normal, twist, theta[3]},
         DhRow{0, 0, fourth, theta[4]}, DhRow{length(), 0, fifth, theta[5]}},
        last);
}

/// The arms that every law is asked of: two known ones, in both conventions, and random ones.
inline std::vector<NamedArm> wrist_arms(Random& random) {
    std::vector<NamedArm> arms{
        {"PUMA 560", SerialArm<6>::standard_dh(puma_560())},
        {"industrial, standard", SerialArm<6>::standard_dh(industrial_rows())},
        {"industrial, modified", SerialArm<6>::modified_dh(industrial_rows_modified())}};
    for (int i = 0; i < 40; ++i)
        arms.push_back({"random " + std::to_string(i), random_wrist_arm(random)});
    return arms;
}

/// Joint values of an arm of six turning joints, within ± π rad.
inline std::array<double, 6> random_turns(Random& random) {
    std::array<double, 6> q{};
    for (double& angle : q)
        angle = random.uniform(-std::numbers::pi, std::numbers::pi);
    return q;
}

} // namespace seamhold::test

#endif
