#include "seamhold/arm/wrist_inverse.hpp"

#include <doctest/doctest.h>

#include "arm/wrist_arms.hpp"
#include "seamhold/number/interval.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <boost/math/constants/constants.hpp>
#include <boost/multiprecision/cpp_bin_float.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

// The inverse at intervals. The exact result that they must contain is that of the same arm in fifty digits
// of Boost.Multiprecision; that those joints are right is shown in fifty digits too, by forward.

using namespace seamhold;
using namespace seamhold::test;

namespace {
using Fifty =
    boost::multiprecision::number<boost::multiprecision::cpp_bin_float<50>, boost::multiprecision::et_off>;
} // namespace

namespace seamhold {
template <> struct NumberTraits<Fifty> {
    static constexpr int rank = 1;
    static double value(Fifty const& x) { return static_cast<double>(x); }
    static bool finite(Fifty const& x) { return is_finite(static_cast<double>(x)); }
};
} // namespace seamhold

namespace {

// Rounding an inner number to double rounds towards the middle or by one unit: exact comparison in fifty
// digits.
bool holds(Interval const& x, Fifty const& exact) { return Fifty(x.low) <= exact && exact <= Fifty(x.high); }

double least_of(ArmClearance<double> const& c) {
    return std::min({c.shoulder, c.stretched, c.folded, c.elbow, c.wrist});
}

// A pose as it moves and turns; its numbers at the instant 0 are doubles, so that all types start alike.
struct Sweep {
    Quaternion<double> turn;
    Direction<Base> rate; // of the vector part of the quaternion, 1/s
    Point<Base> origin;
    Direction<Base> velocity, bow;

    template <class T> Pose<Base, Flange, T> at(T const& t) const {
        Quaternion<T> const q{number_cast<T>(turn.w), t * rate.x + turn.x, t * rate.y + turn.y,
                              t * rate.z + turn.z};
        auto const along = [&t](double start, double v, double a) { return sqr(t) * a + (t * v + start); };
        return {rotation_of<Base, Flange>(q),
                {along(origin.x, velocity.x, bow.x), along(origin.y, velocity.y, bow.y),
                 along(origin.z, velocity.z, bow.z)}};
    }
};

Sweep random_sweep(Random& random, Pose<Base, Flange> const& through) {
    auto const vector = [&random](double most) {
        return Direction<Base>{random.uniform(-most, most), random.uniform(-most, most),
                               random.uniform(-most, most)};
    };
    return {quaternion_of(through.rotation), vector(0.5), through.origin, vector(0.4), vector(1)};
}

template <class T> std::array<T, 11> all_numbers(ArmSolution<T> const& s) {
    auto const& c = s.clearance;
    return {s.joints[0], s.joints[1], s.joints[2], s.joints[3], s.joints[4], s.joints[5],
            c.shoulder,  c.stretched, c.folded,    c.elbow,     c.wrist};
}

struct Case {
    SerialArm<6> arm;
    WristInverse inverse;
    Sweep sweep;
    ArmBranch branch;
    std::array<double, 6> joints; // at the instant 0
};

enum class Arms { known, random_too };

// Random branches and sweeps, at least so far from all singularities.
std::vector<Case> random_cases(Random& random, Arms arms, std::size_t count, double distance) {
    std::vector<Case> cases;
    while (cases.size() < count) {
        auto const kind = cases.size() % (arms == Arms::known ? 2 : 3);
        auto const arm = kind == 0   ? SerialArm<6>::standard_dh(puma_560())
                         : kind == 1 ? SerialArm<6>::modified_dh(industrial_rows_modified())
                                     : random_wrist_arm(random);
        WristInverse const inverse(arm);
        auto const q = random_turns(random);
        auto const pose = arm.forward(q);
        auto const branch = inverse.branch_of(q);
        if (least_of(inverse.at(pose, branch, q).clearance) >= distance)
            cases.push_back({arm, inverse, random_sweep(random, pose), branch, q});
    }
    return cases;
}

} // namespace

TEST_CASE("angles of quarter turns and of any numbers, in fifty digits and enclosed") {
    Fifty const half_turn = boost::math::constants::pi<Fifty>();
    Random random(610);
    std::vector<std::array<double, 2>> places{{1, 0}, {0, 1}, {-1, 0}, {0, -1}, {1, 1}, {-1, -1}};
    for (int n = 0; n < 100; ++n)
        places.push_back({random.uniform(-1, 1), random.uniform(-1, 1)});
    for (auto const& [x, y] : places)
        for (int turns = -2; turns <= 2; ++turns) {
            Fifty const wanted = atan2(Fifty(y), Fifty(x)) + 2 * turns * half_turn;
            auto const near = static_cast<double>(wanted) + 0.5;
            Fifty const exact = detail::angle_near(detail::Planar<Fifty>{x, y}, near, 0);
            CHECK(abs(exact - wanted) <= Fifty("1e-47"));
            auto const enclosed = detail::angle_near(detail::Planar<Interval>{x, y}, near, 0);
            CHECK(holds(enclosed, wanted));
            CHECK(enclosed.radius() <= 100 * epsilon); // eight half units of up to 16 rad, and more
            // A plain double: of the arc tangent, of the multiple of π/4, and of their sum.
            CHECK(std::abs(detail::angle_near(detail::Planar<double>{x, y}, near, 0) -
                           static_cast<double>(wanted)) <= 8 * epsilon * 3);
        }
}

TEST_CASE("in fifty digits forward returns the pose to the digits of the arm's own geometry") {
    Random random(611);
    for (auto const& c : random_cases(random, Arms::random_too, runs(30), 0.05)) {
        auto const pose = c.sweep.at(Fifty(0));
        auto const back = c.arm.forward(c.inverse.at(pose, c.branch, c.joints).joints);
        // What the inverse holds of the arm is rounded to doubles when it is made: a dozen roundings of 3 m.
        Fifty const allowed = 40 * epsilon;
        CHECK(abs(back.origin.x - pose.origin.x) <= allowed);
        CHECK(abs(back.origin.y - pose.origin.y) <= allowed);
        CHECK(abs(back.origin.z - pose.origin.z) <= allowed);
        for (int i = 0; i < 3; ++i)
            for (int k = 0; k < 3; ++k)
                CHECK(abs(back.rotation.m[i][k] - pose.rotation.m[i][k]) <= allowed);
    }
}

TEST_CASE("thin intervals contain the exact joints, clearances and their rates, and stay thin") {
    using Enclosed = Taylor<Interval, 3>;
    using Exact = Taylor<Fifty, 3>;
    Random random(612);
    for (auto const& c : random_cases(random, Arms::known, runs(30), 0.2)) {
        auto const exact =
            all_numbers(c.inverse.at(c.sweep.at(Exact::variable(Fifty(0))), c.branch, c.joints));
        auto const thin = all_numbers(c.inverse.at(c.sweep.at(Enclosed::variable(0)), c.branch, c.joints));
        for (std::size_t i = 0; i < exact.size(); ++i)
            for (int k = 0; k <= 3; ++k) {
                CAPTURE(i);
                CAPTURE(k);
                CHECK(holds(thin[i].coefficient[k], exact[i].coefficient[k]));
                // Some hundred roundings, ten times over, larger by one over a distance of 0.2, and each
                // order by two more.
                CHECK(thin[i].coefficient[k].radius() <= 10 * 100 * epsilon * std::pow(5, 1 + 2 * k));
            }
    }
}

TEST_CASE("boxes of poses contain what every pose in them gives") {
    Random random(613);
    for (auto const& c : random_cases(random, Arms::random_too, runs(15), 0.05))
        for (double const size : {1e-6, 1e-3, 0.03, 0.5}) {
            auto const pose = c.sweep.at(0.0);
            auto const& [x, y, z] = pose.origin;
            Direction<Flange> const axis{0.48, -0.6, 0.64};
            Pose<Base, Flange, Interval> const box{
                pose.rotation * about_axis<Flange, Flange>(axis, Interval(-size, size)),
                {{x, x + size}, {y - size, y}, Interval(z)}};
            auto const enclosed = all_numbers(c.inverse.at(box, c.branch, c.joints));
            for (auto const& number : enclosed)
                CHECK(number.low <= number.high); // no NaN
            for (int n = 0; n < 10; ++n) {
                // Corners first.
                double const u = n < 4 ? n % 2 : random.unit();
                double const v = n < 4 ? n / 2 : random.unit();
                double const angle = n < 8 ? 2 * (n % 2) - 1 : random.uniform(-1, 1);
                Pose<Base, Flange, Fifty> const inside{
                    pose.rotation * about_axis<Flange, Flange>(axis, Fifty(angle * size)),
                    {Fifty(u * (x + size) + (1 - u) * x), Fifty(v * (y - size) + (1 - v) * y), Fifty(z)}};
                auto const exact = all_numbers(c.inverse.at(inside, c.branch, c.joints));
                for (std::size_t i = 0; i < exact.size(); ++i) {
                    CAPTURE(i);
                    CAPTURE(size);
                    CHECK(holds(enclosed[i], exact[i]));
                }
            }
        }
}

TEST_CASE("stretches of time contain every instant's joints and derivatives, and long ones no NaN") {
    using Enclosed = Taylor<Interval, 7>;
    using Exact = Taylor<Fifty, 7>;
    Random random(614);
    for (auto const& c : random_cases(random, Arms::random_too, runs(9), 0.05))
        for (double const length : {0.001, 0.02, 1.0, 10.0}) {
            auto const enclosed =
                all_numbers(c.inverse.at(c.sweep.at(Enclosed::variable({0.0, length})), c.branch, c.joints));
            for (auto const& x : enclosed)
                for (auto const& coefficient : x.coefficient)
                    CHECK(coefficient.low <= coefficient.high);
            if (length > 0.1)
                continue; // may pass a singularity, where rates of single instants mean nothing
            for (int n = 0; n < 4; ++n) {
                Fifty const t = n < 2 ? n * length : random.uniform(0, length);
                auto const exact =
                    all_numbers(c.inverse.at(c.sweep.at(Exact::variable(t)), c.branch, c.joints));
                for (std::size_t i = 0; i < exact.size(); ++i)
                    for (int k = 0; k <= 7; ++k)
                        CHECK(holds(enclosed[i].coefficient[k], exact[i].coefficient[k]));
            }
        }
}

TEST_CASE("enclosures are narrow enough to prove with: joint accelerations from expansions over 5 ms") {
    using Enclosed = Taylor<Interval, 7>;
    Random random(615);
    double const half = 0.0025; // s
    // Not more of them at night: how narrow they are is no law, and rare motions have wider ones.
    for (auto const& c : random_cases(random, Arms::known, 60, 0.2)) {
        auto const s = c.inverse.at(c.sweep.at(Enclosed::variable({-half, half})), c.branch, c.joints);
        // The rest of an acceleration's expansion, 7·6·c₇·t⁵, beside accelerations of 1 to 10 rad/s².
        for (auto const& joint : s.joints)
            CHECK(42 * joint.coefficient[7].magnitude() * std::pow(half, 5) <= 0.01);
    }
}

TEST_CASE("a box of poses that a singularity cuts gets the whole line where a joint may be anything") {
    auto const arm = SerialArm<6>::standard_dh(industrial_rows());
    WristInverse const inverse(arm);
    Rotation<Base, Flange> const down{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
    // The wrist centre may be on axis 1.
    Pose<Base, Flange, Interval> over{number_cast<Interval>(down), {{-0.1, 0.1}, {-0.1, 0.1}, Interval(1.2)}};
    auto const around = inverse.at(over, arm_branches[0], {});
    CHECK(!is_finite(around.joints[0]));
    CHECK(around.clearance.shoulder.low <= 0);
    // Axes 4 and 6 may be in line: joints 4 and 6 unknown, joint 5 known. Here the flange looks along the
    // forearm.
    auto const aligned = arm.forward(std::array{0.2, 0.1, 0.1, 0.3, 0.0, 0.4});
    Pose<Base, Flange, Interval> const nearly{
        aligned.rotation * about_axis<Flange, Flange>(Direction<Flange>{0.6, 0.8, 0}, Interval(-0.01, 0.01)),
        number_cast<Interval>(aligned.origin)};
    auto const wrist = inverse.at(nearly, arm_branches[0], {0.2, 0.1, 0.1, 0.3, 0.0, 0.4});
    CHECK(!is_finite(wrist.joints[3]));
    CHECK(is_finite(wrist.joints[0]));
    CHECK(is_finite(wrist.joints[2]));
    CHECK(wrist.clearance.wrist.low <= 0);
    // Half in reach, half out: the clearance says both.
    Pose<Base, Flange, Interval> const edge{number_cast<Interval>(down),
                                            {{2.5, 3.0}, Interval(0), Interval(0.6)}};
    auto const reach = inverse.at(edge, arm_branches[0], {});
    CHECK(reach.clearance.stretched.low < 0);
    CHECK(reach.clearance.stretched.high > 0);
    // The whole line in, no NaN out.
    Pose<Base, Flange, Interval> nowhere{};
    for (auto& row : nowhere.rotation.m)
        for (auto& x : row)
            x = Interval::whole();
    nowhere.origin = {Interval::whole(), Interval::whole(), Interval::whole()};
    for (auto const& x : all_numbers(inverse.at(nowhere, arm_branches[3], {})))
        CHECK(x.low <= x.high);
}
