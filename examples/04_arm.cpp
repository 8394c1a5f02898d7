// A textbook arm: where its flange is and how it moves. The arm is the PUMA 560 in standard
// Denavit-Hartenberg parameters (P. Corke, Robotics Toolbox; seven digits of its nominal pose stand on the
// page "IKine6s" of scilab.ninja). Returns 1 if that pose, or a law of the Jacobian, is not met.
#include "seamhold/arm.hpp"
#include "seamhold/motion.hpp"

#include <cmath>
#include <cstdio>
#include <numbers>

using namespace seamhold;

int main() {
    // [arm]
    double const quarter = std::numbers::pi / 2;
    auto const arm = SerialArm<6>::standard_dh({{{0, 0, quarter}, // d, a, alpha: m and rad
                                                 {0, 0.4318, 0},
                                                 {0.15005, 0.0203, -quarter},
                                                 {0.4318, 0, quarter},
                                                 {0, 0, -quarter},
                                                 {0, 0, 0}}});
    std::array<double, 6> const nominal{0, quarter / 2, 2 * quarter, 0, quarter / 2, 0};
    Pose<Base, Flange> const base_from_flange = arm.forward(nominal);

    // Six columns: the flange's twist for one rad/s of each joint.
    auto const columns = arm.jacobian(nominal);

    // The same by rates: joints that move, as Taylor numbers, make a pose that moves.
    using Time = Taylor<double, 1>;
    std::array<double, 6> const speeds{0.1, -0.2, 0.3, 0.5, -0.4, 0.2}; // rad/s
    std::array<Time, 6> moving;
    for (std::size_t i = 0; i < 6; ++i)
        moving[i] = nominal[i] + speeds[i] * Time::variable(0);
    Twist<Base> const twist = twist_of(arm.forward(moving));
    // [arm] end
    Twist<Base> sum{{0, 0, 0}, {0, 0, 0}};
    for (std::size_t i = 0; i < 6; ++i)
        sum = {sum.angular + speeds[i] * columns[i].angular, sum.linear + speeds[i] * columns[i].linear};

    auto const& p = base_from_flange.origin;
    std::printf("flange at (%.7f, %.7f, %.7f) m\n", p.x, p.y, p.z);
    std::printf("velocity of the flange by its rates:      (%8.5f, %8.5f, %8.5f) m/s\n", twist.linear.x,
                twist.linear.y, twist.linear.z);
    std::printf("velocity of the flange by its Jacobian:   (%8.5f, %8.5f, %8.5f) m/s\n", sum.linear.x,
                sum.linear.y, sum.linear.z);
    double const off_print = norm(p - Point<Base>{0.5963031, -0.15005, -0.0143543});
    double const off_law = norm(twist.linear - sum.linear) + norm(twist.angular - sum.angular);
    return off_print < 1e-7 && off_law < 1e-14 ? 0 : 1; // seven printed digits; roundings of six links
}
