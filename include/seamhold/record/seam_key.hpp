#ifndef SEAMHOLD_RECORD_SEAM_KEY_HPP
#define SEAMHOLD_RECORD_SEAM_KEY_HPP

#include "seamhold/live/fingerprint.hpp"
#include "seamhold/number/bad_input.hpp"

#include <cstdint>
#include <string>

namespace seamhold {

/// Which weld a trace, a band or a verdict speaks of. What sensors see depends on incidence, on the place in
/// the field and on the direction of travel, so a band belongs to one seam of one plan and to no other.
struct SeamKey {
    Fingerprint plan;   ///< head, mount, part, calibration
    std::string seam;   ///< its name
    std::uint64_t pass; ///< how it is welded: shape, direction, speed, power, and the way of the head over
                        ///< it; see `seam_key_of`

    /// The same weld.
    friend bool operator==(SeamKey const& a, SeamKey const& b) {
        return a.seam == b.seam && a.pass == b.pass && a.plan.part == b.plan.part;
    }
};

/// Throws BadInput, saying what differs, where two keys are not of one weld; `what` and `other` say in words
/// what is held against what: "the trace", "the band".
inline void check_same_weld(SeamKey const& a, SeamKey const& b, std::string const& what,
                            std::string const& other) {
    if (a.seam != b.seam)
        throw BadInput(what + " is of seam " + a.seam + ", " + other + " is of seam " + b.seam);
    if (auto const part = first_difference(a.plan, b.plan))
        throw BadInput(what + " of seam " + a.seam + " was made with another " + to_string(*part) + " than " +
                       other + ": they belong to different plans");
    if (a.pass != b.pass)
        throw BadInput(what + " of seam " + a.seam + " belongs to another plan than " + other +
                       ": the seam's shape, direction, speed or power, or the head's way over it, differs");
}

} // namespace seamhold

#endif
