#ifndef SEAMHOLD_ARM_JOINT_LIMITS_HPP
#define SEAMHOLD_ARM_JOINT_LIMITS_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/number/bad_input.hpp"

#include <array>
#include <cstddef>
#include <string>

namespace seamhold {

/// What one joint may do: its range, and how fast it may move, to both sides. rad (m for a sliding joint) and
/// s. Take them from the arm's data sheet; ∞ (for the range −∞ and ∞) is no limit.
struct JointLimit {
    Range position;      ///< rad, m
    double velocity;     ///< rad/s, m/s
    double acceleration; ///< rad/s², m/s²
};

/// What each joint of an arm may do, joint 1 first.
template <int N> using JointLimits = std::array<JointLimit, static_cast<std::size_t>(N)>;

/// Joint limits as given, checked. Throws BadInput, naming the joint, for a range without extent, or a
/// velocity or acceleration that is not above 0.
template <std::size_t N> std::array<JointLimit, N> checked(std::array<JointLimit, N> const& limits) {
    for (std::size_t i = 0; i < N; ++i) {
        auto const& [position, velocity, acceleration] = limits[i];
        std::string const joint = "joint " + std::to_string(i + 1) + "'s ";
        if (!(position.low < position.high))
            throw BadInput(joint + "range from " + detail::text_of(position.low) + " to " +
                           detail::text_of(position.high) +
                           " is not possible: the lower end must be below the upper");
        auto const check = [&joint](char const* name, double given) {
            if (!(given > 0))
                throw BadInput(joint + name + " limit of " + detail::text_of(given) +
                               " is not possible: it must be above 0");
        };
        check("velocity", velocity);
        check("acceleration", acceleration);
    }
    return limits;
}

} // namespace seamhold

#endif
