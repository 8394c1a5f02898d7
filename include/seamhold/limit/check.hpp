#ifndef SEAMHOLD_LIMIT_CHECK_HPP
#define SEAMHOLD_LIMIT_CHECK_HPP

#include "seamhold/limit/demand.hpp"
#include "seamhold/limit/limit.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace seamhold {

/// How a measure is read before it is held against a limit.
enum class Reading : std::uint8_t {
    itself,     ///< as it is
    root,       ///< its square root
    angle,      ///< the arc tangent of its square root, rad
    reciprocal, ///< 1 / it
    share_used, ///< 1 − it
    doubled     ///< 2 · it
};

/// How a reading is held against what is allowed.
enum class Bound : std::uint8_t {
    magnitude, ///< |reading| / high
    range,     ///< distance from the range's middle over half its width
    least,     ///< low / reading
    left       ///< 1 − reading / high: of a reading that says what is left of `high`
};

/// One limit, as a question to one measure.
struct Check {
    Limit limit;
    Measure measure;
    int derivative; ///< of the measure by time that is read
    Reading reading;
    Bound bound;
    Range allowed;      ///< of the reading, in SI units
    bool welds = false; ///< held only against times at which a power ramp leaves all of the power

    /// The number of the joint that it speaks of, from 1; 0 for others.
    int joint() const {
        int const number = static_cast<int>(measure) - static_cast<int>(Measure::joint_1) + 1;
        return number >= 1 && number <= 6 ? number : 0;
    }

    /// The reading of a derivative of the measure.
    template <class T> T read(T const& x) const {
        using std::atan;
        using std::sqrt;
        switch (reading) {
        case Reading::root:
            return sqrt(x);
        case Reading::angle:
            return atan(sqrt(x));
        case Reading::reciprocal:
            return T(1) / x;
        case Reading::share_used:
            return T(1) - x;
        case Reading::doubled:
            return x * 2.0;
        case Reading::itself:
            break;
        }
        return x;
    }

    /// How much of the limit a reading uses; 1 is the limit.
    template <class T> T utilisation(T const& read) const {
        using std::abs;
        switch (bound) {
        case Bound::range:
            return abs(T(read * 2.0 - (allowed.low + allowed.high))) / T(allowed.high - allowed.low);
        case Bound::least:
            return T(allowed.low) / detail::at_least(read, 1e-200);
        case Bound::left:
            return T(1) - read / T(allowed.high);
        case Bound::magnitude:
            break;
        }
        return abs(read) / T(allowed.high);
    }

    /// The end of what is allowed that a reading is held against.
    double allowed_for(double read) const {
        return bound == Bound::left    ? 0
               : bound == Bound::least ? allowed.low
               : bound == Bound::range ? (2 * read > allowed.low + allowed.high ? allowed.high : allowed.low)
                                       : allowed.high;
    }
};

namespace detail {
/// A range whose open ends are further, rad or m, than any joint or axis goes; its middle hardly matters.
inline Range closed(Range const& r) {
    constexpr double farthest = 1000;
    return {is_finite(r.low) ? r.low : -farthest, is_finite(r.high) ? r.high : farthest};
}

/// Whether a head's focus may end before the range of its lens: at the end of a table or of a lens's depth.
template <class HeadModel> bool focus_may_end_early(HeadModel const& head) {
    if constexpr (requires { head.choice(); })
        return std::visit([](auto const& chosen) { return focus_may_end_early(chosen); }, head.choice());
    else
        return requires { head.parts().focus; };
}

/// What is asked of an arm's joints, and of its distance from singularities where they come from its inverse.
inline void add_joint_checks(std::vector<Check>& checks, JobArm const& arm, bool recorded) {
    auto const add = [&](Limit limit, Measure measure, int derivative, Bound bound, Range const& allowed) {
        if (bound == Bound::least || is_finite(allowed.high))
            checks.push_back({limit, measure, derivative, Reading::itself, bound, allowed});
    };
    if (!recorded && !arm.inverse)
        return;
    for (int i = 0; i < 6; ++i) {
        auto const joint = static_cast<Measure>(static_cast<int>(Measure::joint_1) + i);
        auto const& limit = arm.limits[static_cast<std::size_t>(i)];
        if (is_finite(limit.position.low) || is_finite(limit.position.high))
            add(Limit::joint_range, joint, 0, Bound::range, closed(limit.position));
        add(Limit::joint_velocity, joint, 1, Bound::magnitude, {0, limit.velocity});
        add(Limit::joint_acceleration, joint, 2, Bound::magnitude, {0, limit.acceleration});
    }
    if (recorded)
        return;
    // Out of the arm's reach the first two are 0 or less, so they are asked for in any case.
    auto const least = [&](Limit limit, Measure measure, double allowed) {
        add(limit, measure, 0, Bound::least, {std::max(allowed, 1e-9), no_limit});
    };
    least(Limit::shoulder_singularity, Measure::shoulder, arm.least_from_axis_1);
    least(Limit::elbow_singularity, Measure::elbow, arm.least_elbow_sine);
    if (arm.least_wrist_sine > 0)
        least(Limit::wrist_singularity, Measure::wrist, arm.least_wrist_sine);
}
} // namespace detail

/// The questions that a job's limits ask of one of its seams, those without a limit left out. RMS
/// accelerations, heating and air moves are not among them: they belong to no instant.
template <class AnyJob, class Scheduled>
std::vector<Check> checks_of(AnyJob const& job, Scheduled const& scheduled) {
    using L = Limit;
    using M = Measure;
    auto const ranges = job.chain.head.ranges();
    auto const& dynamics = job.dynamics;
    auto const& limits = job.limits;
    auto const& seam = scheduled.seam;
    std::vector<Check> checks;
    auto const add = [&](Limit limit, Measure measure, int derivative, Reading reading, Bound bound,
                         Range const& allowed, bool welds = false) {
        if (bound == Bound::range && allowed.low > 0 && !is_finite(allowed.high))
            bound = Bound::least; // a range without an upper end
        bool const asks = bound == Bound::least   ? allowed.low > 0
                          : bound == Bound::range ? is_finite(allowed.low) || is_finite(allowed.high)
                                                  : is_finite(allowed.high);
        if (asks)
            checks.push_back({limit, measure, derivative, reading, bound,
                              bound == Bound::range ? detail::closed(allowed) : allowed, welds});
    };
    auto const most = [&](Limit limit, Measure measure, int derivative, double allowed,
                          Reading reading = Reading::itself) {
        add(limit, measure, derivative, reading, Bound::magnitude, {0, allowed});
    };
    auto const range = [&](Limit limit, Measure measure, Range const& allowed) {
        add(limit, measure, 0, Reading::itself, Bound::range, allowed);
    };
    range(L::x_angle, M::x, ranges.x_mirror);
    range(L::y_angle, M::y, ranges.y_mirror);
    most(L::field, M::field, 0, 1, Reading::root);
    most(L::x_velocity, M::x, 1, dynamics.mirror_velocity);
    most(L::y_velocity, M::y, 1, dynamics.mirror_velocity);
    most(L::x_acceleration, M::x, 2, dynamics.mirror_acceleration);
    most(L::y_acceleration, M::y, 2, dynamics.mirror_acceleration);
    most(L::x_jerk, M::x, 3, dynamics.mirror_jerk);
    most(L::y_jerk, M::y, 3, dynamics.mirror_jerk);
    most(L::mirror_aperture, M::aperture, 0, 1, Reading::share_used);
    range(L::focus_range, M::focus, ranges.focus);
    if (detail::focus_may_end_early(job.chain.head))
        add(L::focus_reach, M::focus_left, 0, Reading::itself, Bound::left,
            {0, std::min((ranges.focus.high - ranges.focus.low) / 2, 1.0)});
    most(L::focus_velocity, M::focus, 1, dynamics.focus_velocity);
    most(L::focus_acceleration, M::focus, 2, dynamics.focus_acceleration);
    add(L::incidence, M::incidence, 0, Reading::angle,
        limits.least_incidence > 0 ? Bound::range : Bound::magnitude,
        {limits.least_incidence, job.largest_incidence});
    auto const narrows = [](Range const& r) { return r.low > -quarter_turn || r.high < quarter_turn; };
    if (narrows(limits.along))
        range(L::incidence_along, M::along, limits.along);
    if (narrows(limits.across))
        range(L::incidence_across, M::across, limits.across);
    if (job.process) {
        auto const& process = *job.process;
        most(L::spot_size, M::spot, 0, process.largest_spot, Reading::doubled);
        most(L::defocus, M::defocus, 0, process.largest_defocus);
        add(L::power_density, M::area, 0, Reading::reciprocal, Bound::least,
            {process.least_power_density, no_limit}, true);
        if (seam.length() > 0 && (process.line_energy.low > 0 || is_finite(process.line_energy.high)))
            add(L::line_energy, M::energy, 0, Reading::itself, Bound::range, process.line_energy, true);
    }
    most(L::spot_speed, M::speed, 0, limits.spot_speed, Reading::root);
    if (value_of(seam.travel.speed()) > 0)
        most(L::head_turning, M::turning, 0, limits.turning_share * value_of(seam.travel.speed()),
             Reading::root);
    if constexpr (requires { job.arm->near; })
        if (job.arm)
            detail::add_joint_checks(checks, *job.arm,
                                     detail::recorded_joints(job.chain.cell_from_flange, 0.0).has_value());
    return checks;
}

/// What must be worked out to answer these questions.
inline Wanted wanted_by(std::vector<Check> const& checks) {
    Wanted wanted;
    for (auto const& check : checks)
        wanted[check.measure] = true;
    return wanted;
}

} // namespace seamhold

#endif
