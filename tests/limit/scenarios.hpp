#ifndef SEAMHOLD_TESTS_LIMIT_SCENARIOS_HPP
#define SEAMHOLD_TESTS_LIMIT_SCENARIOS_HPP

#include "seamhold/limit/proof.hpp"
#include "seamhold/motion/pose_log.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/motion/straight_move.hpp"
#include "seamhold/motion/turntable.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/curves.hpp"
#include "seamhold/seam/travel_by.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <string>
#include <utility>
#include <vector>

// Random jobs for proofs, and what their limits read by plain doubles: formulas of their own for the beam,
// the field, the incidence, the speeds; the command with its rates from the chain over Taylor numbers of
// doubles. Nothing of check.hpp or of intervals; only spot, defocus, density and energy go through demand_of.

namespace seamhold::test {

/// A job whose types are known, so that proofs of it compile fast.
template <class Motions> struct ProofJob {
    Motions chain;
    HeadDynamics dynamics;
    double largest_incidence = degrees(60);
    std::optional<Process> process = {};
    SeamLimits limits = {};
};

using FlatPath = OnFace<DrawnShape, Plane<>>;

/// A seam of a job.
template <class Path = FlatPath> struct ProofSeam {
    std::string name;
    double start;
    Seam<Path> seam;
};

using LogChain = Chain<PoseLog<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>>;
using MoveChain = Chain<StraightMove<Cell, Flange>, Turntable<Cell, Part>, MirrorPair<>>;
using BeltChain = Chain<Steady<Cell, Flange>, PoseLog<Cell, Part>, MirrorPair<>>;

/// One rotation of a frame into itself, by a vector of its axis times the angle.
template <class F> Rotation<F, F> turned_by(std::array<double, 3> const& v) {
    double const angle = std::hypot(v[0], v[1], v[2]);
    if (!(angle > 0))
        return Rotation<F, F>::identity();
    return about_axis<F, F>(Direction<F>{v[0] / angle, v[1] / angle, v[2] / angle}, angle);
}

/// By how much one world differs from the given one: a pose of the box.
struct Displaced {
    Pose<Part, Part> part = Pose<Part, Part>::identity();
    Pose<Flange, Flange> path = Pose<Flange, Flange>::identity();
    double delay = 0;
};

/// A pose of a box, often in its corners.
inline Displaced random_displaced(Random& random, PoseBox const& box) {
    auto const side = [&](double most) {
        return random.index(2) == 0 ? (random.index(2) == 0 ? most : -most) : random.uniform(-most, most);
    };
    auto const turn = [&](double most) {
        auto v = random.on_sphere<3>();
        if (random.index(2) == 0) {
            v = {0, 0, 0};
            v[random.index(3)] = random.index(2) == 0 ? 1 : -1;
        }
        double const angle = random.index(2) == 0 ? most : random.uniform(0, most);
        return std::array<double, 3>{v[0] * angle, v[1] * angle, v[2] * angle};
    };
    Displaced d;
    d.part.rotation = turned_by<Part>(turn(box.part_turn));
    d.part.origin = {side(box.part_shift), side(box.part_shift), side(box.part_shift)};
    d.path.rotation = turned_by<Flange>(turn(box.path_turn));
    d.path.origin = {side(box.path_shift), side(box.path_shift), side(box.path_shift)};
    d.delay = side(box.delay);
    return d;
}

/// The cell as it is drawn: poses of flange and part about a time, and how they move.
struct World {
    double start = 0; ///< of the seam, s
    Pose<Cell, Flange> flange{};
    Pose<Cell, Part> part{};
    Direction<Cell> velocity{};                     ///< m/s
    std::array<double, 3> turn_rate{};              ///< rad/s
    double spin = 0;                                ///< of a turntable, rad/s
    double move_start = 0;                          ///< of a straight move, s
    std::vector<double> times;                      ///< of a log's rows, s
    std::vector<std::array<double, 3>> shift, turn; ///< of each row from the smooth motion

    Pose<Cell, Flange> flange_after(double time) const {
        auto const by = turned_by<Flange>({turn_rate[0] * time, turn_rate[1] * time, turn_rate[2] * time});
        return {flange.rotation * by, flange.origin + time * velocity};
    }

    template <class To, class From, class At> PoseLog<To, From> log(At const& at, double late) const {
        std::vector<PoseRow<To>> rows;
        for (std::size_t i = 0; i < times.size(); ++i) {
            Pose<To, From> p = at(times[i] - start);
            p.rotation = p.rotation * turned_by<From>(turn[i]);
            p.origin = p.origin + Direction<To>{shift[i][0], shift[i][1], shift[i][2]};
            rows.push_back({times[i] - late, p.origin, quaternion_of(p.rotation)});
        }
        return PoseLog<To, From>(rows);
    }

    /// The motions `late` s later in the motion, with the flange displaced, and a head.
    template <class C> C chain(MirrorPair<> const& head, Displaced const& by = {}) const {
        // in the flange frame: D p; so the head sits at D⁻¹ of where it was.
        Pose<Flange, Head> const sits{Rotation<Flange, Head>::identity(), {0.02, -0.01, 0.1}};
        Pose<Flange, Head> const on = inverse(by.path) * sits;
        double const late = by.delay;
        if constexpr (std::is_same_v<C, LogChain>) {
            return {log<Cell, Flange>([&](double t) { return flange_after(t); }, late), {part}, on, head};
        } else if constexpr (std::is_same_v<C, MoveChain>) {
            RateLimits const way{0.5, 20, 2500}, turning{2, 50, 6000};
            return {StraightMove<Cell, Flange>(flange, flange_after(0.08), way, turning, move_start - late),
                    Turntable<Cell, Part>{part, {0.1, -0.2, 0}, {0.0, 0.6, 0.8}, spin, start - late}, on,
                    head};
        } else {
            Pose<Cell, Part> const here = part;
            return {Steady<Cell, Flange>{flange, velocity, start - late},
                    log<Cell, Part>([&](double) { return here; }, late), on, head};
        }
    }
};

/// A number whose logarithm is uniform.
inline double log_uniform(Random& random, double low, double high) {
    return std::exp(random.uniform(std::log(low), std::log(high)));
}

/// When a seam starts, s of the clock.
inline double random_start(Random& random) {
    double const starts[] = {0, 3, 1000};
    return starts[random.index(3)] + random.uniform(0, 1);
}

/// For a seam that starts then and lasts so long.
inline World random_world(Random& random, double start, double duration) {
    World w;
    w.start = start;
    auto const small = [&](double most) { return random.uniform(-most, most); };
    w.part = {turned_by<Cell>({small(0.2), small(0.2), 0}) *
                  about_axis<Cell, Part>(Direction<Cell>{0, 0, 1}, small(3.0)),
              {small(0.05), small(0.05), small(0.02)}};
    w.flange = {turned_by<Cell>({small(0.15), small(0.15), small(3.0)}) *
                    about_axis<Cell, Flange>(Direction<Cell>{1, 0, 0}, std::numbers::pi),
                {small(0.05), small(0.05), 0.6 + small(0.01)}};
    w.velocity = {small(0.5), small(0.5), small(0.1)};
    w.turn_rate = {small(1), small(1), small(1)};
    w.spin = small(2);
    w.move_start = w.start - random.uniform(-0.005, 0.04);
    double const step = log_uniform(random, 3e-4, 4e-3);
    double const rough = log_uniform(random, 1e-8, 3e-5), tilted = log_uniform(random, 1e-8, 1e-4);
    double t = w.start - 6 * step;
    for (int after = 0; after<6; after += t> w.start + duration ? 1 : 0) {
        w.times.push_back(t);
        w.shift.push_back({small(rough), small(rough), small(rough)});
        w.turn.push_back({small(tilted), small(tilted), small(tilted)});
        t += step * random.uniform(0.5, 1.5);
    }
    return w;
}

inline Weave random_weave(Random& random, double duration) {
    constexpr WeaveForm forms[] = {WeaveForm::sine, WeaveForm::circle, WeaveForm::figure_eight,
                                   WeaveForm::triangle};
    if (random.index(3) == 0)
        return {};
    Weave w{log_uniform(random, 50, 1000), log_uniform(random, 2e-5, 5e-4), forms[random.index(4)]};
    if (random.index(3) == 0) {
        w.frequency_growth = random.uniform(-0.5, 1) * w.frequency / duration;
        w.amplitude_growth = random.uniform(-0.5, 1) * w.amplitude / duration;
    }
    w.tip = random.uniform(0.1, 0.9);
    return w;
}

/// Shapes of some millimetres: one straight piece, one arc, straight–arc–straight without a corner, a wave.
inline DrawnShape random_shape(Random& random, double length) {
    double const radius = log_uniform(random, 1e-3, 0.05);
    double const side = random.index(2) == 0 ? 1 : -1;
    auto const shape = [&]() -> DrawnShape {
        switch (random.index(4)) {
        case 0:
            return straight_between({0, 0}, {length, 0});
        case 1:
            return arc_around({0, 0}, radius, 0.4, side * length / radius);
        case 2: {
            double const part = length / 3, turn = part / radius;
            Straight<> const first{-part, 0, 1, 0, part};
            Arc<> const bend =
                arc_around({0, side * radius}, radius, -side * std::numbers::pi / 2, side * turn);
            auto const end = bend.at(bend.length());
            return DrawnShape(std::vector<DrawnShape::Piece>{
                first, bend, Straight<>{end.x, end.y, end.tangent_x, end.tangent_y, part}});
        }
        default:
            return wave(length / 2, length / 2 * random.uniform(0.02, 0.1), length, 1e-5);
        }
    }();
    return shape.moved(random.uniform(-0.04, 0.04), random.uniform(-0.04, 0.04), random.uniform(-3, 3));
}

/// A seam on a plane of the part, which `by` displaces.
struct SeamDraw {
    DrawnShape shape;
    Pose<Part, Face> face;
    double speed;
    bool by_a_law;
    SpeedLaw law;
    SeamOptions options;

    ProofSeam<> seam(double start, Displaced const& by = {}) const {
        FlatPath const path{shape, Plane<>{by.part * face}};
        return {"seam", start, by_a_law ? by_law(path, law, options) : at_speed(path, speed, options)};
    }
};

/// A seam of some `duration` s; never at rest where its light is looked at: no line energy is finite there.
inline SeamDraw random_seam(Random& random, double duration, bool lights) {
    double const speed = log_uniform(random, 0.02, 0.5);
    Pose<Part, Face> const face{turned_by<Part>({random.uniform(-0.1, 0.1), random.uniform(-0.1, 0.1), 0}) *
                                    Rotation<Part, Face>::identity(),
                                {0.01, 0.02, 0.003}};
    SeamDraw d{random_shape(random, speed * duration), face, speed, random.index(4) == 0, {speed}, {}};
    d.law.acceleration = speed / duration * random.uniform(3, 10);
    d.law.jerk = d.law.acceleration / duration * random.uniform(6, 20);
    d.law.start_speed = random.index(2) == 0 && !lights ? 0 : speed / 2;
    d.law.end_speed = random.index(2) == 0 && !lights ? 0 : speed;
    d.options.focus_offset = random.uniform(-1e-3, 1e-3);
    d.options.weave = random_weave(random, duration * (d.by_a_law ? 3 : 1));
    if (d.by_a_law)
        d.options.weave.frequency_growth = d.options.weave.amplitude_growth = 0;
    return d;
}

// ---- what limits read ------------------------------------------------------------------------------------

/// All readings of the limits at one instant, in SI units; those that are not asked stay as they are.
using Readings = std::array<double, limit_count>;

inline double& of(Readings& r, Limit limit) { return r[static_cast<std::size_t>(limit)]; }

/// The limits that are read here.
inline constexpr Limit plain_limits[] = {
    Limit::x_angle,        Limit::y_angle,         Limit::field,
    Limit::x_velocity,     Limit::y_velocity,      Limit::x_acceleration,
    Limit::y_acceleration, Limit::x_jerk,          Limit::y_jerk,
    Limit::focus_range,    Limit::focus_velocity,  Limit::focus_acceleration,
    Limit::incidence,      Limit::incidence_along, Limit::incidence_across,
    Limit::spot_speed,     Limit::head_turning};
inline constexpr Limit light_limits[] = {Limit::spot_size, Limit::defocus, Limit::power_density,
                                         Limit::line_energy};

/// By doubles, `seam_time` s after the seam's start. Of the field the radius in its plane, m.
template <class C, class S>
Readings readings_of(ProofJob<C> const& job, S const& scheduled, double seam_time, bool lights) {
    using L = Limit;
    Readings r{};
    auto const& seam = scheduled.seam;
    auto const& head = job.chain.head;
    using T3 = Taylor<double, 3>;
    T3 const u = T3::variable(seam_time);
    double const t = scheduled.start + seam_time;
    auto const f = job.chain.follow(seam, u, T3(u + scheduled.start));
    auto const& c = f.aim.command;
    of(r, L::x_angle) = c.x_mirror.value();
    of(r, L::y_angle) = c.y_mirror.value();
    of(r, L::x_velocity) = c.x_mirror.derivative(1);
    of(r, L::y_velocity) = c.y_mirror.derivative(1);
    of(r, L::x_acceleration) = c.x_mirror.derivative(2);
    of(r, L::y_acceleration) = c.y_mirror.derivative(2);
    of(r, L::x_jerk) = c.x_mirror.derivative(3);
    of(r, L::y_jerk) = c.y_mirror.derivative(3);
    of(r, L::focus_range) = c.focus.value();
    of(r, L::focus_velocity) = c.focus.derivative(1);
    of(r, L::focus_acceleration) = c.focus.derivative(2);
    // The beam turns by twice a mirror's angle: first in the plane of x and z, then about x.
    double const x = 2 * c.x_mirror.value(), y = 2 * c.y_mirror.value();
    Direction<Head> const beam{std::sin(x), std::cos(x) * std::sin(y), std::cos(x) * std::cos(y)};
    double const reach = (head.focus_path - head.separation) / beam.z;
    of(r, L::field) = std::hypot(head.separation * std::tan(x) + reach * beam.x, reach * beam.y);

    auto const frame = frame_at(seam.path, seam.arc_length(seam_time));
    auto const normal = job.chain.in_head(frame.normal, t);
    auto const tangent = job.chain.in_head(frame.tangent, t);
    double const square = -dot(beam, normal);
    of(r, L::incidence) = std::atan2(norm(cross(beam, normal)), square);
    of(r, L::incidence_along) = std::atan2(-dot(beam, tangent), square);
    of(r, L::incidence_across) = std::atan2(-dot(beam, cross(normal, tangent)), square);

    using T1 = Taylor<double, 1>;
    auto const place = seam.at(T1::variable(seam_time)).position;
    of(r, L::spot_speed) = std::hypot(place.x.derivative(1), place.y.derivative(1), place.z.derivative(1));
    // The lever from the head to the spot as a direction that is fixed in the part, and its rate there.
    Direction<Head> const lever{f.target.x.value(), f.target.y.value(), f.target.z.value()};
    auto const share = [&](Direction<Part> const& axis) { return dot(job.chain.in_head(axis, t), lever); };
    Direction<Part> const fixed{share({1, 0, 0}), share({0, 1, 0}), share({0, 0, 1})};
    auto const swept = job.chain.in_head(fixed, T1::variable(t));
    of(r, L::head_turning) = std::hypot(swept.x.derivative(1), swept.y.derivative(1), swept.z.derivative(1));

    if (lights) {
        Wanted wanted;
        for (auto const m : {Measure::spot, Measure::defocus, Measure::area, Measure::energy})
            wanted[m] = true;
        auto const d = demand_of(job, scheduled, T1::variable(seam_time), wanted);
        of(r, L::spot_size) = 2 * d[Measure::spot].value();
        of(r, L::defocus) = d[Measure::defocus].value();
        of(r, L::power_density) = 1 / d[Measure::area].value();
        of(r, L::line_energy) = d[Measure::energy].value();
    }
    return r;
}

/// The readings beside a break, with what a jump of each rate asks of the next one if it is made up for
/// within a tick of 10 µs.
template <class C, class S>
Readings jump_readings(ProofJob<C> const& job, S const& scheduled, double seam_time, bool lights) {
    using L = Limit;
    auto before = readings_of(job, scheduled, seam_time - 1e-9, lights);
    auto after = readings_of(job, scheduled, seam_time + 1e-9, lights);
    auto r = before;
    for (auto const& [rate, below] :
         {std::pair{L::x_velocity, L::x_angle}, std::pair{L::y_velocity, L::y_angle},
          std::pair{L::x_acceleration, L::x_velocity}, std::pair{L::y_acceleration, L::y_velocity},
          std::pair{L::x_jerk, L::x_acceleration}, std::pair{L::y_jerk, L::y_acceleration},
          std::pair{L::focus_velocity, L::focus_range}, std::pair{L::focus_acceleration, L::focus_velocity}})
        of(r, rate) = (of(after, below) - of(before, below)) / 1e-5;
    return r;
}

/// Least and largest readings.
struct Extremes {
    Readings low, high;
    Extremes() {
        low.fill(std::numeric_limits<double>::infinity());
        high.fill(-std::numeric_limits<double>::infinity());
    }
    void take(Readings const& r) {
        for (std::size_t i = 0; i < limit_count; ++i) {
            low[i] = std::min(low[i], r[i]);
            high[i] = std::max(high[i], r[i]);
        }
    }
    double least(Limit limit) const { return low[static_cast<std::size_t>(limit)]; }
    double most(Limit limit) const { return high[static_cast<std::size_t>(limit)]; }
    double size(Limit limit) const { return std::max(-least(limit), most(limit)); }
};

/// Over a whole seam every `step` s, with both ends and both sides of every break.
template <class C, class S>
Extremes extremes_of(ProofJob<C> const& job, S const& scheduled, double step, bool lights) {
    Extremes all;
    double const duration = scheduled.seam.duration();
    auto const at = [&](double time) {
        if (time >= 0 && time <= duration)
            all.take(readings_of(job, scheduled, time, lights));
    };
    auto const count = std::ceil(duration / step);
    for (double i = 0; i <= count; ++i)
        at(duration * (i / count));
    std::vector<double> breaks = scheduled.seam.breaks();
    for (double const t : breaks)
        if (t > 1e-9 && t < duration - 1e-9)
            all.take(jump_readings(job, scheduled, t, lights));
    for (double const t : job.chain.breaks())
        breaks.push_back(t - scheduled.start);
    for (double const t : breaks)
        for (double const side : {-1e-11, 1e-11})
            at(t + side);
    return all;
}

/// By how much a limit is used by readings between these, worked out from the job's own numbers.
template <class C, class S>
double used(ProofJob<C> const& job, S const& scheduled, Limit limit, Extremes const& e) {
    using L = Limit;
    auto const& dynamics = job.dynamics;
    auto const& limits = job.limits;
    auto const of_range = [&](Range const& r) {
        double const middle = (r.low + r.high) / 2, half = (r.high - r.low) / 2;
        return std::max(std::abs(e.most(limit) - middle), std::abs(e.least(limit) - middle)) / half;
    };
    double const size = e.size(limit);
    switch (limit) {
    case L::x_angle:
        return of_range(job.chain.head.x_range);
    case L::y_angle:
        return of_range(job.chain.head.y_range);
    case L::focus_range:
        return of_range(job.chain.head.focus_range);
    case L::field:
        return size / job.chain.head.field_radius;
    case L::x_velocity:
    case L::y_velocity:
        return size / dynamics.mirror_velocity;
    case L::x_acceleration:
    case L::y_acceleration:
        return size / dynamics.mirror_acceleration;
    case L::x_jerk:
    case L::y_jerk:
        return size / dynamics.mirror_jerk;
    case L::focus_velocity:
        return size / dynamics.focus_velocity;
    case L::focus_acceleration:
        return size / dynamics.focus_acceleration;
    case L::incidence:
        return limits.least_incidence > 0 ? of_range({limits.least_incidence, job.largest_incidence})
                                          : size / job.largest_incidence;
    case L::incidence_along:
        return of_range(limits.along);
    case L::incidence_across:
        return of_range(limits.across);
    case L::spot_speed:
        return size / limits.spot_speed;
    case L::head_turning:
        return size / (limits.turning_share * value_of(scheduled.seam.travel.speed()));
    case L::spot_size:
        return size / job.process->largest_spot;
    case L::defocus:
        return size / job.process->largest_defocus;
    case L::power_density:
        return job.process->least_power_density / e.least(limit);
    case L::line_energy:
        return of_range(job.process->line_energy);
    default:
        return 0;
    }
}

/// Sets every limit near to what was read: `factor()` times the peak.
template <class C, class S, class Factor>
void set_limits(ProofJob<C>& job, S const& scheduled, Extremes const& e, Random& random,
                Factor const& factor) {
    using L = Limit;
    auto const most = [&](L a, L b, double least) {
        return std::max({e.size(a), e.size(b), least}) * factor();
    };
    auto const range = [&](L limit, double least) {
        double const width = std::max(e.most(limit) - e.least(limit), least);
        double const middle = e.least(limit) + random.uniform(-1, 2) * width;
        double const half = std::max({e.most(limit) - middle, middle - e.least(limit), least}) * factor();
        return Range{middle - half, middle + half};
    };
    auto& head = job.chain.head;
    head.x_range = range(L::x_angle, 1e-3);
    head.y_range = range(L::y_angle, 1e-3);
    head.focus_range = range(L::focus_range, 1e-5);
    head.field_radius = most(L::field, L::field, 1e-3);
    job.dynamics = {most(L::x_velocity, L::y_velocity, 1e-3),
                    most(L::x_acceleration, L::y_acceleration, 0.1),
                    1e9,
                    0,
                    0,
                    most(L::focus_velocity, L::focus_velocity, 1e-5),
                    0,
                    most(L::x_jerk, L::y_jerk, 100),
                    most(L::focus_acceleration, L::focus_acceleration, 1e-2)};
    job.largest_incidence = most(L::incidence, L::incidence, 1e-3);
    if (random.index(3) == 0) {
        double const low = std::max(e.least(L::incidence), 1e-4) / factor();
        if (low < job.largest_incidence)
            job.limits.least_incidence = low;
    }
    job.limits.along = range(L::incidence_along, 1e-3);
    job.limits.across = range(L::incidence_across, 1e-3);
    job.limits.spot_speed = most(L::spot_speed, L::spot_speed, 1e-4);
    job.limits.turning_share =
        most(L::head_turning, L::head_turning, 1e-4) / value_of(scheduled.seam.travel.speed());
    if (job.process) {
        job.process->largest_spot = most(L::spot_size, L::spot_size, 1e-5);
        job.process->largest_defocus = most(L::defocus, L::defocus, 1e-3);
        job.process->least_power_density = e.least(L::power_density) / factor();
        job.process->line_energy = range(L::line_energy, 1e-3);
    }
}

/// A head with room for all that is drawn here; its limits are set later.
inline MirrorPair<> roomy_head() { return {0.04, 0.54, 8, {-0.3, 0.3}, {-0.3, 0.3}, {-0.02, 0.02}, 0.4}; }

/// A beam for the limits of the light, which are set later. Invented.
inline Process invented_process() {
    return {DeliveredBeam<>{BeamQuality<>::from_m2(1.07e-6, 6), 0.01, 0.1}, 4000, 1, 1e3, 1, {0, 1e9}};
}

} // namespace seamhold::test

#endif
