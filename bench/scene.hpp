#ifndef SEAMHOLD_BENCH_SCENE_HPP
#define SEAMHOLD_BENCH_SCENE_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/frame/angles.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

// The job that the benches run: an invented sweep over a lid and over a shoulder inclined by 35°, recorded as
// poses every 2 ms with jittered stamps. All numbers are invented.
namespace seamhold::bench {

/// One question to the chain.
struct Question {
    AnySeam const* seam;
    double seam_time; ///< s since the seam's start
    double time;      ///< s of the robot's clock
};

/// A number from 0 to 1 in [0, 1), the same on every compiler.
inline double uniform(std::mt19937_64& random) { return static_cast<double>(random() >> 11U) * 0x1p-53; }

namespace detail {

/// From 0 to 1 while x goes from 0 to 1, with its first two derivatives 0 at both ends.
inline double smooth_step(double x) {
    double const u = std::min(std::max(x, 0.0), 1.0);
    return u * u * u * (10 + u * (6 * u - 15));
}

/// Where the head is at time t: 0.2 m/s along x, half a metre up, with small swings; it turns towards the
/// shoulder.
inline Pose<Cell, Head> cell_from_head(double t) {
    auto const swing = [t](double frequency, double phase) {
        return std::sin(2 * std::numbers::pi * frequency * t + phase);
    };
    double const tilt = degrees(25) * smooth_step((t - 2.6) / 1.6);
    double const descent = 0.11 * smooth_step((t - 3.4) / 2.2);
    auto const upright = from_zyx_angles<Cell, Cell>(
        degrees(0.3) * swing(0.9, 0.4), tilt + degrees(0.2) * swing(1.3, 1), degrees(0.2) * swing(1.1, 2));
    auto const down = from_zyx_angles<Cell, Head>(0, 0, std::numbers::pi);
    return {upright * down,
            {-0.1 + 0.2 * t + 0.001 * swing(0.8, 0), 0.003 * swing(0.7, 1),
             0.5 - descent + 0.002 * swing(1.2, 0.5)}};
}

/// Where the undeflected beam meets a face, in the face's coordinates.
inline FacePoint beam_foot(Pose<Cell, Head> const& cell_from_head, Pose<Cell, Face> const& cell_from_face) {
    auto const face_from_head = inverse(cell_from_face) * cell_from_head;
    auto const& m = face_from_head.rotation.m;
    auto const& o = face_from_head.origin;
    double const way = -o.z / m[2][2];
    return {o.x + way * m[0][2], o.y + way * m[1][2]};
}

} // namespace detail

/// The chain and the seams, and questions about them.
class Scene {
public:
    /// Builds the job and makes sure that the head can follow every seam.
    Scene() : chain_(make_chain()) {
        lay_seams();
        for (auto const& scheduled : seams_)
            for (int i = 0; i <= 100; ++i) {
                double const seam_time = scheduled.seam.duration() * i / 100;
                auto const followed = chain_.follow(scheduled.seam, seam_time, scheduled.start + seam_time);
                if (followed.status != Status::ok)
                    throw std::runtime_error("the bench's seam " + scheduled.name + ": " +
                                             to_string(followed.status));
            }
    }

    /// The chain, composed at run time as a job file composes it.
    AnyChain const& chain() const { return chain_; }

    /// The seams: straight, weaving, circle, arc and a point that is held, on the lid and on the shoulder.
    std::vector<ScheduledSeam> const& seams() const { return seams_; }

    /// The tick of the scanner, s.
    static constexpr double period = microseconds(10);

    /// How many ticks stand in a stretch of `in_order`.
    static constexpr std::size_t stretch = 50;

    /// Blocks of ticks as the scanner asks for them: in each block one stretch of consecutive ticks from
    /// every seam, in each block from another time.
    std::vector<std::vector<Question>> in_order(std::size_t blocks) const {
        std::mt19937_64 random(20240611);
        std::vector<std::vector<Question>> all(blocks);
        for (auto& block : all)
            for (auto const& scheduled : seams_) {
                double const room = scheduled.seam.duration() - period * static_cast<double>(stretch);
                double const first = uniform(random) * room;
                for (std::size_t k = 0; k < stretch; ++k) {
                    double const seam_time = first + period * static_cast<double>(k);
                    block.push_back({&scheduled.seam, seam_time, scheduled.start + seam_time});
                }
            }
        return all;
    }

    /// Blocks of as many ticks from all over the job in random order: each is another seam, another row of
    /// the log, another time.
    std::vector<std::vector<Question>> scattered(std::size_t blocks) const {
        std::mt19937_64 random(20240612);
        std::vector<std::vector<Question>> all(blocks);
        for (auto& block : all)
            for (std::size_t k = 0; k < stretch * seams_.size(); ++k) {
                auto const& scheduled = seams_[static_cast<std::size_t>(random() % seams_.size())];
                double const seam_time = uniform(random) * scheduled.seam.duration();
                block.push_back({&scheduled.seam, seam_time, scheduled.start + seam_time});
            }
        return all;
    }

private:
    static Pose<Flange, Head> mount() {
        return {from_zyx_angles<Flange, Head>(degrees(-89.6), degrees(0.25), degrees(-0.35)),
                {0.015, -0.04, 0.135}};
    }

    static Pose<Cell, Part> part() {
        return {from_zyx_angles<Cell, Part>(degrees(0.6), degrees(-0.3), degrees(0.2)), {0, 0, 0}};
    }

    static AnyChain make_chain() {
        std::mt19937_64 random(20240610);
        auto const head_from_flange = inverse(mount());
        std::vector<PoseRow<Cell>> rows;
        for (int i = 0; i <= 3050; ++i) {
            double const time = 0.002 * i + 0.0002 * (uniform(random) - 0.5);
            auto const cell_from_flange = detail::cell_from_head(time) * head_from_flange;
            rows.push_back({time, cell_from_flange.origin, quaternion_of(cell_from_flange.rotation)});
        }
        MirrorPair<> const head = checked(MirrorPair<>{0.04,
                                                       0.54,
                                                       8,
                                                       {degrees(-10), degrees(10)},
                                                       {degrees(-10), degrees(10)},
                                                       {millimetres(-10), millimetres(10)},
                                                       0.17});
        return {PoseLog<Cell, Flange>(rows), Rest<Cell, Part>{part()}, mount(), head};
    }

    void lay_seams() {
        Plane<> const lid{Pose<Part, Face>::identity()};
        Plane<> const shoulder{{from_zyx_angles<Part, Face>(0, degrees(35), 0), {0.7, 0, 0}}};
        double const speed = metres_per_minute(16);
        Weave const weave{300, millimetres(0.5)};
        // Each seam lies where the undeflected beam meets its face at the middle of its time, a little to one
        // side.
        auto const middle = [&](Plane<> const& face, double time, double side) {
            auto const foot = detail::beam_foot(detail::cell_from_head(time), part() * face.part_from_face);
            return FacePoint{foot.x, foot.y + side};
        };
        auto const straight = [&](Plane<> const& face, double time, double side, double angle,
                                  Weave const& swing, double focus_offset) {
            auto const c = middle(face, time, side);
            double const half = 0.035;
            double const x = half * std::cos(angle), y = half * std::sin(angle);
            auto const seam = at_speed(straight_between({c.x - x, c.y - y}, {c.x + x, c.y + y}), face, speed,
                                       swing, focus_offset);
            add(seam, time);
        };
        auto const round = [&](Plane<> const& face, double time, double side, double radius, double turn) {
            add(at_speed(arc_around(middle(face, time, side), radius, 0.3, turn), face, speed), time);
        };
        double const whole = 2 * std::numbers::pi;
        straight(lid, 0.4, -0.10, 0.2, {}, 0);
        straight(lid, 0.9, 0.05, 1.5, weave, 0);
        round(lid, 1.4, 0.02, 0.010, whole);
        round(lid, 1.9, -0.06, 0.032, -2.4);
        straight(lid, 2.4, 0.11, 3.4, {}, 0.002);
        straight(lid, 2.9, -0.04, 1.2, weave, 0);
        round(lid, 3.4, 0.06, 0.012, -whole);
        add(held(middle(lid, 4.0, 0.01), lid, 0.15), 4.0);
        straight(shoulder, 5.2, 0.03, 0.6, weave, 0);
        round(shoulder, 5.5, -0.05, 0.012, whole);
        round(shoulder, 5.8, 0.04, 0.032, -2.3);
    }

    template <class S> void add(S const& seam, double middle_time) {
        seams_.push_back(
            {"seam " + std::to_string(seams_.size() + 1), middle_time - seam.duration() / 2, seam});
    }

    AnyChain chain_;
    std::vector<ScheduledSeam> seams_;
};

} // namespace seamhold::bench

#endif
