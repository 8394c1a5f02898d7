#ifndef SEAMHOLD_LIMIT_SWEEP_MARGIN_HPP
#define SEAMHOLD_LIMIT_SWEEP_MARGIN_HPP

#include "seamhold/limit/enclose_check.hpp"

#include <boost/math/tools/minima.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

/// How much room the limits of a seam leave when its sweep is changed, in doubles: a search, and no proof.
namespace seamhold {

/// What of a sweep is varied; see `Change`.
enum class Vary : std::uint8_t {
    start,    ///< by how much later the seam starts in the motion, s
    speed,    ///< of the motion, as a factor, about the middle of the seam
    standoff, ///< by how much farther the head is held, m
    tilt_x,   ///< of the head about its x axis, rad
    tilt_y    ///< of the head about its y axis, rad
};

/// What is varied, in words.
constexpr char const* to_string(Vary vary) {
    constexpr char const* names[] = {"start", "speed", "standoff", "tilt about x", "tilt about y"};
    return names[static_cast<std::size_t>(vary)];
}

/// A change with all of these values put in for what is varied.
inline Change with_value(Change change, Vary vary, Interval const& value) {
    switch (vary) {
    case Vary::start:
        change.start = value;
        break;
    case Vary::speed:
        change.speed = value;
        break;
    case Vary::standoff:
        change.standoff = value;
        break;
    case Vary::tilt_x:
        change.tilt_x = value;
        break;
    case Vary::tilt_y:
        change.tilt_y = value;
        break;
    }
    return change;
}

/// What a changed sweep asks most of a seam's limits.
struct SweepMargin {
    double margin; ///< 1 − the largest utilisation; −1 or less where the seam is not reached
    Limit limit;   ///< that is used most; `reach` where the seam cannot be reached or there are no data
    double time;   ///< when, s since the seam's start
};

namespace detail {

/// What is worked out together is wanted together.
inline void want(Wanted& wanted, Measure measure) {
    wanted[measure] = true;
    for (auto i = static_cast<std::size_t>(Measure::turning) + 1; i < measure_count; ++i)
        if (static_cast<std::size_t>(measure) >= i)
            wanted.choice[i] = true;
}

/// Looks for the largest utilisation over a seam's time, for one changed sweep after the other.
template <class AnyJob, class Scheduled> class MarginSearch {
public:
    MarginSearch(AnyJob const& job, Scheduled const& scheduled, Vary vary, Change const& change)
        : job_(job), scheduled_(scheduled), vary_(vary), change_(change), checks_(checks_of(job, scheduled)),
          fixed_(seam_breaks(scheduled)), moving_(job.chain.breaks()) {
        for (auto const& check : checks_)
            want(wanted_, check.measure);
    }

    std::vector<Check> const& checks() const { return checks_; }
    std::vector<double> const& motion_breaks() const { return moving_; }

    /// The margin of the sweep with this value. Every stretch between breaks is looked at in three places;
    /// where the tangents at two of them meet above all that was seen, or the parabola through the three
    /// rises above it, Brent's method looks in between.
    SweepMargin at(double value) const {
        auto const change = with_value(change_, vary_, value);
        auto const ends = stretch_ends(breaks(change), duration(), longest_stretch(scheduled_, 0.02));
        Found best;
        std::vector<Peak> peaks;
        std::vector<Moment> seen[3];
        for (std::size_t i = 0; i + 1 < ends.size(); ++i) {
            // A little inside: a jerk jumps at a break.
            double const from = ends[i] + (i == 0 ? 0 : nudge);
            double const to = ends[i + 1] - (i + 2 == ends.size() ? 0 : nudge);
            double const times[3] = {from, from + (to - from) / 2, to};
            for (int k = 0; k < 3; ++k)
                if (!read(change, times[k], seen[k]))
                    return {-1, Limit::reach, times[k]};
            bool const welds = welds_over(scheduled_, {from, to});
            for (std::size_t c = 0; c < checks_.size(); ++c) {
                if (checks_[c].welds && !welds)
                    continue;
                Moment const at[3] = {seen[0][c], seen[1][c], seen[2][c]};
                for (int k = 0; k < 3; ++k)
                    if (at[k].used > best.utilisation)
                        best = {at[k].used, c, times[k]};
                double const reaches = may_reach(checks_[c], at, (to - from) / 2);
                if (reaches > best.utilisation)
                    peaks.push_back({reaches, c, from, to});
            }
        }
        std::sort(peaks.begin(), peaks.end(),
                  [](Peak const& a, Peak const& b) { return a.reaches > b.reaches; });
        for (auto const& peak : peaks) {
            if (!(peak.reaches > best.utilisation))
                break;
            refine(change, peak, best);
        }
        return {1 - best.utilisation, best.check < checks_.size() ? checks_[best.check].limit : Limit::reach,
                best.time};
    }

private:
    using T = Taylor<double, 4>;           ///< the rate of a jerk is the fourth derivative
    static constexpr double nudge = 1e-11; // s

    struct Found {
        double utilisation = 0;
        std::size_t check = static_cast<std::size_t>(-1);
        double time = 0;
    };
    struct Peak {
        double reaches;
        std::size_t check;
        double from, to;
    };

    double duration() const { return scheduled_.seam.duration(); }

    std::vector<double> breaks(Change const& change) const {
        auto times = fixed_;
        double const speed = change.speed.middle();
        if (speed == 0)
            return times;
        double const half = duration() / 2, late = scheduled_.start + change.start.middle();
        double const ends[2] = {late + half - speed * half, late + half + speed * half};
        auto const first = std::lower_bound(moving_.begin(), moving_.end(), std::min(ends[0], ends[1]));
        auto const last = std::upper_bound(first, moving_.end(), std::max(ends[0], ends[1]));
        for (auto t = first; t != last; ++t)
            times.push_back(half + (*t - late - half) / speed);
        return times;
    }

    /// What a check reads at one instant.
    struct Moment {
        double used; ///< utilisation
        double reading;
        double rate; ///< of the reading
    };

    /// How high a check may rise between three moments, `step` s apart. Some measures come without rates in
    /// doubles (field, aperture): the parabola serves them.
    static double may_reach(Check const& check, Moment const (&at)[3], double step) {
        double most = 0;
        for (int k = 0; k < 2; ++k) {
            auto const meets = [&](Moment const& m, double by) {
                return check.utilisation(m.reading + m.rate * by);
            };
            double const left = meets(at[k], step), right = meets(at[k + 1], -step);
            if (left > at[k].used && right > at[k + 1].used)
                most = std::max(most, std::min(left, right));
        }
        double const bend = 2 * at[1].used - at[0].used - at[2].used, slope = at[2].used - at[0].used;
        if (bend > 0 && std::abs(slope) < 3 * bend)
            most = std::max(most, at[1].used + slope * slope / (8 * bend) + 0.3 * bend);
        return most;
    }

    Demand<T> demand(Change const& change, double seam_time, Wanted const& wanted) const {
        return demand_of(job_, scheduled_, T::variable(seam_time), wanted, change);
    }

    static Moment moment(Check const& check, Demand<T> const& d) {
        auto const& m = d[check.measure];
        Taylor<double, 1> x(m.derivative(check.derivative));
        x.coefficient[1] = m.derivative(check.derivative + 1);
        auto const reading = check.read(x);
        return {check.utilisation(reading.value()), reading.value(), reading.coefficient[1]};
    }

    /// All of them; false where the seam is not reached.
    bool read(Change const& change, double seam_time, std::vector<Moment>& moments) const {
        auto const d = demand(change, seam_time, wanted_);
        if (!job_.chain.covers(change.time(scheduled_.start, duration(), seam_time)) ||
            !(d[Measure::in_front].value() > 0) || !(d[Measure::solved].value() > 0))
            return false;
        moments.clear();
        for (auto const& check : checks_) {
            moments.push_back(moment(check, d));
            if (!is_finite(moments.back().used))
                return false;
        }
        return true;
    }

    void refine(Change const& change, Peak const& peak, Found& best) const {
        auto const& check = checks_[peak.check];
        Wanted wanted;
        want(wanted, check.measure);
        auto const negative = [&](double time) {
            double const used = moment(check, demand(change, time, wanted)).used;
            return is_finite(used) ? -used : 0;
        };
        auto const top = boost::math::tools::brent_find_minima(negative, peak.from, peak.to, 26);
        if (-top.second > best.utilisation)
            best = {-top.second, peak.check, top.first};
    }

    AnyJob const& job_;
    Scheduled const& scheduled_;
    Vary vary_;
    Change change_;
    std::vector<Check> checks_;
    std::vector<double> fixed_;  ///< the seam's own, s since its start
    std::vector<double> moving_; ///< the motions', s of their clock
    Wanted wanted_;
};

} // namespace detail

/// The margin that a seam's limits leave with the sweep changed, as a search in doubles finds it: the most
/// that is used of any limit that belongs to an instant, over the seam's time. Of intervals in `change` the
/// middles count, and its box does not.
template <class AnyJob, class Scheduled>
SweepMargin sweep_margin(AnyJob const& job, Scheduled const& seam, Change const& change = {}) {
    return detail::MarginSearch<AnyJob, Scheduled>(job, seam, Vary::start, change).at(change.start.middle());
}

} // namespace seamhold

#endif
