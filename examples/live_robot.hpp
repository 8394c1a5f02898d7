#ifndef SEAMHOLD_EXAMPLES_LIVE_ROBOT_HPP
#define SEAMHOLD_EXAMPLES_LIVE_ROBOT_HPP

#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/live/receiver.hpp"
#include "seamhold/live/steering.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/shapes.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <optional>
#include <string>
#include <utility>
#include <vector>

// A simulated cell for the examples of the live loop: a robot that sweeps, its link, mirrors and a laser that
// answer late, and where the light truly is. All numbers are invented.
namespace seamhold::examples {

/// Random numbers, the same on every machine: splitmix64 (G. Steele, D. Lea, C. Flood, "Fast splittable
/// pseudorandom number generators", OOPSLA 2014; from memory).
class Chance {
public:
    explicit Chance(std::uint64_t seed) : state_(seed) {}

    /// From 0 to below 1.
    double unit() {
        std::uint64_t z = state_ += 0x9e3779b97f4a7c15U;
        z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
        z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
        return static_cast<double>((z ^ (z >> 31U)) >> 11U) * 0x1p-53;
    }

    /// Nearly normal, of standard deviation 1: twelve evenly spread numbers together.
    double normal() {
        double sum = -6;
        for (int i = 0; i < 12; ++i)
            sum += unit();
        return sum;
    }

private:
    std::uint64_t state_;
};

/// The robot's program: a point half a metre below the flange goes along x at 0.2 m/s and sways, while the
/// head tilts about it. A pass may deviate a little from the program.
struct RobotProgram {
    static constexpr Point<Flange> carried{0, 0, 0.5}; ///< the point, m
    static constexpr double speed = 0.2;               ///< m/s
    double deviation = 0;                              ///< of this pass, to each side, m

    /// The flange at robot time t, s. The program begins at 0.
    Pose<Cell, Flange> at(double t) const {
        double const turn = 2 * std::numbers::pi;
        auto const tilt = about_axis<Cell, Cell>({0.6, 0.8, 0}, degrees(3) * std::sin(turn * 0.4 * t + 0.5));
        auto const rotation = tilt * from_wxyz<Cell, Flange>(0, 1, 0, 0); // looks down
        Point<Cell> const point{speed * t + deviation * std::sin(1.1 * t),
                                3e-3 * std::sin(turn * 1.2 * t) + deviation * std::sin(1.7 * t + 1),
                                1.5e-3 * std::sin(turn * 0.8 * t + 1) + deviation * std::sin(1.3 * t + 2)};
        return {rotation, point - rotation * Direction<Flange>{carried.x, carried.y, carried.z}};
    }
};

/// A message of the flange at robot time t as a robot makes it; `noise` on each axis of its place, 1 standard
/// deviation, m.
inline PoseMessage message_at(RobotProgram const& program, double t, std::int64_t stamp, std::uint32_t number,
                              double noise, Chance& chance) {
    auto const flange = program.at(t);
    PoseMessage m{};
    m.head = {stamp, number, true, true, false, SampleKind::measured};
    m.origin = flange.origin +
               Direction<Cell>{noise * chance.normal(), noise * chance.normal(), noise * chance.normal()};
    m.rotation = quaternion_of(flange.rotation);
    return m;
}

/// What is between robot and controller.
struct RobotLink {
    double period = 4e-3;      ///< from sample to sample, s
    double least_delay = 8e-3; ///< from the moment spoken of to the arrival, s
    double scatter = 0.4e-3;   ///< above that, mean, s; hidden from the loop, as all that follows
    double loss = 0.01;        ///< share of messages that do not arrive
    double noise = 1e-6;       ///< of a pose, m
    double offset = 40;        ///< what the scanner's clock shows at the robot's 0, s
    double drift = 60e-6;      ///< how much faster the robot's clock goes
    double cut = 0;            ///< robot time at which nothing more arrives, s,
    double mended = 0;         ///< until here
    std::int64_t epoch = 1'700'000'000'000'000'000; ///< the robot's stamp at its 0, ns

    /// The robot's true time at a moment of the scanner's clock, both s.
    double robot_time(double now) const { return (now - offset) * (1 + drift); }
    /// And back.
    double scanner_time(double robot) const { return offset + robot / (1 + drift); }
};

/// A message with the moment at which it arrives by the scanner's clock, s.
struct SentMessage {
    double arrival;
    PoseMessage message;
};

/// All messages of `duration` s that arrive, in order of arrival.
inline std::vector<SentMessage> messages_of(RobotProgram const& program, RobotLink const& link,
                                            double duration) {
    Chance chance(2);
    std::vector<SentMessage> all;
    for (std::uint32_t i = 0; i * link.period < duration; ++i) {
        double const t = i * link.period;
        auto const message =
            message_at(program, t, link.epoch + std::llround(1e9 * t), i, link.noise, chance);
        double const arrival = t + link.least_delay - link.scatter * std::log(1 - chance.unit());
        bool const lost = chance.unit() < link.loss;
        if (!lost && !(arrival >= link.cut && arrival < link.mended))
            all.push_back({link.scanner_time(arrival), message});
    }
    std::stable_sort(all.begin(), all.end(),
                     [](SentMessage const& a, SentMessage const& b) { return a.arrival < b.arrival; });
    return all;
}

/// How an axis of the simulated head is made.
struct AxisMake {
    double natural_frequency; ///< Hz
    double damping;           ///< below 1
    std::size_t late;         ///< ticks

    /// As the loop is told; a command that is held for a tick is late by half of one.
    AxisResponse response(double period) const {
        return AxisResponse::second_order(natural_frequency, damping,
                                          (static_cast<double>(late) + 0.5) * period);
    }
};

/// One axis: y″/ω² + 2ζ/ω y′ + y = u with u held from tick to tick, in closed form.
class SimulatedAxis {
public:
    SimulatedAxis(AxisMake const& make, double period) : line_(make.late + 1, 0.0) {
        double const omega = 2 * std::numbers::pi * make.natural_frequency;
        decay_ = make.damping * omega;
        swing_ = omega * std::sqrt(1 - make.damping * make.damping);
        cos_ = std::exp(-decay_ * period) * std::cos(swing_ * period);
        sin_ = std::exp(-decay_ * period) * std::sin(swing_ * period);
    }

    double value() const { return y_; }

    /// Takes this tick's command and goes on to the next tick.
    void step(double command) {
        line_[next_] = command;
        next_ = next_ + 1 == line_.size() ? 0 : next_ + 1;
        double const u = line_[next_]; // the oldest
        double const off = y_ - u, b = (rate_ + decay_ * off) / swing_;
        y_ = u + cos_ * off + sin_ * b;
        rate_ = cos_ * (swing_ * b - decay_ * off) - sin_ * (swing_ * off + decay_ * b);
    }

private:
    std::vector<double> line_;
    std::size_t next_ = 0;
    double decay_, swing_, cos_, sin_, y_ = 0, rate_ = 0;
};

/// How far the light truly is from its place, signed, m.
struct SpotOff {
    double across, along, focus;
};

/// Head, part, seams and settings of the simulated cell.
struct LiveCell {
    using CellSteering = Steering<ForecastFlange, Rest<Cell, Part>, MirrorPair<>>;

    double period = 10e-6; ///< of a tick, s
    RobotProgram program = {50e-6};
    RobotLink link = {};
    AxisMake x_axis = {1200, 0.7, 6}, y_axis = {1500, 0.8, 7}, lens_axis = {300, 0.9, 20};
    std::size_t laser_late = 5;     ///< ticks, on and off
    double spot_diameter = 0.8e-3;  ///< m
    double rayleigh_length = 12e-3; ///< m
    Pose<Cell, Part> cell_from_part = Pose<Cell, Part>::identity();
    Pose<Flange, Head> flange_from_head{Pose<Flange, Head>::identity().rotation, {0, 0, millimetres(50)}};
    MirrorPair<> head = checked(MirrorPair<>{0.04,
                                             0.49,
                                             10,
                                             {degrees(-10), degrees(10)},
                                             {degrees(-10), degrees(10)},
                                             {millimetres(-10), millimetres(10)},
                                             0.15});

    /// The seams on the lid, which is the part's plane z = 0; starts in the program's time.
    std::vector<ScheduledSeam> seams() const {
        Plane<> const lid{Pose<Part, Face>::identity()};
        auto const stitch = [](double x, double y) {
            return straight_between({x, y}, {x + 0.010, y + 0.007});
        };
        double const feed = 0.1;
        return {{"first stitch", 0.50, at_speed(stitch(0.107, -0.010), lid, feed)},
                {"circle", 0.75, at_speed(circle_around({0.162, 0.008}, 0.004), lid, feed)},
                {"weave", 1.00, at_speed(stitch(0.207, -0.010), lid, feed, {300, 0.2e-3})},
                {"second stitch", 1.25, at_speed(stitch(0.257, 0.004), lid, feed)},
                {"third stitch", 1.55, at_speed(stitch(0.317, -0.010), lid, feed)}};
    }

    /// What the ticking thread is told.
    SteeringSettings steering_settings() const {
        HeadDynamics const dynamics{60, 6e4, 3e4, 0, 500e-6, 5, 0, no_limit, 5000};
        Job const job{AnyChain{Rest<Cell, Flange>{Pose<Cell, Flange>::identity()},
                               Rest<Cell, Part>{cell_from_part}, flange_from_head, head},
                      dynamics,
                      degrees(40),
                      {},
                      {},
                      {},
                      {}};
        auto s = seamhold::steering_settings(job, default_tolerances(spot_diameter, rayleigh_length), period);
        s.x_response = x_axis.response(period);
        s.y_response = y_axis.response(period);
        s.focus_response = lens_axis.response(period);
        s.laser.on = s.laser.off = static_cast<double>(laser_late) * period;
        s.power = 3000;
        return s;
    }

    /// The ticking thread's side.
    CellSteering steering(SteeringSettings const& settings,
                          std::optional<PoseLog<Cell, Flange>> pass = {}) const {
        return CellSteering({{std::move(pass), {}}, {cell_from_part}, flange_from_head, head}, seams(),
                            settings);
    }

    /// What the receiving thread is told. The least delay is an assumption: stamps cannot tell it.
    ReceiverSettings receiver_settings() const {
        auto s = ReceiverSettings::of(link.period);
        s.clock.least_delay = link.least_delay;
        s.lead = x_axis.response(period).delay;
        s.sweep_speed = RobotProgram::speed;
        return s;
    }

    /// An earlier pass of the program, recorded at 4 ms: it deviated, too, and was measured with noise.
    PoseLog<Cell, Flange> earlier_pass(double duration) const {
        Chance chance(3);
        std::vector<PoseRow<Cell>> rows;
        for (std::uint32_t i = 0; i * link.period <= duration; ++i) {
            auto const m = message_at({-program.deviation}, i * link.period, 0, i, link.noise, chance);
            rows.push_back({i * link.period, m.origin, m.rotation});
        }
        return PoseLog<Cell, Flange>(rows);
    }

    /// Where the light is on the lid against where it belongs, with the true flange and the true axes.
    SpotOff spot_off(Pose<Cell, Flange> const& flange, Command<> const& axes, ScheduledSeam const& seam,
                     double seam_time) const {
        auto plain = seam.seam;
        plain.weave = {}; // the direction of a seam is that without its weave
        auto const course = plain.at(Taylor<double, 1>::variable(seam_time)).position;
        double const pace_x = course.x.derivative(1), pace_y = course.y.derivative(1);
        double const pace = std::hypot(pace_x, pace_y);
        auto const ray = head.ray(axes);
        auto const part_from_head = inverse(cell_from_part) * flange * flange_from_head;
        auto const from = part_from_head * ray.origin;
        auto const beam = part_from_head.rotation * ray.direction;
        double const way = -from.z / beam.z; // to the lid
        auto const off = from + way * beam - seam.seam.at(seam_time).position;
        return {(pace_x * off.y - pace_y * off.x) / pace, (pace_x * off.x + pace_y * off.y) / pace,
                ray.focus_path - ray.path - way - seam.seam.focus_offset};
    }
};

/// Mirrors, lens and laser of the simulated head.
class SimulatedHead {
public:
    explicit SimulatedHead(LiveCell const& cell)
        : x_(cell.x_axis, cell.period), y_(cell.y_axis, cell.period), lens_(cell.lens_axis, cell.period),
          gates_(cell.laser_late + 1, 0) {}

    /// How the axes stand now.
    Command<> axes() const { return {x_.value(), y_.value(), lens_.value()}; }

    /// Takes what is handed over at a tick. The axes then stand as at the next tick. Whether there is light
    /// from this tick to the next.
    bool take(LiveTick const& tick) {
        x_.step(tick.command.x_mirror);
        y_.step(tick.command.y_mirror);
        lens_.step(tick.command.focus);
        gates_[next_] = tick.gate ? 1 : 0;
        next_ = next_ + 1 == gates_.size() ? 0 : next_ + 1;
        return gates_[next_] != 0; // the oldest
    }

private:
    SimulatedAxis x_, y_, lens_;
    std::vector<char> gates_;
    std::size_t next_ = 0;
};

} // namespace seamhold::examples

#endif
