#ifndef SEAMHOLD_PLAN_SWEEP_PATH_HPP
#define SEAMHOLD_PLAN_SWEEP_PATH_HPP

#include "seamhold/motion/pose_log.hpp"
#include "seamhold/plan/seam_cloud.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

/// The path of a sweep: straight passes over a cloud of seams, and turnarounds between them.
namespace seamhold {

/// How a sweep is proposed.
struct SweepSettings {
    HeadStance stance = {};                        ///< of the head over the seams
    std::optional<Direction<Part>> direction = {}; ///< of the passes; without it the cloud's main direction
    bool serpentine = true;       ///< passes go there and back; otherwise all go the same way
    double overhang = 0;          ///< by how much a pass begins before the place over its first seam and ends
                                  ///< beyond the place over its last, m; may be below 0
    double speed = 0.25;          ///< at which the path parameter runs over the seams on a pass, m/s
    double turn_speed = 1;        ///< largest of the turnarounds, over the seams, m/s; at least `speed`
    double turn_acceleration = 3; ///< largest of the turnarounds, over the seams, m/s²
    double row_distance = 0.02; ///< from row to row, at most, m; nor is it more than a third of the smoothing
    double least_margin = 0.02; ///< that every limit of a place must leave, a share
    std::size_t lines = 33;     ///< evenly across the cloud, on which a pass may lie
    std::size_t budget = 200000; ///< of partial choices of passes looked at
};

/// One pass of a sweep.
struct SweepPass {
    Range path;                       ///< of the path parameter, s
    Range along;                      ///< of the place under the head, from the cloud's mean place, m
    double across;                    ///< of it, m
    bool forward;                     ///< whether it goes in the main direction
    std::vector<std::size_t> reached; ///< seams that are reached on it, increasing
    std::vector<std::size_t> moving;  ///< of these the ones not reached from one place, only while it goes on
};

namespace detail {

inline void check(SweepSettings const& s) {
    SeamCloud::check(s.stance);
    auto const above = [](char const* what, double given, double least) {
        if (!(given > least) || !is_finite(given))
            throw BadInput("a sweep's " + std::string(what) + " of " + text_of(given) +
                           " is not possible: it must be above " + text_of(least) + " and finite");
    };
    above("overhang, m,", s.overhang, -1000);
    above("speed, m/s,", s.speed, 0);
    above("speed of turnarounds, m/s,", s.turn_speed, s.speed * (1 - 1e-9));
    above("acceleration of turnarounds, m/s²,", s.turn_acceleration, 0);
    above("distance of rows, m,", s.row_distance, 1e-4);
    if (!(s.least_margin >= 0 && s.least_margin < 1) || s.lines == 0)
        throw BadInput("a sweep needs a least margin from 0 to below 1 and 1 line or more; given were " +
                       text_of(s.least_margin) + " and " + std::to_string(s.lines));
}

/// A piece of the way of the place under the head: polynomials of degree 5 in the parameter since its start.
struct SweepPiece {
    double start, duration; ///< s
    std::array<double, 6> along, across;

    static double at(std::array<double, 6> const& c, double t) {
        return c[0] + t * (c[1] + t * (c[2] + t * (c[3] + t * (c[4] + t * c[5]))));
    }
};

/// The polynomial from one place and speed to another in a time, without acceleration at both ends.
inline std::array<double, 6> joined(double from, double speed_from, double to, double speed_to, double time) {
    double const d = to - from - speed_from * time, v = speed_to - speed_from;
    double const t2 = time * time, t3 = t2 * time;
    return {from,
            speed_from,
            0,
            (10 * d - 4 * v * time) / t3,
            (-15 * d + 7 * v * time) / (t3 * time),
            (6 * d - 3 * v * time) / (t3 * t2)};
}

/// The shortest turnaround that keeps within a speed and an acceleration.
inline SweepPiece turnaround(SweepPass const& from, SweepPass const& to, SweepSettings const& settings) {
    auto const end_of = [](SweepPass const& p) { return p.forward ? p.along.high : p.along.low; };
    auto const start_of = [](SweepPass const& p) { return p.forward ? p.along.low : p.along.high; };
    auto const speed_of = [&](SweepPass const& p) { return p.forward ? settings.speed : -settings.speed; };
    auto const in = [&](double time) {
        return SweepPiece{from.path.high, time,
                          joined(end_of(from), speed_of(from), start_of(to), speed_of(to), time),
                          joined(from.across, 0, to.across, 0, time)};
    };
    auto const fits = [&](double time) {
        auto const piece = in(time);
        for (int i = 0; i <= 64; ++i) {
            double const t = time * i / 64;
            auto const speed = [&](std::array<double, 6> const& c) {
                return c[1] + t * (2 * c[2] + t * (3 * c[3] + t * (4 * c[4] + t * 5 * c[5])));
            };
            auto const acceleration = [&](std::array<double, 6> const& c) {
                return 2 * c[2] + t * (6 * c[3] + t * (12 * c[4] + t * 20 * c[5]));
            };
            if (std::hypot(speed(piece.along), speed(piece.across)) > settings.turn_speed * (1 + 1e-9) ||
                std::hypot(acceleration(piece.along), acceleration(piece.across)) >
                    settings.turn_acceleration)
                return false;
        }
        return true;
    };
    double low = 0, high = 0.05;
    while (!fits(high) && high < 1e4) {
        low = high;
        high *= 1.5;
    }
    while (high - low > 1e-3 * high)
        (fits((low + high) / 2) ? high : low) = (low + high) / 2;
    return in(high);
}

/// The flange's poses along the way, with the path parameter as their time: as many that the spline through
/// them keeps to the way, within a tenth of a millimetre and half a milliradian in the middle between rows.
inline std::vector<PoseRow<Cell>> rows_of(SeamCloud const& cloud, std::vector<SweepPiece> const& pieces,
                                          SweepSettings const& settings) {
    auto const pose_at = [&](SweepPiece const& piece, double t) {
        return cloud.flange_over(SweepPiece::at(piece.along, t), SweepPiece::at(piece.across, t),
                                 settings.stance);
    };
    auto const keeps_to = [](Pose<Cell, Flange> const& a, Pose<Cell, Flange> const& b) {
        double turn = 0; // squared, of two axes
        for (int i = 0; i < 3; ++i)
            for (int k = 0; k < 3; ++k)
                turn += sqr(a.rotation.m[i][k] - b.rotation.m[i][k]) / 2;
        return norm(a.origin - b.origin) < 1e-4 && turn < sqr(5e-4);
    };
    constexpr std::size_t most = 200000; // rows
    double apart = std::min(settings.row_distance, settings.stance.smoothing / 3);
    for (int halved = 0;; ++halved, apart /= 2) {
        std::vector<PoseRow<Cell>> rows;
        std::vector<Pose<Cell, Flange>> between;
        for (std::size_t i = 0; i < pieces.size(); ++i) {
            auto const& piece = pieces[i];
            bool const turns = i % 2 == 1; // it bends, and is faster: it needs more rows
            double const way = piece.duration * (turns ? settings.turn_speed : settings.speed);
            auto const parts = std::max<std::size_t>(
                turns ? 32 : 4,
                static_cast<std::size_t>(std::ceil(std::min(way / apart, static_cast<double>(most)) - 1e-9)));
            double const step = piece.duration / static_cast<double>(parts);
            for (std::size_t k = i == 0 ? 0 : 1; k <= parts; ++k) {
                double const t = step * static_cast<double>(k);
                auto const pose = pose_at(piece, t);
                if (!rows.empty())
                    between.push_back(pose_at(piece, t - step / 2));
                rows.push_back({piece.start + t, pose.origin, quaternion_of(pose.rotation)});
            }
        }
        PoseLog<Cell, Flange> const motion(rows);
        bool keeps = true;
        for (std::size_t i = 0; i < between.size() && keeps; ++i)
            keeps = keeps_to(motion.at((rows[i].time + rows[i + 1].time) / 2), between[i]);
        if (keeps || halved == 6 || 2 * rows.size() > most)
            return rows;
    }
}

} // namespace detail

} // namespace seamhold

#endif
