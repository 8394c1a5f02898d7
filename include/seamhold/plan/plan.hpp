#ifndef SEAMHOLD_PLAN_PLAN_HPP
#define SEAMHOLD_PLAN_PLAN_HPP

#include "seamhold/follow/air_move.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/limit/seam_proof.hpp"
#include "seamhold/plan/pace_limits.hpp"
#include "seamhold/plan/plan_rules.hpp"
#include "seamhold/plan/sequence.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// How fast the robot may run along its path.
enum class SweepPace : std::uint8_t {
    as_given, ///< as the motion was made
    steady,   ///< at one factor of that, the fastest that leaves every seam its time
    varied    ///< slow where seams crowd, fast where there are none
};

/// A pace in words.
constexpr char const* to_string(SweepPace pace) {
    constexpr char const* names[] = {"as given", "steady", "varied"};
    return names[static_cast<std::size_t>(pace)];
}

/// How a plan is made.
struct PlanSettings {
    SweepPace pace = SweepPace::varied;
    std::optional<Range> path = {}; ///< stretch of the motion's own time, s, that may be used; needed where a
                                    ///< motion has no ends of its own
    double least_margin = 0.02;     ///< that every limit of a place leaves, as a share, before the proof
    double air_share = 1;           ///< of the head's velocities and accelerations that the time for air
                                    ///< moves is measured by; what runs in that time may use all
    PathRates rates = {};           ///< of the robot along its path
    SequenceOptions order = {};     ///< how long the order is sought, and who is told
    ProofOptions proof = {.tolerance = 0.05}; ///< of the plan; its box is the box that the plan holds in. A
                                              ///< box leaves peaks wide: with one, no finer a tolerance
};

/// One seam of a plan.
struct PlannedSeam {
    std::string name;
    std::size_t given; ///< its index in the job that was given
    bool reversed;     ///< welded from its end to its start
    std::size_t pass;  ///< which of the stretches of the path that reach it, from 0
    double start;      ///< s
    double end;        ///< s
    double earliest;   ///< it could start, on this motion, s
    double latest;     ///< s
    double air;        ///< of the air move before it, s: in least time
    double waiting;    ///< beam off before it beyond air move and settling, s
    double margin;     ///< 1 − the most that is used of any limit, as proven
};

/// A job in an order, with start times and a pace, proven. `job` is what runs: its motion has the time law,
/// its seams stand in order of time, reversed where the plan says so.
struct Plan {
    Job job;
    std::vector<PlannedSeam> seams; ///< in order of time, as `job.seams`
    std::vector<SeamProof> proofs;  ///< of the same
    double
        lower_bound; ///< of the takt, s: the order search's own, at this pace, with air moves as they are in
                     ///< the middle of what reaches both seams (right to some per cent); 0 for several heads
    bool optimal;    ///< whether no order is better at this pace, proven with air moves estimated likewise
    bool stopped;    ///< whether the search was ended by its caller: the best so far
    PlanRules rules; ///< what it obeys
    PlanSettings settings;

    /// From the first beam on to the last beam off, s; 0 for a head of several that welds nothing.
    double takt() const { return seams.empty() ? 0 : seams.back().end - seams.front().start; }

    /// Of that with the beam on, s.
    double beam_on() const {
        double sum = 0;
        for (auto const& s : seams)
            sum += s.end - s.start;
        return sum;
    }

    /// The share of the takt with the beam on.
    double beam_on_share() const { return seams.empty() ? 0 : beam_on() / takt(); }

    /// Of the takt with the beam off on air moves, settling left out, s.
    double air() const {
        double sum = 0;
        for (auto const& s : seams)
            sum += s.air;
        return sum;
    }

    /// By how much the takt may be above the least at this pace, as a share of the lower bound; infinite
    /// where there is none.
    double gap() const { return lower_bound > 0 ? takt() / lower_bound - 1 : no_limit; }

    /// The least that any proven limit leaves, as a share.
    double margin() const {
        double least = 1;
        for (auto const& s : seams)
            least = std::min(least, s.margin);
        return least;
    }

    /// The way of the flange's origin in the cell during the takt, m, in a thousand straight pieces.
    double travel() const {
        if (seams.empty())
            return 0;
        double sum = 0;
        auto const at = [&](int i) {
            return job.chain.cell_from_flange.at(seams.front().start + takt() * i / 1000).origin;
        };
        for (int i = 0; i < 1000; ++i)
            sum += norm(at(i + 1) - at(i));
        return sum;
    }
};

} // namespace seamhold

#endif
