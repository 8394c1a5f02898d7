#ifndef SEAMHOLD_PLAN_SWEEP_PROPOSAL_HPP
#define SEAMHOLD_PLAN_SWEEP_PROPOSAL_HPP

#include "seamhold/motion/pose_log.hpp"
#include "seamhold/plan/reach_over_cloud.hpp"
#include "seamhold/plan/seam_cloud.hpp"
#include "seamhold/plan/set_cover.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

/// A proposal of the sweep itself: straight passes over the seams of a job, joined to one path.
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
    double row_distance = 0.02;   ///< from row to row on a pass, at most, m
    double least_margin = 0.02;   ///< that every limit of a place must leave, a share
    std::size_t lines = 33;       ///< evenly across the cloud, on which a pass may lie
    std::size_t budget = 200000;  ///< of partial choices of passes looked at
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

/// A sweep over the seams of a job.
struct SweepProposal {
    std::vector<PoseRow<Cell>> rows;         ///< of the flange; `time` is the path parameter, s, from 0
    std::vector<SweepPass> passes;           ///< in their order on the path
    std::vector<SeamNotReached> not_reached; ///< by any pass
    std::size_t lower_bound;                 ///< no fewer of the lines looked at reach as many seams
    bool proven;                             ///< whether the passes are the fewest of these lines
    Direction<Part> direction;               ///< of the passes, unit vector
    double turning;                          ///< of the path parameter, what turnarounds take, s

    /// The path as a motion whose time is the path parameter.
    PoseLog<Cell, Flange> motion() const { return PoseLog<Cell, Flange>(rows); }
};

namespace detail {

/// How a seam is reached from a row of poses that are passed one after the other.
struct PassReach {
    double margin = -1;              ///< the largest that one pose leaves the whole seam
    Limit limit = Limit::reach;      ///< used most there
    std::size_t best = 0;            ///< that pose
    bool forward = false;            ///< whether it is reached when the poses are passed in their order
    bool backward = false;           ///< and in the opposite order
    std::size_t first = 0, last = 0; ///< the poses needed: `best`, or a run where no pose reaches all
};

/// Looks for it from pose number `guess` on. A seam that no pose reaches as a whole is followed place by
/// place, each as early as it is reached.
inline PassReach reach_on(ReachOverCloud& reach, std::size_t seam,
                          std::vector<Pose<Cell, Flange>> const& poses, std::size_t guess,
                          double least_margin) {
    PassReach found;
    auto top = reach.over(seam, poses[guess]);
    found.best = guess;
    for (std::size_t step = 4; step > 0; step /= 2)
        for (bool again = true; again;) {
            again = false;
            for (int const side : {1, -1}) {
                if (side > 0 ? found.best + step >= poses.size() : found.best < step)
                    continue;
                std::size_t const next = side > 0 ? found.best + step : found.best - step;
                if (auto const there = reach.over(seam, poses[next]); there.margin > top.margin) {
                    found.best = next;
                    top = there;
                    again = true;
                    break;
                }
            }
        }
    found.margin = top.margin;
    found.limit = top.limit;
    found.first = found.last = found.best;
    if (top.margin >= least_margin) {
        found.forward = found.backward = true;
        return found;
    }
    std::size_t const places = reach.places(seam), count = poses.size();
    auto const follows = [&](bool ahead) {
        std::size_t k = 0, from = 0;
        for (std::size_t place = 0; place < places; ++place) {
            for (; k < count; ++k)
                if (reach.at(seam, place, poses[ahead ? k : count - 1 - k]).margin >= least_margin)
                    break;
            if (k == count)
                return false;
            if (place == 0)
                from = k;
        }
        std::size_t const first = ahead ? from : count - 1 - k, last = ahead ? k : count - 1 - from;
        found.first = found.forward ? std::min(found.first, first) : first;
        found.last = found.forward ? std::max(found.last, last) : last;
        return true;
    };
    // The seam's middle first: most that are out of reach are given up there.
    if (reach.at(seam, places / 2, poses[found.best]).margin < least_margin)
        return found;
    found.forward = follows(true);
    found.backward = follows(false);
    return found;
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

/// Poses along a line over the cloud, and their places along it.
struct LinePoses {
    double first, step; ///< m
    std::vector<Pose<Cell, Flange>> poses;

    std::size_t nearest(double along) const {
        double const i = std::round((along - first) / std::max(step, 1e-9));
        return static_cast<std::size_t>(std::clamp(i, 0.0, static_cast<double>(poses.size() - 1)));
    }
    double along(std::size_t i) const { return first + step * static_cast<double>(i); }
};

inline LinePoses poses_between(SeamCloud const& cloud, Range const& along, double across,
                               SweepSettings const& settings) {
    double const way = along.high - along.low;
    auto const parts = static_cast<std::size_t>(std::ceil(way / settings.row_distance)) + 1;
    LinePoses line{along.low, way / static_cast<double>(parts), {}};
    for (std::size_t i = 0; i <= parts; ++i)
        line.poses.push_back(cloud.flange_over(line.along(i), across, settings.stance));
    return line;
}

/// The lines of the fewest passes that reach all that can be reached, and of these passes those that leave
/// the largest margin at the worst seam.
inline SetCover fewest_passes(std::vector<std::vector<PassReach>> const& on_line,
                              std::vector<std::size_t> const& wanted, double least_margin,
                              std::size_t budget) {
    auto const margin = [&](std::size_t line, std::size_t w) {
        auto const& r = on_line[line][wanted[w]];
        return r.forward || r.backward ? std::max(r.margin, least_margin) : -1;
    };
    auto const cover = [&](double least) {
        std::vector<Bits> sets(on_line.size(), Bits(wanted.size()));
        for (std::size_t line = 0; line < on_line.size(); ++line)
            for (std::size_t w = 0; w < wanted.size(); ++w)
                if (margin(line, w) >= least)
                    sets[line].add(w);
        return least_cover(sets, wanted.size(), budget);
    };
    auto best = cover(least_margin);
    double top = 1; // the most that every seam has on some line
    for (std::size_t w = 0; w < wanted.size(); ++w) {
        double most = -1;
        for (std::size_t line = 0; line < on_line.size(); ++line)
            most = std::max(most, margin(line, w));
        top = std::min(top, most);
    }
    double low = least_margin;
    for (int i = 0; i < 12 && best.proven; ++i) {
        double const least = i == 0 ? top : (low + top) / 2;
        auto const tried = cover(least);
        if (tried.chosen.size() <= best.chosen.size()) {
            best.chosen = tried.chosen;
            low = least;
        } else {
            top = least;
        }
    }
    return best;
}

/// Which way passes go: the one that reaches more of the seams that must be followed while moving.
inline bool first_goes_forward(std::vector<std::vector<PassReach>> const& on_line, SetCover const& cover,
                               bool serpentine) {
    std::size_t count[2] = {};
    for (std::size_t s = 0; s < on_line.front().size(); ++s)
        for (int backward = 0; backward < 2; ++backward)
            for (std::size_t p = 0; p < cover.chosen.size(); ++p) {
                auto const& r = on_line[cover.chosen[p]][s];
                bool const ahead = (backward == 0) == (!serpentine || p % 2 == 0);
                if (ahead ? r.forward : r.backward) {
                    ++count[backward];
                    break;
                }
            }
    return count[0] >= count[1];
}

/// From the first to the last place that a pass is needed at, along the cloud, m.
inline Range needed(std::vector<std::vector<PassReach>> const& on_line, std::vector<LinePoses> const& lines,
                    SetCover const& cover, std::size_t pass, SweepSettings const& settings) {
    auto const margin = [&](std::size_t line, std::size_t s) {
        auto const& r = on_line[line][s];
        return r.forward || r.backward ? std::max(r.margin, settings.least_margin) : -1;
    };
    std::size_t const line = cover.chosen[pass];
    Range range{no_limit, -no_limit};
    for (std::size_t s = 0; s < on_line[line].size(); ++s) {
        auto const& r = on_line[line][s];
        bool here = r.forward || r.backward;
        for (std::size_t other = 0; other < cover.chosen.size() && here; ++other) {
            double const there = margin(cover.chosen[other], s);
            here = there < margin(line, s) || (there == margin(line, s) && other >= pass);
        }
        if (!here)
            continue;
        range.low = std::min(range.low, lines[line].along(r.first));
        range.high = std::max(range.high, lines[line].along(r.last));
    }
    constexpr double shortest = 0.02; // m
    if (!(range.low <= range.high))   // every seam has more margin elsewhere
        range = {0, 0};
    double const middle = (range.low + range.high) / 2;
    double const half = std::max((range.high - range.low) / 2 + settings.overhang, shortest / 2);
    return {middle - half, middle + half};
}

} // namespace detail

/// A sweep over the seams of a job, the part at rest: as many straight passes in the main direction as the
/// head's reach across needs, each from over its first seam to over its last, and turnarounds between them,
/// so that the whole is one path, C² in its parameter. The place under the head runs straight in the plan
/// view of the cloud; its height and the head's lean follow the seams beneath, smoothed (see HeadStance).
///
/// Passes lie on `lines` lines evenly across the cloud. They are the fewest of these, by an exact cover; of
/// all such choices that with the largest least margin. A seam counts as reached where one place of the pass
/// reaches all of it, or else where its places are reached one after the other while the pass goes on, as
/// drawn. Whether the robot can be slow enough, and whether the mirrors are fast enough, is not asked here:
/// see `plan`. The same holds for the arm, and for what may stand in the way: look before you let it run.
///
/// Throws BadInput for settings that are not possible, naming them, as `SeamCloud` does, and where no seam
/// is reached at all.
inline SweepProposal sweep_proposal(Job const& job, SweepSettings const& settings = {}) {
    detail::check(settings);
    SeamCloud const cloud(job, settings.direction);
    detail::ReachOverCloud reach(job, cloud);
    std::size_t const count = reach.seams();

    auto const [low, high] = cloud.range_across();
    std::size_t const line_count = high - low < 1e-3 ? 1 : settings.lines;
    std::vector<detail::LinePoses> lines;
    std::vector<double> across;
    std::vector<std::vector<detail::PassReach>> on_line;
    for (std::size_t k = 0; k < line_count; ++k) {
        across.push_back(line_count == 1 ? (low + high) / 2
                                         : low + (high - low) * static_cast<double>(k) /
                                                     static_cast<double>(line_count - 1));
        lines.push_back(detail::poses_between(cloud, cloud.range_along(), across.back(), settings));
        on_line.emplace_back();
        for (std::size_t s = 0; s < count; ++s)
            on_line.back().push_back(detail::reach_on(reach, s, lines.back().poses,
                                                      lines.back().nearest(reach.middle(s).x),
                                                      settings.least_margin));
    }
    std::vector<std::size_t> wanted;
    std::vector<SeamNotReached> nearest;
    for (std::size_t s = 0; s < count; ++s) {
        nearest.push_back({s, -no_limit, Limit::reach});
        bool any = false;
        for (auto const& line : on_line) {
            any = any || line[s].forward || line[s].backward;
            if (line[s].margin > nearest[s].margin)
                nearest[s] = {s, line[s].margin, line[s].limit};
        }
        if (any)
            wanted.push_back(s);
    }
    if (wanted.empty())
        throw BadInput("no pass over the seams reaches any of them: of seam " + job.seams.front().name +
                       ", " + to_string(nearest.front().limit) + " would be used to " +
                       detail::text_of(100 * (1 - nearest.front().margin)) + " % at best");

    auto const cover = detail::fewest_passes(on_line, wanted, settings.least_margin, settings.budget);
    SweepProposal sweep{{}, {}, {}, cover.lower_bound, cover.proven, cloud.along(), 0};
    bool const forward = detail::first_goes_forward(on_line, cover, settings.serpentine);
    std::vector<detail::SweepPiece> pieces;
    double path = 0;
    for (std::size_t p = 0; p < cover.chosen.size(); ++p) {
        SweepPass pass{{}, {}, across[cover.chosen[p]], forward != (settings.serpentine && p % 2 == 1),
                       {}, {}};
        pass.along = detail::needed(on_line, lines, cover, p, settings);
        if (p > 0) {
            pieces.push_back(detail::turnaround(sweep.passes.back(), pass, settings));
            path += pieces.back().duration;
            sweep.turning += pieces.back().duration;
        }
        double const time = (pass.along.high - pass.along.low) / settings.speed;
        pass.path = {path, path + time};
        pieces.push_back({path,
                          time,
                          {pass.forward ? pass.along.low : pass.along.high,
                           pass.forward ? settings.speed : -settings.speed, 0, 0, 0, 0},
                          {pass.across, 0, 0, 0, 0, 0}});
        path += time;
        sweep.passes.push_back(std::move(pass));
    }

    for (std::size_t i = 0; i < pieces.size(); ++i) {
        auto const& piece = pieces[i];
        bool const turns = i % 2 == 1;
        // A turnaround bends: it needs more rows than its length would say.
        auto const parts = std::max<std::size_t>(
            turns ? 32 : 4, static_cast<std::size_t>(
                                std::ceil(piece.duration * settings.speed / settings.row_distance - 1e-9)));
        for (std::size_t k = i == 0 ? 0 : 1; k <= parts; ++k) {
            double const t = piece.duration * static_cast<double>(k) / static_cast<double>(parts);
            auto const pose = cloud.flange_over(detail::SweepPiece::at(piece.along, t),
                                                detail::SweepPiece::at(piece.across, t), settings.stance);
            sweep.rows.push_back({piece.start + t, pose.origin, quaternion_of(pose.rotation)});
        }
    }

    // What is reached is asked once more, of the path as it is.
    auto const motion = sweep.motion();
    std::vector<bool> is_reached(count);
    for (auto& pass : sweep.passes) {
        double const way = pass.along.high - pass.along.low;
        auto const parts = static_cast<std::size_t>(std::ceil(way / settings.row_distance)) + 1;
        detail::LinePoses line{pass.along.low, way / static_cast<double>(parts), {}};
        for (std::size_t i = 0; i <= parts; ++i) {
            double const share =
                static_cast<double>(pass.forward ? i : parts - i) / static_cast<double>(parts);
            line.poses.push_back(motion.at(
                std::min(pass.path.low + (pass.path.high - pass.path.low) * share, pass.path.high)));
        }
        for (std::size_t s = 0; s < count; ++s) {
            auto const r = detail::reach_on(reach, s, line.poses, line.nearest(reach.middle(s).x),
                                            settings.least_margin);
            if (r.margin > nearest[s].margin)
                nearest[s] = {s, r.margin, r.limit};
            if (!(pass.forward ? r.forward : r.backward))
                continue;
            pass.reached.push_back(s);
            if (!(r.margin >= settings.least_margin))
                pass.moving.push_back(s);
            is_reached[s] = true;
        }
    }
    for (std::size_t s = 0; s < count; ++s)
        if (!is_reached[s])
            sweep.not_reached.push_back(nearest[s]);
    return sweep;
}

} // namespace seamhold

#endif
