#ifndef SEAMHOLD_PLAN_PACE_LIMITS_HPP
#define SEAMHOLD_PLAN_PACE_LIMITS_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/limit/demand.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// How fast a robot may be driven along a path: the path is a motion with its own time u, run through by a
/// law u(t).
namespace seamhold {

/// What a robot may do with its flange.
struct PathRates {
    double speed = no_limit;             ///< of the flange's origin, m/s
    double acceleration = no_limit;      ///< of the flange's origin, m/s²
    double turn_speed = no_limit;        ///< rad/s
    double turn_acceleration = no_limit; ///< rad/s²
};

/// The largest speed u′ and acceleration |u″| (1/s) of a law; both may be used at once.
struct PaceLimit {
    double speed = no_limit;
    double acceleration = no_limit;
};

/// The largest speed and acceleration of a law over a path, in equal cells of the path's own time u.
class PaceLimits {
public:
    /// For `low` < u < `high`, s, in one or more equal cells. Throws BadInput for a range without extent and
    /// for limits that are not above 0.
    PaceLimits(double low, double high, std::vector<PaceLimit> cells) : low_(low), high_(high) {
        if (!(low < high) || !is_finite(high - low) || cells.empty())
            throw BadInput("limits of a pace need a path from a lower to a higher time; given was " +
                           detail::text_of(low) + " to " + detail::text_of(high) + " s");
        for (auto const& cell : cells)
            if (!(cell.speed > 0) || !(cell.acceleration > 0))
                throw BadInput("limits of a pace must be above 0; given were " + detail::text_of(cell.speed) +
                               " and " + detail::text_of(cell.acceleration) + " 1/s");
        per_second_ = static_cast<double>(cells.size()) / (high - low);
        least_.push_back(std::move(cells));
        for (std::size_t step = 1; 2 * step <= least_[0].size(); step *= 2) {
            auto const& below = least_.back();
            std::vector<PaceLimit> level(below.size() - step);
            for (std::size_t i = 0; i < level.size(); ++i)
                level[i] = both(below[i], below[i + step]);
            least_.push_back(std::move(level));
        }
    }

    /// The same everywhere.
    PaceLimits(double low, double high, PaceLimit limit)
        : PaceLimits(low, high, std::vector<PaceLimit>{limit}) {}

    /// Where the path begins, s of its own time.
    double low() const { return low_; }

    /// Where it ends, s.
    double high() const { return high_; }

    /// The cells, from `low` to `high`.
    std::vector<PaceLimit> const& cells() const { return least_[0]; }

    /// What holds at u; beyond the ends what holds there.
    PaceLimit at(double u) const { return least_[0][cell_of(u)]; }

    /// What holds everywhere between two times of the path.
    PaceLimit over(double from, double to) const {
        std::size_t const first = cell_of(from), last = std::max(first, cell_of(to));
        auto const level = static_cast<std::size_t>(std::bit_width(last - first + 1)) - 1;
        return both(least_[level][first], least_[level][last + 1 - (std::size_t{1} << level)]);
    }

private:
    static PaceLimit both(PaceLimit const& a, PaceLimit const& b) {
        return {std::min(a.speed, b.speed), std::min(a.acceleration, b.acceleration)};
    }

    std::size_t cell_of(double u) const {
        double const place = (u - low_) * per_second_;
        return place > 0 ? std::min(static_cast<std::size_t>(std::min(place, 1e9)), least_[0].size() - 1) : 0;
    }

    double low_, high_, per_second_;
    std::vector<std::vector<PaceLimit>> least_; ///< [k][i]: of 2ᵏ cells from cell i
};

namespace detail {

/// Limits on a law at a place of the path, each |first·u″ + second·u′²| ≤ limit and |first·u′| ≤ rate limit:
/// u′ ≤ speed and bend·u′² + lever·|u″| ≤ 1.
struct PaceBound {
    double speed = no_limit;
    double bend = 0;  ///< s²
    double lever = 0; ///< s

    /// One more quantity, of which |first derivative| and |second derivative| by u are known.
    void add(double first, double second, double rate, double acceleration) {
        speed = std::min(speed, first > 0 ? rate / first : no_limit);
        bend = std::max(bend, second / acceleration);
        lever = std::max(lever, first / acceleration);
    }

    /// Half of the acceleration at most is given to the path's own bends.
    PaceLimit limit() const {
        double const u1 = std::min(speed, bend > 0 ? std::sqrt(0.5 / bend) : no_limit);
        double const used = bend > 0 ? bend * u1 * u1 : 0;
        return {u1, lever > 0 ? (1 - used) / lever : no_limit};
    }
};

/// The bounds of a path over some of its time; nothing where they cannot be enclosed.
template <class Path>
std::optional<PaceBound> pace_bound(Path const& path, std::optional<JobArm> const& arm,
                                    PathRates const& rates, Interval const& times) {
    using T = Taylor<Interval, 2>;
    T const u = T::variable(times);
    auto const pose = number_cast<T>(path.at(u));
    auto const length = [](Interval const& x, Interval const& y, Interval const& z) {
        return std::sqrt((sqr(x) + sqr(y) + sqr(z)).high) * (1 + 1e-15);
    };
    auto const& o = pose.origin;
    PaceBound b;
    b.add(length(o.x.coefficient[1], o.y.coefficient[1], o.z.coefficient[1]),
          2 * length(o.x.coefficient[2], o.y.coefficient[2], o.z.coefficient[2]), rates.speed,
          rates.acceleration);
    // The axial vector of R⁽ᵏ⁾Rᵀ: the velocity of the turn for k = 1, its acceleration for k = 2.
    auto const& m = pose.rotation.m;
    auto const axial = [&](int order) {
        auto const part = [&](int i, int j) {
            Interval sum(0.0);
            for (int k = 0; k < 3; ++k)
                sum += m[i][k].coefficient[order] * m[j][k].coefficient[0] -
                       m[j][k].coefficient[order] * m[i][k].coefficient[0];
            return sum * 0.5;
        };
        return length(part(2, 1), part(0, 2), part(1, 0));
    };
    b.add(axial(1), 2 * axial(2), rates.turn_speed, rates.turn_acceleration);
    if (arm) {
        std::optional<std::array<T, 6>> joints = recorded_joints(path, u);
        if (!joints && arm->inverse)
            joints = arm->inverse->at(inverse(arm->cell_from_base) * pose, arm->branch, arm->near).joints;
        for (std::size_t i = 0; joints && i < 6; ++i)
            b.add((*joints)[i].coefficient[1].magnitude(), 2 * (*joints)[i].coefficient[2].magnitude(),
                  arm->limits[i].velocity, arm->limits[i].acceleration);
    }
    auto const limit = b.limit();
    bool const known = limit.speed > 0 && limit.acceleration > 0; // false for a NaN too
    return known ? std::optional(b) : std::nullopt;
}

} // namespace detail

/// How fast a law may run through the flange's motion of a job between two times u of the motion as it was
/// made (a law that the job has already is left aside), so that the flange keeps its rates and, where the job
/// has an arm, its joints (recorded, or by the inverse) their velocities and accelerations. Over each cell
/// the path's derivatives are enclosed by intervals, so that what lies between is safe too; parts of an
/// acceleration that stand at an angle are added as if they did not. Half of every acceleration at most is
/// given to the path's own bends, the rest is left for the law. `cells` 0: one a 20 ms, 64 to 4096. The
/// joints' ranges are not looked at: a law does not change where the path goes. Throws BadInput, naming the
/// time, where the motion has no data, or cannot be passed at any speed (an arm's singularity).
template <class AnyJob>
PaceLimits pace_limits(AnyJob const& job, double low, double high, PathRates const& rates = {},
                       std::size_t cells = 0) {
    auto const& path = [&]() -> auto const& {
        if constexpr (requires { job.chain.cell_from_flange.path_time(0.0); })
            return job.chain.cell_from_flange.motion();
        else
            return job.chain.cell_from_flange;
    }
    ();
    if (!(low < high) || !is_finite(high - low))
        return PaceLimits(low, high, PaceLimit{}); // throws
    for (double const rate : {rates.speed, rates.acceleration, rates.turn_speed, rates.turn_acceleration})
        if (!(rate > 0))
            throw BadInput("the robot's speeds and accelerations must be above 0; given was " +
                           detail::text_of(rate));
    if (cells == 0)
        cells = static_cast<std::size_t>(std::clamp((high - low) / 0.02, 64.0, 4096.0));
    std::optional<JobArm> arm;
    if constexpr (requires { job.arm->near; })
        arm = job.arm;
    std::vector<PaceLimit> limits(cells);
    double const width = (high - low) / static_cast<double>(cells);
    for (std::size_t i = 0; i < cells; ++i) {
        double const from = low + width * static_cast<double>(i);
        double const to = i + 1 == cells ? high : low + width * static_cast<double>(i + 1);
        for (double const u : {from, from + width / 2, to})
            if (!has_data(path, u))
                throw BadInput("the flange's motion has no data at " + detail::text_of(u) + " s");
        // In ever smaller parts, until that makes the enclosures no tighter.
        std::optional<PaceLimit> before;
        for (std::size_t parts = 2;; parts *= 2) {
            limits[i] = {};
            bool all = true;
            double blamed = from;
            for (std::size_t k = 0; k < parts && all; ++k) {
                auto const share = [&](std::size_t n) {
                    return from + (to - from) * static_cast<double>(n) / static_cast<double>(parts);
                };
                auto const bound = detail::pace_bound(path, arm, rates, Interval(share(k), share(k + 1)));
                all = bound.has_value();
                blamed = share(k);
                if (all) {
                    auto const limit = bound->limit();
                    limits[i] = {std::min(limits[i].speed, limit.speed),
                                 std::min(limits[i].acceleration, limit.acceleration)};
                }
            }
            auto const tight = [&] {
                return limits[i].speed <= 1.02 * before->speed &&
                       limits[i].acceleration <= 1.02 * before->acceleration;
            };
            if (all && ((before && tight()) || parts >= 32))
                break;
            if (all)
                before = limits[i];
            else if (parts > 100)
                throw BadInput("the flange's motion cannot be passed at any speed near " +
                               detail::text_of(blamed) +
                               " s: its rates, or those of the arm's joints, have no bound there");
        }
    }
    return PaceLimits(low, high, std::move(limits));
}

} // namespace seamhold

#endif
