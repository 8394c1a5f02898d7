// A recorded log against the motion that it was taken from: between the rows the error falls as the fourth
// power of the step. The motion is invented: a sweep at 0.2 m/s that sways and tilts. Returns 1 if it falls
// more slowly.
#include "seamhold/motion.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <vector>

using namespace seamhold;

// [motion]
// A motion is anything with at(t), for every type of number.
struct Sweep {
    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        auto const sway = sin_cos(t * (2 * std::numbers::pi * 1.5));
        auto const tilt = about_axis<Cell, Cell>(Direction<Cell>{0, 1, 0}, sway.cos * degrees(10));
        return {tilt * number_cast<T>(from_wxyz<Cell, Flange>(0, 1, 0, 0)),
                {t * 0.2, sway.sin * 0.01, sway.cos * 0.01 + 0.5}};
    }
};
static_assert(Motion<Sweep, Cell, Flange>);
// [motion] end

struct Errors {
    double place = 0, turn = 0; // m, rad
};

Errors errors_at(double step) {
    // [log]
    Sweep const truth;
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i * step <= 1.0; ++i) {
        auto const pose = truth.at(i * step);
        rows.push_back({i * step, pose.origin, quaternion_of(pose.rotation)});
    }
    PoseLog<Cell, Flange> const log(rows);

    Errors worst;
    for (double t = 0; log.covers(t); t += 0.00037) {
        Pose<Flange, Flange> const off = inverse(truth.at(t)) * log.at(t);
        auto const q = quaternion_of(off.rotation);
        worst.place = std::max(worst.place, std::hypot(off.origin.x, off.origin.y, off.origin.z));
        worst.turn = std::max(worst.turn, 2 * std::hypot(q.x, q.y, q.z));
    }
    // [log] end
    return worst;
}

int main() {
    Errors const coarse = errors_at(0.016), middle = errors_at(0.008), fine = errors_at(0.004);
    for (auto const& [step, e] : {std::pair{16, coarse}, std::pair{8, middle}, std::pair{4, fine}})
        std::printf("%2d ms a row: %9.4f µm, %9.4f µrad\n", step, e.place * 1e6, e.turn * 1e6);
    double const power = std::min(std::log2(middle.place / fine.place), std::log2(middle.turn / fine.turn));
    std::printf("halving the step once more divides the error by 2 to the power of %.2f or more\n", power);
    return power > 3.7 ? 0 : 1;
}
