#ifndef SEAMHOLD_PLAN_PACE_SET_HPP
#define SEAMHOLD_PLAN_PACE_SET_HPP

#include "seamhold/motion/motion.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

namespace seamhold::detail {

/// Where a law is at a time: u, s, and how fast, u′.
struct PaceState {
    double u, speed;
};

/// A convex set of states: the corners of a polygon, counter-clockwise with u to the right and the speed up;
/// two corners are a line, one a point, none the empty set. Sets are kept small by cutting corners off, so
/// they are never larger than what they stand for, but for a slack of 1e-12 that keeps lines and points from
/// vanishing in rounding.
class PaceSet {
public:
    PaceSet() = default;

    /// Corners in order.
    explicit PaceSet(std::vector<PaceState> corners) : corners_(std::move(corners)) { tidy(); }

    /// All states between two times and two speeds; empty where one is above the other.
    static PaceSet box(double low, double high, double slowest, double fastest) {
        if (!(low <= high) || !(slowest <= fastest))
            return {};
        return PaceSet({{low, slowest}, {high, slowest}, {high, fastest}, {low, fastest}});
    }

    bool empty() const { return corners_.empty(); }
    std::vector<PaceState> const& corners() const { return corners_; }

    /// The least and the greatest u; of a set that is not empty.
    double low() const { return std::min_element(corners_.begin(), corners_.end(), by_u)->u; }
    double high() const { return std::max_element(corners_.begin(), corners_.end(), by_u)->u; }

    /// The mean of the corners.
    PaceState middle() const {
        PaceState sum{0, 0};
        for (auto const& c : corners_)
            sum = {sum.u + c.u, sum.speed + c.speed};
        double const n = static_cast<double>(corners_.size());
        return {sum.u / n, sum.speed / n};
    }

    /// The part with a·u + b·speed ≤ c; (a, b) of length 1.
    PaceSet cut(double a, double b, double c) const {
        PaceSet r = *this;
        r.keep(a, b, c);
        return r;
    }

    /// The part between two times.
    PaceSet within(double low, double high) const {
        PaceSet r = *this;
        r.keep(1, 0, high);
        r.keep(-1, 0, -low);
        return r;
    }

    /// The part between two speeds.
    PaceSet at_speeds(double slowest, double fastest) const {
        PaceSet r = *this;
        r.keep(0, 1, fastest);
        r.keep(0, -1, -slowest);
        return r;
    }

    /// What is in both.
    PaceSet common(PaceSet const& other) const {
        if (other.empty())
            return {};
        PaceSet r = *this;
        if (other.corners_.size() < 3) {
            r.keep(1, 0, other.high());
            r.keep(-1, 0, -other.low());
        }
        for (std::size_t i = 0; i < other.corners_.size() && !r.empty(); ++i) {
            auto const& here = other.corners_[i];
            auto const& next = other.corners_[i + 1 < other.corners_.size() ? i + 1 : 0];
            double const du = next.u - here.u, dv = next.speed - here.speed;
            double const length = std::sqrt(du * du + dv * dv);
            if (length > 0)
                r.keep(dv / length, -du / length, (dv * here.u - du * here.speed) / length);
        }
        return r;
    }

    /// The states `time` s later (earlier where it is below 0) of which one constant acceleration, up to
    /// `acceleration` to both sides, was held all the time.
    PaceSet after(double time, double acceleration) const {
        PaceState const reach{acceleration * time * time / 2, acceleration * time};
        PaceSet r;
        for (auto const& c : corners_)
            for (double const sign : {-1.0, 1.0})
                r.corners_.push_back({c.u + c.speed * time + sign * reach.u, c.speed + sign * reach.speed});
        r.wrap();
        r.tidy();
        return r;
    }

    /// The acceleration nearest to 0, up to `most` to both sides, with which one comes from the set to a
    /// state in `time` s. `coast` is from where one would come to it at constant speed. In the slack of
    /// rounding the one that misses the set least.
    double least_acceleration(PaceState const& coast, double time, double most) const {
        double low = -most, high = most;
        std::size_t const n = corners_.size();
        struct Side {
            double off, by; ///< outside of the edge by off + by · acceleration
        };
        std::vector<Side> sides;
        for (std::size_t i = 0; i < n; ++i) {
            auto const& here = corners_[i];
            auto const& next = corners_[i + 1 < n ? i + 1 : 0];
            double const du = next.u - here.u, dv = next.speed - here.speed, length = std::hypot(du, dv);
            if (length > 0)
                sides.push_back({((coast.u - here.u) * dv - (coast.speed - here.speed) * du) / length,
                                 (time * time / 2 * dv + time * du) / length});
        }
        for (auto const& side : sides) {
            double const room = 10 * slack - side.off;
            if (side.by > 0)
                high = std::min(high, room / side.by);
            else if (side.by < 0)
                low = std::max(low, room / side.by);
        }
        if (low <= high && n > 2)
            return std::clamp(0.0, low, high);
        auto const miss = [&](double a) {
            if (n == 1)
                return std::hypot(coast.u + a * time * time / 2 - corners_[0].u,
                                  coast.speed - a * time - corners_[0].speed);
            double most_off = -1;
            for (auto const& side : sides)
                most_off = std::max(most_off, side.off + a * side.by);
            return most_off;
        };
        low = -most;
        high = most;
        for (int i = 0; i < 200 && high - low > 1e-15 * most; ++i) {
            double const a = low + (high - low) / 3, b = high - (high - low) / 3;
            (miss(a) <= miss(b) ? high : low) = miss(a) <= miss(b) ? b : a;
        }
        return low + (high - low) / 2;
    }

private:
    static constexpr double slack = 1e-12;
    static constexpr std::size_t most_corners = 28;

    /// Keeps the part with a·u + b·speed ≤ c.
    void keep(double a, double b, double c) {
        auto const beyond = [&](PaceState const& s) { return a * s.u + b * s.speed - c - slack; };
        if (!std::any_of(corners_.begin(), corners_.end(), [&](PaceState const& s) { return beyond(s) > 0; }))
            return;
        std::vector<PaceState> kept;
        kept.reserve(corners_.size() + 2);
        for (std::size_t i = 0; i < corners_.size(); ++i) {
            auto const& here = corners_[i];
            auto const& next = corners_[i + 1 < corners_.size() ? i + 1 : 0];
            double const off = beyond(here), then = beyond(next);
            if (off <= 0)
                kept.push_back(here);
            if ((off < 0 && then > 0) || (off > 0 && then < 0)) {
                double const share = off / (off - then);
                kept.push_back(
                    {here.u + share * (next.u - here.u), here.speed + share * (next.speed - here.speed)});
            }
        }
        corners_ = std::move(kept);
        tidy();
    }

    static bool by_u(PaceState const& a, PaceState const& b) { return a.u < b.u; }

    /// Twice the area that cutting corner i off takes away.
    double corner_area(std::size_t i) const {
        std::size_t const n = corners_.size();
        auto const& before = corners_[i > 0 ? i - 1 : n - 1];
        auto const& here = corners_[i];
        auto const& next = corners_[i + 1 < n ? i + 1 : 0];
        return std::abs((here.u - before.u) * (next.speed - here.speed) -
                        (here.speed - before.speed) * (next.u - here.u));
    }

    /// The convex hull of the corners, by Andrew's monotone chain.
    void wrap() {
        std::sort(corners_.begin(), corners_.end(), [](PaceState const& a, PaceState const& b) {
            return a.u < b.u || (a.u == b.u && a.speed < b.speed);
        });
        std::vector<PaceState> hull;
        auto const add = [&hull](PaceState const& c, std::size_t from) {
            while (hull.size() >= from + 2) {
                auto const& a = hull[hull.size() - 2];
                auto const& b = hull.back();
                if ((b.u - a.u) * (c.speed - a.speed) - (b.speed - a.speed) * (c.u - a.u) > 0)
                    break;
                hull.pop_back();
            }
            hull.push_back(c);
        };
        for (auto const& c : corners_)
            add(c, 0);
        std::size_t const lower = hull.size() - 1;
        for (std::size_t i = corners_.size() - 1; i-- > 0;)
            add(corners_[i], lower);
        if (hull.size() > 1)
            hull.pop_back();
        corners_ = std::move(hull);
    }

    /// Corners that are one within a small share of the set, once, so that no edge is so short that rounding
    /// turns it; and no more than so many.
    void tidy() {
        if (corners_.size() > 1) {
            auto const [slow, fast] =
                std::minmax_element(corners_.begin(), corners_.end(),
                                    [](PaceState const& a, PaceState const& b) { return a.speed < b.speed; });
            double const near = std::max(1e-5 * std::hypot(high() - low(), fast->speed - slow->speed), 1e-13);
            auto const same = [near](PaceState const& a, PaceState const& b) {
                return std::hypot(a.u - b.u, a.speed - b.speed) <= near;
            };
            // Of two the one that is an end in u stays: what is lost there would add up from step to step.
            double const least = low(), greatest = high();
            auto const is_end = [&](PaceState const& c) { return c.u == least || c.u == greatest; };
            std::size_t count = 1;
            for (std::size_t i = 1; i < corners_.size(); ++i) {
                if (!same(corners_[count - 1], corners_[i]))
                    corners_[count++] = corners_[i];
                else if (is_end(corners_[i]) && !is_end(corners_[count - 1]))
                    corners_[count - 1] = corners_[i];
            }
            corners_.resize(count);
            while (corners_.size() > 1 && same(corners_.front(), corners_.back())) {
                if (is_end(corners_.back()) && !is_end(corners_.front()))
                    corners_.front() = corners_.back();
                corners_.pop_back();
            }
        }
        while (corners_.size() > most_corners) {
            std::size_t least = 0;
            double least_area = corner_area(0);
            for (std::size_t i = 1; i < corners_.size(); ++i) {
                double const area = corner_area(i);
                if (area < least_area) {
                    least = i;
                    least_area = area;
                }
            }
            corners_.erase(corners_.begin() + static_cast<std::ptrdiff_t>(least));
        }
    }

    std::vector<PaceState> corners_;
};

} // namespace seamhold::detail

#endif
