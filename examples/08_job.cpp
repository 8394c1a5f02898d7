// A whole job in code: two seams under a sweeping head, the report that says by how much every limit is kept
// and which one binds, and the commands tick by tick. Every number is invented. Returns 1 if a figure differs
// from the one worked out by hand.
#include "seamhold/follow.hpp"
#include "seamhold/limit.hpp"

#include <cmath>
#include <cstdio>

using namespace seamhold;

int main() {
    // [job]
    Pose<Cell, Flange> const start{from_wxyz<Cell, Flange>(0, 1, 0, 0), {0, 0, 0.5}};
    Range const mirror{degrees(-10), degrees(10)};
    MirrorPair<> const head = checked({0.04, 0.54, 8, mirror, mirror, {-0.01, 0.01}, millimetres(170)});
    AnyChain const chain{Steady<Cell, Flange>{start, {0.2, 0, 0}, 0}, // 0.2 m/s along x
                         Rest<Cell, Part>{Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(),
                         head};
    HeadDynamics const dynamics{.mirror_velocity = 20,
                                .mirror_acceleration = 15000,
                                .mirror_rms_acceleration = 4000,
                                .mirror_lag = milliseconds(0.5),
                                .settling = milliseconds(2),
                                .focus_velocity = millimetres_per_second(100),
                                .focus_lag = milliseconds(5)};
    Plane<> const lid{Pose<Part, Face>::identity()};
    double const speed = metres_per_minute(16);
    Weave const weave{.frequency = 300, .amplitude = millimetres(0.5)};
    Job const job{chain, dynamics, degrees(20),
                  in_order({{"L1", 0.35, at_speed(straight_between({0.1, -0.04}, {0.1, 0.04}), lid, speed)},
                            {"L2", 0.7, at_speed(circle_around({0.16, 0}, 0.02), lid, speed, weave)}})};
    // [job] end
    // [report]
    auto const seams = report(job, microseconds(10));
    for (auto const& seam : seams) {
        auto const& peak = seam.peak(seam.binding());
        std::printf("%s: %s, %.1f %% left; %s needs %.4f of %.4f (SI), most at %.4f s, %.1f mm along\n",
                    seam.name.c_str(), seam.within() ? "within" : "not within", 100 * seam.margin(),
                    to_string(seam.binding()), peak.value, peak.allowed, peak.time,
                    in_millimetres(peak.arc_length));
    }
    // [report] end
    // [ticks]
    Ticks const ticks(job, microseconds(10));
    int open = 0;
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        Tick const tick = ticks[i]; // time, command, gate, and why the gate is shut
        open += tick.gate ? 1 : 0;
    }
    // [ticks] end
    std::printf("%zu ticks of 10 µs, light on in %d of them\n", ticks.size(), open);

    // By hand: the y mirror at most at v / 2d, the light on for 0.08 m and 0.02 π m of seam.
    double const fastest = seams[0].peak(Limit::y_velocity).value;
    double const light = (0.08 + 0.0628318530717959) / speed;
    return seams[0].within() && std::abs(std::abs(fastest) - speed / (2 * 0.5)) < 1e-9 &&
                   std::abs(open * 1e-5 - light) <= 2e-5
               ? 0
               : 1;
}
