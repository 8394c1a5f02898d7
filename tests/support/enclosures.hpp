#ifndef SEAMHOLD_TESTS_SUPPORT_ENCLOSURES_HPP
#define SEAMHOLD_TESTS_SUPPORT_ENCLOSURES_HPP

#include "seamhold/number/interval.hpp"
#include "support/random.hpp"

#include <boost/multiprecision/cpp_bin_float.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <sstream>
#include <string>

// Whether intervals hold what fifty digits of Boost.Multiprecision say, and intervals to ask at.

namespace seamhold::test {

using Exact =
    boost::multiprecision::number<boost::multiprecision::cpp_bin_float<50>, boost::multiprecision::et_off>;

/// Half a unit in the last place, relative: what one rounding to nearest is off at most.
inline constexpr double rounding = 0x1p-53;

/// What the widening may add to any result beside its relative part: 2⁻¹⁰⁰⁰ in the header, a few times over.
inline constexpr double smallest_step = 0x1p-998;

inline double const largest_double = std::numeric_limits<double>::max();

inline bool is_whole(Interval const& x) {
    return x.low == -std::numeric_limits<double>::infinity() &&
           x.high == std::numeric_limits<double>::infinity();
}

/// Not empty, no NaN in it, no half line.
inline bool is_sound(Interval const& x) {
    return is_whole(x) || (x.low <= x.high && is_finite(x.low) && is_finite(x.high));
}

/// Whether it is sound and has the number in it.
inline bool holds(Interval const& x, Exact const& number) {
    return is_whole(x) || (is_sound(x) && Exact(x.low) <= number && number <= Exact(x.high));
}

/// Whether it reaches beyond the range least … most by no more than this many roundings of either end.
inline bool is_tight(Interval const& x, Exact const& least, Exact const& most, double roundings) {
    return Exact(x.low) >= least - (abs(least) * (roundings * rounding) + Exact(smallest_step)) &&
           Exact(x.high) <= most + (abs(most) * (roundings * rounding) + Exact(smallest_step));
}

/// Counts what went wrong and words the first of it; doctest's own macros would take most of a run.
class Misses {
public:
    template <class... Parts> void expect(bool right, Parts const&... parts) {
        if (right)
            return;
        if (count_++ == 0) {
            std::ostringstream text;
            text.precision(17);
            (add(text, parts), ...);
            first_ = text.str();
        }
    }
    std::size_t count() const { return count_; }
    std::string first() const { return count_ == 0 ? "" : std::to_string(count_) + " times, first" + first_; }

private:
    static void add(std::ostringstream& text, Interval const& x) {
        text << " [" << x.low << ", " << x.high << "]";
    }
    static void add(std::ostringstream& text, Exact const& x) { text << " " << x.str(30); }
    template <class T> static void add(std::ostringstream& text, T const& x) { text << " " << x; }

    std::size_t count_ = 0;
    std::string first_;
};

/// A number of either sign whose power of ten is uniform between the two.
inline double sized(Random& random, double least_power, double largest_power) {
    double const size = std::pow(10, random.uniform(least_power, largest_power));
    return random.unit() < 0.5 ? -size : size;
}

/// The double that is `steps` doubles above x.
inline double stepped(double x, int steps) {
    double const way = steps < 0 ? -largest_double : largest_double;
    for (int i = 0; i < std::abs(steps); ++i)
        x = std::nextafter(x, way);
    return x;
}

inline Interval between(double a, double b) { return {std::min(a, b), std::max(a, b)}; }

/// Numbers at which arithmetic on doubles has its corners.
inline double const corner_numbers[] = {0.0,
                                        -0.0,
                                        1.0,
                                        -1.0,
                                        0.5,
                                        2.0,
                                        std::numeric_limits<double>::denorm_min(),
                                        -std::numeric_limits<double>::denorm_min(),
                                        std::numeric_limits<double>::min(),
                                        -std::numeric_limits<double>::min(),
                                        0x1p-1000,
                                        -0x1p-1000,
                                        1e-300,
                                        -1e-300,
                                        1e-154,
                                        1e154,
                                        -1e154,
                                        1e300,
                                        -1e300,
                                        std::numeric_limits<double>::max(),
                                        -std::numeric_limits<double>::max()};

/// Any interval that may come up: thin, a few doubles wide, wide, around 0, over many powers of ten, among
/// the subnormal numbers, at the corners, near the largest double, the whole line.
inline Interval any_interval(Random& random) {
    auto const corner = [&] { return corner_numbers[random.index(std::size(corner_numbers))]; };
    switch (random.index(12)) {
    case 0:
        return sized(random, -300, 300);
    case 1:
        return random.uniform(-10, 10);
    case 2:
        return between(random.uniform(-10, 10), random.uniform(-10, 10));
    case 3: {
        double const x = sized(random, -300, 300);
        return {x, stepped(x, static_cast<int>(random.index(5)))};
    }
    case 4:
        return {-std::abs(sized(random, -300, 300)), std::abs(sized(random, -300, 300))};
    case 5:
        return between(sized(random, -300, 300), sized(random, -300, 300));
    case 6:
        return between(sized(random, -323, -300), sized(random, -323, -300));
    case 7:
        return {-std::abs(sized(random, -3, 3)), std::abs(sized(random, -3, 3))};
    case 8:
        return corner();
    case 9:
        return between(corner(), corner());
    case 10: {
        double const x = sized(random, -3, 3);
        return between(x, x * (1 + std::abs(sized(random, -12, 0))));
    }
    default:
        return random.unit() < 0.5 ? Interval::whole()
                                   : between(sized(random, 290, 308.2), sized(random, 290, 308.2));
    }
}

/// Numbers of an interval: its ends (beyond the largest double for the whole line), its middle, 0 or
/// one near an end, and one anywhere. Not all are doubles.
inline std::array<Exact, 5> numbers_in(Interval const& x, Random& random) {
    Exact const low = is_whole(x) ? Exact(-largest_double) * 2 : Exact(x.low);
    Exact const high = is_whole(x) ? Exact(largest_double) * 2 : Exact(x.high);
    Exact const near_low = low + (high - low) * Exact(std::pow(10, random.uniform(-40, 0)));
    return {low, high, (low + high) / 2, x.contains(0.0) ? Exact(0) : near_low,
            low + (high - low) * Exact(random.unit())};
}

} // namespace seamhold::test

#endif
