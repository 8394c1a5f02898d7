// Rotations and twists against printed values.
//
// [MR] K. Lynch, F. Park, "Modern Robotics", Cambridge University Press 2017; the numbers stand in the
// docstrings of the
//      book's code, github.com/NxRLab/ModernRobotics, packages/Python/modern_robotics/core.py, with eight
//      digits.
// [S]  S. Shepperd, "Quaternion from rotation matrix", J. Guidance and Control 1(3), 1978, 223–224 (from
// memory: the
//      four cases of the largest component).

#include "seamhold/frame/angles.hpp"
#include "seamhold/frame/eigen.hpp"
#include "seamhold/frame/pose.hpp"
#include "seamhold/frame/rotation.hpp"
#include "seamhold/frame/twist.hpp"
#include "seamhold/number/units.hpp"

#include <doctest/doctest.h>

#include "support/poses.hpp"

#include <cmath>
#include <initializer_list>
#include <limits>
#include <numbers>

using namespace seamhold;
using namespace seamhold::test;

struct Space;
struct Body;

namespace {

double const pi = std::numbers::pi;
double const rounding = 20 * std::numeric_limits<double>::epsilon(); // a few products of numbers up to three
double const eight_digits = 0.6e-8; // half of the last printed digit, and rounding
double const ten_digits = 0.6e-10;

// A rotation's axis times its angle, the angle from 0 to π.
Direction<Space> logarithm(Rotation<Space, Body> const& r) {
    auto const q = quaternion_of(r);
    Direction<Space> const axis{q.x, q.y, q.z};
    return (2 * std::atan2(norm(axis), q.w)) * unit(axis);
}

Rotation<Space, Body> exponential(Direction<Space> const& turn) {
    return about_axis<Space, Body>(unit(turn), norm(turn));
}

} // namespace

TEST_CASE("matrix exponential of a turn, [MR] MatrixExp3") {
    auto const r = exponential({1, 2, 3});
    Rotation<Space, Body> const printed{{{-0.69492056, 0.71352099, 0.08929286},
                                         {-0.19200697, -0.30378504, 0.93319235},
                                         {0.69297817, 0.6313497, 0.34810748}}};
    CHECK(difference(r, printed) <= eight_digits);
    // scipy, Rotation.from_rotvec([1, 2, 3]).as_quat(), w first, w ≥ 0.
    auto const q = quaternion_of(r);
    CHECK(std::abs(q.w - 0.2955511275) <= ten_digits);
    CHECK(std::abs(q.x + 0.25532186) <= eight_digits);
    CHECK(std::abs(q.y + 0.5106437201) <= ten_digits);
    CHECK(std::abs(q.z + 0.7659655801) <= ten_digits);
    // The shorter way round: 2π − √14 about the opposite axis.
    auto const back = logarithm(r);
    CHECK(difference(back, (-(2 * pi - std::sqrt(14.0)) / std::sqrt(14.0)) * Direction<Space>{1, 2, 3}) <=
          rounding);
    CHECK(difference(back, Direction<Space>{-0.6792519084, -1.3585038167, -2.0377557251}) <= ten_digits);
}

TEST_CASE("matrix logarithm, [MR] MatrixLog3") {
    Rotation<Space, Body> const r{{{0, 0, 1}, {1, 0, 0}, {0, 1, 0}}};
    CHECK(difference(logarithm(r), Direction<Space>{1.20919958, 1.20919958, 1.20919958}) <= eight_digits);
    double const exact = 2 * pi / (3 * std::sqrt(3.0));
    CHECK(difference(logarithm(r), Direction<Space>{exact, exact, exact}) <= rounding);
}

TEST_CASE("each largest component of the quaternion, [S]") {
    struct Case {
        Rotation<Space, Body> r;
        Quaternion<> q;
    };
    Case const half_turns[] = {{{{{-1, 0, 0}, {0, -1, 0}, {0, 0, 1}}}, {0, 0, 0, 1}},
                               {{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {0, 1, 0, 0}},
                               {{{{-1, 0, 0}, {0, 1, 0}, {0, 0, -1}}}, {0, 0, 1, 0}},
                               {{{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}}, {1, 0, 0, 0}}};
    for (auto const& [r, want] : half_turns) {
        auto const q = quaternion_of(r);
        CHECK(q.w == want.w);
        CHECK(std::abs(q.x) == want.x);
        CHECK(std::abs(q.y) == want.y);
        CHECK(std::abs(q.z) == want.z);
    }
    // 179° about each axis: w = cos 89.5°, the axis' own component sin 89.5°, both with ten digits from any
    // table.
    for (Direction<Space> const axis : {Direction<Space>{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}) {
        auto const q = quaternion_of(about_axis<Space, Body>(axis, degrees(179)));
        CHECK(std::abs(q.w - 0.0087265355) <= ten_digits);
        CHECK(difference(Direction<Space>{q.x, q.y, q.z}, 0.9999619231 * axis) <= ten_digits);
    }
    // 179° about (1, 1, 1)/√3: w = cos 89.5°, the others sin 89.5° / √3; ten digits by scipy.
    double const third = 1 / std::sqrt(3.0);
    auto const q =
        quaternion_of(about_axis<Space, Body>(Direction<Space>{third, third, third}, degrees(179)));
    CHECK(std::abs(q.w - 0.0087265355) <= ten_digits);
    CHECK(std::abs(q.x - 0.5773282855) <= ten_digits);
    CHECK(std::abs(q.y - 0.5773282855) <= ten_digits);
    CHECK(std::abs(q.z - 0.5773282855) <= ten_digits);
}

TEST_CASE("the nearest rotation, [MR] ProjectToSO3") {
    Eigen::Matrix3d given;
    given << 0.675, 0.150, 0.720, 0.370, 0.771, -0.511, -0.630, 0.619, 0.472;
    Rotation<Space, Body> const printed{{{0.67901136, 0.14894516, 0.71885945},
                                         {0.37320708, 0.77319584, -0.51272279},
                                         {-0.63218672, 0.61642804, 0.46942137}}};
    CHECK(difference(fit_to_matrix<Space, Body>(given).rotation, printed) <= eight_digits);
}

TEST_CASE("a screw motion and its twist, [MR] MatrixExp6 and MatrixLog6") {
    // Unit time of the twist ω = (π/2, 0, 0), v = (0, 2.35619449, 2.35619449) = (0, 3π/4, 3π/4), taken at the
    // origin of space, ends at a quarter turn about x with its origin at (0, 0, 3).
    Direction<Space> const omega{pi / 2, 0, 0};
    Direction<Space> const velocity{0, 3 * pi / 4, 3 * pi / 4};
    // No velocity along ω, so it is a plain turn about the line through ω × v / |ω|².
    auto const d = (1 / squared_norm(omega)) * cross(omega, velocity);
    Point<Space> const pivot{d.x, d.y, d.z};
    using T = Taylor<double, 1>;
    auto const turn = about_axis<Space, Body>(unit(omega), norm(omega) * T::variable(1.0));
    Direction<Body> const lever{-pivot.x, -pivot.y, -pivot.z}; // at time 0 both frames coincide
    Pose<Space, Body, T> const pose{turn, pivot + turn * lever};

    auto const end = value_of(pose);
    Pose<Space, Body> const printed{{{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}}, {0, 0, 3}};
    CHECK(difference(end, printed) <= rounding);
    auto const at_origin = moved_by(twist_of(pose), Point<Space>{0, 0, 0} - end.origin);
    CHECK(difference(at_origin.angular, omega) <= rounding);
    CHECK(difference(at_origin.linear, velocity) <= 2 * rounding); // sums of numbers up to 5
}

TEST_CASE("the adjoint of a pose, [MR] Adjoint") {
    Pose<Space, Body> const pose{{{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}}, {0, 0, 3}};
    double const printed[6][6] = {{1, 0, 0, 0, 0, 0}, {0, 0, -1, 0, 0, 0}, {0, 1, 0, 0, 0, 0},
                                  {0, 0, 3, 1, 0, 0}, {3, 0, 0, 0, 0, -1}, {0, 0, 0, 0, 1, 0}};
    for (int column = 0; column < 6; ++column) {
        double unit_twist[6] = {};
        unit_twist[column] = 1;
        Direction<Body> const omega{unit_twist[0], unit_twist[1], unit_twist[2]};
        Direction<Body> const velocity{unit_twist[3], unit_twist[4], unit_twist[5]};
        // Turned into the axes of space, and taken at the origin of space.
        Twist<Space> const at_body{pose * omega, pose * velocity};
        auto const at_space = moved_by(at_body, Point<Space>{0, 0, 0} - pose.origin);
        double const got[6] = {at_space.angular.x, at_space.angular.y, at_space.angular.z,
                               at_space.linear.x,  at_space.linear.y,  at_space.linear.z};
        for (int row = 0; row < 6; ++row)
            CHECK(got[row] == printed[row][column]);
    }
}

TEST_CASE("angles about x, new y, newest z, by scipy") {
    // scipy: slerp at 0.3 from Rotation.from_euler("XYZ", [10, 20, 30] deg) to [40, -50, 60] deg is the
    // quaternion w = 0.9477441348, x = 0.1154566794, y = −0.0550258283, z = 0.2922720793; the two
    // are 77.1822959450° apart.
    auto const a = from_xyz_angles<Space, Body>(degrees(10), degrees(20), degrees(30));
    auto const b = from_xyz_angles<Space, Body>(degrees(40), degrees(-50), degrees(60));
    auto const between = inverse(a) * b;
    auto const q = quaternion_of(between);
    Direction<Body> const axis{q.x, q.y, q.z};
    double const angle = 2 * std::atan2(norm(axis), q.w);
    CHECK(std::abs(in_degrees(angle) - 77.1822959450) <= ten_digits);
    auto const p = quaternion_of(a * about_axis<Body, Body>(unit(axis), 0.3 * angle));
    CHECK(std::abs(p.w - 0.9477441348) <= ten_digits);
    CHECK(std::abs(p.x - 0.1154566794) <= ten_digits);
    CHECK(std::abs(p.y + 0.0550258283) <= ten_digits);
    CHECK(std::abs(p.z - 0.2922720793) <= ten_digits);
}
