#ifndef SEAMHOLD_EXAMPLES_WELD_SIGNALS_HPP
#define SEAMHOLD_EXAMPLES_WELD_SIGNALS_HPP

#include "seamhold/beam/optics.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/frame/angles.hpp"
#include "seamhold/live/clock_map.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/record/channel.hpp"
#include "seamhold/record/sample_block.hpp"
#include "seamhold/seam/stitches.hpp"
#include "seamhold/statistics/random_numbers.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <string>
#include <vector>

// The cover of a junction box, welded by a head that glides over it, and SIMULATED signals of three sensors:
// no sensor ever saw them. They have slow noise of about equal power in every octave (1/f), a level for each
// part, readings that depend on incidence, and what the melt's length blurs. Every number is invented. The
// sizes of the faults were fixed before the judge was first run.
namespace seamhold::examples {

/// Three seams: a line and a ring on the flat cover, a staple on its inclined flank.
inline Job junction_box() {
    MirrorPair<> const head{millimetres(38), millimetres(530), 16, {-0.175, 0.175}, {-0.175, 0.175},
                            {-0.006, 0.006}, millimetres(160)};
    auto const down = from_zyx_angles<Cell, Flange>(0, 0, std::numbers::pi);
    HeadDynamics const dynamics{.mirror_velocity = 40,
                                .mirror_acceleration = 20000,
                                .mirror_rms_acceleration = 6000,
                                .mirror_lag = milliseconds(0.4),
                                .settling = milliseconds(1.5),
                                .focus_velocity = 0.15,
                                .focus_lag = milliseconds(2),
                                .mirror_jerk = 4e7,
                                .focus_acceleration = 80};
    Plane<> const cover{Pose<Part, Face>::identity()};
    Plane<> const flank{{from_zyx_angles<Part, Face>(0, degrees(14), 0), {0.12, 0, -0.004}}};
    double const speed = metres_per_minute(9);
    auto const options = [](double power) {
        SeamOptions some;
        some.power = PowerLaw(power);
        return some;
    };
    Process const process{
        DeliveredBeam<>{BeamQuality<>::from_m2(1070e-9, 9), millimetres(11), millimetres(70)},
        2800,
        millimetres(0.5),
        3,
        0,
        {15e3, 23e3}};
    return {{Steady<Cell, Flange>{{down, {0, 0, 0.49}}, {0.12, 0, 0}, 0},
             Rest<Cell, Part>{Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), checked(head)},
            dynamics,
            degrees(22),
            in_order(
                {{"line", 0.30,
                  at_speed(OnFace<Straight<>, Plane<>>{straight_between({0.03, -0.02}, {0.06, -0.02}), cover},
                           speed, options(2800))},
                 {"ring", 0.60,
                  at_speed(OnFace<DrawnShape, Plane<>>{ring(0.01).moved(0.085, 0.012), cover}, speed,
                           options(2800))},
                 {"staple", 0.90,
                  at_speed(OnFace<DrawnShape, Plane<>>{staple(0.018, 0.009, 0.003), flank}, speed,
                           options(2800))}}),
            process};
}

/// How a sensor of the simulation sees a weld. Shares are of its reading.
struct SimulatedSensor {
    Channel channel;
    double level;       ///< its reading at square incidence, V
    double falls;       ///< with this power of the cosine of incidence
    double melt_length; ///< over which the melt blurs what happens, m
    double slow;        ///< deviation of the 1/f noise
    double from_part;   ///< deviation of the level from part to part
    double quick;       ///< deviation of each sample alone
};

/// The three of them.
inline std::array<SimulatedSensor, 3> simulated_sensors() {
    Bounds const volts{0, 5};
    return {{{{"plume light", 50e3, microseconds(150), volts, milliseconds(1)},
              2.4,
              1.5,
              0.3e-3,
              0.04,
              0.02,
              0.10},
             {{"melt heat", 20e3, microseconds(400), volts, milliseconds(1)},
              1.6,
              0.8,
              1.5e-3,
              0.02,
              0.015,
              0.03},
             {{"returned light", 100e3, microseconds(20), volts, milliseconds(1)},
              0.8,
              3.0,
              0.2e-3,
              0.08,
              0.03,
              0.15}}};
}

/// What goes wrong with a part: the readings within a stretch of the seam, as a share of what they should be.
struct SimulatedFault {
    std::string name;
    double from, to;             ///< along the seam, m
    std::array<double, 3> share; ///< in the order of the sensors
};

/// No fault.
inline SimulatedFault no_fault() { return {"none", 0, 0, {1, 1, 1}}; }
/// The sheets gape over 5 mm.
inline SimulatedFault gaping() { return {"gap", 0.011, 0.016, {0.72, 0.82, 0.97}}; }
/// Dirt of 1.5 mm.
inline SimulatedFault dirty() { return {"contamination", 0.0205, 0.022, {1.05, 1.0, 1.7}}; }
/// An eighth of the power is missing throughout.
inline SimulatedFault weak() { return {"low power", 0, 1, {0.80, 0.86, 0.88}}; }

/// The samples of one weld: the numbers, and blocks that point to them.
struct SimulatedSamples {
    std::vector<std::vector<float>> values; ///< one list a channel
    std::vector<SampleBlock> blocks;
};

/// Makes the samples of seams of a job as an acquisition would hand them over.
class WeldSignals {
public:
    /// Of a job that is kept elsewhere; the robot's clock seen from the scanner's.
    WeldSignals(Job const& job, ClockMap const& clock)
        : job_(&job), clock_(clock), sensors_(simulated_sensors()) {
        for (auto const& s : job.seams) {
            cosines_.emplace_back();
            for (int i = 0; i <= points; ++i)
                cosines_.back().push_back(cosine_of_incidence(job.chain, s.seam,
                                                              s.seam.duration() * i / points,
                                                              s.start + s.seam.duration() * i / points));
        }
    }

    /// What is declared of the channels.
    std::vector<Channel> channels() const {
        std::vector<Channel> list;
        for (auto const& sensor : sensors_)
            list.push_back(sensor.channel);
        return list;
    }

    /// Their names.
    std::vector<std::string> names() const {
        std::vector<std::string> list;
        for (auto const& sensor : sensors_)
            list.push_back(sensor.channel.name);
        return list;
    }

    /// The samples of one seam of one part, from 4 ms before it to 4 ms after, in blocks of 400. Parts are
    /// told apart by their number, from which all that is random comes.
    SimulatedSamples of(std::size_t seam, std::uint64_t part,
                        SimulatedFault const& fault = no_fault()) const {
        auto const& scheduled = job_->seams[seam];
        double const around = milliseconds(4), feed = scheduled.seam.length() / scheduled.seam.duration();
        RandomNumbers random(1000003 * part + 17 * seam + 1);
        auto const steps =
            static_cast<std::size_t>(std::ceil((scheduled.seam.duration() + 2 * around) / step)) + 2;
        auto const common = slow_noise(random, steps); // what all sensors see alike
        double const common_part = random.normal();
        SimulatedSamples made;
        made.values.resize(sensors_.size());
        for (std::size_t c = 0; c < sensors_.size(); ++c) {
            auto const& sensor = sensors_[c];
            auto const own = slow_noise(random, steps);
            double const part_level =
                1 + sensor.from_part * (share_common * common_part + share_own * random.normal());
            // The weld itself, step by step: what happens, blurred by the melt.
            std::vector<double> course(steps);
            double blurred = 0;
            double const answer = 1 - std::exp(-feed * step / sensor.melt_length);
            for (std::size_t i = 0; i < steps; ++i) {
                double const time = static_cast<double>(i) * step - around;
                double now = 0;
                if (time >= 0 && time <= scheduled.seam.duration()) {
                    double const s = feed * time;
                    now = sensor.level *
                          std::pow(cosine(seam, time / scheduled.seam.duration()), sensor.falls) *
                          part_level * (1 + sensor.slow * (share_common * common[i] + share_own * own[i]));
                    if (s >= fault.from && s < fault.to)
                        now *= fault.share[c];
                }
                if (time >= 0 && time < step)
                    blurred = now; // no run-in of the blur itself
                blurred += answer * (now - blurred);
                course[i] = blurred;
            }
            // Its samples. The acquisition counts from moment 0 of the scanner's clock and never stops.
            double const rate = sensor.channel.rate, delay = sensor.channel.delay;
            double const begin = clock_.scanner_at({scheduled.start - around}).seconds;
            auto const first = static_cast<std::uint64_t>(std::ceil((begin + delay) * rate));
            auto& values = made.values[c];
            auto const count =
                static_cast<std::size_t>((scheduled.seam.duration() + 2 * around) / clock_.rate * rate) - 1;
            values.reserve(count);
            for (std::size_t k = 0; k < count; ++k) {
                double const seen = static_cast<double>(first + k) / rate - delay;
                double const place = clock_.rate * (seen - begin) / step;
                auto const i = static_cast<std::size_t>(place);
                double const level =
                    course[i] + (place - static_cast<double>(i)) * (course[i + 1] - course[i]);
                double const dark = 0.01 * (1 + 0.2 * random.normal());
                values.push_back(static_cast<float>(level * (1 + sensor.quick * random.normal()) + dark));
            }
            for (std::size_t from = 0; from < count; from += 400)
                made.blocks.push_back({c,
                                       first + from,
                                       {static_cast<double>(first + from) / rate},
                                       {values.data() + from, std::min<std::size_t>(400, count - from)}});
        }
        return made;
    }

private:
    static constexpr int points = 200;    ///< along a seam at which incidence is looked at
    static constexpr double step = 50e-6; ///< of the simulated weld, s
    static constexpr int octaves = 10;    ///< of slow noise, the shortest two steps long
    static constexpr double share_common = 0.6, share_own = 0.8; ///< squares add up to 1

    /// Noise with the same power in every octave and deviation 1: numbers that are drawn anew every 2, 4, 8,
    /// … steps, with straight lines between them.
    static std::vector<double> slow_noise(RandomNumbers& random, std::size_t steps) {
        std::vector<double> noise(steps);
        // A straight line between two independent numbers has on average 2/3 of their variance.
        double const size = std::sqrt(1.5 / octaves);
        for (int octave = 1; octave <= octaves; ++octave) {
            std::size_t const span = std::size_t(1) << octave;
            std::size_t since = static_cast<std::size_t>(random.unit() * static_cast<double>(span));
            double last = random.normal(), next = random.normal();
            for (auto& value : noise) {
                double const share = static_cast<double>(since) / static_cast<double>(span);
                value += size * (last + share * (next - last));
                if (++since == span) {
                    since = 0;
                    last = next;
                    next = random.normal();
                }
            }
        }
        return noise;
    }

    double cosine(std::size_t seam, double share) const {
        double const place = std::clamp(share, 0.0, 1.0) * points;
        auto const i = std::min(static_cast<std::size_t>(place), static_cast<std::size_t>(points - 1));
        auto const& list = cosines_[seam];
        return list[i] + (place - static_cast<double>(i)) * (list[i + 1] - list[i]);
    }

    Job const* job_;
    ClockMap clock_;
    std::array<SimulatedSensor, 3> sensors_;
    std::vector<std::vector<double>> cosines_;
};

} // namespace seamhold::examples

#endif
