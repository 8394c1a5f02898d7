#ifndef SEAMHOLD_PLAN_PATH_REACH_HPP
#define SEAMHOLD_PLAN_PATH_REACH_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/plan/pace_task.hpp"
#include "seamhold/plan/still_reach.hpp"

#include <boost/math/tools/minima.hpp>
#include <boost/math/tools/toms748_solve.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// From where on a sweep's path a seam is reached. What a head reaches from a place of the path does not
/// depend on when the robot is there, so windows are sought once, along the path, and every time law reads
/// its windows of time from them.
namespace seamhold {

/// How a seam is reached from one stretch of the path: a sweep that passes it twice has two.
struct SeamReach {
    std::vector<ReachStation> places; ///< in order of the seam's time, its start and end with them; the
                                      ///< path parameter is the path's own time, s
    Limit low_limit;                  ///< that ends the reach of the seam's middle towards the path's start
    Limit high_limit;                 ///< and towards its end

    /// Whether the whole seam is reached from one place of the path.
    bool from_one_place() const {
        double low = -no_limit, high = no_limit;
        for (auto const& p : places) {
            low = std::max(low, p.low);
            high = std::min(high, p.high);
        }
        return low <= high;
    }
};

/// Why a seam is not reached from a path.
struct NearestReach {
    double path;  ///< where on the path it comes nearest to being reached
    double used;  ///< utilisation of the limit that is passed there; infinity where the head is not above it
    Limit limit;  ///< that is passed most there
    double shift; ///< by how much, m, the path would have to be moved so that the seam is reached from
                  ///< one place
    Direction<Cell> towards; ///< in this direction of the cell, a unit vector; `shift` is infinite where no
                             ///< shift up to a metre along an axis of the cell was found
};

/// A sweep's path, looked at in steps of some 2 cm of the head's way. A stretch shorter than that may be
/// missed.
class PathReach {
    auto const& path() const { return job_->chain.cell_from_flange.motion(); }

public:
    /// Of a job's flange motion from one value of its own time to another, s. A place counts as reached where
    /// every limit that belongs to a place leaves `least_margin`. Throws BadInput for a stretch that is
    /// empty, not finite, or without data.
    PathReach(Job const& job, Range const& stretch, double least_margin)
        : job_(&job), still_(job), stretch_(stretch), least_margin_(least_margin) {
        if (!(stretch.low < stretch.high) || !is_finite(stretch.high - stretch.low))
            throw BadInput("a sweep's path from " + detail::text_of(stretch.low) + " to " +
                           detail::text_of(stretch.high) + " s is empty");
        if (!(least_margin >= 0 && least_margin < 1))
            throw BadInput("the least margin of a plan is a share from 0 to below 1; given was " +
                           detail::text_of(least_margin));
        for (double const end : {stretch.low, stretch.high})
            if (!has_data(path(), end) || !has_data(job.chain.cell_from_part, end))
                throw BadInput("the sweep has no data at " + detail::text_of(end) +
                               " s of its path, which was given as one of its ends");
        add_steps();
        margins_.assign(steps_.size(), unknown);
    }

    /// The stretch that is looked at, s of the path's own time.
    Range const& stretch() const { return stretch_; }

    /// The stretches of the path from which a seam is reached as a whole while the robot goes on; empty where
    /// there is none. The seam is looked at in places 8 mm apart or less (see StillReach::places_of).
    /// With a `run_up`, s above 0, so is the place where the seam run on before its start would be that long
    /// before it, where the axes begin to settle: the first of the places, at minus the run-up.
    std::vector<SeamReach> of(AnySeam const& seam, double run_up = 0) {
        auto const asked = still_.asked_of(seam);
        std::size_t const lead = run_up > 0 ? 1 : 0;
        std::size_t const count = StillReach::places_of(seam) + lead, middle = lead + (count - lead) / 2;
        std::vector<SeamReach> found;
        for (auto const& run : runs_of(asked)) {
            SeamReach reach{std::vector<ReachStation>(count), Limit::reach, Limit::reach};
            auto const look = [&](std::size_t k, Near const& near) {
                double const offset = k < lead ? -run_up
                                               : seam.duration() * static_cast<double>(k - lead) /
                                                     static_cast<double>(count - lead - 1);
                auto const ends = ends_of(asked, offset, run, near);
                if (!ends)
                    return std::optional<Near>();
                reach.places[k] = {offset, ends->low, ends->high};
                if (k == middle) {
                    reach.low_limit = ends->low_limit;
                    reach.high_limit = ends->high_limit;
                }
                return std::optional<Near>(ends->near);
            };
            // From the middle on to both ends: a place is reached from about where its neighbour is.
            auto const from = look(middle, run.middle);
            auto near = from;
            for (std::size_t k = middle + 1; near && k < count; ++k)
                near = look(k, *near);
            bool const to_end = near.has_value();
            near = from;
            for (std::size_t k = middle; near && to_end && k > 0; --k)
                near = look(k - 1, *near);
            if (to_end && near)
                found.push_back(std::move(reach));
        }
        return found;
    }

    /// What is nearest to reaching a seam that no stretch reaches.
    NearestReach nearest(AnySeam const& seam) {
        auto const asked = still_.asked_of(seam);
        NearestReach best{stretch_.low, no_limit, Limit::reach, no_limit, {0, 0, 1}};
        std::size_t const count = StillReach::places_of(seam);
        for (auto const& step : steps_) {
            auto const here = still_.over(asked, count, step.flange, step.part);
            double const used = 1 - here.margin;
            if (used < best.used)
                best = {step.at, used, here.limit, no_limit, {0, 0, 1}};
        }
        find_shift(asked, count, best);
        std::size_t const stride = steps_.size() / 64 + 1;
        for (std::size_t i = 0; i < steps_.size(); i += stride) { // least shift, not least use, is what helps
            auto const here = still_.over(asked, count, steps_[i].flange, steps_[i].part);
            NearestReach other{steps_[i].at, 1 - here.margin, here.limit, best.shift, best.towards};
            find_shift(asked, count, other);
            if (other.shift < best.shift)
                best = other;
        }
        return best;
    }

private:
    static constexpr double unknown = no_limit;
    struct Step {
        double at;
        Pose<Cell, Flange> flange;
        Pose<Cell, Part> part;
    };
    struct Near {
        std::size_t first, last; ///< steps from which a place is reached, or nearly, both included
    };
    struct Run {
        std::size_t first, last; ///< of the steps that are looked at first, both included
        Near middle;             ///< of the seam's middle
    };
    struct Ends {
        double low, high;
        Limit low_limit, high_limit;
        Near near;
    };

    Step step_at(double u) const { return {u, path().at(u), job_->chain.cell_from_part.at(u)}; }

    /// How far the head moves against the part between two steps, m: of its origin and of a point half a
    /// metre in front of it.
    double way(Step const& a, Step const& b) const {
        auto const head_a = inverse(a.part) * a.flange * job_->chain.flange_from_head;
        auto const head_b = inverse(b.part) * b.flange * job_->chain.flange_from_head;
        Point<Head> const ahead{0, 0, 0.5};
        return std::max(norm(head_a.origin - head_b.origin), norm(head_a * ahead - head_b * ahead));
    }

    void add_steps() {
        constexpr std::size_t coarse = 64, most = 200000;
        constexpr double longest = 0.02; // m
        Step last = step_at(stretch_.low);
        steps_.push_back(last);
        for (std::size_t i = 1; i <= coarse; ++i) {
            double const u = stretch_.low + (stretch_.high - stretch_.low) * static_cast<double>(i) / coarse;
            Step const next = step_at(i == coarse ? stretch_.high : u);
            double const total = std::max(way(last, next), way(last, step_at((last.at + next.at) / 2)) +
                                                               way(step_at((last.at + next.at) / 2), next));
            auto const parts = static_cast<std::size_t>(std::min(total / longest, 1e9)) + 1;
            if (steps_.size() + parts > most)
                throw BadInput("the sweep's path is longer than some " +
                               detail::text_of(static_cast<double>(most) * longest) + " m");
            double const from = last.at;
            for (std::size_t k = 1; k <= parts; ++k)
                steps_.push_back(k == parts ? next
                                            : step_at(from + (next.at - from) * static_cast<double>(k) /
                                                                 static_cast<double>(parts)));
            last = next;
        }
    }

    /// Whether the mirrors point anywhere near a place from here; costs a tenth of asking for all limits.
    bool may_reach(AnySeam const& seam, Point<Part> const& place, Step const& step) const {
        auto const& chain = job_->chain;
        auto const target =
            inverse_times(chain.flange_from_head, inverse_times(step.flange, step.part * place));
        auto const aim = chain.head.aim(target, seam.focus_offset);
        if (!(value_of(aim.clearance.in_front) > 0) || !is_finite(aim.command.x_mirror))
            return false;
        auto const ranges = chain.head.ranges();
        return ranges.x_mirror.utilisation(aim.command.x_mirror) < 1.5 &&
               ranges.y_mirror.utilisation(aim.command.y_mirror) < 1.5;
    }

    /// The stretches of steps from which the seam's middle is reached, or nearly and none beside them are.
    std::vector<Run> runs_of(StillReach::Asked const& asked) {
        double const middle = asked.duration() / 2;
        auto const place = value_of(asked.seam().at(middle).position);
        std::vector<Run> runs;
        std::size_t lowest = 0;     // of the steps since the last that holds
        double least = 0, most = 0; // its margin; the largest of the run
        bool was_near = false;
        for (std::size_t i = 0; i < steps_.size(); ++i) {
            auto const& step = steps_[i];
            double const left = may_reach(asked.seam(), place, step) ? margin(asked, middle, step) : -10;
            bool const near = left > -0.3;
            if (near && !was_near) {
                runs.push_back({0, steps_.size() - 1, {i, i}});
                most = least = left;
                lowest = i;
            } else if (near && left >= 0 && least < 0 && most >= 0) { // two stretches with a gap
                runs.back().last = runs.back().middle.last = lowest;
                runs.push_back({lowest, steps_.size() - 1, {lowest, i}});
                most = left;
            }
            if (near) {
                runs.back().middle.last = i;
                most = std::max(most, left);
                if (left >= 0 || left < least) {
                    least = left;
                    lowest = i;
                }
            }
            was_near = near;
        }
        return runs;
    }

    double margin(StillReach::Asked const& asked, double offset, Step const& step) {
        return std::max(still_.at(asked, offset, step.flange, step.part).margin, -10.0) - least_margin_;
    }

    /// From where to where one place is reached, sought about where its neighbour is.
    std::optional<Ends> ends_of(StillReach::Asked const& asked, double offset, Run const& run,
                                Near const& near) {
        constexpr std::size_t room = 3;
        std::size_t const first = near.first - std::min(near.first - run.first, room);
        std::size_t const last = std::min(near.last + room, run.last);
        for (std::size_t const i : asked_)
            margins_[i] = unknown;
        asked_.clear();
        auto const at = [&](std::size_t i) {
            if (margins_[i] == unknown) {
                margins_[i] = margin(asked, offset, steps_[i]);
                asked_.push_back(i);
            }
            return margins_[i];
        };
        std::size_t best = first;
        for (std::size_t i = first + 1; i <= last; ++i)
            if (at(i) > at(best))
                best = i;
        double top = steps_[best].at, most = at(best);
        std::size_t before = best, after = best;
        if (!(most >= 0)) { // it may be reached between two steps
            std::uintmax_t evaluations = 40;
            auto const found = boost::math::tools::brent_find_minima(
                [&](double u) { return -margin(asked, offset, step_at(u)); },
                steps_[best - (best > run.first ? 1 : 0)].at, steps_[best + (best < run.last ? 1 : 0)].at, 20,
                evaluations);
            top = found.first;
            most = -found.second;
            if (!(most >= 0))
                return std::nullopt;
            before = top < steps_[best].at && best > run.first ? best - 1 : best;
            after = top > steps_[best].at && best < run.last ? best + 1 : best;
        }
        while (before > 0 && at(before) >= 0)
            --before;
        while (after + 1 < steps_.size() && at(after) >= 0)
            ++after;
        // From the last step that holds; where there is none between, from the top.
        auto const inner = [&](std::size_t outer, std::size_t next) {
            bool const holds = next >= before && next <= after && at(next) >= 0;
            return holds && outer != next ? Place{steps_[next].at, at(next)} : Place{top, most};
        };
        Ends ends{0, 0, Limit::reach, Limit::reach, {before, after}};
        ends.low = edge(asked, offset, before, at(before), inner(before, before + 1), ends.low_limit);
        ends.high = edge(asked, offset, after, at(after), inner(after, after - 1), ends.high_limit);
        return ends;
    }

    struct Place {
        double at, margin;
    };

    /// Where the margin reaches 0 between a step that is outside and a place that is inside, on its inner
    /// side; the step itself where it is inside (the path ends).
    double edge(StillReach::Asked const& asked, double offset, std::size_t outside, double margin_outside,
                Place const& inside, Limit& limit) {
        Place const out{steps_[outside].at, margin_outside};
        if (out.margin >= 0)
            return out.at;
        limit = still_.at(asked, offset, steps_[outside].flange, steps_[outside].part).limit;
        if (!(inside.margin > 0) || out.at == inside.at)
            return inside.at;
        bool const up = out.at < inside.at;
        std::uintmax_t evaluations = 40;
        double const near = 1e-4 * std::abs(out.at - inside.at);
        auto const bracket = boost::math::tools::toms748_solve(
            [&](double u) { return margin(asked, offset, step_at(u)); }, up ? out.at : inside.at,
            up ? inside.at : out.at, up ? out.margin : inside.margin, up ? inside.margin : out.margin,
            [&](double a, double b) { return b - a <= near; }, evaluations);
        return up ? bracket.second : bracket.first;
    }

    /// The shortest shift of the path along an axis of the cell with which the nearest place reaches the
    /// seam.
    void find_shift(StillReach::Asked const& asked, std::size_t count, NearestReach& nearest) {
        auto const shifted = [&](Direction<Cell> const& d, double by) {
            auto step = step_at(nearest.path);
            step.flange.origin = step.flange.origin + by * d;
            return still_.over(asked, count, step.flange, step.part).margin - least_margin_;
        };
        for (int axis = 0; axis < 3; ++axis)
            for (double const sign : {1.0, -1.0}) {
                Direction<Cell> const d{axis == 0 ? sign : 0, axis == 1 ? sign : 0, axis == 2 ? sign : 0};
                double low = 0, high = 0.02;
                while (high <= 1 && high < nearest.shift && !(shifted(d, high) >= 0)) {
                    low = high;
                    high += 0.02;
                }
                if (high > 1 || !(high - 0.02 < nearest.shift) || !(shifted(d, high) >= 0))
                    continue;
                while (high - low > 1e-4)
                    (shifted(d, (low + high) / 2) >= 0 ? high : low) = (low + high) / 2;
                if (high < nearest.shift) {
                    nearest.shift = high;
                    nearest.towards = d;
                }
            }
    }

    Job const* job_;
    StillReach still_;
    Range stretch_;
    double least_margin_;
    std::vector<Step> steps_;
    std::vector<double> margins_;    ///< at each step, of the place at hand; `unknown` where not asked
    std::vector<std::size_t> asked_; ///< the steps where it was
};

} // namespace seamhold

#endif
