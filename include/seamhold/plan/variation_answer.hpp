#ifndef SEAMHOLD_PLAN_VARIATION_ANSWER_HPP
#define SEAMHOLD_PLAN_VARIATION_ANSWER_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/limit/seam_proof.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// What is measured of one part, and what a plan answers to it; see part_variation.hpp.
namespace seamhold {

/// A seam found beside where it was drawn.
struct SeamCorrection {
    std::string seam;
    Pose<Part, Part> by; ///< what was drawn at p, in the part's frame, is at `by` · p
};

/// A seam that lies `shift`, m, beside where it was drawn, in the part's frame.
inline SeamCorrection seam_shifted(std::string seam, Direction<Part> const& shift) {
    auto by = Pose<Part, Part>::identity();
    by.origin = {shift.x, shift.y, shift.z};
    return {std::move(seam), by};
}

/// What was measured of one part just before its start.
struct PartVariation {
    std::optional<Pose<Cell, Part>> part = {}; ///< where it lies; absent: as planned
    double measured_at = 0;                    ///< for a part that moves: at this time of its motion, s
    std::vector<SeamCorrection> seams = {};    ///< on top of the part's pose; each seam once at most
    double shift_error = 0; ///< to which the part's pose is known: its origin along each of its axes, m
    double turn_error = 0;  ///< and its turn about any axis, rad
};

/// How a variation is answered.
struct VariationOptions {
    double tolerance = 10; ///< of proofs, see `ProofOptions`: large, so that only a limit near 1 costs time
    std::size_t budget = 400;             ///< of stretches looked at for one seam
    double scale_step = 0.02;             ///< to which the share that would hold is sought
    std::function<bool()> time_left = {}; ///< asked before each seam's proof; empty: there is
};

/// What a plan is for one part.
enum class VariationVerdict : std::uint8_t {
    holds,        ///< all within the box that is proven already
    proven_again, ///< not all within it, but every limit proven for this part
    refused,      ///< a limit is passed, or could not be proven
    out_of_time   ///< some seams are left unproven: as refused
};

/// A verdict in words.
constexpr char const* to_string(VariationVerdict verdict) {
    constexpr char const* names[] = {"holds", "proven again", "refused", "out of time"};
    return names[static_cast<std::size_t>(verdict)];
}

/// What stands against a variation.
struct VariationFault {
    std::string seam;     ///< that cannot be welded so; of an air move the one after it
    Limit limit;          ///< `air_move` where no move fits the gap before the seam
    int joint;            ///< of which joint, from 1; 0 for other limits
    Verdict verdict;      ///< `exceeds`, or `undecided` where the budget was spent
    Interval utilisation; ///< contains its peak
    double time;          ///< near the peak, s of the robot's clock; of an air move when it should arrive

    /// By how much the limit is known to be passed, as a share of it; 0 where that is undecided.
    double passed_by() const { return std::max(0.0, utilisation.low - 1); }
};

/// Whether a plan holds for one part.
struct PartVariationAnswer {
    VariationVerdict verdict;
    std::optional<Job> job;        ///< what runs: corrected poses, starts as planned; nothing unless proven
    double box_used;               ///< share of the proven box that is used at most: 1 is its end
    std::string farthest;          ///< the seam that uses it
    std::vector<SeamProof> proofs; ///< of the seams outside the box that were proven again, in order of time
    std::vector<std::string> open; ///< seams outside the box that no proof was reached for
    std::optional<VariationFault> fault;
    std::optional<double> scale; ///< where refused: with all displacements times this, and with it everything
                                 ///< in between the seams, the plan holds; absent where time ran out or none
                                 ///< was found

    /// Whether the job may run.
    bool may_run() const { return job.has_value(); }

    /// The answer in words: what stands against it, and the smallest change that is known to do.
    std::string text() const {
        using detail::text_of;
        std::string all = to_string(verdict);
        if (verdict == VariationVerdict::proven_again)
            all += ": " + std::to_string(proofs.size()) + " seams outside the box";
        if (fault) {
            all += ": seam " + fault->seam + ", " + to_string(fault->limit);
            if (fault->joint > 0)
                all += " of joint " + std::to_string(fault->joint);
            all += fault->verdict == Verdict::exceeds ? " is passed by " + text_of(100 * fault->passed_by()) +
                                                            " % of it at " + text_of(fault->time) + " s"
                                                      : " stays undecided";
        }
        if (!open.empty()) {
            all += "; not proven for lack of time:";
            for (auto const& name : open)
                all += " " + name;
        }
        if (!may_run() && scale)
            all += "; it would do with displacements at " + text_of(100 * *scale) + " % of what was measured";
        if (!may_run() && is_finite(box_used))
            all += "; seam " + farthest + " uses " + text_of(100 * box_used) + " % of the proven box";
        return all;
    }
};

} // namespace seamhold

#endif
