#ifndef SEAMHOLD_TESTS_SUPPORT_NUMBERS_HPP
#define SEAMHOLD_TESTS_SUPPORT_NUMBERS_HPP

#include "seamhold/number/taylor.hpp"

#include <cmath>
#include <limits>
#include <type_traits>

// Numbers that tests compare with or ask at.

namespace seamhold::test {

inline double const epsilon = std::numeric_limits<double>::epsilon();
inline double const infinity = std::numeric_limits<double>::infinity();
inline double const not_a_number = std::numeric_limits<double>::quiet_NaN();

/// Coordinates and the like that a program may be given and a head never is: zeros of both signs, numbers
/// that vanish or overflow when squared, and some in between.
inline double const wild_numbers[] = {0.0,
                                      -0.0,
                                      1e-300,
                                      -1e-300,
                                      1e-160,
                                      1e-9,
                                      2e-9,
                                      0.01,
                                      -0.1,
                                      0.5,
                                      0.54,
                                      1.0,
                                      1e6,
                                      1e154,
                                      1e160,
                                      1e300,
                                      -1e300,
                                      std::numeric_limits<double>::infinity(),
                                      -std::numeric_limits<double>::infinity(),
                                      std::numeric_limits<double>::quiet_NaN(),
                                      std::numeric_limits<double>::denorm_min(),
                                      std::numeric_limits<double>::max()};

/// A unit in the last place of 1 for a type of number: of float for float and its Taylor numbers of order 3.
template <class T> constexpr double unit_of() {
    return std::is_same_v<T, float> || std::is_same_v<T, Taylor<float, 3>>
               ? std::numeric_limits<float>::epsilon()
               : std::numeric_limits<double>::epsilon();
}

/// Whether a is b within this part of b.
inline bool near(double a, double b, double relative) { return std::abs(a - b) <= relative * std::abs(b); }

} // namespace seamhold::test

#endif
