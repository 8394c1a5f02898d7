#ifndef SEAMHOLD_RECORD_SIGNAL_BAND_HPP
#define SEAMHOLD_RECORD_SIGNAL_BAND_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/record/cells.hpp"
#include "seamhold/record/seam_key.hpp"
#include "seamhold/record/verdict.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// By which rule limits are drawn from good parts. "Coverage" is a share of good parts, "confidence" the
/// probability that the limits, which come from a few parts, cover that share.
enum class LimitRule : std::uint8_t {
    /// At each cell alone the share lies between the limits, if readings scatter normally from part to part.
    /// Over a thousand cells nearly every good part has some outside.
    normal,
    /// At each cell alone, whatever the distribution: the limits are readings that were seen.
    distribution_free,
    /// The share of parts passes the judge as a whole, over all cells and channels together, if readings
    /// scatter normally: limits for a wanted rate of false alarms.
    whole_part
};

/// The same in words.
constexpr char const* to_string(LimitRule rule) {
    constexpr char const* names[] = {"normal, each cell", "distribution-free, each cell",
                                     "normal, whole part"};
    return names[static_cast<std::size_t>(rule)];
}

/// The limits that a user asks for.
struct BandWish {
    LimitRule rule = LimitRule::whole_part;
    double coverage = 0.99;   ///< in (0, 1)
    double confidence = 0.95; ///< in (0, 1); for the whole part, whose limits are simulated, up to 0.9948
};

/// One channel's limits, one number a cell, in the sensor's unit.
struct ChannelBand {
    std::string name;
    std::vector<double> centre;
    std::vector<double> low;  ///< below `centre`
    std::vector<double> high; ///< above `centre`
};

/// Between which limits the signals of a good part stay along one seam. Immutable in use; made by
/// `BandLearner`.
struct SignalBand {
    SeamKey key;
    Cells cells;
    std::vector<ChannelBand> channels;
    BandWish wish;
    double factor;       ///< of the deviations from part to part, for the normal rules; 0 for the other
    std::uint64_t parts; ///< that it was learnt from
    /// By which it judges. Limits for the whole part were drawn for them, and hold for no others.
    JudgeRules rules = {};
};

/// Throws BadInput, naming what differs, where limits for the whole part were drawn for other rules than
/// these: its wished share of good parts passes by its own rules only. Limits at each cell alone know of no
/// rules and go with any.
inline void check_judge_rules(SignalBand const& band, JudgeRules const& rules) {
    if (band.wish.rule != LimitRule::whole_part || rules == band.rules)
        return;
    std::string differ;
    auto const hold = [&](std::string const& what, std::optional<double> const& drawn,
                          std::optional<double> const& given) {
        if (drawn == given)
            return;
        auto const said = [](std::optional<double> const& x) { return x ? detail::text_of(*x) : "none"; };
        differ +=
            (differ.empty() ? "" : ", ") + what + " " + said(drawn) + " there, " + said(given) + " here";
    };
    hold("longest run, m:", band.rules.longest_run, rules.longest_run);
    hold("share outside:", band.rules.share_outside, rules.share_outside);
    hold("area outside, half widths times m:", band.rules.area_outside, rules.area_outside);
    hold("least covered:", band.rules.least_covered, rules.least_covered);
    hold("longest unseen, m:", band.rules.longest_unseen, rules.longest_unseen);
    throw BadInput("the limits of seam " + band.key.seam +
                   " are for the whole part and were drawn for other rules of the judge (" + differ +
                   "); judge by the band's own rules, or draw it for these");
}

} // namespace seamhold

#endif
