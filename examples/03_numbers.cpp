// One formula, several numbers. The chain is written once; the numbers that are put in decide what comes out:
// an angle, its rates by time, its sensitivities to how the head is built and mounted, or both together.
// Every number is invented. Returns 1 if a value differs from its formula written out by hand.
#include "seamhold/follow.hpp"
#include "seamhold/number.hpp"

#include <cmath>
#include <cstdio>
#include <limits>

using namespace seamhold;

// [formula]
// The angle of the first mirror that holds a point of the lid while the head glides over it at 0.2 m/s.
template <class S, class T> auto first_mirror(S const& separation, S const& mounted_x, T const& t) {
    Range const any{degrees(-40), degrees(40)};
    MirrorPair<S> const head{
        separation, S(0.54), S(8), any, any, any, std::numeric_limits<double>::infinity()};
    Pose<Cell, Flange> const start{from_wxyz<Cell, Flange>(0, 1, 0, 0), {0, 0, 0.5}};
    Pose<Flange, Head, S> const mount{Rotation<Flange, Head, S>::identity(), {mounted_x, S(0), S(0)}};
    Chain<Steady<Cell, Flange>, Rest<Cell, Part>, MirrorPair<S>, S> const chain{
        {start, {0.2, 0, 0}, 0}, {Pose<Cell, Part>::identity()}, mount, head};
    auto const point = held({0.05, 0}, Plane<>{Pose<Part, Face>::identity()}, 1.0);
    return chain.follow(point, t, t).aim.command.x_mirror;
}
// [formula] end

int main() {
    // [numbers]
    using Time = Taylor<double, 2>;       // a value and two derivatives by time
    using Unknowns = Gradient<double, 2>; // a value and its derivatives by two parameters
    auto const separation = Unknowns::variable(0.04, 0);
    auto const mounted_x = Unknowns::variable(0.01, 1);

    double const angle = first_mirror(0.04, 0.01, 0.1);
    Time const rates = first_mirror(0.04, 0.01, Time::variable(0.1));
    Unknowns const by = first_mirror(separation, mounted_x, 0.1);
    Taylor<Unknowns, 2> const both = first_mirror(separation, mounted_x, Taylor<Unknowns, 2>::variable(0.1));
    // [numbers] end
    std::printf("angle                        %9.5f mrad\n", 1000 * angle);
    std::printf("velocity                     %9.5f rad/s\n", rates.derivative(1));
    std::printf("acceleration                 %9.5f rad/s²\n", rates.derivative(2));
    std::printf("by the mirrors' separation   %9.5f mrad/mm\n", by.partial[0]);
    std::printf("by the mount's x             %9.5f mrad/mm\n", by.partial[1]);
    std::printf("velocity, by the mount's x   %9.5f rad/s per m\n", both.derivative(1).partial[1]);

    // By hand: ½ atan(x/u) with x = 0.05 − 0.2 t − mounted_x = 0.02 and u = separation + 0.5 = 0.54.
    double const x = 0.02, u = 0.54, v = -0.2, square = x * x + u * u;
    double const off = std::abs(angle - std::atan(x / u) / 2) + std::abs(by.partial[0] + x / square / 2) +
                       std::abs(rates.derivative(1) - u * v / square / 2) +
                       std::abs(rates.derivative(2) + u * x * v * v / (square * square)) +
                       std::abs(by.partial[1] + u / square / 2) +
                       std::abs(both.derivative(1).partial[1] - u * x * v / (square * square));
    return off < 1e-14 ? 0 : 1; // some twenty roundings of numbers below two
}
