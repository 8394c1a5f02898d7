#ifndef SEAMHOLD_EXAMPLES_COMMISSION_CELL_HPP
#define SEAMHOLD_EXAMPLES_COMMISSION_CELL_HPP

#include "seamhold/calibrate/clock_line.hpp"
#include "seamhold/calibrate/focus_zero.hpp"
#include "seamhold/calibrate/observation.hpp"
#include "seamhold/calibrate/part_touch.hpp"
#include "seamhold/calibrate/power_line.hpp"
#include "seamhold/frame/angles.hpp"
#include "seamhold/frame/pose_step.hpp"
#include "seamhold/head/real_head.hpp"
#include "seamhold/motion/pose_log.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/seam.hpp"
#include "seamhold/statistics/random_numbers.hpp"

#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <string>
#include <vector>

// A cell to be commissioned: what the drawings say, what is true and hidden, and what can be measured of it.
// The true beam is made by vectors here, not by the library's heads, its chain or its budget. All numbers
// are invented; noise of pose and readings in the size that is common practice, no source.
namespace seamhold::examples {

/// What the drawings say.
struct Drawn {
    double edge = degrees(8);      ///< of the field, mechanical mirror angle, rad
    double focus_ratio = 8;        ///< metres of focus for a metre of the lens
    double rayleigh_length = 6e-3; ///< m
    Pose<Flange, Head> flange_from_head{from_zyx_angles<Flange, Head>(degrees(15), 0, 0), {0.06, 0, 0.14}};
    Pose<Cell, Part> cell_from_part{Rotation<Cell, Part>::identity(), {0.8, 0.1, 0.2}};
    Pose<Cell, Plate> cell_from_plate{Rotation<Cell, Plate>::identity(), {0.8, 0.4, 0.25}};
    double sweep_speed = 0.25; ///< m/s

    /// The head: mirrors 40 mm apart, focus half a metre below.
    HeadParts<OpenBeam> head() const {
        Range const mirror{degrees(-10), degrees(10)};
        return {ideal_mirrors(millimetres(40)),
                {},
                LinearFocus<>{millimetres(540), focus_ratio},
                {mirror, mirror, {millimetres(-10), millimetres(10)}}};
    }

    /// A head that looks down, tilted and turned, rad.
    static Rotation<Cell, Head> down(double tilt_x, double tilt_y, double turn) {
        return from_zyx_angles<Cell, Head>(0, 0, std::numbers::pi) *
               from_xyz_angles<Head, Head>(tilt_x, tilt_y, turn);
    }

    /// Where the flange is when the head, by the drawing, is half a metre above a point, tilted and turned.
    Pose<Cell, Flange> flange_above(Point<Cell> const& point, double height, double tilt_x = 0,
                                    double tilt_y = 0, double turn = 0) const {
        auto const rotation = down(tilt_x, tilt_y, turn);
        Pose<Cell, Head> const head{rotation, point - height * (rotation * Direction<Head>{0, 0, 1})};
        return head * inverse(flange_from_head);
    }

    /// The programmed sweep over the part: above its middle at 0 s.
    Steady<Cell, Flange> sweep() const {
        return {flange_above(cell_from_part.origin, 0.5), {sweep_speed, 0, 0}, 0};
    }

    /// A stitch of the part, and when it starts by the robot's clock, s: the head is over its middle
    /// half-way.
    struct Stitch {
        std::string name;
        double start;
        Seam<OnFace<Straight<>, Plane<>>> seam;
    };

    /// Three stitches of 40 mm at 6 m/min on the part's top, each turned in its own way.
    std::vector<Stitch> stitches() const {
        auto const stitch = [this](char const* name, double x, double y, double turn) {
            double const dx = 0.02 * std::cos(turn), dy = 0.02 * std::sin(turn);
            Plane<> const top{Pose<Part, Face>::identity()};
            auto seam = at_speed(
                OnFace<Straight<>, Plane<>>{straight_between({x - dx, y - dy}, {x + dx, y + dy}), top},
                metres_per_minute(6));
            return Stitch{name, x / sweep_speed - seam.duration() / 2, seam};
        };
        return {stitch("A", -0.38, -0.06, degrees(20)), stitch("B", 0.02, 0.02, degrees(90)),
                stitch("C", 0.36, 0.07, degrees(-35))};
    }

    /// The programmed place of the focus on the flange: the tool of the sweep, m.
    Point<Flange> tool() const { return flange_from_head * Point<Head>{0, 0, 0.5}; }
};

/// How finely things are read and repeated, standard deviations: what a commissioning engineer knows from
/// data sheets and habit.
struct CellNoise {
    double pose_turn = degrees(0.003);        ///< of the robot about each axis, rad
    double pose_shift = millimetres(0.03);    ///< along each axis, m
    double reading = millimetres(0.03);       ///< of a mark, a line, the spot on a target, a touch; m
    double width_share = 0.04;                ///< of a mark's width
    double power = 20;                        ///< of the meter, W
    double tracker_shift = micrometres(10);   ///< of the instrument that logs the flange, m
    double tracker_turn = milliradians(0.01); ///< rad
    double run_time = microseconds(50);       ///< of the programme's clock from run to run, s
    double mirror_step = milliradians(0.01);  ///< of the mirrors' commands, mechanical, rad
};

/// A smooth error along the sweep: three waves and a constant.
struct Waves {
    double constant;
    std::array<double, 3> amplitude, phase;

    /// At a place of the sweep, m.
    double at(double x) const {
        static constexpr std::array<double, 3> wave_numbers{5, 11, 23}; // rad/m
        double sum = constant;
        for (std::size_t k = 0; k < 3; ++k)
            sum += amplitude[k] * std::sin(wave_numbers[k] * x + phase[k]);
        return sum;
    }

    /// Random ones: deviations of the constant, and of all waves together.
    static Waves random(RandomNumbers& random, double of_constant, double of_waves) {
        Waves w{of_constant * random.normal(), {}, {}};
        for (std::size_t k = 0; k < 3; ++k) {
            double const a = random.normal(), b = random.normal();
            w.amplitude[k] = of_waves / std::sqrt(3.0) * std::hypot(a, b);
            w.phase[k] = std::atan2(a, b);
        }
        return w;
    }
};

/// How a run of the sweep is off, at the programmed tool: turns about the flange's axes, and shifts across
/// the path. A robot that is early or late along its path is the clock's matter.
struct PathError {
    std::array<Waves, 3> turn; ///< rad
    Waves across, upright;     ///< m

    static PathError random(RandomNumbers& random, double turn, double shift) {
        double const part = std::sqrt(0.5);
        auto const waves = [&](double size) { return Waves::random(random, part * size, part * size); };
        return {{waves(turn), waves(turn), waves(turn)}, waves(shift), waves(shift)};
    }
};

/// A true beam in the head frame, traced by vectors.
struct TrueBeam {
    Point<Head> origin;
    Direction<Head> direction;
};

/// The true head: what differs from the drawing.
struct TrueHead {
    double separation;          ///< of the mirrors, m
    double x_scale;             ///< true angle of the x mirror for a radian of command
    double y_scale;             ///< of the y mirror
    double out_of_square;       ///< of the x mirror's axis, rad
    std::array<double, 4> bend; ///< of the field, in true mirror angles, rad at its edge
    double edge;                ///< of the field, rad
    double focus_shift;         ///< of the focus from where the drawing has it, m

    /// The beam that a command truly makes.
    TrueBeam beam(Command<> const& command) const {
        double const u = command.x_mirror / edge, v = command.y_mirror / edge;
        double const x =
            command.x_mirror + bend[0] * (5 * u * u - 3) * u / 2 + bend[1] * u * (3 * v * v - 1) / 2;
        double const y = command.y_mirror + bend[2] * (5 * v * v - 3) * v / 2 + bend[3] * (3 * u * u - 1) / 2;
        double const half = std::sqrt(0.5);
        Direction<Head> const between{0, 1, 0};
        auto const axis = turned({0, 0, 1}, between, out_of_square);
        auto const first = turned(turned({-half, half, 0}, between, out_of_square), axis, -x_scale * x);
        auto const last = turned({0, -half, half}, {1, 0, 0}, -y_scale * y);
        Point<Head> const place{0, -separation, 0};
        return mirrored(mirrored({place, {1, 0, 0}}, place, first), {0, 0, 0}, last);
    }

    /// A vector turned about an axis (Rodrigues).
    static Direction<Head> turned(Direction<Head> const& v, Direction<Head> const& axis, double angle) {
        return std::cos(angle) * v + std::sin(angle) * cross(axis, v) +
               (1 - std::cos(angle)) * dot(axis, v) * axis;
    }
    /// A beam that meets a plane and is reflected: d − 2 (d·n) n.
    static TrueBeam mirrored(TrueBeam const& beam, Point<Head> const& place, Direction<Head> const& normal) {
        double const along = dot(beam.direction, normal);
        double const way = dot(place - beam.origin, normal) / along;
        return {beam.origin + way * beam.direction, beam.direction - 2 * along * normal};
    }
};

/// What nobody in the cell knows.
struct HiddenTruth {
    TrueHead head;
    Pose<Flange, Head> flange_from_head;
    Pose<Cell, Plate> cell_from_plate;
    Pose<Cell, Part> cell_from_part;
    Point<Cell> target;
    PathError path;                   ///< the same in every run
    double delay;                     ///< by which the light comes late behind the flange, s
    double reversal;                  ///< what the arm misses when it comes from the other side, m
    double power_slope, power_offset; ///< of the power at the work: 1 and W

    HiddenTruth(Drawn const& drawn, RandomNumbers& random) {
        auto const n = [&random](double deviation) { return deviation * random.normal(); };
        auto const off = [&](double turn, double shift) {
            return std::array<double, 6>{n(turn), n(turn), n(turn), n(shift), n(shift), n(shift)};
        };
        head = {millimetres(40) + n(millimetres(0.3)),
                1 + n(0.003),
                1 + n(0.003),
                n(milliradians(0.5)),
                {milliradians(0.8) + n(1e-4), milliradians(-0.5) + n(1e-4), milliradians(0.6) + n(1e-4),
                 milliradians(0.3) + n(1e-4)},
                drawn.edge,
                n(millimetres(1.5))};
        flange_from_head = moved_by(drawn.flange_from_head, off(degrees(0.4), millimetres(2)));
        cell_from_plate = moved_by(drawn.cell_from_plate, off(degrees(0.3), millimetres(3)));
        cell_from_part = moved_by(drawn.cell_from_part, off(degrees(0.2), millimetres(2)));
        target = {0.85 + n(0.002), 0.35 + n(0.002), 0.22 + n(0.002)};
        path = PathError::random(random, degrees(0.006), millimetres(0.07));
        delay = milliseconds(8) + n(milliseconds(0.5));
        reversal = millimetres(0.06) + n(millimetres(0.02));
        power_slope = 0.965 + n(0.005);
        power_offset = -35 + n(5);
    }
};

/// Where the spot is off on the face, m.
struct SpotOff {
    double along;  ///< the seam
    double across; ///< to its left
};

/// From where the plate is marked: height, m, tilts and turn, degrees.
struct MarkingStation {
    double height, tilt_x, tilt_y, turn;
};
inline constexpr std::array<MarkingStation, 7> marking_stations{{{0.44, 0, 0, 0},
                                                                 {0.56, 0, 0, 90},
                                                                 {0.5, 18, 0, 180},
                                                                 {0.5, -18, 0, -90},
                                                                 {0.5, 0, 18, 0},
                                                                 {0.5, 0, -18, 90},
                                                                 {0.5, 12, 12, 180}}};

/// The cell: its truth and its measurements. Each measurement draws new noise.
class CommissionCell {
public:
    explicit CommissionCell(std::uint64_t seed) : random_(seed), truth_(drawn, random_) {}

    Drawn drawn;
    CellNoise noise;

    /// For the comparison at the end only.
    HiddenTruth const& truth() const { return truth_; }

    /// One target, hit with the pilot beam: the mirrors are set, the flange is turned, and the robot is
    /// jogged until the spot is on the target. In one line of the notebook x is off by 8 mm.
    std::vector<BeamOnTarget> hits() {
        std::vector<BeamOnTarget> all;
        for (int i = 0; i < 30; ++i) {
            double const turn = 2.4 * i, out = std::sqrt((i + 0.5) / 30);
            Command<> const command{drawn.edge * out * std::cos(turn), drawn.edge * out * std::sin(turn), 0};
            auto const reported =
                drawn.flange_above({0, 0, 0}, 0, degrees(24) * std::cos(3 * turn + 1),
                                   degrees(24) * std::sin(2 * turn), degrees(25 * (i % 5) - 50));
            auto pose = off(reported, noise.pose_turn, noise.pose_shift); // where the flange truly is
            auto const beam = truth_.head.beam(command);
            auto const spot =
                pose * (truth_.flange_from_head * (beam.origin + (0.46 + 0.02 * (i % 5)) * beam.direction));
            auto const jog = truth_.target + read3() - spot;
            auto told = Pose<Cell, Flange>{reported.rotation, reported.origin + jog};
            if (i == 17)
                told.origin.x += millimetres(8);
            all.push_back({told, command});
        }
        return all;
    }

    /// Marks on a plate from seven stations at several heights, tilts and turns. The robot leaves and comes
    /// back before each mark, so that no two marks share its error. One is read off by 2 mm.
    std::vector<PlateMark> marks() {
        std::vector<PlateMark> all;
        for (auto const& s : marking_stations)
            for (int i = -2; i <= 2; ++i)
                for (int k = -2; k <= 2; ++k) {
                    auto const reported =
                        drawn.flange_above(drawn.cell_from_plate.origin, s.height, degrees(s.tilt_x),
                                           degrees(s.tilt_y), degrees(s.turn));
                    Command<> const command{drawn.edge * i / 2, drawn.edge * k / 2, 0};
                    auto const at =
                        inverse(truth_.cell_from_plate) *
                        (off(reported, noise.pose_turn, noise.pose_shift) * truth_.flange_from_head);
                    auto const found = on_plane(at, truth_.head.beam(command));
                    all.push_back({reported, command, found.x + read(), found.y + read()});
                }
        all[61].x += millimetres(2);
        return all;
    }

    /// The part, touched on its top, its side and its end with a ball of 2 mm radius on the flange.
    std::vector<PartTouch> touches() {
        std::vector<PartTouch> all;
        double const radius = millimetres(2);
        auto const touch = [&](Point<Part> const& at, Direction<Part> const& outward, Point<Part> const& on) {
            auto const middle = truth_.cell_from_part * (at + radius * outward);
            all.push_back(FaceTouch{on, outward, middle + read3() + jitter(noise.pose_shift), radius});
        };
        for (double const x : {-0.45, -0.15, 0.15, 0.45})
            for (double const y : {-0.1, 0.1})
                touch({x, y, 0}, {0, 0, 1}, {0, 0, 0});
        for (double const x : {-0.45, -0.15, 0.15, 0.45})
            touch({x, -0.12, -0.01}, {0, -1, 0}, {0, -0.12, 0});
        for (double const y : {-0.1, 0.0, 0.1})
            touch({-0.5, y, -0.01}, {-1, 0, 0}, {-0.5, 0, 0});
        return all;
    }

    /// One line across the sweep, marked in both directions at four speeds, three times each.
    std::vector<LineSeparation> lines() {
        std::vector<LineSeparation> all;
        for (int round = 0; round < 3; ++round)
            for (double const speed : {0.1, 0.2, 0.3, 0.4}) {
                auto const place = [&](double direction) {
                    double const late = truth_.delay + noise.run_time * random_.normal();
                    return direction * speed * late + read() - (direction < 0 ? truth_.reversal : 0);
                };
                all.push_back({speed, place(1) - place(-1)});
            }
        return all;
    }

    /// Marks with the lens moved off, at the field's middle and four places: widths over the displacement
    /// beyond what the head, as calibrated, needs for the plate.
    std::vector<FocusFieldSeries> focus_series() {
        std::vector<FocusFieldSeries> all;
        for (auto const& place : std::array<std::array<double, 2>, 5>{
                 {{0, 0}, {0.1, 0.1}, {-0.1, 0.1}, {-0.1, -0.1}, {0.1, -0.1}}}) {
            FocusFieldSeries series{place[0], place[1], {}};
            for (int i = -5; i <= 5; ++i) {
                double const setting = millimetres(0.4 * i);
                double const from_focus =
                    (drawn.focus_ratio * setting + truth_.head.focus_shift) / drawn.rayleigh_length;
                series.rows.push_back({setting, millimetres(0.3) * std::sqrt(1 + from_focus * from_focus) *
                                                    (1 + noise.width_share * random_.normal())});
            }
            all.push_back(series);
        }
        return all;
    }

    /// A power meter at the work.
    std::vector<PowerRow> power() {
        std::vector<PowerRow> rows;
        for (int i = 1; i <= 10; ++i) {
            double const commanded = 500 * i;
            rows.push_back({commanded, truth_.power_slope * commanded + truth_.power_offset +
                                           noise.power * random_.normal()});
        }
        return rows;
    }

    /// Runs of the sweep, the flange logged by an instrument beside the cell.
    std::vector<PoseLog<Cell, Flange>> path_logs(int runs = 10) {
        std::vector<PoseLog<Cell, Flange>> logs;
        for (int i = 0; i < runs; ++i) {
            auto const run = new_run();
            std::vector<PoseRow<Cell>> rows;
            for (int k = -130; k <= 130; ++k) {
                double const t = 0.02 * k;
                auto const seen = off(flange_in(run, t), noise.tracker_turn, noise.tracker_shift);
                rows.push_back({t, seen.origin, quaternion_of(seen.rotation)});
            }
            logs.emplace_back(rows);
        }
        return logs;
    }

    /// One run of the programme: what the robot does other than in the last.
    struct Run {
        PathError off;
        double late; ///< s
    };
    Run new_run() {
        return {PathError::random(random_, noise.pose_turn, noise.pose_shift),
                noise.run_time * random_.normal()};
    }

    /// Where the light truly falls in a run, for a command at t, s, against where a seam of the part wants
    /// it.
    template <class SeamType>
    SpotOff spot_off(Run const& run, Command<> const& command, double t, SeamType const& seam,
                     double seam_time) {
        auto const stepped = [&](double angle) {
            return noise.mirror_step * std::round(angle / noise.mirror_step);
        };
        auto const at = inverse(truth_.cell_from_part) *
                        (flange_in(run, t + truth_.delay + run.late) * truth_.flange_from_head);
        auto const spot =
            on_plane(at, truth_.head.beam({stepped(command.x_mirror), stepped(command.y_mirror), 0}));
        auto const wanted = seam.at(seam_time).position;
        auto const next = seam.at(seam_time + 1e-4).position; // seams of this cell are straight
        auto const along = unit(next - wanted);
        return {dot(spot - wanted, along), along.x * (spot.y - wanted.y) - along.y * (spot.x - wanted.x)};
    }

private:
    double read() { return noise.reading * random_.normal(); }
    Direction<Cell> jitter(double size) {
        return {size * random_.normal(), size * random_.normal(), size * random_.normal()};
    }
    Direction<Cell> read3() { return jitter(noise.reading); }

    /// A pose that is off by random turns and shifts.
    template <class To, class From>
    Pose<To, From> off(Pose<To, From> const& pose, double turn, double shift) {
        std::array<double, 6> by{};
        for (std::size_t k = 0; k < 6; ++k)
            by[k] = (k < 3 ? turn : shift) * random_.normal();
        return moved_by(pose, by);
    }

    /// Where the flange truly is in a run, by the robot's time.
    Pose<Cell, Flange> flange_in(Run const& run, double t) const {
        auto const commanded = drawn.sweep().at(t);
        double const x = drawn.sweep_speed * t;
        auto const both = [&](Waves const& a, Waves const& b) { return a.at(x) + b.at(x); };
        auto const& a = truth_.path;
        auto const& b = run.off;
        // Turned about the tool, which is shifted across the path and upwards.
        Direction<Cell> const turn{both(a.turn[0], b.turn[0]), both(a.turn[1], b.turn[1]),
                                   both(a.turn[2], b.turn[2])};
        double const angle = norm(turn);
        auto const rotation = about_axis<Cell, Cell>(1 / angle * turn, angle);
        auto const tool = commanded * drawn.tool();
        Direction<Cell> const shift{0, both(a.across, b.across), both(a.upright, b.upright)};
        return {rotation * commanded.rotation, tool + shift + rotation * (commanded.origin - tool)};
    }

    /// Where a true beam meets z = 0.
    template <class F> static Point<F> on_plane(Pose<F, Head> const& at, TrueBeam const& beam) {
        auto const from = at * beam.origin;
        auto const direction = at * beam.direction;
        return from - from.z / direction.z * direction;
    }

    RandomNumbers random_;
    HiddenTruth truth_;
};

} // namespace seamhold::examples

#endif
