#ifndef SEAMHOLD_PLAN_RECOVERY_HPP
#define SEAMHOLD_PLAN_RECOVERY_HPP

#include "seamhold/plan/planner.hpp"
#include "seamhold/plan/rest_of_rules.hpp"
#include "seamhold/plan/weld_record.hpp"
#include "seamhold/seam/rest_of.hpp"

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// The rest of a part after a weld stopped. Whether a part may be finished at all, and with what overlap and
/// cooling, is for the welding engineer to say: a restarted weld may need a qualification of its own, by the
/// rules and codes that apply where it is made. Nobody but the person responsible restarts a cell.
namespace seamhold {

/// How the rest is welded. The first two have no usual value.
struct RecoverySettings {
    double overlap; ///< the rest of the broken seam begins so far before the stop, m, not before its start
    double cooling; ///< from the stop to the restart on the broken seam, s
    double done_within = 1e-4;           ///< a seam with so much left, m, or less is done
    std::optional<double> begins = {};   ///< when the rest's clock reads 0, s of the record's clock; absent:
                                         ///< it may wait as long as the rules ask
    double run_up_margin = 0.02;         ///< beyond what the robot needs to gain speed, m
    std::optional<PlanRules> rules = {}; ///< absent: those of the plan
    std::optional<PlanSettings> settings = {}; ///< absent: those of the plan
};

/// The plan of the rest.
struct Recovery {
    std::optional<Plan> plan; ///< of the seams that are left, by a clock of its own; none: nothing is left
    double begins = 0; ///< s of the record's clock when the plan's clock may read 0 at the earliest, or
                       ///< as it was given; the robot's way back is not in it
    std::vector<RestWait> waits; ///< for what was welded before the stop; all kept
    std::string restarted;       ///< the broken seam, where anything of it is left; else empty
    double restart = 0;          ///< where on it the rest begins: arc length as it was run, m
    double overlap = 0;          ///< from there to the stop, m
    double run_up = 0;           ///< of the flange's origin along the path before the first light, m
    double run_up_needed = 0;    ///< m
};

namespace detail {

/// Plans what is left.
template <std::same_as<Plan> AnyPlan> class RecoveryPlanner {
public:
    RecoveryPlanner(AnyPlan const& plan, WeldRecord const& record, RecoverySettings const& settings)
        : plan_(plan), settings_(settings), held_(plan, record, settings.done_within) {
        job_ = plan.job;
        job_->seams.clear();
        for (std::size_t i = 0; i < plan.job.seams.size(); ++i) {
            if (held_.state(i) == SeamState::done)
                continue;
            auto seam = plan.job.seams[i];
            if (held_.broken() == i) {
                result_.restarted = seam.name;
                if (seam.seam.length() > 0) {
                    result_.restart = std::max(0.0, record.broken->good_to - settings.overlap);
                    result_.overlap = record.broken->good_to - result_.restart;
                    seam.seam = rest_of(seam.seam, result_.restart);
                }
            }
            job_->seams.push_back(std::move(seam));
        }
        auto rest = RestOfRules(plan, held_, settings.rules.value_or(plan.rules), settings.cooling).made();
        rules_ = std::move(rest.rules);
        result_.waits = std::move(rest.waits);
        how_ = settings.settings.value_or(plan.settings);
        stopped_ = record.stopped;
    }

    Recovery make() && {
        result_.begins = settings_.begins.value_or(stopped_);
        if (job_->seams.empty())
            return std::move(result_);
        if (!settings_.begins) {
            if (!rules_.clamps.empty())
                throw BadInput("clamp '" + rules_.clamps.front().name +
                               "' has times of the record's clock: say when the rest begins");
            result_.plan = with_run_up(rules_);
            result_.begins = begins_of(*result_.plan);
            return std::move(result_);
        }
        try {
            result_.plan = with_run_up(timed(*settings_.begins));
        } catch (BadInput const& why) {
            if (result_.waits.empty())
                throw;
            throw BadInput(why.what() + later());
        }
        return std::move(result_);
    }

private:
    /// The rules by the rest's clock, with what must wait for the past.
    PlanRules timed(double begins) const {
        auto rules = rules_;
        for (auto& clamp : rules.clamps) {
            clamp.closed_from -= begins;
            clamp.open_from -= begins;
        }
        for (auto const& wait : result_.waits)
            rules.earliest.push_back({wait.seam, wait.time - begins});
        return rules;
    }

    /// When the clock of a plan made without regard to the past may read 0, s of the record's clock.
    double begins_of(Plan const& plan) const {
        double begins = stopped_ - plan.seams.front().start;
        for (auto const& e : result_.waits)
            for (auto const& seam : plan.seams)
                if (seam.name == e.seam)
                    begins = std::max(begins, e.time - seam.start);
        return begins;
    }

    /// What to say where nothing fits by the time that was given: when it would.
    std::string later() {
        auto rules = rules_;
        rules.clamps.clear();
        try {
            return "; without clamps it would do if the rest began at " +
                   text_of(begins_of(with_run_up(rules))) + " s or later, given was " +
                   text_of(*settings_.begins) + " s";
        } catch (BadInput const&) {
            return {}; // it is not the time
        }
    }

    auto const& path() const { return job_->chain.cell_from_flange.motion(); }

    /// The way of the flange's origin between two places of the path, m, in straight pieces.
    double way(double from, double to) const {
        constexpr int pieces = 500;
        double sum = 0;
        auto last = path().at(from).origin;
        for (int k = 1; k <= pieces; ++k) {
            auto const next = path().at(from + (to - from) * k / pieces).origin;
            sum += norm(next - last);
            last = next;
        }
        return sum;
    }

    /// The plan of the rest, on so much of the path that the robot has its speed at the first light.
    Plan with_run_up(PlanRules const& rules) {
        auto const whole = paths_of({&*job_}, how_).front();
        auto how = how_;
        how.path = whole;
        std::optional<double> at_first; // run-up of the first try
        double needed = 0;
        for (int round = 0; round < 6; ++round) {
            std::optional<Plan> rest;
            try {
                rest = plan(*job_, rules, how);
            } catch (BadInput const& why) {
                if (!at_first)
                    throw;
                refuse(needed, *at_first, why.what());
            }
            auto const& motion = rest->job.chain.cell_from_flange;
            double const first = rest->seams.front().start;
            auto const origin = motion.at(Taylor<double, 1>::variable(first)).origin;
            double const speed =
                std::hypot(origin.x.derivative(1), origin.y.derivative(1), origin.z.derivative(1));
            double const acceleration = how.rates.acceleration;
            needed = std::max(needed, (is_finite(acceleration) ? sqr(speed) / (2 * acceleration) : 0) +
                                          settings_.run_up_margin);
            double const u = motion.path_time(first);
            double const has = way(whole.low, u);
            if (has >= needed) {
                result_.run_up = has;
                result_.run_up_needed = needed;
                rest->settings.path = whole;
                return std::move(*rest);
            }
            if (!at_first)
                at_first = has;
            // Seams only from where the robot has come so far; a little more, for the pieces.
            double low = u, high = whole.high;
            if (!(way(whole.low, high) > needed))
                refuse(needed, *at_first, "the path ends there");
            while (high - low > 1e-6 * (whole.high - whole.low))
                (way(whole.low, (low + high) / 2) < needed * (1 + 1e-6) ? low : high) = (low + high) / 2;
            how.path = Range{high, whole.high};
        }
        refuse(needed, at_first.value_or(0), "no pace was found that suits its own run-up");
    }

    [[noreturn]] void refuse(double needed, double has, std::string const& why) const {
        throw BadInput("the path begins " + text_of(1e3 * has) +
                       " mm before the first light of the rest; to " + "gain its speed the robot needs " +
                       text_of(1e3 * needed) + " mm: begin the path " + text_of(1e3 * (needed - has)) +
                       " mm earlier. Without that the rest would have to be welded farther on, but: " + why);
    }

    AnyPlan const& plan_;
    RecoverySettings const& settings_;
    HeldRecord held_;
    std::optional<Job> job_;
    PlanRules rules_;
    PlanSettings how_;
    double stopped_ = 0;
    Recovery result_;
};

} // namespace detail

/// Plans what is left of a part after a stop: seams that are done are not welded again, the rest of the
/// broken seam begins `overlap` before the stop and keeps its direction of travel, the others as they were to
/// be run may be reversed and reordered by the rules. Seams of the plan that is returned have their names;
/// their `reversed` and `given` speak of the rest's own job, whose seams are those of the given plan as they
/// were to be run. In particular:
///  - Rules against what was welded become earliest times: cooling of pairs and of near seams, plumes, gaps
///    of ties. A seam whose end the record does not have is taken to have ended at the stop. Of the broken
///    seam the whole counts as hot from the stop on. Plumes are held against all seams that are near enough,
///    whatever the beam's way. Ties and tacks whose first part is done are fulfilled.
///  - Clamps have times of the record's clock, so with clamps the time at which the rest begins must be
///    given. Where it is not, the plan may begin as late as it takes: see `Recovery::begins`.
///  - Before the first light the flange's origin has a way of v²/(2a) along the path, and the margin: v is
///    its speed at the first light, a the acceleration of the plan's `rates`. How a robot turns up to speed,
///    and joints, are not looked at.
///  - A held point that broke is welded anew as a whole.
///  - Plans of several heads have no rest here: `plan` refuses rules that name another head's seams.
/// Throws BadInput for a record that is not one of this plan (unknown names, other lengths, another
/// direction), that contradicts itself or the rules, a stop beyond its seam, settings below 0, a path that
/// begins too late, naming the length that is missing, and as `plan` does.
template <std::same_as<Plan> AnyPlan>
Recovery plan_rest(AnyPlan const& plan, WeldRecord const& record, RecoverySettings const& settings) {
    auto const check = [](double given, double least, char const* what) {
        if (!(given >= least) || !is_finite(given))
            throw BadInput(std::string(what) + " must be " + detail::text_of(least) +
                           " or more and finite; given was " + detail::text_of(given));
    };
    check(settings.overlap, 0, "the overlap of a rest, m,");
    check(settings.cooling, 0, "the cooling time before a restart, s,");
    check(settings.done_within, 1e-9, "what may be left of a seam that is done, m,");
    check(settings.run_up_margin, 0, "the margin of the run-up, m,");
    if (settings.begins && !is_finite(*settings.begins))
        throw BadInput("the rest must begin at a finite time; given was " +
                       detail::text_of(*settings.begins) + " s");
    if (plan.job.seams.empty() || plan.seams.size() != plan.job.seams.size())
        throw BadInput("a plan without seams has no rest");
    return detail::RecoveryPlanner<AnyPlan>(plan, record, settings).make();
}

} // namespace seamhold

#endif
