#ifndef SEAMHOLD_PLAN_PLANNER_HPP
#define SEAMHOLD_PLAN_PLANNER_HPP

#include "seamhold/limit/job_proof.hpp"
#include "seamhold/plan/pace.hpp"
#include "seamhold/plan/plan.hpp"
#include "seamhold/plan/plan_draft.hpp"
#include "seamhold/plan/plan_refusal.hpp"
#include "seamhold/plan/sequence_rules_of.hpp"

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace seamhold {

namespace detail {

/// The stretch of each head's path that may be used. Throws BadInput where a motion has no ends and none are
/// given.
inline std::vector<Range> paths_of(std::vector<Job const*> const& heads, PlanSettings const& settings) {
    std::vector<Range> paths;
    for (auto const* job : heads) {
        auto const& motion = job->chain.cell_from_flange.choice();
        if (settings.path)
            paths.push_back(*settings.path);
        else if (auto const* log = std::get_if<PoseLog<Cell, Flange>>(&motion))
            paths.push_back({log->times().front(), log->times().back()});
        else if (auto const* six = std::get_if<JointLog<6>>(&motion))
            paths.push_back({six->times().front(), six->times().back()});
        else if (auto const* seven = std::get_if<JointLog<7>>(&motion))
            paths.push_back({seven->times().front(), seven->times().back()});
        else
            throw BadInput("the sweep has no ends of its own: say which stretch of its path may be used");
    }
    return paths;
}

/// Finds the best pace and order that it can, and proves it. A template, so that who plans nothing compiles
/// no proofs.
template <std::same_as<Job> AnyJob> class Planner {
public:
    Planner(std::vector<AnyJob const*> heads, PlanRules const& rules, PlanSettings const& settings)
        : heads_(checked(std::move(heads), settings)), rules_(rules), settings_(settings),
          paths_(paths_of(heads_, settings)), ways_(heads_, rules, paths_, settings.least_margin),
          drafter_(heads_, ways_, sequence_rules_of(heads_, ways_, rules),
                   allowed_starts(heads_.front()->seams, rules), settings.air_share,
                   watched(settings.order, stopped_)) {
        if (settings.pace != SweepPace::as_given && heads_.size() > 1)
            throw BadInput("several heads keep the paces of their motions: plan them with the pace as given");
        bool const turns = std::any_of(heads_.begin(), heads_.end(), [](Job const* job) {
            return !std::holds_alternative<Rest<Cell, Part>>(job->chain.cell_from_part.choice());
        });
        if (settings.pace != SweepPace::as_given && turns)
            throw BadInput(
                "the part moves by a clock of its own, so the robot's pace cannot be changed: plan "
                "with the pace as given");
        if (settings.pace != SweepPace::as_given)
            for (std::size_t h = 0; h < heads_.size(); ++h)
                limits_.push_back(pace_limits(*heads_[h], paths_[h].low, paths_[h].high, settings.rates));
        else
            for (std::size_t h = 0; h < heads_.size(); ++h)
                hold_rates(*heads_[h], paths_[h], settings.rates);
    }

    /// One plan a head.
    std::vector<Plan> make() {
        return proven(settings_.pace == SweepPace::as_given ? as_given() : at_its_own_pace());
    }

private:
    static constexpr std::size_t few = 20, many = 300; // seams
    static constexpr int most_factors = 30;            // of constant paces that are looked at
    static constexpr double next_factor = 0.85;        // of the one before

    PlanDraft as_given() const {
        auto const pace = PlanPace::as_given(heads_);
        auto draft = drafter_.find(pace);
        if (!draft)
            explain(pace);
        return *draft;
    }

    /// The best that was found so far, and whether the caller ended the search.
    struct Best {
        std::optional<PlanDraft> draft;
        bool stopped = false;

        void take(std::optional<PlanDraft> found) {
            stopped = stopped || (found && found->stopped);
            if (found && (!draft || found->takt < draft->takt * (1 - 1e-9)))
                draft = std::move(found);
        }
    };

    /// The best of what a pace can do.
    PlanDraft at_its_own_pace() {
        if (drafter_.knows_times())
            if (auto draft = shifted())
                return *draft;
        Best best = search();
        if (!best.draft && *stopped_)
            throw BadInput("the search was ended before an order was found");
        if (!best.draft)
            explain(PlanPace::by(heads_, TimeLaw::steady(telling_factor())));
        best.draft->stopped = best.stopped;
        return *best.draft;
    }

    /// Where seams have times of the clock (clamps, earliest starts): the best plan without them, all of it
    /// moved in time, where that keeps them. Nothing is better then.
    std::optional<PlanDraft> shifted() {
        PlanDrafter const timed = drafter_;
        drafter_.forget_times();
        Best const free = search();
        drafter_ = timed;
        if (!free.draft)
            return std::nullopt;
        Range by{-no_limit, no_limit}; // s
        for (std::size_t k = 0; k < free.draft->order.size(); ++k) {
            auto const& allowed = drafter_.allowed(free.draft->order[k].task);
            by.low = std::max(by.low, allowed.low - free.draft->starts[k]);
            by.high = std::min(by.high, allowed.high - free.draft->starts[k]);
        }
        auto const* law = free.draft->pace.chains.front().cell_from_flange.law();
        if (!(by.low <= by.high) || law == nullptr)
            return std::nullopt;
        double const delay = by.nearest(0);
        auto draft = *free.draft;
        draft.pace = PlanPace::by(heads_, later(*law, delay));
        for (double& start : draft.starts)
            start += delay;
        std::vector<double> gap(ways_.size(), 0);
        if (!drafter_.moves_fit(draft, gap, false))
            return std::nullopt;
        drafter_.finish(draft);
        draft.stopped = free.stopped;
        return draft;
    }

    /// A time law that is run through later, by s.
    static TimeLaw later(TimeLaw const& law, double by) {
        std::vector<double> times, accelerations;
        for (double const t : law.times()) {
            times.push_back(t + by);
            accelerations.push_back(law.acceleration(t));
        }
        accelerations.front() = accelerations.back() = 0;
        return {times, accelerations, law.at(law.times().front()), law.speed(law.times().front())};
    }

    /// For few seams, and for not too many where time is left to wait, the poorer paces are tried too, so
    /// that none is worse than a poorer one.
    Best search() const {
        auto const pace = settings_.pace;
        Best best;
        seek(pace, best);
        bool const waits = !best.draft || drafter_.waits(*best.draft);
        if (!*stopped_ && (ways_.size() <= few || (ways_.size() <= many && waits))) {
            if (pace == SweepPace::varied)
                seek(SweepPace::steady, best);
            if (largest_factor() >= 1 && !*stopped_)
                best.take(in_turns(1, pace));
        }
        return best;
    }

    /// Order and pace in turns, from the pace at which the sweep takes as long as the work. Where that leaves
    /// time to wait, for not too many seams from slower paces too: slower windows are wider, and leave better
    /// orders to a pace that hurries where no seam is.
    void seek(SweepPace pace, Best& best) const {
        double factor = std::min(likely_factor(), largest_factor());
        for (int i = 0; i < most_factors; ++i) {
            best.take(in_turns(factor, pace));
            bool const varies = pace == SweepPace::varied && ways_.size() <= many && i < 2;
            if (*stopped_ || (best.draft && (!varies || !drafter_.waits(*best.draft))))
                break;
            factor *= next_factor;
        }
    }

    /// The fastest of the constant paces looked at that leaves each seam a window, where there is one: at
    /// which a reason says most.
    double telling_factor() const {
        double const likely = std::min(likely_factor(), largest_factor());
        double factor = likely;
        for (int i = 0; i < most_factors; ++i, factor *= next_factor)
            if (!drafter_.tasks(PlanPace::by(heads_, TimeLaw::steady(factor))).without)
                return factor;
        return likely;
    }

    /// An order for a constant pace, the pace that gets this order done soonest, and once more while that
    /// helps; nothing where no order was found.
    std::optional<PlanDraft> in_turns(double factor, SweepPace pace) const {
        auto draft = drafter_.find(PlanPace::by(heads_, TimeLaw::steady(factor)));
        if (!draft)
            return std::nullopt;
        settle(*draft, pace);
        constexpr double worth = 1e-4; // a share of the takt that is worth another round
        for (int round = 0; round < 2 && !draft->stopped; ++round) {
            auto other = drafter_.find(draft->pace);
            if (!other)
                break;
            // At this very pace no order is better than the one it has.
            bool const stays_best = other->optimal && !(other->takt < draft->takt * (1 - 1e-9));
            settle(*other, pace);
            bool const more = other->takt < draft->takt * (1 - worth);
            bool const stopped = other->stopped;
            if (other->takt < draft->takt * (1 - 1e-9))
                draft = std::move(other);
            else
                draft->optimal = stays_best;
            draft->stopped = stopped;
            if (!more)
                break;
        }
        return draft;
    }

    /// The largest constant factor that the robot holds over the whole path.
    double largest_factor() const {
        return limits_.front().over(paths_.front().low, paths_.front().high).speed;
    }

    /// Puts a draft on the pace that suits its order best. Where that takes no longer it is better in any
    /// case: the starts lie in the middle of what is possible.
    void settle(PlanDraft& draft, SweepPace pace) const {
        auto better = paced_for(draft.order, draft, pace);
        if (pace == SweepPace::varied && (!better || drafter_.waits(*better))) {
            auto steady = paced_for(draft.order, draft, SweepPace::steady);
            if (steady && (!better || steady->takt < better->takt))
                better = std::move(steady);
        }
        if (!better || !(better->takt <= draft.takt * (1 + 1e-9)))
            return;
        better->stopped = draft.stopped;
        draft = std::move(*better);
    }

    /// The factor at which the sweep takes as long as the work.
    double likely_factor() const {
        double first = no_limit, last = -no_limit, work = 0;
        for (std::size_t i = 0; i < ways_.size(); ++i) {
            double opens = no_limit, shuts = -no_limit;
            for (auto const& way : ways_.of(i)) {
                opens = std::min(opens, way.reach.places.front().low);
                shuts = std::max(shuts, way.reach.places.front().high);
            }
            first = std::min(first, shuts);
            last = std::max(last, opens);
            work += 1.05 * ways_.of(i).front().seam->duration();
        }
        double const stretch = paths_.front().high - paths_.front().low;
        return std::max(last - first, 0.05 * stretch) / work;
    }

    /// An order at the pace that suits it best; nothing where none does.
    std::optional<PlanDraft> paced_for(std::vector<WayRef> const& order, PlanDraft const& start,
                                       SweepPace pace) const {
        std::vector<PacedTask> tasks;
        std::vector<double> gap(ways_.size(), 0); // after each task
        auto const between = drafter_.times_at(start.pace);
        double const settling = drafter_.limits(0).settling; // several heads keep their pace
        for (std::size_t k = 0; k < order.size(); ++k) {
            auto const& way = ways_.at(order[k]);
            // The pace's task begins with the run-up: settling on the seam run on before its start.
            tasks.push_back({0, way.seam->duration() + settling, way.reach.places});
            for (auto& place : tasks.back().stations)
                place.offset += settling;
            if (k > 0)
                gap[order[k - 1].task] = between(order[k - 1], order[k]);
        }
        std::vector<double> more(order.size(), 0); // what rules ask beyond the air move
        for (int round = 0; round < 12; ++round) {
            for (std::size_t k = 1; k < order.size(); ++k)
                tasks[k].gap_before = std::max({gap[order[k - 1].task] - settling, more[k] - settling, 0.0});
            auto const paced =
                pace == SweepPace::steady ? fit_steady_pace(tasks, limits_.front()) : fitted(tasks);
            if (!paced)
                return std::nullopt;
            PlanDraft draft{order, paced->starts, {}, {}, PlanPace::by(heads_, paced->law)};
            for (double& seam_start : draft.starts)
                seam_start += settling;
            bool fits = drafter_.moves_fit(draft, gap, round == 0);
            fits = drafter_.rules_fit(draft, more) && fits;
            if (fits) {
                drafter_.finish(draft);
                for (std::size_t k = 0; k < order.size(); ++k)
                    if (draft.starts[k] < draft.windows[k].earliest - 1e-9 ||
                        draft.starts[k] > draft.windows[k].latest + 1e-9)
                        return std::nullopt; // a clamp
                return draft;
            }
        }
        return std::nullopt;
    }

    /// The pace that gets tasks done soonest, where there is one.
    std::optional<PacedPlan> fitted(std::vector<PacedTask> const& tasks) const {
        auto found = fit_pace(tasks, limits_.front());
        if (auto* const plan = std::get_if<PacedPlan>(&found))
            return std::move(*plan);
        return std::nullopt;
    }

    /// A draft as plans, one a head, every seam proven. Throws BadInput naming a seam that cannot be.
    std::vector<Plan> proven(PlanDraft const& draft) const {
        // A bound that is built on estimated air moves may come out above what was found.
        double const bound = heads_.size() == 1 ? std::min(drafter_.lower_bound(draft.pace), draft.takt) : 0;
        std::vector<Plan> plans;
        for (std::size_t h = 0; h < heads_.size(); ++h) {
            Plan plan{*heads_[h], {}, {}, bound, draft.optimal, draft.stopped, rules_, settings_};
            plan.job.seams.clear();
            plan.job.chain = draft.pace.chains[h];
            double before = -no_limit;
            for (std::size_t k = 0; k < draft.order.size(); ++k) {
                auto const& ref = draft.order[k];
                auto const& way = ways_.at(ref);
                if (way.head != h)
                    continue;
                auto const& given = heads_.front()->seams[ref.task];
                plan.job.seams.push_back({given.name, draft.starts[k], *way.seam});
                double const end = plan.job.seams.back().end();
                double const off = is_finite(before) ? draft.starts[k] - before : 0;
                plan.seams.push_back(
                    {given.name, ref.task, way.reversed, way.pass, draft.starts[k], end,
                     draft.windows[k].earliest, draft.windows[k].latest, draft.air[k],
                     std::max(0.0, off - draft.air[k] - (off > 0 ? drafter_.limits(h).settling : 0)), 0});
                before = end;
            }
            plan.proofs = prove_job(plan.job, settings_.proof).seams; // the heating of the mirrors with them
            for (std::size_t k = 0; k < plan.seams.size(); ++k) {
                plan.seams[k].margin = 1 - plan.proofs[k].binding().utilisation.high;
                if (plan.proofs[k].verdict() != Verdict::within)
                    refuse_seam(plan.job, plan.job.seams[k], plan.proofs[k]);
            }
            plans.push_back(std::move(plan));
        }
        return plans;
    }

    /// Where no order was found: throws BadInput for a seam whose own speed breaks a limit of the axes
    /// wherever it starts, which says more than that no air move leads to it.
    void refuse_too_fast(PlanPace const& pace) const {
        for (std::uint32_t i = 0; i < ways_.size(); ++i) {
            bool possible = false;
            std::optional<SeamProof> worst;
            std::optional<ScheduledSeam> worst_seam;
            std::size_t worst_head = 0;
            for (std::uint32_t w = 0; w < ways_.of(i).size() && !possible; ++w) {
                auto const& way = ways_.of(i)[w];
                auto const span = drafter_.window({i, w}, pace);
                if (!span.any())
                    continue;
                ScheduledSeam const seam{heads_.front()->seams[i].name, (span.earliest + span.latest) / 2,
                                         *way.seam};
                auto proof = prove(at_pace(pace, way.head), seam, settings_.proof);
                auto const& limit = worst_of(proof);
                possible = limit.verdict != Verdict::exceeds || power_of_seam_speed(limit.limit) == 0;
                worst = std::move(proof);
                worst_seam = seam;
                worst_head = way.head;
            }
            if (worst && !possible)
                refuse_seam(at_pace(pace, worst_head), *worst_seam, *worst);
        }
    }

    /// The job of a head at a pace, without seams.
    AnyJob at_pace(PlanPace const& pace, std::size_t head) const {
        AnyJob job = *heads_[head];
        job.seams.clear();
        job.chain = pace.chains[head];
        return job;
    }

    /// Throws BadInput unless an order was found; with the reason.
    [[noreturn]] void explain(PlanPace const& pace) const {
        refuse_too_fast(pace);
        drafter_.explain(pace);
    }

    /// Throws BadInput for numbers of heads and settings that are none. Those that air moves cannot do
    /// without are looked at where these are made.
    static std::vector<AnyJob const*> checked(std::vector<AnyJob const*> heads,
                                              PlanSettings const& settings) {
        if (!(settings.air_share > 0 && settings.air_share <= 1))
            throw BadInput(
                "the share of a head's limits that air moves use is above 0 and at most 1; given was " +
                text_of(settings.air_share));
        for (auto const* job : heads) {
            if (job->chain.cell_from_flange.law() != nullptr &&
                !std::holds_alternative<Rest<Cell, Part>>(job->chain.cell_from_part.choice()))
                throw BadInput("a part that moves by a clock of its own and a flange whose motion has a time "
                               "law cannot be planned: make the motion without the law");
            auto const& d = job->dynamics;
            for (double const time : {d.settling, d.mirror_lag, d.focus_lag})
                if (!(time >= 0) || !is_finite(time))
                    throw BadInput("settling time and lags of a head must be 0 s or more; given was " +
                                   text_of(time) + " s");
            for (double const limit :
                 {d.mirror_acceleration, d.mirror_jerk, d.focus_acceleration, d.mirror_rms_acceleration})
                if (!(limit > 0))
                    throw BadInput("a head's accelerations and jerk must be above 0; given was " +
                                   text_of(limit));
        }
        return heads;
    }

    /// The caller's `go_on`, which leaves a note where it ends the search.
    static SequenceOptions watched(SequenceOptions options, std::shared_ptr<bool> const& stopped) {
        if (options.go_on)
            options.go_on = [asked = options.go_on, stopped](SearchProgress const& progress) {
                bool const on = asked(progress);
                *stopped = *stopped || !on;
                return on;
            };
        return options;
    }

    /// Throws BadInput where a motion passes the robot's rates as it is given.
    static void hold_rates(AnyJob const& job, Range const& path, PathRates rates) {
        if (!is_finite(rates.speed) && !is_finite(rates.acceleration) && !is_finite(rates.turn_speed) &&
            !is_finite(rates.turn_acceleration))
            return;
        rates.acceleration *=
            2; // `pace_limits` gives half of it to the path's bends, here all of it goes there
        rates.turn_acceleration *= 2;
        AnyJob flange = job;
        flange.arm.reset(); // its joints are proven seam by seam
        double const most = pace_limits(flange, path.low, path.high, rates).over(path.low, path.high).speed;
        auto const* law = job.chain.cell_from_flange.law();
        double fastest = law == nullptr ? 1 : 0;
        if (law != nullptr)
            for (double const t : law->times())
                fastest = std::max(fastest, law->speed(t));
        if (fastest > most * (1 + 1e-6))
            throw BadInput("the motion as given passes the robot's rates: it would keep them at " +
                           text_of(100 * most / fastest) + " % of its speed");
    }

    std::shared_ptr<bool> stopped_ = std::make_shared<bool>(false); ///< the caller ended the search
    std::vector<AnyJob const*> heads_;
    PlanRules const& rules_;
    PlanSettings const& settings_;
    std::vector<Range> paths_;
    PlanWays ways_;
    PlanDrafter drafter_;
    std::vector<PaceLimits> limits_;
};

} // namespace detail

/// The order of a job's seams, their start times and the robot's pace for the least takt that is found, with
/// every limit of every seam proven (`prove`, with the box of `settings.proof`); the start times that the job
/// has already count for nothing. The order is proven best at its pace for few seams (see `sequence`), and
/// for many the plan says how far it may be from that. Air moves are worked out where and when they happen.
///
/// Throws BadInput naming seam and rule, and the smallest change that would do where it is known: no seams, a
/// name that is empty or stands twice, a seam that the sweep does not reach, rules that contradict each other
/// or name seams that there are not, windows that exclude each other, clamps that never hold, limits that are
/// not above 0, a part that moves with a pace that is not as given, and a seam that cannot be proven.
template <std::same_as<Job> AnyJob>
Plan plan(AnyJob const& job, PlanRules const& rules = {}, PlanSettings const& settings = {}) {
    if (job.seams.empty())
        throw BadInput("a job without seams has nothing to plan");
    return detail::Planner<AnyJob>({&job}, rules, settings).make().front();
}

/// A job that several heads share.
struct PlanOfHeads {
    std::vector<Plan> heads; ///< one a head, in the order given; each has the seams that its head welds,
                             ///< which may be none
    double takt;             ///< from the first beam on of any to the last beam off, s
    double beam_on;          ///< of all heads together, s
};

/// The same for several heads, each on its own motion by one clock; of each job the motion, the head and its
/// limits count, and all name the same seams in the same order. Each seam is welded by one head. With one
/// laser (see PlanRules) one seam is welded at a time, while the other heads move on to their next; with
/// several, heads weld side by side, kept apart by the rules of plume, sight and cooling, which hold between
/// heads too. Motions keep the pace they have. That arms do not meet is not looked at. Throws as `plan`, and
/// where jobs do not name the same seams.
template <std::same_as<Job> AnyJob>
PlanOfHeads plan_heads(std::vector<AnyJob> const& jobs, PlanRules const& rules = {},
                       PlanSettings settings = {}) {
    if (jobs.empty() || jobs.front().seams.empty())
        throw BadInput("heads without seams have nothing to plan");
    std::vector<AnyJob const*> heads;
    for (auto const& job : jobs) {
        heads.push_back(&job);
        auto const& first = jobs.front().seams;
        bool const same = std::equal(first.begin(), first.end(), job.seams.begin(), job.seams.end(),
                                     [](ScheduledSeam const& a, ScheduledSeam const& b) {
                                         return a.name == b.name && a.seam.duration() == b.seam.duration();
                                     });
        if (!same)
            throw BadInput("head number " + std::to_string(heads.size()) +
                           " does not name the same seams in the same order as the first one");
    }
    settings.pace = SweepPace::as_given;
    PlanOfHeads all{detail::Planner<AnyJob>(heads, rules, settings).make(), 0, 0};
    double first = no_limit, last = -no_limit;
    for (auto const& head : all.heads)
        for (auto const& seam : head.seams) {
            first = std::min(first, seam.start);
            last = std::max(last, seam.end);
            all.beam_on += seam.end - seam.start;
        }
    all.takt = last - first;
    return all;
}

} // namespace seamhold

#endif
