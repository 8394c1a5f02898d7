#ifndef SEAMHOLD_PLAN_PASS_REACH_HPP
#define SEAMHOLD_PLAN_PASS_REACH_HPP

#include "seamhold/plan/reach_over_cloud.hpp"
#include "seamhold/plan/sweep_path.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

/// What a pass over the seams reaches.
namespace seamhold::detail {

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

} // namespace seamhold::detail

#endif
