// Serial arms against printed values.
//
// [P]  PUMA 560: table and poses from P. Corke, robotics-toolbox-matlab on github.com, wiki page "Arm robot
// examples"; the
//      nominal pose and the solution of its inverse are printed with seven digits by the page "IKine6s" of
//      scilab.ninja. The Jacobian there was computed twice, by KDL and by numpy, with ten digits.
// [MR] K. Lynch, F. Park, "Modern Robotics", Cambridge University Press 2017, and the docstrings of the
// book's code,
//      github.com/NxRLab/ModernRobotics, packages/Python/modern_robotics/core.py and
//      packages/MATLAB/mr/IKinBody.m. The book works with screws; the tables below say the same arms in
//      Denavit and Hartenberg's words, worked out by hand from the printed axes.

#include "seamhold/arm/serial_arm.hpp"
#include "seamhold/number/units.hpp"

#include <doctest/doctest.h>

#include "support/arms.hpp"
#include "support/poses.hpp"

#include <array>
#include <cmath>
#include <numbers>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;
double const ten_digits = 0.6e-10; // half of the last printed digit, and rounding

Rotation<Base, Flange> const no_turn = Rotation<Base, Flange>::identity();

// The six-axis arm of [MR] example 4.5 in standard rows. Its base is turned by half a turn about z against
// the one of IKinBody.m, which is why both are asked for here.
SerialArm<6> textbook_arm(bool as_in_the_book) {
    double const w1 = 0.109, w2 = 0.082, l1 = 0.425, l2 = 0.392, h1 = 0.089, h2 = 0.095;
    double const turned = as_in_the_book ? 0 : pi;
    return SerialArm<6>::standard_dh({DhRow{h1, 0, -pi / 2, turned}, DhRow{0, l1, 0}, DhRow{0, l2, 0},
                                      DhRow{w1, 0, -pi / 2}, DhRow{h2, 0, pi / 2}, DhRow{w2, 0, 0, pi}});
}

} // namespace

TEST_CASE("PUMA 560 with all joints at zero, [P]") {
    auto const pose = SerialArm<6>::standard_dh(puma_560()).forward(std::array<double, 6>{});
    CHECK(difference(pose, {no_turn, {0.4521, -0.15005, 0.4318}}) <= 1e-15); // sums of printed lengths
}

TEST_CASE("PUMA 560 in its nominal pose, [P]") {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    std::array<double, 6> const nominal{0, pi / 4, pi, 0, pi / 4, 0};
    auto const pose = arm.forward(nominal);
    Rotation<Base, Flange> const printed_rotation{{{0, 0, 1}, {0, 1, 0}, {-1, 0, 0}}};
    CHECK(difference(pose.rotation, printed_rotation) <= 1e-15); // a handful of roundings
    CHECK(difference(pose.origin, Point<Base>{0.5963031, -0.15005, -0.0143543}) <=
          0.6e-7); // seven printed digits
    CHECK(difference(pose.origin, Point<Base>{0.5963031486, -0.15005, -0.0143542677}) <= ten_digits);

    // Rows vx, vy, vz, ωx, ωy, ωz.
    double const printed[6][6] = {{0.15005, 0.0143542677, 0.3196829758, 0, 0, 0},
                                  {0.5963031486, 0, 0, 0, 0, 0},
                                  {0, 0.5963031486, 0.2909744405, 0, 0, 0},
                                  {0, 0, 0, 0.7071067812, 0, 1},
                                  {0, -1, -1, 0, -1, 0},
                                  {1, 0, 0, -0.7071067812, 0, 0}};
    auto const columns = arm.jacobian(nominal);
    for (std::size_t i = 0; i < 6; ++i) {
        CAPTURE(i);
        auto const& [omega, v] = columns[i];
        CHECK(difference(v, Direction<Base>{printed[0][i], printed[1][i], printed[2][i]}) <= ten_digits);
        CHECK(difference(omega, Direction<Base>{printed[3][i], printed[4][i], printed[5][i]}) <= ten_digits);
    }
}

TEST_CASE("another set of joints of the PUMA 560 gives the same pose, [P]") {
    // The solution of its inverse with the arm to the left and the elbow up, ten digits.
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    auto const nominal = arm.forward(std::array<double, 6>{0, pi / 4, pi, 0, pi / 4, 0});
    auto const other = arm.forward(std::array<double, 6>{2.6485612092, -3.9269908170, 0.0939558327,
                                                         2.5325594371, 0.9743495849, 0.3733995768});
    // Six angles, each off by half of the tenth place, on levers up to 1 m.
    CHECK(difference(other, nominal) <= 6 * ten_digits);
}

TEST_CASE("a six-axis arm at two right angles, [MR] example 4.5 (from memory)") {
    // The book's flange frame at zero has its x along −x of the base; rows above end in it.
    auto const arm = textbook_arm(true);
    Rotation<Base, Flange> const at_zero{{{-1, 0, 0}, {0, 0, 1}, {0, 1, 0}}};
    CHECK(difference(arm.forward(std::array<double, 6>{}), {at_zero, {0.817, 0.191, -0.006}}) <= 1e-15);
    auto const pose = arm.forward(std::array<double, 6>{0, -pi / 2, 0, 0, pi / 2, 0});
    Rotation<Base, Flange> const printed{{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}};
    CHECK(difference(pose.rotation, printed) <= 1e-15);
    CHECK(difference(pose.origin, Point<Base>{0.095, 0.109, 0.988}) <= 1e-15);
}

TEST_CASE("the six-axis arm at the joints that the inverse found, [MR] IKinBody.m") {
    auto const arm = textbook_arm(false);
    Rotation<Base, Flange> const at_zero{{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}};
    CHECK(difference(arm.forward(std::array<double, 6>{}), {at_zero, {-0.817, -0.191, -0.006}}) <= 1e-15);
    Pose<Base, Flange> const wanted{{{{0, 1, 0}, {0, 0, -1}, {-1, 0, 0}}}, {-0.6, 0.1, 0.1}};
    // Printed with a loose stop (four digits, and off by up to 7e-4 rad in joint 2) …
    auto const loose = arm.forward(std::array{-0.4692, -0.8345, 1.3953, -0.5611, -0.4673, -1.5706});
    CHECK(difference(loose, wanted) <= 5e-3);
    // … and iterated to the end in extended precision, ten digits: six angles on levers up to 1 m.
    auto const tight = arm.forward(
        std::array{-0.4692446760, -0.8337999392, 1.3952563355, -0.5614563963, -0.4692446760, -pi / 2});
    CHECK(difference(tight, wanted) <= 6 * ten_digits);
}

TEST_CASE("a turning, a sliding and a screwing joint, [MR] FKinSpace") {
    // Screws (0,0,1, 4,0,0), (0,0,0, 0,1,0), (0,0,−1, −6,0,−0.1) at (π/2, 3, π). The first turns about the
    // line x = 0, y = 4 along z; the second slides along y; the third turns about −z through (0, 6) and
    // advances by 0.1 m a radian along −z: a turning and a sliding joint on one axis that move together. The
    // flange at zero is diag(−1, 1, −1) at (0, 6, 2).
    double const reach = 2; // the last axis runs through (0, 6), 2 m along y from the first
    std::array<DhRow, 4> const rows{
        DhRow{0, 0, -pi / 2},                              // turn about z, then z goes to y
        DhRow{reach, 0, -pi / 2, 0, JointKind::prismatic}, // slide along y, then z goes to −z
        DhRow{0, 0, 0},                                    // turn about −z
        DhRow{-2, 0, 0, pi, JointKind::prismatic}};        // advance along −z; the flange 2 m up
    auto const arm = SerialArm<4>::standard_dh(rows);
    struct Room; // the book's base: our first axis stands at (0, 4)
    Pose<Room, Base> const room_from_base{Rotation<Room, Base>::identity(), {0, 4, 0}};
    auto const at_zero = room_from_base * arm.forward(std::array<double, 4>{});
    CHECK(difference(at_zero, Pose<Room, Flange>{{{{-1, 0, 0}, {0, 1, 0}, {0, 0, -1}}}, {0, 6, 2}}) <= 2e-15);
    auto const pose = room_from_base * arm.forward(std::array{pi / 2, 3.0, pi, 0.1 * pi});
    Pose<Room, Flange> const printed{{{{0, 1, 0}, {1, 0, 0}, {0, 0, -1}}}, {-5, 4, 1.68584073}};
    CHECK(difference(pose.rotation, printed.rotation) <= 2e-15);
    CHECK(difference(pose.origin, printed.origin) <= 0.6e-8); // eight printed digits
}

TEST_CASE("Newton's steps for a planar arm of two unit links, [MR] example 6.1 (from memory)") {
    // From (0°, 30°) towards the pose that belongs to (30°, 90°): the book goes by the twist that leads there
    // in unit time, in flange axes, and the body Jacobian's pseudo-inverse. Printed iterates with four
    // decimals of a degree.
    auto const arm = SerialArm<2>::standard_dh({DhRow{0, 1, 0}, DhRow{0, 1, 0}});
    Pose<Base, Flange> const wanted{
        about_axis<Base, Flange>(Direction<Base>{0, 0, 1}, degrees(120)),
        {0.3660254037844387, 1.3660254037844387, 0}}; // cos 30° + cos 120°, sin 30° + sin 120°
    std::array<double, 2> q{0, degrees(30)};
    double const printed[3][2] = {{34.2346, 79.1769}, {29.9800, 90.2197}, {30.0000, 90.0000}};
    for (auto const& step : printed) {
        auto const now = arm.forward(q);
        auto const rest = inverse(now) * wanted;
        double const turn = std::atan2(rest.rotation.m[1][0], rest.rotation.m[0][0]);
        // The twist of a turn in the plane that ends at `rest`: v = G⁻¹(turn)·origin.
        double const a = std::sin(turn) / turn, b = (1 - std::cos(turn)) / turn;
        double const twist[3] = {turn, (a * rest.origin.x + b * rest.origin.y) / (a * a + b * b),
                                 (a * rest.origin.y - b * rest.origin.x) / (a * a + b * b)};
        auto const columns = arm.jacobian(q);
        double body[3][2];
        for (std::size_t i = 0; i < 2; ++i) {
            auto const v = inverse_times(now, columns[i].linear);
            body[0][i] = inverse_times(now, columns[i].angular).z;
            body[1][i] = v.x;
            body[2][i] = v.y;
        }
        double normal[2][2] = {}, right[2] = {};
        for (int row = 0; row < 3; ++row)
            for (int i = 0; i < 2; ++i) {
                right[i] += body[row][i] * twist[row];
                for (int k = 0; k < 2; ++k)
                    normal[i][k] += body[row][i] * body[row][k];
            }
        double const det = normal[0][0] * normal[1][1] - normal[0][1] * normal[1][0];
        q[0] += (right[0] * normal[1][1] - right[1] * normal[0][1]) / det;
        q[1] += (right[1] * normal[0][0] - right[0] * normal[1][0]) / det;
        CHECK(std::abs(in_degrees(q[0]) - step[0]) <= 0.6e-4); // half of the last printed digit
        CHECK(std::abs(in_degrees(q[1]) - step[1]) <= 0.6e-4);
    }
}
