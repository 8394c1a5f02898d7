#ifndef SEAMHOLD_ARM_WRIST_INVERSE_HPP
#define SEAMHOLD_ARM_WRIST_INVERSE_HPP

#include "seamhold/arm/arm_branch.hpp"
#include "seamhold/arm/wrist_geometry.hpp"
#include "seamhold/number/lift.hpp"

#include <array>
#include <cmath>
#include <numbers>

namespace seamhold {

namespace detail {

/// √x, and 0 with zero derivatives where x is not above `smallest`.
template <class T> [[gnu::always_inline]] inline T root_above(T const& x, double smallest) {
    using std::sqrt;
    return sqrt(select(x > factor<T>(smallest), x, number_cast<T>(0)));
}

/// The angle of a number in a plane, rad: of all that differ by whole turns the one nearest to `near`, and of
/// two equally near the greater. Where the number's squared length is not above `smallest` it is `near`
/// itself. Whole quarter turns first bring the number to where an arc tangent of a ratio will do; they round
/// nothing, and any that do so give the same angle.
/// Intervals that may be half a turn or more away from `near`, itself off by up to `near_radius`, are given
/// with all that plain numbers in them may jump to.
template <class T> T angle_near(Planar<T> const& a, double near, double smallest, double near_radius = 0) {
    using Scalar = typename BottomOf<T>::type;
    auto const usable = squared_norm(a) > factor<T>(smallest);
    double const re = value_of(a.re), im = value_of(a.im);
    bool const beside = std::abs(im) > std::abs(re);
    bool const turned = beside ? im < 0 : re < 0;
    T const forward = beside ? a.im : a.re;
    T const sideways = beside ? -a.re : a.im;
    T const angle = atan_ratio(select(usable, turned ? -sideways : sideways, number_cast<T>(0)),
                               select(usable, turned ? -forward : forward, number_cast<T>(1)));
    double const quarters = beside ? (turned ? -1 : 1) : (turned ? 2 : 0);
    double const half_turn = std::numbers::pi;
    double const turns =
        std::floor((near - (quarters * half_turn / 2 + value_of(angle))) / (2 * half_turn) + 0.5);
    Scalar const one = number_cast<Scalar>(1);
    Scalar const eighth = atan_ratio(one, one); // π/4, in as many digits as there are, or enclosed
    T const nearest =
        select(usable, angle + number_cast<T>(eighth * factor<Scalar>(2 * quarters + 8 * turns)),
               number_cast<T>(near));
    if constexpr (is_of_intervals<T>) {
        Interval const values = values_of(nearest);
        double const reach = half_turn - near_radius - 1e-12;
        if (!(values.high < near + reach) || !(values.low > near - reach)) {
            T const turn = number_cast<T>(eighth * 8.0);
            return either(nearest, either(T(nearest - turn), T(nearest + turn)));
        }
    }
    return nearest;
}

/// How far a number may be from its value_of: the radius of an interval, 0 for others.
template <class T> double off_middle(T const& x) {
    if constexpr (is_of_intervals<T>)
        return values_of(x).radius();
    else
        return 0;
}

/// A constant of an arm ready to meet numbers of type T.
template <class T, class Constant> constexpr auto constant_for(Constant const& x) {
    if constexpr (BuiltIn<T>)
        return number_cast<T>(x);
    else
        return x;
}
template <class T> constexpr auto constant_for(Planar<double> const& x) {
    return Planar<decltype(factor<T>(x.re))>{factor<T>(x.re), factor<T>(x.im)};
}

} // namespace detail

/// The joints of an arm that put its flange at a pose, in closed form, branch by branch: for six turning
/// joints of which 4, 5 and 6 meet at right angles in one point (a spherical wrist), 2 and 3 are parallel,
/// and 1 is perpendicular to them. Offsets between them may be anything. Made from the arm, whichever way its
/// table was written; immutable.
///
/// Source: the wrist is parted from the arm as D. Pieper did, "The Kinematics of Manipulators under Computer
/// Control", Stanford 1968 (from memory); the formulas are derived in docs/arm.md. `forward` of the joints is
/// within 1e-12 m and 1e-12 rad of the pose for arms of up to some 3 m, near singularities too.
class WristInverse {
public:
    /// For an arm. Throws BadInput, naming the condition that fails and by how much, for an arm with a
    /// sliding joint, or whose axes 1 and 2, 4 and 5, or 5 and 6 are not perpendicular, 2 and 3 not parallel
    /// or one line, or whose axes 4, 5 and 6 do not meet in one point beside axis 3; each within 1e-9 rad and
    /// 1e-9 m. An arm that is off by so much has a pose off by as much.
    explicit WristInverse(SerialArm<6> const& arm) : g_(detail::wrist_geometry(arm)) {}

    /// The joints of one branch, rad, and its clearances, for a pose at numbers of any type: Taylor numbers
    /// give the joints' rates, intervals enclose them. Of the values that differ by whole turns each joint
    /// takes the one nearest to `near` (rad); so a motion whose `near` follows it has no jumps.
    ///
    /// Never fails. Out of reach (`reaches`) the joints are those of an arm that is stretched or folded
    /// towards the wrist centre, with the flange's rotation as asked. Where a joint is free (axes 4 and 6 in
    /// line, the wrist centre on axis 1 or 2) it takes `near`, and the others follow: the pose is still met.
    /// Rates there are finite and mean nothing; an interval of poses that may be there gets the whole line. A
    /// pose that is not finite gives a clearance that is not finite. Intervals enclose the result for the arm
    /// as the inverse holds it, which is the one of the table to rounding (1e-15 m).
    template <class T>
    ArmSolution<T> at(Pose<Base, Flange, T> const& base_from_flange, ArmBranch const& branch,
                      std::array<double, 6> const& near = {}) const {
        using detail::factor, detail::angle_near, detail::root_above, detail::turn_from;
        auto const f = [](double x) { return factor<T>(x); };
        auto const front = f(branch.shoulder == Shoulder::front ? 1 : -1);
        auto const high = f((branch.shoulder == Shoulder::front) == (branch.elbow == Elbow::high) ? 1 : -1);
        auto const positive = f(branch.wrist == Wrist::positive ? 1 : -1);
        auto const upper_arm = detail::constant_for<T>(g_.upper_arm);
        auto const forearm = detail::constant_for<T>(g_.forearm);
        double const l = g_.upper_length, m = g_.forearm_length;
        double const tiny = 1e-14 * (l + m);
        ArmSolution<T> s{branch, {}, {}};
        auto& q = s.joints;

        // Joint 1 turns the wrist centre into the plane of the arm, which passes axis 1 at the offset.
        auto const trunk_from_flange = detail::constant_for<T>(g_.trunk_from_base) * base_from_flange;
        auto const centre = trunk_from_flange * detail::constant_for<T>(g_.wrist_centre);
        T const from_axis = sqr(centre.x) + sqr(centre.y);
        T const ahead = root_above(T(from_axis - f(sqr(g_.offset))), sqr(tiny)) * front;
        q[0] =
            angle_near(turn_from(Planar<T>{ahead, number_cast<T>(g_.offset)}, Planar<T>{centre.x, centre.y}),
                       near[0], sqr(sqr(tiny)));

        // The triangle of upper arm l, forearm m and reach r. The angle between the two has the cosine
        // c/(l·m) and the sine d/(l·m).
        Planar<T> const reach{centre.z, ahead - f(g_.ahead)};
        T const r2 = squared_norm(reach);
        T const c = (r2 - f(sqr(l) + sqr(m))) * f(0.5);
        T const d = root_above(T((f(sqr(l + m)) - r2) * (r2 - f(sqr(l - m)))), sqr(tiny * (l + m))) * f(0.5);
        Planar<T> const at_elbow{c, d * high};
        Planar<T> const to_wrist{c + f(sqr(l)), d * high}; // l times the reach, as the upper arm has it ahead
        auto const from_2 = turn_from(times(to_wrist, upper_arm), reach);
        q[1] = angle_near(Planar<T>{from_2.re, from_2.im * f(g_.sign_2)}, near[1], sqr(sqr(l * tiny)));
        auto const from_3 = turn_from(turn_from(upper_arm, forearm), at_elbow);
        q[2] = angle_near(Planar<T>{from_3.re, from_3.im * f(g_.sign_3)}, near[2], 0);

        // What the wrist must turn: Rz(joint 4) Ry(joint 5 and bend) Rz(joint 6). Joint 6 comes from its sum
        // with joint 4, or its difference where axis 6 points back: known also where neither is.
        auto const r = turned_back(trunk_from_flange.rotation * detail::constant_for<T>(g_.flange_from_hand),
                                   q[0], T(q[1] * f(g_.sign_2) + q[2] * f(g_.sign_3)));
        T const sine = root_above(T(sqr(r.m[0][2]) + sqr(r.m[1][2])), 1e-28);
        q[3] = angle_near(Planar<T>{r.m[0][2] * positive, r.m[1][2] * positive}, near[3], 1e-28);
        q[4] = angle_near(turn_from(detail::constant_for<T>(g_.bend), Planar<T>{r.m[2][2], sine * positive}),
                          near[4], 0);
        double const points = value_of(r.m[2][2]) < 0 ? -1 : 1; // either would do where it is near 0
        q[5] = angle_near(Planar<T>{r.m[0][0] * f(points) + r.m[1][1], r.m[1][0] - r.m[0][1] * f(points)},
                          near[5] + points * value_of(q[3]), 0, detail::off_middle(q[3])) -
               q[3] * f(points);

        T const distance = root_above(r2, sqr(tiny));
        s.clearance = {root_above(from_axis, sqr(tiny)) - f(std::abs(g_.offset)), f(l + m) - distance,
                       distance - f(std::abs(l - m)), d * f(1 / (l * m)), sine};
        return s;
    }

    /// Whether a branch reaches the pose that its clearances speak of. A last bit beyond the reach (1e-12 of
    /// the arm's length) still counts.
    template <class T> bool reaches(ArmClearance<T> const& clearance) const {
        double const least = -1e-12 * (g_.upper_length + g_.forearm_length);
        return value_of(clearance.shoulder) >= least && value_of(clearance.stretched) >= least &&
               value_of(clearance.folded) >= least && is_finite(value_of(clearance.wrist));
    }

    /// All branches that reach a pose, eight or four or none, in the order of `arm_branches`. Joints are
    /// within ±π to a last bit, or nearest to `near`, rad. In a singular pose two branches may be one, and
    /// both are listed.
    ArmSolutions all(Pose<Base, Flange> const& base_from_flange,
                     std::array<double, 6> const& near = {}) const {
        ArmSolutions found;
        for (auto const& branch : arm_branches) {
            auto const solution = at(base_from_flange, branch, near);
            if (reaches(solution.clearance))
                found.add(solution);
        }
        return found;
    }

    /// The branch that joints q (rad) belong to: `at(arm.forward(q), branch_of(q), q)` gives q again.
    ArmBranch branch_of(std::array<double, 6> const& q) const {
        using detail::Planar, detail::times;
        auto const turned = [](double angle, Planar<> const& a) {
            auto const both = sin_cos(angle);
            return times(a, Planar<>{both.cos, both.sin});
        };
        auto const forearm = turned(q[2] * g_.sign_3, g_.forearm);
        Planar<> const straight{g_.upper_arm.re + forearm.re, g_.upper_arm.im + forearm.im};
        bool const front = g_.ahead + turned(q[1] * g_.sign_2, straight).im >= 0;
        bool const forwards = detail::turn_from(g_.upper_arm, forearm).im >= 0;
        return {front ? Shoulder::front : Shoulder::back, front == forwards ? Elbow::high : Elbow::low,
                turned(q[4], g_.bend).im >= 0 ? Wrist::positive : Wrist::negative};
    }

private:
    template <class T> using Planar = detail::Planar<T>;

    /// The hand seen from the wrist of an arm with joint 1 at q1 and the forearm turned by `lean` about y.
    template <class T>
    Rotation<detail::Wristbone, detail::Hand, T>
    turned_back(Rotation<detail::Trunk, detail::Hand, T> const& trunk_from_hand, T const& q1,
                T const& lean) const {
        auto const first = sin_cos(q1);
        auto const second = sin_cos(lean);
        Rotation<detail::Forearm, detail::Hand, T> back{};
        for (int k = 0; k < 3; ++k) {
            auto const& [x, y, z] = trunk_from_hand.m;
            T const ahead = first.cos * x[k] + first.sin * y[k];
            back.m[0][k] = second.cos * ahead - second.sin * z[k];
            back.m[1][k] = first.cos * y[k] - first.sin * x[k];
            back.m[2][k] = second.sin * ahead + second.cos * z[k];
        }
        return detail::constant_for<T>(g_.from_forearm) * back;
    }

    detail::WristGeometry g_;
};

} // namespace seamhold

#endif
