#ifndef SEAMHOLD_ARM_ARM_BRANCH_HPP
#define SEAMHOLD_ARM_ARM_BRANCH_HPP

#include "seamhold/number/number.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>

namespace seamhold {

/// On which side of axis 1 the arm works.
enum class Shoulder : std::uint8_t {
    front, ///< the wrist centre is ahead of axis 1
    back   ///< the arm reaches over to behind axis 1
};

/// On which side of the line from axis 2 to the wrist centre the elbow stands. Up is along axis 1; the line
/// is meant with the wrist centre ahead of axis 2 for `Shoulder::front`, behind it for `Shoulder::back`.
enum class Elbow : std::uint8_t {
    high, ///< above the line
    low   ///< below the line
};

/// Which way the wrist is bent: the sign of the sine of the turn of joint 5 from where axes 4 and 6 are in
/// line.
enum class Wrist : std::uint8_t {
    positive, ///< bent about axis 5 by its right-hand rule
    negative  ///< bent against it, with joint 4 half a turn further
};

/// One of the eight ways in which an arm of six joints with a spherical wrist reaches a pose.
struct ArmBranch {
    Shoulder shoulder = Shoulder::front; ///< side of axis 1
    Elbow elbow = Elbow::high;           ///< side of the elbow
    Wrist wrist = Wrist::positive;       ///< bend of the wrist

    /// Whether two branches are one.
    friend constexpr bool operator==(ArmBranch const&, ArmBranch const&) = default;
};

/// All eight branches.
inline constexpr std::array<ArmBranch, 8> arm_branches{{{Shoulder::front, Elbow::high, Wrist::positive},
                                                        {Shoulder::front, Elbow::high, Wrist::negative},
                                                        {Shoulder::front, Elbow::low, Wrist::positive},
                                                        {Shoulder::front, Elbow::low, Wrist::negative},
                                                        {Shoulder::back, Elbow::high, Wrist::positive},
                                                        {Shoulder::back, Elbow::high, Wrist::negative},
                                                        {Shoulder::back, Elbow::low, Wrist::positive},
                                                        {Shoulder::back, Elbow::low, Wrist::negative}}};

/// A branch in words: "front, elbow high, wrist positive".
inline std::string to_string(ArmBranch const& branch) {
    return std::string(branch.shoulder == Shoulder::front ? "front" : "back") +
           (branch.elbow == Elbow::high ? ", elbow high" : ", elbow low") +
           (branch.wrist == Wrist::positive ? ", wrist positive" : ", wrist negative");
}

/// How far a pose is from what one branch of an arm can reach, and from its singularities. A branch reaches
/// the pose where the first three are not below 0. At a singularity one of them is 0: the joints' rates grow
/// without bound as it is approached, and two branches meet.
template <class T = double> struct ArmClearance {
    T shoulder;  ///< distance of the wrist centre from axis 1, less the shoulder's offset, m; 0: joint 1 can
                 ///< turn at will, or front and back meet
    T stretched; ///< what is left of the reach of upper arm and forearm, m; 0: the arm is straight
    T folded; ///< distance of the wrist centre from axis 2, less that of the folded arm, m; 0: it is folded
    T elbow;  ///< sine of the angle between upper arm and forearm, from 0 to 1; 0 where out of reach
    T wrist;  ///< sine of the angle between axes 4 and 6, from 0 to 1; 0: joints 4 and 6 turn about one line
};

/// The values of clearances without their derivatives.
template <class T> constexpr ArmClearance<double> value_of(ArmClearance<T> const& c) {
    return {value_of(c.shoulder), value_of(c.stretched), value_of(c.folded), value_of(c.elbow),
            value_of(c.wrist)};
}

/// What an arm's inverse answers for one branch.
template <class T = double> struct ArmSolution {
    ArmBranch branch;
    std::array<T, 6> joints;   ///< rad
    ArmClearance<T> clearance; ///< how far from what the branch can reach
};

/// The branches that reach a pose, at most eight.
class ArmSolutions {
public:
    /// One more. There must be fewer than eight.
    constexpr void add(ArmSolution<> const& solution) { solutions_[count_++] = solution; }

    /// How many there are.
    constexpr std::size_t size() const { return count_; }

    /// The i-th, i < size().
    constexpr ArmSolution<> const& operator[](std::size_t i) const { return solutions_[i]; }

    /// The first, for loops.
    constexpr ArmSolution<> const* begin() const { return solutions_.data(); }
    /// Behind the last.
    constexpr ArmSolution<> const* end() const { return solutions_.data() + count_; }

private:
    std::array<ArmSolution<>, 8> solutions_{};
    std::size_t count_ = 0;
};

} // namespace seamhold

#endif
