#ifndef SEAMHOLD_PLAN_REACH_OVER_CLOUD_HPP
#define SEAMHOLD_PLAN_REACH_OVER_CLOUD_HPP

#include "seamhold/plan/seam_cloud.hpp"
#include "seamhold/plan/still_reach.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

namespace seamhold {

/// A seam that is not reached, and what is nearest to reaching it.
struct SeamNotReached {
    std::size_t seam; ///< index in the job
    double margin; ///< 1 − the utilisation of the limit that is passed, from the best place that was seen
    Limit limit;   ///< that is passed there
};

namespace detail {

/// From where to where on a line of positions a seam is reached as a whole.
struct LineReach {
    double low = 1, high = 0;   ///< along the cloud, m; empty where low > high
    double best = -1;           ///< the largest margin that was seen
    double along = 0;           ///< where, m
    Limit limit = Limit::reach; ///< used most there
};

/// Asks about heads over a cloud of seams.
class ReachOverCloud {
public:
    ReachOverCloud(Job const& job, SeamCloud const& cloud) : cloud_(cloud), still_(job) {
        for (auto const& s : job.seams) {
            asked_.push_back(still_.asked_of(s.seam));
            places_.push_back(StillReach::places_of(s.seam));
            middles_.push_back(cloud.coordinates(s.seam.at(s.seam.duration() / 2).position));
        }
    }

    std::size_t seams() const { return asked_.size(); }

    /// Where the middle of a seam is: along, across, above, m.
    Direction<Part> const& middle(std::size_t seam) const { return middles_[seam]; }

    /// Of a whole seam from a pose of the flange.
    StillReach::Answer over(std::size_t seam, Pose<Cell, Flange> const& flange) {
        return still_.over(asked_[seam], places_[seam], flange, cloud_.cell_from_part());
    }

    /// Of one of the places that `over` looks at.
    StillReach::Answer at(std::size_t seam, std::size_t place, Pose<Cell, Flange> const& flange) {
        double const share = static_cast<double>(place) / static_cast<double>(places_[seam] - 1);
        return still_.at(asked_[seam], share * asked_[seam].duration(), flange, cloud_.cell_from_part());
    }

    /// How many places `over` looks at.
    std::size_t places(std::size_t seam) const { return places_[seam]; }

    /// What is reached of a seam on the line of positions at `across`. Reach is taken to be one stretch.
    LineReach on_line(std::size_t seam, double across, HeadStance const& stance, double least_margin) {
        auto const ask = [&](double a) { return over(seam, cloud_.flange_over(a, across, stance)); };
        LineReach reach;
        double a = middles_[seam].x;
        auto top = ask(a);
        for (double step = 0.04; step > 0.004; step /= 2)
            for (bool again = true; again;) {
                again = false;
                for (double const side : {step, -step})
                    if (auto const next = ask(a + side); next.margin > top.margin) {
                        a += side;
                        top = next;
                        again = true;
                        break;
                    }
            }
        reach.best = top.margin;
        reach.along = a;
        reach.limit = top.limit;
        if (!(top.margin >= least_margin))
            return reach;
        auto const end = [&](double side) {
            double in = a, out = a + 0.08 * side;
            for (; ask(out).margin >= least_margin && std::abs(out - a) < 100; out += 0.08 * side)
                in = out;
            while (std::abs(out - in) > 1e-4)
                (ask((in + out) / 2).margin >= least_margin ? in : out) = (in + out) / 2;
            return in;
        };
        reach.low = end(-1);
        reach.high = end(1);
        return reach;
    }

private:
    SeamCloud const& cloud_;
    StillReach still_;
    std::vector<StillReach::Asked> asked_;
    std::vector<std::size_t> places_;
    std::vector<Direction<Part>> middles_;
};

} // namespace detail

} // namespace seamhold

#endif
