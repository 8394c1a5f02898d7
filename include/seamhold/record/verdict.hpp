#ifndef SEAMHOLD_RECORD_VERDICT_HPP
#define SEAMHOLD_RECORD_VERDICT_HPP

#include "seamhold/record/seam_key.hpp"
#include "seamhold/record/seam_trace.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// On which side of the band.
enum class BandSide : std::uint8_t { below, above };

/// The same in words.
constexpr char const* to_string(BandSide side) { return side == BandSide::below ? "below" : "above"; }

/// What makes a part not good, for each channel and each side of the band alone. A rule that is not there is
/// not asked. All lengths are along the seam.
struct JudgeRules {
    std::optional<double> longest_run = 0.0; ///< a stretch outside may be this long at most, m
    std::optional<double> share_outside;     ///< of the seam's length that may lie outside in all, 0 to 1
    /// Area between trace and limit that may lie outside in all, in half widths of the band (from its centre
    /// to the limit) times m.
    std::optional<double> area_outside;
    /// A cell counts as seen from this share of its length on, above 0 and up to 1.
    double least_covered = 0.5;
    /// So much of the seam may stay unseen in a channel, m; with more the part is not judged, which is not
    /// good either.
    double longest_unseen = 0;

    friend bool operator==(JudgeRules const&, JudgeRules const&) = default;
};

/// By which rule something was found.
enum class FindingRule : std::uint8_t { run, share, area };

/// The same in words.
constexpr char const* to_string(FindingRule rule) {
    constexpr char const* names[] = {"run", "share", "area"};
    return names[static_cast<std::size_t>(rule)];
}

/// A place where a signal lies outside of its band.
struct Finding {
    std::size_t channel; ///< from 0
    BandSide side;
    FindingRule rule;
    double from, to; ///< along the seam, m; for share and area: from the first place outside to the last
    double outside;  ///< length that lies outside between them, m
    double area;     ///< between trace and limit, half widths times m
    double worst;    ///< how far outside at the worst cell, half widths beyond the limit
    double worst_at; ///< the middle of that cell, m
};

/// What is said of a weld.
enum class Judgement : std::uint8_t {
    good,      ///< within the rules
    not_good,  ///< something was found
    not_judged ///< too little was seen, and nothing was found in the rest: nobody can say that it is good
};

/// The same in words.
constexpr char const* to_string(Judgement judgement) {
    constexpr char const* names[] = {"good", "not good", "not judged"};
    return names[static_cast<std::size_t>(judgement)];
}

/// A stretch of the seam that a channel did not see.
struct Unseen {
    std::size_t channel; ///< from 0
    double from, to;     ///< m
};

/// The verdict on one weld.
struct SeamVerdict {
    SeamKey key;
    std::string part;                  ///< as in the trace
    double date;                       ///< as in the trace, days
    double length;                     ///< of the seam, m
    std::vector<std::string> channels; ///< their names
    Judgement judgement;
    std::vector<Finding> findings; ///< in order of channels, then along the seam
    std::vector<Unseen> unseen;
    std::vector<FaultSpan> faults; ///< of the samples, from the trace
};

} // namespace seamhold

#endif
