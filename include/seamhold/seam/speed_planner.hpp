#ifndef SEAMHOLD_SEAM_SPEED_PLANNER_HPP
#define SEAMHOLD_SEAM_SPEED_PLANNER_HPP

#include "seamhold/seam/speed_law.hpp"
#include "seamhold/seam/travel.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

/// The way along a path under limits of the speed.
namespace seamhold::detail {

/// A stretch of a path with one limit of the speed.
struct SpeedCell {
    double from, to; ///< m
    double limit;    ///< m/s
};

/// Makes the way s(t): as fast as the limits of the cells and the acceleration along the path allow, then
/// averaged over a window of time, which makes the acceleration continuous and the jerk acceleration /
/// window. The averaged speed at a place is a mean of speeds at places at most speed · window away, so the
/// limits are first widened by that much to both sides: then it is nowhere above them.
class SpeedPlanner {
public:
    SpeedPlanner(double length, SpeedLaw const& law, double window)
        : law_(law), length_(length), window_(window) {}

    /// One limit more, for a stretch of the path, m, m/s.
    void limit(double from, double to, double most) {
        cells_.push_back({std::max(0.0, from), std::min(length_, to), std::min(most, law_.speed)});
    }

    /// A place, m, that is passed at `most`, m/s; 0 is a rest.
    void pass(double place, double most) {
        passes_.push_back({place, place, most});
        if (most > 0)
            limit(place, place, most);
    }

    /// Whether the jerk of the way that was made keeps its limit.
    bool keeps_jerk() const { return largest_jerk_ <= law_.jerk * (1 + 1e-12); }

    /// The way.
    Travel<> travel() {
        widen();
        auto const speeds = node_speeds();
        bool const even = passes_.empty() && std::all_of(speeds.begin(), speeds.end(),
                                                         [&](double v) { return v == law_.speed; });
        if (even)
            return {law_.speed, length_ / law_.speed};
        if (!is_finite(law_.acceleration))
            throw BadInput("the speed along the path must change, so its acceleration must be limited");
        lay_out(speeds);
        return averaged();
    }

private:
    /// A time of one acceleration.
    struct Phase {
        double duration, acceleration;
    };

    /// The limit over every stretch between two changes, the least of all cells within reach.
    void widen() {
        double const reach = law_.speed * window_;
        std::vector<double> bounds{0, length_};
        for (auto const& cell : cells_) {
            bounds.push_back(std::clamp(cell.from - reach, 0.0, length_));
            bounds.push_back(std::clamp(cell.to + reach, 0.0, length_));
        }
        for (auto const& pass : passes_)
            bounds.push_back(pass.from);
        bounds.push_back(start_hold());
        bounds.push_back(length_ - end_hold());
        std::sort(bounds.begin(), bounds.end());
        double const least = 1e-12 * length_;
        std::vector<double> apart{0};
        for (double const b : bounds)
            if (b > apart.back() + least && b < length_ - least)
                apart.push_back(b);
        apart.push_back(length_);

        // Cells by their start; those that can still reach the stretch stand in a heap by their limit.
        std::sort(cells_.begin(), cells_.end(), [](auto const& a, auto const& b) { return a.from < b.from; });
        std::vector<SpeedCell> near;
        auto const slower_first = [](auto const& a, auto const& b) { return a.limit > b.limit; };
        std::size_t next = 0;
        std::vector<SpeedCell> wide;
        for (std::size_t i = 0; i + 1 < apart.size(); ++i) {
            double const from = apart[i], to = apart[i + 1];
            for (; next < cells_.size() && cells_[next].from - reach < to - least; ++next) {
                near.push_back(cells_[next]);
                std::push_heap(near.begin(), near.end(), slower_first);
            }
            while (!near.empty() && near.front().to + reach <= from + least) {
                std::pop_heap(near.begin(), near.end(), slower_first);
                near.pop_back();
            }
            double limit = near.empty() ? law_.speed : near.front().limit;
            if (to <= start_hold() + least)
                limit = std::min(limit, start_speed());
            if (from >= length_ - end_hold() - least)
                limit = std::min(limit, end_speed());
            if (!wide.empty() && wide.back().limit == limit && !is_finite(passed_at(from)))
                wide.back().to = to;
            else
                wide.push_back({from, to, limit});
        }
        cells_ = std::move(wide);
    }

    double start_speed() const { return law_.start_speed.value_or(law_.speed); }
    double end_speed() const { return law_.end_speed.value_or(law_.speed); }

    /// The way at both ends on which the speed does not change, so that the average over a window has exactly
    /// that speed at the end.
    double start_hold() const { return std::min(length_, start_speed() * window_ / 2); }
    double end_hold() const { return std::min(length_, end_speed() * window_ / 2); }

    /// The speed at which a place is to be passed; infinite for most places.
    double passed_at(double place) const {
        double most = std::numeric_limits<double>::infinity();
        for (auto const& pass : passes_)
            if (std::abs(pass.from - place) <= 1e-12 * length_)
                most = std::min(most, pass.limit);
        return most;
    }

    /// The speed at every boundary of the cells.
    std::vector<double> node_speeds() const {
        std::size_t const n = cells_.size();
        std::vector<double> v(n + 1);
        for (std::size_t i = 0; i <= n; ++i)
            v[i] = std::min(cells_[i == 0 ? 0 : i - 1].limit, cells_[std::min(i, n - 1)].limit);
        for (std::size_t i = 1; i < n; ++i)
            v[i] = std::min(v[i], passed_at(cells_[i].from));
        v[0] = std::min(v[0], start_speed());
        v[n] = std::min(v[n], end_speed());
        auto const reachable = [&](double from, SpeedCell const& cell) {
            return std::sqrt(from * from + 2 * law_.acceleration * (cell.to - cell.from));
        };
        for (std::size_t i = 0; i < n; ++i)
            v[i + 1] = std::min(v[i + 1], reachable(v[i], cells_[i]));
        for (std::size_t i = n; i-- > 0;)
            v[i] = std::min(v[i], reachable(v[i + 1], cells_[i]));
        return v;
    }

    void lay_out(std::vector<double> const& v) {
        first_speed_ = v.front();
        double const a = law_.acceleration;
        auto const add = [&](double duration, double acceleration) {
            if (duration > 0)
                phases_.push_back({duration, acceleration});
        };
        for (std::size_t i = 0; i < cells_.size(); ++i) {
            if (i > 0 && passed_at(cells_[i].from) == 0)
                add(window_, 0); // so that the average is at rest too, for a moment
            double const way = cells_[i].to - cells_[i].from;
            double const peak =
                std::min(cells_[i].limit, std::sqrt((v[i] * v[i] + v[i + 1] * v[i + 1]) / 2 + a * way));
            double const ramps =
                (2 * peak * peak - v[i] * v[i] - v[i + 1] * v[i + 1]) / (2 * a); // way of both ramps
            add((peak - v[i]) / a, a);
            add((way - ramps) / peak, 0);
            add((peak - v[i + 1]) / a, -a);
        }
    }

    /// Acceleration of the phases as a step function that begins half a window early or late, differenced:
    /// between two changes of either the average has one jerk.
    Travel<> averaged() {
        struct Change {
            double time;
            double jerk; ///< added from here on, or with no window the acceleration
        };
        std::vector<Change> changes;
        double time = 0;
        double acceleration = 0;
        auto const step = [&](double to) {
            double const rise = to - acceleration;
            acceleration = to;
            if (rise == 0)
                return;
            if (window_ > 0) {
                changes.push_back({time - window_ / 2, rise / window_});
                changes.push_back({time + window_ / 2, -rise / window_});
            } else {
                changes.push_back({time, rise});
            }
        };
        for (auto const& phase : phases_) {
            step(phase.acceleration);
            time += phase.duration;
        }
        step(0);
        std::stable_sort(changes.begin(), changes.end(),
                         [](Change const& a, Change const& b) { return a.time < b.time; });

        double const begin = -window_ / 2;
        double const end = time + window_ / 2;
        std::vector<CubicPiece<1>> pieces;
        State now{begin, first_speed_ * begin, first_speed_, 0, 0};
        auto const keep = [&] {
            pieces.push_back({now.time, {{now.way}, {now.speed}, {now.acceleration / 2}, {now.jerk / 6}}});
        };
        keep();
        largest_jerk_ = 0;
        for (std::size_t i = 0; i < changes.size(); ++i) {
            now.advance(changes[i].time);
            (window_ > 0 ? now.jerk : now.acceleration) += changes[i].jerk;
            if (i + 1 == changes.size() || changes[i + 1].time > changes[i].time) {
                keep();
                largest_jerk_ = std::max(largest_jerk_, std::abs(now.jerk));
            }
        }
        now.advance(end);
        double const last_speed = law_.end_speed == 0.0 ? 0 : std::max(0.0, now.speed);
        pieces.push_back({end, {{now.way}, {last_speed}, {0}, {0}}});
        double const first = first_speed_ > 0 ? reaches(pieces, 0) : begin;
        double const last = last_speed > 0 ? reaches(pieces, length_) : end;
        return from_zero(std::move(pieces), first, last);
    }

    /// The way and its derivatives at one time.
    struct State {
        double time, way, speed, acceleration, jerk;

        void advance(double to) {
            double const d = to - time;
            way += d * (speed + d * (acceleration / 2 + d * jerk / 6));
            speed += d * (acceleration + d * jerk / 2);
            acceleration += d * jerk;
            time = to;
        }
    };

    /// When the way is first `s`, with a speed above 0.
    static double reaches(std::vector<CubicPiece<1>> const& pieces, double s) {
        std::size_t i = 0;
        while (i + 1 < pieces.size() && pieces[i + 1].coefficient[0][0] <= s)
            ++i;
        double low = pieces[i].start;
        double high = i + 1 < pieces.size()
                          ? pieces[i + 1].start
                          : low + (s - pieces[i].coefficient[0][0]) / pieces[i].coefficient[1][0] * 2;
        while (true) {
            double const middle = low + (high - low) / 2;
            if (!(middle > low && middle < high))
                return high;
            (pieces[i].at(middle)[0] < s ? low : high) = middle;
        }
    }

    /// The way with time 0 at `first`, between its ends exactly 0 and the length, running on at both.
    Travel<> from_zero(std::vector<CubicPiece<1>> pieces, double first, double last) const {
        double const duration = last - first;
        std::vector<CubicPiece<1>> kept;
        // Before: at the speed of the start, as the first piece begins.
        kept.push_back(
            {pieces.front().start - first - duration,
             {{pieces.front().coefficient[0][0] - first_speed_ * duration}, {first_speed_}, {0}, {0}}});
        for (auto piece : pieces) {
            piece.start -= first;
            if (piece.start > kept.back().start)
                kept.push_back(piece);
            else
                kept.back() = piece;
        }
        // The rounding of all pieces ends up in the last, at rest exactly at the length.
        if (kept.back().coefficient[1][0] == 0)
            kept.back().coefficient[0][0] = length_;
        return {law_.speed, duration, std::move(kept)};
    }

    SpeedLaw law_;
    double length_;
    double window_;
    double first_speed_ = 0;
    double largest_jerk_ = 0;
    std::vector<SpeedCell> cells_;
    std::vector<SpeedCell> passes_;
    std::vector<Phase> phases_;
};

} // namespace seamhold::detail

#endif
