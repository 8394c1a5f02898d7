// Moves that limits shape, and curves through given values: a robot's approach from rest to rest in the least
// time, and a cubic spline over uneven times. Every number is invented. Returns 1 if the approach takes
// another time than by hand, or the spline is not the cubic that its values were taken from.
#include "seamhold/curve.hpp"
#include "seamhold/motion.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <vector>

using namespace seamhold;

int main() {
    // [profile]
    RateLimits const way{.velocity = 0.2, .acceleration = 1, .jerk = 10}; // m/s, m/s², m/s³
    Profile const profile(0.3, way);
    using Time = Taylor<double, 2>;
    for (double const t : {0.0, 0.1, 0.3, 0.9, 1.8}) {
        Time const s = profile.at(Time::variable(t));
        std::printf("%.1f s: %5.1f mm, %5.3f m/s, %6.3f m/s²\n", t, in_millimetres(s.value()),
                    s.derivative(1), s.derivative(2));
    }
    // [profile] end
    // [move]
    // The same way as a move of the flange that also tilts by 5°, as fast as way and turn allow together.
    Pose<Cell, Flange> const from{from_wxyz<Cell, Flange>(0, 1, 0, 0), {0, 0, 0.6}};
    Pose<Cell, Flange> const to{about_axis<Cell, Cell>({0, 1, 0}, degrees(5)) * from.rotation, {0.3, 0, 0.6}};
    RateLimits const turn{.velocity = 1, .acceleration = 5, .jerk = 50}; // rad
    StraightMove<Cell, Flange> const move(from, to, way, turn);
    // [move] end
    std::printf("the move takes %.3f s\n", move.end_time());

    // [spline]
    auto const cubic = [](double u) { return 1 + u * (2 + u * (-3 + 0.5 * u)); };
    std::vector<double> const places{0, 0.5, 0.7, 1.5, 2.0, 3.0}; // uneven
    std::vector<std::array<double, 1>> values(places.size());
    for (std::size_t i = 0; i < places.size(); ++i)
        values[i][0] = cubic(places[i]);
    auto const pieces = fit_spline<1>(places, values); // not-a-knot ends: a cubic comes back whole
    Knots const knots(places);
    double const between = pieces[knots.locate(1.1)].at(1.1)[0];
    // [spline] end
    std::printf("spline at 1.1: %.6f\n", between);

    // By hand: distance / velocity + velocity / acceleration + acceleration / jerk.
    double const least = 0.3 / 0.2 + 0.2 / 1 + 1.0 / 10;
    return std::abs(profile.duration() - least) + std::abs(move.end_time() - least) < 1e-14 &&
                   std::abs(between - cubic(1.1)) < 1e-14
               ? 0
               : 1; // a few dozen roundings of numbers below three
}
