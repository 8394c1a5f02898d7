#ifndef SEAMHOLD_PLAN_PLAN_REFUSAL_HPP
#define SEAMHOLD_PLAN_PLAN_REFUSAL_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/limit/seam_proof.hpp"
#include "seamhold/limit/sweep_margin.hpp"

#include <algorithm>
#include <cmath>
#include <concepts>
#include <optional>
#include <string>
#include <utility>

namespace seamhold::detail {

/// With which power of a seam's speed a limit is used where the sweep's part is small; 0 where it is not a
/// seam's speed that uses it.
constexpr int power_of_seam_speed(Limit limit) {
    switch (limit) {
    case Limit::x_velocity:
    case Limit::y_velocity:
    case Limit::focus_velocity:
    case Limit::spot_speed:
        return 1;
    case Limit::x_acceleration:
    case Limit::y_acceleration:
    case Limit::focus_acceleration:
    case Limit::x_rms_acceleration:
    case Limit::y_rms_acceleration:
        return 2;
    case Limit::x_jerk:
    case Limit::y_jerk:
        return 3;
    default:
        return 0;
    }
}

/// The limit of a proof that stands in the way: of those that are not within, the one that is used most.
inline LimitProof const& worst_of(SeamProof const& proof) {
    return *std::max_element(proof.limits.begin(), proof.limits.end(),
                             [](LimitProof const& a, LimitProof const& b) {
                                 auto const rank = [](LimitProof const& l) {
                                     return std::pair(l.verdict != Verdict::within, l.utilisation.high);
                                 };
                                 return rank(a) < rank(b);
                             });
}

/// A share of its speed, in whole thousandths, at which a seam that starts at the same time keeps all limits
/// of an instant: the largest where slower uses less, as a search in doubles finds it. Nothing where there is
/// none from 5 % on, or where the seam's speed is not one number.
template <std::same_as<Job> AnyJob>
std::optional<double> slower_share(AnyJob const& job, ScheduledSeam const& scheduled) {
    auto const& seam = scheduled.seam;
    if (!seam.travel.is_constant() || !(seam.length() > 0))
        return std::nullopt;
    auto const holds = [&](int thousandths) {
        double const share = thousandths / 1000.0;
        AnySeam const slower{seam.path,
                             {seam.travel.speed() * share, seam.duration() / share},
                             seam.focus_offset,
                             seam.weave,
                             seam.power};
        return sweep_margin(job, ScheduledSeam{scheduled.name, scheduled.start, slower}).margin >= 0;
    };
    int fails = 1000, does = 950;
    while (does >= 50 && !holds(does)) {
        fails = does;
        does -= 50;
    }
    if (does < 50)
        return std::nullopt;
    while (fails - does > 1)
        (holds((fails + does) / 2) ? does : fails) = (fails + does) / 2;
    return does / 1000.0;
}

/// The smallest change of a seam or of the sweep that would do, where it is known.
template <std::same_as<Job> AnyJob>
std::string advice_on(AnyJob const& job, ScheduledSeam const& scheduled, LimitProof const& worst) {
    auto const slower = [](double share, char const* what) {
        return std::string("; it would do with ") + what + " at " + text_of(100 * share) + " % of its speed";
    };
    auto const by_power = [&](int power) { return std::pow(1 / worst.utilisation.low, 1.0 / power); };
    bool const of_instant =
        worst.limit != Limit::x_rms_acceleration && worst.limit != Limit::y_rms_acceleration;
    if (int const power = power_of_seam_speed(worst.limit); power > 0) {
        auto const share = slower_share(job, scheduled);
        if (share && of_instant)
            return slower(*share, "the seam");
        return slower(by_power(power), "the seam") + " or so, or with another sweep";
    }
    switch (worst.limit) {
    case Limit::joint_velocity:
    case Limit::head_turning:
        return slower(by_power(1), "the sweep");
    case Limit::joint_acceleration:
        return slower(by_power(2), "the sweep");
    default:
        return "; a larger least margin, or another sweep, keeps away from it";
    }
}

/// Throws BadInput for a seam that cannot be proven: which limit, how far it is used, and what would do.
template <std::same_as<Job> AnyJob>
[[noreturn]] void refuse_seam(AnyJob const& job, ScheduledSeam const& scheduled, SeamProof const& proof) {
    auto const& worst = worst_of(proof);
    std::string text = "seam " + proof.name + " cannot be proven: " + to_string(worst.limit);
    if (worst.joint > 0)
        text += " of joint " + std::to_string(worst.joint);
    text +=
        worst.verdict == Verdict::undecided
            ? " stays undecided, at most " + text_of(100 * worst.utilisation.high) +
                  " % is used; more budget, or a smaller box"
            : " is used to " + text_of(100 * worst.utilisation.low) + " % at " + text_of(worst.time) + " s";
    if (worst.verdict == Verdict::exceeds)
        text += advice_on(job, scheduled, worst);
    throw BadInput(text);
}

} // namespace seamhold::detail

#endif
