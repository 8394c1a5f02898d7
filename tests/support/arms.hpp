#ifndef SEAMHOLD_TESTS_SUPPORT_ARMS_HPP
#define SEAMHOLD_TESTS_SUPPORT_ARMS_HPP

#include "seamhold/arm/serial_arm.hpp"
#include "support/random.hpp"

#include <array>
#include <cstddef>
#include <numbers>

// Arms for tests.

namespace seamhold::test {

/// The table of the PUMA 560 in the standard convention. Source: P. Corke, robotics-toolbox-matlab on
/// github.com, its wiki page "Arm robot examples".
inline std::array<DhRow, 6> puma_560() {
    double const quarter = std::numbers::pi / 2;
    return {DhRow{0, 0, quarter},      DhRow{0, 0.4318, 0},   DhRow{0.15005, 0.0203, -quarter},
            DhRow{0.4318, 0, quarter}, DhRow{0, 0, -quarter}, DhRow{0, 0, 0}};
}

/// A random table: lengths within ± 0.5 m, any twist and any constant angle. About every third joint is
/// prismatic where `sliding` is set, otherwise none.
template <std::size_t N> std::array<DhRow, N> random_rows(Random& random, bool sliding) {
    std::array<DhRow, N> rows{};
    for (auto& row : rows) {
        row.d = random.uniform(-0.5, 0.5);
        row.a = random.uniform(-0.5, 0.5);
        row.alpha = random.uniform(-std::numbers::pi, std::numbers::pi);
        row.theta = random.uniform(-std::numbers::pi, std::numbers::pi);
        row.kind = sliding && random.unit() < 1.0 / 3 ? JointKind::prismatic : JointKind::revolute;
    }
    return rows;
}

/// Random joint variables, within ± π rad or ± 0.5 m.
template <std::size_t N>
std::array<double, N> random_joints(Random& random, std::array<DhRow, N> const& rows) {
    std::array<double, N> q{};
    for (std::size_t i = 0; i < N; ++i) {
        double const reach = rows[i].kind == JointKind::revolute ? std::numbers::pi : 0.5;
        q[i] = random.uniform(-reach, reach);
    }
    return q;
}

} // namespace seamhold::test

#endif
