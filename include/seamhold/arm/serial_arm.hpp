#ifndef SEAMHOLD_ARM_SERIAL_ARM_HPP
#define SEAMHOLD_ARM_SERIAL_ARM_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/frame/twist.hpp"
#include "seamhold/number/bad_input.hpp"

#include <array>
#include <cstddef>
#include <cstdint>

namespace seamhold {

/// How a joint moves.
enum class JointKind : std::uint8_t {
    revolute, ///< its variable is added to the angle θ, rad
    prismatic ///< its variable is added to the offset d, m
};

/// One row of a Denavit–Hartenberg table, m and rad. Which convention it is meant in is said by the function
/// that takes it.
struct DhRow {
    double d;                             ///< offset along z, m
    double a;                             ///< length along x, m
    double alpha;                         ///< twist about x, rad
    double theta = 0;                     ///< constant part of the angle about z, rad
    JointKind kind = JointKind::revolute; ///< which of θ and d the joint variable is added to
};

/// A serial arm of N joints: joint variables to the pose of its flange in its base. Made by `standard_dh` or
/// `modified_dh`; immutable. The kernels hold at every number type and never fail.
template <int N> class SerialArm {
public:
    /// The number of joints.
    static constexpr int joints = N;

    /// From rows in the standard (distal) convention: link i = Rz(θ) Tz(d) Tx(a) Rx(α).
    /// Source: J. Denavit, R. Hartenberg, J. Applied Mechanics 22, 1955, 215–221 (from memory).
    static SerialArm
    standard_dh(std::array<DhRow, N> const& rows,
                Pose<Flange, Flange> const& last_from_flange = Pose<Flange, Flange>::identity()) {
        return SerialArm(rows, last_from_flange, false);
    }

    /// From rows in the modified (proximal) convention: link i = Rx(α) Tx(a) Rz(θ) Tz(d), with α and a of the
    /// link before. Source: J. Craig, "Introduction to Robotics", 1986, eq. 3.6 (from memory).
    static SerialArm
    modified_dh(std::array<DhRow, N> const& rows,
                Pose<Flange, Flange> const& last_from_flange = Pose<Flange, Flange>::identity()) {
        return SerialArm(rows, last_from_flange, true);
    }

    /// The flange's pose in the base at joint variables q (rad, m).
    template <class T> Pose<Base, Flange, T> forward(std::array<T, N> const& q) const {
        auto link = Pose<Base, Flange, T>::identity();
        for (std::size_t i = 0; i < N; ++i)
            advance(link, i, q[i], [](auto const&) {});
        return with_last(link);
    }

    /// The geometric Jacobian at q: column i is the twist of the flange, taken at the flange's origin and
    /// written in base axes, for one unit of joint i per second. Source: B. Siciliano et al., "Robotics",
    /// Springer 2009, section 3.1.3 (from memory).
    template <class T> std::array<Twist<Base, T>, N> jacobian(std::array<T, N> const& q) const {
        struct JointLine {
            Direction<Base, T> direction;
            Point<Base, T> place;
        };
        std::array<JointLine, N> axes{};
        auto link = Pose<Base, Flange, T>::identity();
        for (std::size_t i = 0; i < N; ++i)
            advance(link, i, q[i], [&axes, i](Pose<Base, Flange, T> const& joint) {
                auto const& m = joint.rotation.m;
                axes[i] = {{m[0][2], m[1][2], m[2][2]}, joint.origin};
            });
        link = with_last(link);
        T const zero = number_cast<T>(0);
        std::array<Twist<Base, T>, N> columns{};
        for (std::size_t i = 0; i < N; ++i) {
            auto const& [z, place] = axes[i];
            if (links_[i].kind == JointKind::revolute)
                columns[i] = {z, cross(z, link.origin - place)};
            else
                columns[i] = {{zero, zero, zero}, z};
        }
        return columns;
    }

private:
    struct Link {
        DhRow row;
        double sin_alpha;
        double cos_alpha;
        JointKind kind;
    };

    SerialArm(std::array<DhRow, N> const& rows, Pose<Flange, Flange> const& last_from_flange, bool modified)
        : modified_(modified), last_from_flange_(last_from_flange) {
        auto const is_identity = [](Pose<Flange, Flange> const& p) {
            bool same = p.origin.x == 0 && p.origin.y == 0 && p.origin.z == 0;
            for (int i = 0; i < 3; ++i)
                for (int k = 0; k < 3; ++k)
                    same = same && p.rotation.m[i][k] == (i == k ? 1 : 0);
            return same;
        };
        flange_is_last_ = is_identity(last_from_flange);
        for (std::size_t i = 0; i < N; ++i) {
            DhRow const& row = rows[i];
            if (!is_finite(row.d) || !is_finite(row.a) || !is_finite(row.alpha) || !is_finite(row.theta))
                throw BadInput("row " + std::to_string(i + 1) +
                               " of the arm's table holds a number that is not finite");
            links_[i] = {row, quarter_exact(std::sin(row.alpha)), quarter_exact(std::cos(row.alpha)),
                         row.kind};
        }
    }

    /// Sines and cosines of quarter turns are exact; 6e-17 in their place would only add rounding.
    static double quarter_exact(double x) { return std::abs(x) < 1e-16 ? 0 : x; }

    /// Multiplies `link` from the right by the transform of joint i; `at_axis` sees the frame whose z is the
    /// axis.
    template <class T, class AtAxis>
    void advance(Pose<Base, Flange, T>& link, std::size_t i, T const& q, AtAxis&& at_axis) const {
        Link const& l = links_[i];
        bool const turns = l.kind == JointKind::revolute;
        T const theta = turns ? q + detail::factor<T>(l.row.theta) : number_cast<T>(l.row.theta);
        T const d = turns ? number_cast<T>(l.row.d) : q + detail::factor<T>(l.row.d);
        auto const both = sin_cos(theta);
        if (modified_) {
            shift_along<0>(link, detail::factor<T>(l.row.a));
            turn_about_x(link, detail::factor<T>(l.sin_alpha), detail::factor<T>(l.cos_alpha));
        }
        at_axis(link);
        shift_along<2>(link, d);
        turn_about_z(link, both.sin, both.cos);
        if (!modified_) {
            shift_along<0>(link, detail::factor<T>(l.row.a));
            turn_about_x(link, detail::factor<T>(l.sin_alpha), detail::factor<T>(l.cos_alpha));
        }
    }

    /// The flange's pose from that of the last link's frame.
    template <class T> Pose<Base, Flange, T> with_last(Pose<Base, Flange, T> const& link) const {
        if (flange_is_last_)
            return link;
        if constexpr (BuiltIn<T>)
            return link * number_cast<T>(last_from_flange_);
        else
            return link * last_from_flange_;
    }

    template <int Axis, class T, class D>
    static void shift_along(Pose<Base, Flange, T>& link, D const& distance) {
        auto const& m = link.rotation.m;
        link.origin = link.origin +
                      Direction<Base, T>{m[0][Axis] * distance, m[1][Axis] * distance, m[2][Axis] * distance};
    }

    template <class T> static void turn_about_z(Pose<Base, Flange, T>& link, T const& sine, T const& cosine) {
        for (auto& row : link.rotation.m) {
            T const x = row[0] * cosine + row[1] * sine;
            row[1] = row[1] * cosine - row[0] * sine;
            row[0] = x;
        }
    }

    /// Most arms turn by quarters about x; then the axes only change places.
    template <class T, class C> static void turn_about_x(Pose<Base, Flange, T>& link, C sine, C cosine) {
        if (cosine == 1)
            return;
        for (auto& row : link.rotation.m) {
            T const y = row[1];
            T const z = row[2];
            row[1] = cosine == 0 ? z * sine : y * cosine + z * sine;
            row[2] = cosine == 0 ? -y * sine : z * cosine - y * sine;
        }
    }

    std::array<Link, N> links_{};
    bool modified_;
    bool flange_is_last_ = true;
    Pose<Flange, Flange> last_from_flange_;
};

} // namespace seamhold

#endif
