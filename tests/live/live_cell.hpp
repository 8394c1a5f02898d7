#ifndef SEAMHOLD_TESTS_LIVE_LIVE_CELL_HPP
#define SEAMHOLD_TESTS_LIVE_LIVE_CELL_HPP

#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/live/receiver.hpp"
#include "seamhold/live/steering.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/shapes.hpp"
#include "support/mirror_trace.hpp"
#include "support/robot_link.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

// A whole cell in simulation: a robot that sweeps, its link, the receiver, the steering, axes that answer
// late, a laser that comes on late, and where the light truly is. The truth shares nothing with the loop: the
// robot's pose is the motion itself, the mirrors are integrated, the beam is traced by vectors and met with
// the face's plane, the seams are formulas of school. All numbers are invented.

namespace seamhold::test {

/// How fast a program runs: rates at times, straight lines between them. Alone it runs at full speed.
struct Override {
    struct Knot {
        double time, rate;
    };
    std::vector<Knot> knots = {};

    /// How far the program is at robot time t, s.
    double program(double t) const {
        if (knots.empty() || t <= knots.front().time)
            return t;
        double done = knots.front().time;
        for (std::size_t i = 0; i < knots.size(); ++i) {
            auto const& a = knots[i];
            bool const last = i + 1 == knots.size();
            double const end = last ? t : std::min(t, knots[i + 1].time);
            double const slope = last ? 0 : (knots[i + 1].rate - a.rate) / (knots[i + 1].time - a.time);
            double const s = end - a.time;
            done += s * (a.rate + slope * s / 2);
            if (end >= t)
                break;
        }
        return done;
    }
};

/// A flange that carries a point straight on, with swings, while it turns about that point.
struct ProgramSweep {
    static constexpr Point<Flange> point{0.01, -0.02, 0.5}; ///< that is carried

    double speed = 0.2;           ///< m/s
    double swing = 3e-3;          ///< to each side, m,
    double swing_frequency = 1.2; ///< Hz
    double turn = 0.08;           ///< the head turns by so much to each side, rad,
    double turn_frequency = 0.4;  ///< Hz
    Override override_ = {};      ///< how fast the program runs
    double brake_at = 1e9;        ///< robot time at which it brakes, unannounced, s,
    double braking = 8;           ///< by so much, m/s²
    double deviation = 0;         ///< of this pass, slow, on each axis, m
    double late = 0;              ///< the robot is where it was told to be so much later, s

    /// As the program has it.
    Point<Cell> planned_spot(double p) const {
        double const w = 2 * std::numbers::pi * swing_frequency;
        double const side = swing * std::sin(w * p);
        double const up = 0.5 * swing * std::sin(0.7 * w * p + 1);
        return {1.0 + speed * p * 0.8 - 0.6 * side, 0.2 + speed * p * 0.6 + 0.8 * side, 0.4 + up};
    }
    Quaternion<double> planned_rotation(double p) const {
        double const half = turn / 2 * std::sin(2 * std::numbers::pi * turn_frequency * p + 0.5);
        double const s = std::sin(half) / 3; // about (2, −1, 2)/3
        Quaternion<double> const down{0, 0.8, 0.6, 0};
        return Quaternion<double>{std::cos(half), 2 * s, -s, 2 * s} * down;
    }

    /// How far the program is at robot time t, s.
    double program(double told_at) const {
        double const t = told_at - late;
        double const p = override_.program(t);
        double const since = t - brake_at;
        if (since <= 0)
            return p;
        double const stop = speed / braking; // at full override
        double const run = std::min(since, stop);
        return brake_at + run * (1 - run / (2 * stop));
    }

    Quaternion<double> rotation(double t) const { return planned_rotation(program(t)); }
    Point<Cell> spot(double t) const {
        auto p = planned_spot(program(t));
        if (deviation != 0) {
            p.x += deviation * std::sin(1.1 * t);
            p.y += deviation * std::sin(1.7 * t + 1);
            p.z += deviation * std::sin(1.3 * t + 2);
        }
        return p;
    }
    Pose<Cell, Flange> flange(double t) const {
        auto const r = rotation_of<Cell, Flange>(rotation(t));
        return {r, spot(t) - r * Direction<Flange>{point.x, point.y, point.z}};
    }
};

/// A seam as a drawing has it: straight or a circle on a plane, with a sine across or without.
struct DrawnSeam {
    std::string name;
    double start; ///< of the program, s
    Pose<Cell, Face> cell_from_face;
    FacePoint from;   ///< or the centre
    double angle;     ///< of travel, or where the circle begins, rad
    double diameter;  ///< of the circle; 0: straight
    double length;    ///< m
    double feed;      ///< m/s
    Weave weave = {}; ///< sine only
    double focus_offset = 0;

    double duration() const { return length / feed; }

    /// Where the spot belongs, and the direction of travel there.
    struct Place {
        double x, y, along_x, along_y;
    };
    Place at(double time) const {
        double const s = feed * time;
        Place p{from.x + s * std::cos(angle), from.y + s * std::sin(angle), std::cos(angle), std::sin(angle)};
        if (diameter > 0) {
            double const a = angle + 2 * s / diameter;
            p = {from.x + diameter / 2 * std::cos(a), from.y + diameter / 2 * std::sin(a), -std::sin(a),
                 std::cos(a)};
        }
        double const across = weave.amplitude * std::sin(2 * std::numbers::pi * weave.frequency * time);
        p.x -= across * p.along_y;
        p.y += across * p.along_x;
        return p;
    }

    ScheduledSeam scheduled(Pose<Cell, Part> const& cell_from_part) const {
        Plane<> const plane{inverse(cell_from_part) * cell_from_face};
        if (diameter > 0)
            return {
                name, start,
                at_speed(OnFace<Arc<>, Plane<>>{arc_around(from, diameter / 2, angle, 2 * length / diameter),
                                                plane},
                         feed, {weave, focus_offset, {}})};
        FacePoint const to{from.x + length * std::cos(angle), from.y + length * std::sin(angle)};
        return {name, start,
                at_speed(OnFace<Straight<>, Plane<>>{straight_between(from, to), plane}, feed,
                         {weave, focus_offset, {}})};
    }
};

/// One axis, apart from the library: y″/ω² + 2ζ/ω y′ + y = u, the command held from tick to tick and late by
/// some ticks; Runge and Kutta's classical method. Without a frequency it follows at once.
class SimulatedAxis {
public:
    SimulatedAxis(double natural_frequency, double damping, std::size_t late)
        : omega_(2 * std::numbers::pi * natural_frequency), damping_(damping), line_(late + 1, 0.0) {}

    double value() const { return y_; }
    double rate() const { return rate_; }

    /// The command of this tick, and on to the next, h s later.
    void step(double command, double h) {
        line_[next_] = command;
        next_ = next_ + 1 == line_.size() ? 0 : next_ + 1;
        double const u = line_[next_]; // the oldest: `late` ticks ago
        if (omega_ == 0) {
            rate_ = (u - y_) / h;
            y_ = u;
            return;
        }
        auto const force = [&](double y, double rate) {
            return omega_ * (omega_ * (u - y) - 2 * damping_ * rate);
        };
        double const y1 = rate_, r1 = force(y_, rate_);
        double const y2 = rate_ + h / 2 * r1, r2 = force(y_ + h / 2 * y1, y2);
        double const y3 = rate_ + h / 2 * r2, r3 = force(y_ + h / 2 * y2, y3);
        double const y4 = rate_ + h * r3, r4 = force(y_ + h * y3, y4);
        y_ += h / 6 * (y1 + 2 * y2 + 2 * y3 + y4);
        rate_ += h / 6 * (r1 + 2 * r2 + 2 * r3 + r4);
    }

private:
    double omega_, damping_;
    std::vector<double> line_;
    std::size_t next_ = 0;
    double y_ = 0, rate_ = 0;
};

/// How an axis of the simulated head is made.
struct AxisMake {
    double natural_frequency, damping; ///< Hz
    std::size_t late;                  ///< ticks

    /// As the loop is told; a command that is held for a tick is late by half of one.
    AxisResponse response(double period) const {
        double const delay = static_cast<double>(late) * period + period / 2;
        return natural_frequency == 0 ? AxisResponse::pure_delay(delay)
                                      : AxisResponse::second_order(natural_frequency, damping, delay);
    }
};

/// All that a cell is made of.
struct CellMake {
    ProgramSweep motion = {};
    LinkSettings link = [] {
        LinkSettings l;
        l.offset = 40;
        return l;
    }();
    /// Where the light belongs: by the true program of the robot, or where the loop says that it is. They
    /// differ where the loop was told wrong how far the program is: then a seam is welded early or late, but
    /// on its line.
    enum class Belongs { by_program, by_loop } belongs = Belongs::by_program;
    double program_start = 0; ///< the robot's time at which its program begins, s
    Tolerances tolerances = {120e-6, 200e-6, 3e-3};
    HeadDynamics dynamics{60, 6e4, 3e4, 0, 500e-6, 5, 0, no_limit, 5000};
    std::array<AxisMake, 3> axes = {{{1200, 0.7, 6}, {1500, 0.8, 7}, {300, 0.9, 20}}};
    std::size_t laser_on = 5, laser_off = 8; ///< ticks
    double period = 10e-6;
    double from = 0.25;     ///< the loop begins to tick, s of the simulation
    double duration = 1.45; ///< s
    Pose<Cell, Part> cell_from_part = {about_axis<Cell, Part>({0.6, 0, 0.8}, 0.3), {0.9, 0.1, 0.3}};
    Pose<Flange, Head> flange_from_head = {about_axis<Flange, Head>({0.6, 0, 0.8}, degrees(2)),
                                           {0.002, -0.003, 0.01}};
    MirrorPair<> head = checked(MirrorPair<>{0.04,
                                             0.53,
                                             10,
                                             {degrees(-12.5), degrees(12.5)},
                                             {degrees(-12.5), degrees(12.5)},
                                             {millimetres(-15), millimetres(15)},
                                             std::numeric_limits<double>::infinity()});
    std::vector<DrawnSeam> seams = {};
    std::vector<InputDeclaration> inputs = {};

    CellMake() { seams = usual_seams(); }

    /// A face near where the sweep is at a time of the program, leaning by `lean` rad.
    Pose<Cell, Face> face_under(double program_time, double lean, double height = 0) const {
        auto const p = motion.planned_spot(program_time);
        return {about_axis<Cell, Face>({0.8, 0.6, 0}, lean), {p.x, p.y, 0.4 + height}};
    }

    /// A straight seam, a circle, and a weave of 300 Hz, each on a face that leans its own way, and a short
    /// straight one.
    std::vector<DrawnSeam> usual_seams() const {
        return {{"straight", 0.55, face_under(0.61, 0.1), {-0.006, 0.004}, 0.9, 0, 0.012, 0.1},
                {"circle",
                 0.75,
                 face_under(0.81, -0.2, 2e-3),
                 {0.002, -0.003},
                 0.3,
                 0.004,
                 0.004 * std::numbers::pi,
                 0.1},
                {"weave",
                 0.95,
                 face_under(1.02, 0.3, -3e-3),
                 {0.006, 0.002},
                 -2.2,
                 0,
                 0.012,
                 0.1,
                 {300, 0.2e-3},
                 1e-3},
                {"last", 1.2, face_under(1.25, -0.1), {0, 0}, 0.5, 0, 0.01, 0.1}};
    }

    SteeringSettings steering() const {
        Job const job{AnyChain{Rest<Cell, Flange>{Pose<Cell, Flange>::identity()},
                               Rest<Cell, Part>{cell_from_part}, flange_from_head, head},
                      dynamics,
                      degrees(50),
                      {},
                      {},
                      {},
                      {}};
        auto s = steering_settings(job, tolerances, period);
        s.x_response = axes[0].response(period);
        s.y_response = axes[1].response(period);
        s.focus_response = axes[2].response(period);
        s.laser = {static_cast<double>(laser_on) * period, static_cast<double>(laser_off) * period};
        s.power = 2000;
        return s;
    }

    /// What the receiver is told of the link: its least delay, and how far ahead the loop asks.
    ReceiverSettings receiver() const {
        auto s = ReceiverSettings::of(link.period);
        s.clock.least_delay = link.latency - link.jitter;
        s.lead = axes[0].response(period).delay;
        s.sweep_speed = motion.speed;
        return s;
    }

    std::vector<ScheduledSeam> scheduled() const {
        std::vector<ScheduledSeam> all;
        for (auto const& s : seams)
            all.push_back(s.scheduled(cell_from_part));
        return all;
    }

    /// The robot's time by its true clock at a moment of the scanner's.
    double robot_time(double now) const { return (now - link.offset) * (1 + link.drift); }
};

/// Where the light truly is.
struct TrueSpot {
    double across, along, focus; ///< off its place, signed, m
};

/// The light's place from the true pose and true mirrors, against the seam's own formula: mirrors as planes,
/// a line that meets a plane, and the optical path. The pose is composed by the library's own frames, which
/// are tested elsewhere.
inline TrueSpot true_spot(CellMake const& cell, DrawnSeam const& seam, Pose<Cell, Flange> const& flange,
                          double x_mirror, double y_mirror, double lens, double seam_time) {
    auto const beam = traced(cell.head.separation, x_mirror, y_mirror);
    auto const& p = beam.line.point;
    auto const& d = beam.line.direction;
    auto const face_from_head = inverse(seam.cell_from_face) * flange * cell.flange_from_head;
    auto const origin = face_from_head * Point<Head>{p.x, p.y, p.z};
    auto const direction = face_from_head.rotation * Direction<Head>{d.x, d.y, d.z};
    double const way = -origin.z / direction.z;
    auto const place = seam.at(seam_time);
    double const dx = origin.x + way * direction.x - place.x;
    double const dy = origin.y + way * direction.y - place.y;
    double const focus_path = cell.head.focus_path + cell.head.focus_ratio * lens;
    return {place.along_x * dy - place.along_y * dx, place.along_x * dx + place.along_y * dy,
            focus_path - beam.path - way - seam.focus_offset};
}

/// One moment with light, at a tick.
struct Lit {
    double now;       ///< scanner's clock, s
    std::size_t seam; ///< by the tick that opened
    double seam_time; ///< by the true clocks, s
    TrueSpot off;
};

/// A tick at which the gate changed.
struct Edge {
    double now;
    bool open;
    std::size_t seam;
    LiveTick tick;
};

/// What became of a run.
struct CellRun {
    std::vector<Lit> lit;
    std::vector<Lit> pilot; ///< within seams by the true program, as often as asked for
    std::size_t pilot_wanted = 0;
    std::vector<Edge> edges;
    std::vector<SeamRecord> records;
    std::vector<double> lit_ends; ///< the moments at which light ended, scanner's clock, s
    Deviations worst{0, 0, 0};    ///< of all light
    Deviations worst_stated{0, 0, 0};
    std::vector<Forecast<7>> faulty; ///< forecasts with a fault, the first of each run of them
    std::vector<double> faulty_at;
    std::size_t ticks = 0;
    std::vector<std::string> broken; ///< rules that must hold whatever comes

    /// All light within these.
    bool within(Tolerances const& t) const {
        return worst.across <= t.across && worst.along <= t.along && worst.focus <= t.focus;
    }
    std::size_t opened(std::size_t seam) const {
        return static_cast<std::size_t>(std::count_if(
            edges.begin(), edges.end(), [&](Edge const& e) { return e.open && e.seam == seam; }));
    }
    /// The first closing at or after a moment; null where there is none.
    Edge const* closing_after(double now) const {
        for (auto const& e : edges)
            if (!e.open && e.now >= now)
                return &e;
        return nullptr;
    }
    bool open_at(double now) const {
        bool open = false;
        for (auto const& e : edges)
            if (e.now <= now)
                open = e.open;
        return open;
    }
};

/// What a test may do from outside, before each tick and after it.
struct CellHooks {
    std::function<void(double now, LiveLink<7>& link)> before = nullptr;
    std::function<void(LiveTick const& tick)> after = nullptr;
    std::function<bool(double now)> writer_lives = nullptr;
    std::size_t pilot_every = 0; ///< ticks after which the pilot light is looked at; 0: not at all
    bool tell_program = true;    ///< the cell says where the program is, at the start and after each jump
};

using CellSteering = Steering<ForecastFlange, Rest<Cell, Part>, MirrorPair<>>;
using CellReceiver = Receiver<PoseMessage>;

inline CellSteering cell_steering(CellMake const& cell, SteeringSettings const& settings,
                                  std::optional<PoseLog<Cell, Flange>> pass = {}) {
    return CellSteering({{std::move(pass), {}}, {cell.cell_from_part}, cell.flange_from_head, cell.head},
                        cell.scheduled(), settings, ExternalInputs(cell.inputs));
}

/// Runs a cell over messages in order of arrival.
inline CellRun run_cell(CellMake const& cell, std::vector<Arrival> const& messages, CellReceiver& receiver,
                        CellSteering& steering, CellHooks const& hooks = {}) {
    CellRun run;
    LiveLink<7> link;
    std::array<SimulatedAxis, 3> axes{
        SimulatedAxis(cell.axes[0].natural_frequency, cell.axes[0].damping, cell.axes[0].late),
        SimulatedAxis(cell.axes[1].natural_frequency, cell.axes[1].damping, cell.axes[1].late),
        SimulatedAxis(cell.axes[2].natural_frequency, cell.axes[2].damping, cell.axes[2].late)};
    std::size_t next = 0;
    double last_beat = -1;
    bool open = false;
    std::size_t seam = 0;
    std::size_t on_at = SIZE_MAX, off_at = 0; // ticks between which there is light
    auto const count = static_cast<std::size_t>(std::llround(cell.duration / cell.period));
    auto const first = static_cast<std::size_t>(std::llround(cell.from / cell.period));
    bool was_faulty = false;
    double by_loop = 0;                           // the seam's time of the light, as the loop has it, s
    StreamFault fault = StreamFault::few_samples; // what the loop could know by now
    double made = -1, beat = -1;
    auto const ranges = cell.head.ranges();
    auto const is_good = [](Range const& range, double x) {
        return is_finite(x) && x >= range.low && x <= range.high;
    };
    auto const breaks = [&](bool bad, double now, char const* rule) {
        if (bad && run.broken.size() < 5)
            run.broken.push_back(rule + (" at " + std::to_string(now - cell.link.offset)));
    };
    for (std::size_t k = 0; k < count; ++k) {
        double const now = cell.link.offset + cell.period * static_cast<double>(k);
        bool const lives = !hooks.writer_lives || hooks.writer_lives(now);
        for (; next < messages.size() && messages[next].time <= now; ++next) {
            if (!lives)
                continue;
            auto const& m = messages[next];
            auto const forecast = receiver.take(m.message, {m.time});
            link.beat({m.time});
            beat = m.time;
            if (forecast) {
                fault = forecast->fault;
                made = forecast->made.seconds;
                static_cast<void>(link.forecasts.push(*forecast));
                bool const faulty =
                    forecast->fault != StreamFault::none && forecast->fault != StreamFault::few_samples;
                if (faulty && !was_faulty) {
                    run.faulty.push_back(*forecast);
                    run.faulty_at.push_back(m.time);
                }
                was_faulty = faulty;
            }
            // As a robot does that sends how far its program is.
            if (hooks.tell_program && !receiver.knows_program() &&
                receiver.status() == IntakeStatus::accepted)
                receiver.start(cell.motion.program(m.sampled) - cell.program_start,
                               receiver.robot_time(m.message.head.stamp));
        }
        if (lives && now - last_beat >= 0.005) {
            link.beat({now});
            beat = last_beat = now;
        }
        if (k < first)
            continue;
        if (hooks.before)
            hooks.before(now, link);
        auto const tick = steering.tick({now}, link);
        ++run.ticks;
        if (hooks.after)
            hooks.after(tick);
        breaks(tick.gate && fault != StreamFault::none, now, "open with a faulty forecast");
        breaks(tick.gate && !(now - made <= 0.05), now, "open on old data");
        breaks(tick.gate && !(now - beat <= 0.05), now, "open without a sign of life");
        breaks(tick.gate && link.stopped(), now, "open though stopped");
        breaks(!is_good(ranges.x_mirror, tick.command.x_mirror) ||
                   !is_good(ranges.y_mirror, tick.command.y_mirror) ||
                   !is_good(ranges.focus, tick.command.focus),
               now, "a command beyond its range");
        breaks(tick.gate && !open && run.opened(tick.seam) > 0, now, "open a second time in a seam");
        breaks(tick.gate && open && tick.seam != seam, now, "from seam to seam without shutting");
        breaks(tick.gate != (tick.power > 0), now, "power without gate, or gate without power");
        breaks(tick.gate != (tick.cause.reason == GateReason::none), now, "shut without a reason");
        if (tick.gate != open) {
            open = tick.gate;
            if (open)
                seam = tick.seam;
            run.edges.push_back({now, open, open ? tick.seam : seam, tick});
            if (open) {
                on_at = k + cell.laser_on;
                off_at = SIZE_MAX;
            } else {
                off_at = k + cell.laser_off;
                run.lit_ends.push_back(now + cell.period * static_cast<double>(cell.laser_off));
            }
        }
        // A tick tells of where the light ends should it be shut at the next one.
        by_loop = tick.gate ? tick.seam_time - cell.period * static_cast<double>(1 + cell.laser_off)
                            : by_loop + cell.period;
        if (open) {
            run.worst_stated.across = std::max(run.worst_stated.across, tick.stated.across);
            run.worst_stated.along = std::max(run.worst_stated.along, tick.stated.along);
            run.worst_stated.focus = std::max(run.worst_stated.focus, tick.stated.focus);
        }
        if (k >= on_at && k < off_at) {
            double const t = cell.robot_time(now);
            auto const& drawn = cell.seams[seam];
            double const seam_time = cell.belongs == CellMake::Belongs::by_program
                                         ? cell.motion.program(t) - cell.program_start - drawn.start
                                         : by_loop;
            auto const off = true_spot(cell, drawn, cell.motion.flange(t), axes[0].value(), axes[1].value(),
                                       axes[2].value(), seam_time);
            run.lit.push_back({now, seam, seam_time, off});
            run.worst.across = std::max(run.worst.across, std::abs(off.across));
            run.worst.along = std::max(run.worst.along, std::abs(off.along));
            run.worst.focus = std::max(run.worst.focus, std::abs(off.focus));
        }
        if (hooks.pilot_every > 0 && k % hooks.pilot_every == 0) {
            double const t = cell.robot_time(now);
            double const program = cell.motion.program(t) - cell.program_start;
            for (std::size_t i = 0; i < cell.seams.size(); ++i) {
                double const seam_time = program - cell.seams[i].start;
                if (seam_time < 0 || seam_time > cell.seams[i].duration())
                    continue;
                ++run.pilot_wanted;
                if (tick.pilot)
                    run.pilot.push_back(
                        {now, i, seam_time,
                         true_spot(cell, cell.seams[i], cell.motion.flange(t), axes[0].value(),
                                   axes[1].value(), axes[2].value(), seam_time)});
            }
        }
        axes[0].step(tick.command.x_mirror, cell.period);
        axes[1].step(tick.command.y_mirror, cell.period);
        axes[2].step(tick.command.focus, cell.period);
    }
    run.records = steering.gate().seams();
    return run;
}

/// What a receiver makes of messages, in order of arrival: what the loop is given, without a link.
inline std::vector<Forecast<7>> forecasts_of(CellMake const& cell, std::vector<Arrival> const& messages) {
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    std::vector<Forecast<7>> all;
    for (auto const& m : messages) {
        if (auto const forecast = receiver.take(m.message, {m.time}))
            all.push_back(*forecast);
        if (!receiver.knows_program() && receiver.status() == IntakeStatus::accepted)
            receiver.start(m.sampled - cell.program_start, receiver.robot_time(m.message.head.stamp));
    }
    return all;
}

/// The loop alone over such forecasts, tick by tick: no link, no simulated axes.
class LoopAlone {
public:
    LoopAlone(CellMake const& cell, std::vector<Forecast<7>> const& forecasts)
        : forecasts_(forecasts), period_(cell.period),
          begin_(static_cast<std::size_t>(std::llround(cell.from / cell.period))), start_(cell.link.offset) {
        restart();
    }

    /// From the beginning, with the forecasts that came before left out but for the newest.
    void restart() {
        tick_ = begin_;
        next_ = 0;
        while (next_ + 1 < forecasts_.size() && forecasts_[next_ + 1].made.seconds <= now())
            ++next_;
    }

    double now() const { return start_ + period_ * static_cast<double>(tick_); }
    std::size_t tick_number() const { return tick_; }

    /// The next tick.
    template <class AnySteering> LiveTick step(AnySteering& steering, bool stop = false) {
        double const t = now();
        ++tick_;
        Forecast<7> const* newest = nullptr;
        for (; next_ < forecasts_.size() && forecasts_[next_].made.seconds <= t; ++next_)
            newest = &forecasts_[next_];
        return steering.tick({t}, newest, {t}, stop);
    }

private:
    std::vector<Forecast<7>> const& forecasts_;
    double period_;
    std::size_t begin_;
    double start_;
    std::size_t tick_ = 0, next_ = 0;
};

/// The same with a receiver and a steering of its own.
inline CellRun run_cell(CellMake const& cell, std::vector<Arrival> const& messages,
                        CellHooks const& hooks = {}) {
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, cell.steering());
    return run_cell(cell, messages, receiver, steering, hooks);
}

/// The sweep as it is planned, a row every 4 ms.
inline PoseLog<Cell, Flange> planned_sweep(CellMake const& cell) {
    std::vector<PoseRow<Cell>> rows;
    for (double t = -0.1; t < cell.duration + 0.2; t += 0.004)
        rows.push_back({t, cell.motion.flange(t).origin, cell.motion.rotation(t)});
    return PoseLog<Cell, Flange>(rows);
}

/// Bounds for ticks in blocks about the sweep as it is planned, one a seam.
inline std::vector<BlockBounds<CellSteering::block_order>> bounds_about_sweep(CellMake const& cell,
                                                                              CellSteering const& steering) {
    auto const log = planned_sweep(cell);
    std::vector<BlockBounds<CellSteering::block_order>> bounds;
    for (auto const& s : steering.seams()) {
        BlockOptions options;
        options.longest = 0.45e-3;
        bounds.emplace_back(steering.chain(), s.seam, log,
                            ForecastBox{{2e-3, 0.03, 2, 150}, {2e-3, 0.03, 2, 150}, s.start}, options);
    }
    return bounds;
}

} // namespace seamhold::test

#endif
