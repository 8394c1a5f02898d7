#ifndef SEAMHOLD_LIMIT_PROOF_HPP
#define SEAMHOLD_LIMIT_PROOF_HPP

#include "seamhold/limit/seam_prover.hpp"

/// Limits with proof: what holds at every instant of a seam, not at samples of it.
namespace seamhold {

/// Proves, or refutes, every limit of one seam of a job: for every instant from its start to its end, and for
/// every pose in the box of `options.change`. What is proven is proven for the motion that the job holds (a
/// recorded motion's interpolant), not for the robot. On stretches of time everything is enclosed by a
/// polynomial of degree 5 with an interval remainder (see `enclosed`), and stretches are split until every
/// peak is known to the tolerance and every limit decided, or the budget is spent. A billionth of a limit
/// counts as nothing. The time of a break is known to a picosecond. Throws BadInput where the processor does
/// not round to nearest.
template <class AnyJob, class Scheduled>
SeamProof prove(AnyJob const& job, Scheduled const& seam, ProofOptions const& options = {}) {
    return detail::SeamProver<AnyJob, Scheduled>(job, seam, options).prove();
}

} // namespace seamhold

#endif
