#ifndef SEAMHOLD_LIMIT_SEAM_PROOF_HPP
#define SEAMHOLD_LIMIT_SEAM_PROOF_HPP

#include "seamhold/limit/check.hpp"
#include "seamhold/limit/verdict.hpp"
#include "seamhold/number/enclose.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <vector>

namespace seamhold {

/// How a proof is sought.
struct ProofOptions {
    double tolerance = 0.01;    ///< of the peaks' brackets, as a share of the limit
    std::size_t budget = 20000; ///< of stretches looked at for one seam
    double tick = 1e-5;      ///< of the commands, s: a jump of a rate is spread over one, as the head is told
    bool everywhere = false; ///< every stretch is enclosed closely, for pictures, not only where it counts
    Change change = {};      ///< the box that is covered, and how the sweep is changed
};

/// What is proven of one limit over a seam.
struct LimitProof {
    Limit limit;
    Verdict verdict;
    Interval utilisation; ///< contains the peak of the utilisation over the seam
    double value;         ///< near the peak, in SI units of the limit; over all of a window where it has one
    double allowed;       ///< the limit, same units
    double time;          ///< of that value, s of the robot's clock: the witness where the limit is passed
    double arc_length;    ///< where on the seam, m
    int joint = 0;        ///< of which joint, from 1; 0 for other limits
};

/// A stretch of a seam on which everything was enclosed at once.
struct ProvenStretch {
    TimeSpan time;                     ///< since the seam's start, s
    std::vector<Interval> utilisation; ///< of each check over the whole stretch
    Enclosure<4> x_acceleration;       ///< of the x mirror over the stretch, rad/s²
    Enclosure<4> y_acceleration;       ///< of the y mirror
};

/// What is proven of a seam.
struct SeamProof {
    std::string name;
    double start;                         ///< s of the robot's clock
    double duration;                      ///< s
    double length;                        ///< m
    PoseBox box;                          ///< all poses in it are covered
    std::vector<LimitProof> limits;       ///< first those of `checks`, then others
    std::vector<Check> checks;            ///< what the stretches speak of
    std::vector<ProvenStretch> stretches; ///< without gaps, in order of time
    std::size_t looked_at = 0;            ///< stretches enclosed, those that were split again with them

    /// The worst of all limits' verdicts.
    Verdict verdict() const {
        auto worst = Verdict::within;
        for (auto const& l : limits)
            worst = worse(worst, l.verdict);
        return worst;
    }

    /// What is proven of one limit, or nullptr where it was not asked.
    LimitProof const* of(Limit limit) const {
        auto const found =
            std::find_if(limits.begin(), limits.end(), [&](LimitProof const& l) { return l.limit == limit; });
        return found == limits.end() ? nullptr : &*found;
    }

    /// The limit that is used most, by what is proven at most.
    LimitProof const& binding() const {
        return *std::max_element(limits.begin(), limits.end(), [](LimitProof const& a, LimitProof const& b) {
            return a.utilisation.high < b.utilisation.high;
        });
    }
};

} // namespace seamhold

#endif
