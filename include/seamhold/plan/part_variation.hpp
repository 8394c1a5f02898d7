#ifndef SEAMHOLD_PLAN_PART_VARIATION_HPP
#define SEAMHOLD_PLAN_PART_VARIATION_HPP

#include "seamhold/follow/air_way.hpp"
#include "seamhold/limit/proof.hpp"
#include "seamhold/plan/displacement.hpp"
#include "seamhold/plan/plan.hpp"
#include "seamhold/plan/variation_answer.hpp"
#include "seamhold/seam/moved.hpp"

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// A part that lies a little off, seams that were found beside where they were drawn: whether a plan holds
/// for them.
///
/// The test. Let D be the part's displacement, planned⁻¹ · measured, and C the correction of a seam in the
/// part's frame. The seam's point p is then where D C p would be on the part as planned, and its normals turn
/// with D C. A proof with a `PoseBox` covers every rigid displacement that turns by `part_turn` at most and
/// moves the part's origin along each axis, given or turned, by `part_shift` at most. A straight seam and its
/// normal, too, leave a displacement no choice: so a seam is covered if its own D C lies in the box that its
/// proof covers, and nothing less will do. Mind the lever: what turns a seam by ε about its own middle, r
/// away from the part's origin, moves the origin by about ε r and counts as a shift of that much. A part
/// frame amid the seams gets most out of a box. One picometre and one picoradian count as nothing: they
/// change a utilisation by far less than the billionth that a proof counts as nothing.
namespace seamhold {

namespace detail {

/// Holds a plan against one part. A template, so that who varies nothing compiles no proofs.
template <std::same_as<Plan> AnyPlan> class VariationCheck {
public:
    VariationCheck(AnyPlan const& plan, PartVariation const& variation, VariationOptions const& options)
        : plan_(plan), variation_(variation), options_(options) {
        auto const& seams = plan.job.seams;
        if (seams.empty() || plan.proofs.size() != seams.size())
            throw BadInput("a plan to be held against a part needs seams, and a proof of each");
        if (!(variation.shift_error >= 0) || !is_finite(variation.shift_error) ||
            !(variation.turn_error >= 0 && variation.turn_error <= 0.1))
            throw BadInput("a part's pose is known to 0 m or more and to 0 to 0.1 rad; given were " +
                           text_of(variation.shift_error) + " m and " + text_of(variation.turn_error) +
                           " rad");
        if (variation.part) {
            check_rigid(*variation.part, "the part's measured pose");
            if (!is_finite(variation.measured_at) ||
                !has_data(plan.job.chain.cell_from_part, variation.measured_at))
                throw BadInput("the part's motion has no data at " + text_of(variation.measured_at) +
                               " s, when its pose was measured");
            measured_ = rounded_off(*variation.part);
            part_ = inverse(plan.job.chain.cell_from_part.at(variation.measured_at)) * measured_;
        }
        corrections_.resize(seams.size());
        for (auto const& correction : variation.seams) {
            auto const found = std::find_if(seams.begin(), seams.end(), [&](ScheduledSeam const& s) {
                return s.name == correction.seam;
            });
            if (found == seams.end())
                throw BadInput("a correction names a seam " + correction.seam +
                               ", which the plan does not have");
            auto& place = corrections_[static_cast<std::size_t>(found - seams.begin())];
            if (place)
                throw BadInput("seam " + correction.seam + " is corrected twice");
            check_rigid(correction.by, "the correction of seam " + correction.seam);
            place = rounded_off(correction.by);
        }
    }

    PartVariationAnswer answer() {
        auto result = attempt(1);
        if (result.verdict == VariationVerdict::refused)
            result.scale = scale_that_holds(result);
        return result;
    }

private:
    /// The same pose with the rotation that its matrix is but for its digits.
    template <class To> static Pose<To, Part> rounded_off(Pose<To, Part> const& pose) {
        return {rotation_of<To, Part>(quaternion_of(pose.rotation)), pose.origin};
    }

    bool time_left() const { return !options_.time_left || options_.time_left(); }

    Pose<Part, Part> part(double scale) const { return scale == 1 ? part_ : scaled(part_, scale); }
    std::optional<Pose<Part, Part>> correction(std::size_t i, double scale) const {
        auto const& by = corrections_[i];
        return !by || scale == 1 ? by : scaled(*by, scale);
    }

    /// The share of a seam's box that its displacement uses.
    double box_used(std::size_t i, double scale) const {
        auto all = part(scale);
        double lever = 0;
        if (auto const by = correction(i, scale)) {
            all = all * *by;
            lever = norm(by->origin - Point<Part>{0, 0, 0});
        }
        return share_of_box(all, plan_.proofs[i].box,
                            root_of_three * variation_.shift_error + variation_.turn_error * lever,
                            variation_.turn_error);
    }

    bool at_rest() const {
        return std::holds_alternative<Rest<Cell, Part>>(plan_.job.chain.cell_from_part.choice());
    }

    /// The plan's job for this part: a part at rest has its measured pose; of one that moves the seams are
    /// displaced instead.
    Job job_at(double scale) const {
        Job job = plan_.job;
        bool const rests = at_rest();
        if (rests && variation_.part)
            job.chain.cell_from_part = Rest<Cell, Part>{
                scale == 1 ? measured_ : plan_.job.chain.cell_from_part.at(0.0) * part(scale)};
        for (std::size_t i = 0; i < job.seams.size(); ++i) {
            auto by = correction(i, scale);
            if (!rests && variation_.part)
                by = by ? part(scale) * *by : part(scale);
            if (by)
                job.seams[i].seam = moved(job.seams[i].seam, *by);
        }
        return job;
    }

    /// How a seam is proven again: with what is still not known.
    ProofOptions proof_options() const {
        auto o = plan_.settings.proof;
        o.tolerance = options_.tolerance;
        o.budget = options_.budget;
        o.everywhere = false;
        auto& box = o.change.box;
        box.part_shift = variation_.shift_error;
        box.part_turn = variation_.turn_error;
        if (!at_rest() && variation_.turn_error > 0) // an error after the displacement, seen before it
            box.part_shift = root_of_three * variation_.shift_error +
                             variation_.turn_error * norm(part_.origin - Point<Part>{0, 0, 0});
        return o;
    }

    /// What stands against the air moves of a job, with all that the head can do.
    std::optional<VariationFault> air_fault(Job const& job) const {
        auto const limits = air_limits(job.dynamics);
        for (std::size_t i = 0; i + 1 < job.seams.size(); ++i) {
            auto const &from = job.seams[i], &to = job.seams[i + 1];
            auto const room = air_room(job.chain, from.seam, from.end(), to.seam, to.start, limits);
            if (room.way)
                continue;
            double const arrives = to.start - limits.settling, there_is = arrives - from.end();
            double const used = there_is > 0 ? room.least / there_is : no_limit;
            return VariationFault{
                to.name,        Limit::air_move, 0, used > 1 ? Verdict::exceeds : Verdict::undecided,
                Interval(used), arrives};
        }
        return std::nullopt;
    }

    static VariationFault fault_of(SeamProof const& proof) {
        auto const worse_than = [](LimitProof const& a, LimitProof const& b) {
            auto const rank = [](LimitProof const& l) {
                return std::pair(l.verdict == Verdict::within      ? 0
                                 : l.verdict == Verdict::undecided ? 1
                                                                   : 2,
                                 l.utilisation.low);
            };
            return rank(a) < rank(b);
        };
        auto const& worst = *std::max_element(proof.limits.begin(), proof.limits.end(), worse_than);
        return {proof.name, worst.limit, worst.joint, worst.verdict, worst.utilisation, worst.time};
    }

    /// Everything at a share of the variation.
    PartVariationAnswer attempt(double scale) const {
        PartVariationAnswer a{VariationVerdict::holds,
                              job_at(scale),
                              0,
                              plan_.job.seams.front().name,
                              {},
                              {},
                              std::nullopt,
                              std::nullopt};
        std::vector<std::size_t> outside;
        for (std::size_t i = 0; i < plan_.job.seams.size(); ++i) {
            double const used = box_used(i, scale);
            if (used > a.box_used) {
                a.box_used = used;
                a.farthest = plan_.job.seams[i].name;
            }
            if (!(used <= 1))
                outside.push_back(i);
        }
        auto const refuse = [&](VariationFault fault) {
            a.verdict = VariationVerdict::refused;
            a.fault = std::move(fault);
            a.job.reset();
        };
        if (auto fault = air_fault(*a.job)) {
            refuse(std::move(*fault));
            return a;
        }
        if (outside.empty())
            return a;
        auto const proof_with = proof_options();
        for (std::size_t k = 0; k < outside.size(); ++k) {
            if (!time_left()) {
                for (; k < outside.size(); ++k)
                    a.open.push_back(plan_.job.seams[outside[k]].name);
                a.verdict = VariationVerdict::out_of_time;
                a.job.reset();
                return a;
            }
            a.proofs.push_back(prove(*a.job, a.job->seams[outside[k]], proof_with));
            if (a.proofs.back().verdict() != Verdict::within) {
                refuse(fault_of(a.proofs.back()));
                a.proofs.pop_back();
                return a;
            }
        }
        a.verdict = VariationVerdict::proven_again;
        return a;
    }

    /// Whether these seams, and all air moves, hold at a share of the variation; nothing where time is over.
    std::optional<bool> seams_hold(std::vector<std::size_t> const& seams, double scale) const {
        auto const job = job_at(scale);
        if (air_fault(job))
            return false;
        auto const proof_with = proof_options();
        for (std::size_t const i : seams) {
            if (box_used(i, scale) <= 1)
                continue;
            if (!time_left())
                return std::nullopt;
            if (prove(job, job.seams[i], proof_with).verdict() != Verdict::within)
                return false;
        }
        return true;
    }

    /// The largest share of the variation that is found to hold as a whole.
    std::optional<double> scale_that_holds(PartVariationAnswer const& refused) const {
        // Within the box everything holds but an air move, perhaps.
        double in_box = 0, not_in_box = 1;
        auto const covered = [&](double scale) {
            for (std::size_t i = 0; i < plan_.job.seams.size(); ++i)
                if (!(box_used(i, scale) <= 1))
                    return false;
            return true;
        };
        bool const some = covered(0);
        if (covered(1))
            in_box = 1;
        while (some && in_box < 1 && not_in_box - in_box > options_.scale_step / 8)
            (covered((in_box + not_in_box) / 2) ? in_box : not_in_box) = (in_box + not_in_box) / 2;
        std::optional<double> sure;
        if (in_box < 1 && some && !air_fault(job_at(in_box)))
            sure = in_box;
        std::vector<std::size_t> failing;
        auto const add_failing = [&](VariationFault const& fault) {
            for (std::size_t i = 0; i < plan_.job.seams.size(); ++i)
                if (plan_.job.seams[i].name == fault.seam)
                    failing.push_back(i);
        };
        add_failing(*refused.fault);
        double above = 1;
        for (int round = 0; round < 6; ++round) {
            double below = sure.value_or(0), refuted = above;
            while (refuted - below > options_.scale_step) {
                double const middle = (below + refuted) / 2;
                auto const holds = seams_hold(failing, middle);
                if (!holds)
                    return sure;
                (*holds ? below : refuted) = middle;
            }
            if (sure && below == *sure)
                return sure;
            auto const whole = attempt(below);
            if (whole.may_run())
                return below;
            if (!whole.fault || below == 0)
                return sure;
            add_failing(*whole.fault);
            above = below;
        }
        return sure;
    }

    AnyPlan const& plan_;
    PartVariation const& variation_;
    VariationOptions const& options_;
    Pose<Cell, Part> measured_ = Pose<Cell, Part>::identity();
    Pose<Part, Part> part_ = Pose<Part, Part>::identity();     ///< planned⁻¹ · measured
    std::vector<std::optional<Pose<Part, Part>>> corrections_; ///< of the plan's seams
};

} // namespace detail

/// Whether a plan holds for one part, measured just before its start. Within the box that the plan's proofs
/// cover (`settings.proof.change.box` when it was made; see above how it is held against it) nothing is
/// proven anew. Seams outside are proven again at their corrected poses, in order of their starts, with what
/// of the box does not concern the part (path, delay) and with the errors of the measured pose. In both cases
/// each air move is found again in its gap, with all that the head can do: a plan made with `air_share` below
/// 1, say 0.9, leaves room for gaps that grow. What is refused names the seam and the limit, by how much it
/// is passed, and which share of the displacement would do, by bisection while `time_left`. Throws BadInput
/// for poses that are not finite or not rigid, corrections of unknown seams or given twice, and errors below
/// 0. The rest of what a pose may not be (a part out of reach) is answered. A part that lies so far off that
/// clamps, lap or gap no longer fit is not seen here. Of several heads each plan is asked for itself, with
/// the corrections of its own seams.
template <std::same_as<Plan> AnyPlan>
PartVariationAnswer vary_part(AnyPlan const& plan, PartVariation const& variation,
                              VariationOptions const& options = {}) {
    if (!(options.tolerance > 0) || options.budget == 0 || !(options.scale_step > 1e-4))
        throw BadInput(
            "a variation is answered with a tolerance above 0, a budget of 1 or more and a step of the "
            "scale above 0.0001");
    return detail::VariationCheck<AnyPlan>(plan, variation, options).answer();
}

} // namespace seamhold

#endif
