#ifndef SEAMHOLD_RECORD_HINT_HPP
#define SEAMHOLD_RECORD_HINT_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/verdict.hpp"
#include "seamhold/record/verdict_words.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

/// A first hint at the cause of what was found. The rules are the shop's own: which causes there are, and
/// what they do to which signal, depends on the sensors, the material and the joint. A hint says where to
/// look first. It is no diagnosis, and nothing is to be released or scrapped by it.
namespace seamhold {

/// How a signal lies in its band at a place, as far as the verdict has it: what was found there.
enum class SignalState : std::uint8_t {
    below,   ///< something was found below
    above,   ///< something was found above
    outside, ///< something was found, on either side
    inside   ///< it was seen, and nothing was found
};

/// The same in words.
constexpr char const* to_string(SignalState state) {
    constexpr char const* names[] = {"below", "above", "outside", "inside"};
    return names[static_cast<std::size_t>(state)];
}

/// What one channel must show.
struct HintCondition {
    std::string channel; ///< its name
    SignalState state;
};

/// What speaks for a cause: all conditions at the same place, over a length.
struct HintRule {
    std::string cause; ///< in the shop's words: "gap between the sheets"
    std::vector<HintCondition> conditions;
    /// What every channel must show that no condition names; nothing is asked of them where it is not there.
    /// Without conditions it speaks of all channels.
    std::optional<SignalState> others;
    double shortest = 0;                 ///< the conditions must hold together over so long a stretch, m
    std::optional<std::string> material; ///< only for a seam of which this is said: "coated"
};

/// A hint at a cause.
struct Hint {
    std::string cause; ///< as in the rule
    double from, to;   ///< along the seam, m
    std::string words; ///< for a reader; they begin with "hint: "
};

/// The channels that a rule names.
inline std::vector<std::string> channels_named(HintRule const& rule) {
    std::vector<std::string> names;
    for (auto const& condition : rule.conditions)
        names.push_back(condition.channel);
    return names;
}

/// Throws BadInput, naming the rule, for one without a cause, without a condition that something was found
/// (it would speak of every good part), with a channel twice, with a channel that `channels` does not have,
/// with an empty material, or with a length that is negative or not finite.
inline void check_hint_rule(HintRule const& rule, std::vector<std::string> const& channels) {
    if (rule.cause.empty())
        throw BadInput("a rule for hints has no cause");
    auto const refuse = [&](std::string const& what) {
        throw BadInput("the rule for the hint \"" + rule.cause + "\" " + what);
    };
    auto const refuse_unknown = [&](std::string const& name) {
        std::string known;
        for (auto const& channel : channels) {
            known += known.empty() ? "" : ", ";
            known += channel;
        }
        refuse("names the channel " + name + ", which is not there; there are " + known);
    };
    bool asks_for_a_fault = rule.others && *rule.others != SignalState::inside;
    for (std::size_t i = 0; i < rule.conditions.size(); ++i) {
        auto const& name = rule.conditions[i].channel;
        asks_for_a_fault = asks_for_a_fault || rule.conditions[i].state != SignalState::inside;
        for (std::size_t k = 0; k < i; ++k)
            if (rule.conditions[k].channel == name)
                refuse("names the channel " + name + " twice");
        if (std::find(channels.begin(), channels.end(), name) == channels.end())
            refuse_unknown(name);
    }
    if (!asks_for_a_fault)
        refuse("asks for no channel to be below, above or outside");
    if (!(rule.shortest >= 0) || !is_finite(rule.shortest))
        refuse("needs a length of 0 or more; given was " + detail::text_of(rule.shortest) + " m");
    if (rule.material && rule.material->empty())
        refuse("has an empty material");
}

namespace detail {

/// Whether what was found in a channel is as a condition asks, between two places of the seam with nothing
/// beginning or ending between them.
inline bool holds(SeamVerdict const& verdict, std::size_t channel, SignalState state, double from,
                  double to) {
    double const middle = 0.5 * (from + to);
    bool below = false, above = false, unseen = false;
    for (auto const& found : verdict.findings)
        if (found.channel == channel && found.from < middle && middle < found.to)
            (found.side == BandSide::below ? below : above) = true;
    for (auto const& stretch : verdict.unseen)
        if (stretch.channel == channel && stretch.from < middle && middle < stretch.to)
            unseen = true;
    switch (state) {
    case SignalState::below:
        return below;
    case SignalState::above:
        return above;
    case SignalState::outside:
        return below || above;
    case SignalState::inside:
        return !below && !above && !unseen;
    }
    return false;
}

/// Places between which nothing begins or ends, in order.
inline std::vector<double> places_of_change(SeamVerdict const& verdict) {
    std::vector<double> places{0, verdict.length};
    for (auto const& found : verdict.findings)
        places.insert(places.end(), {found.from, found.to});
    for (auto const& stretch : verdict.unseen)
        places.insert(places.end(), {stretch.from, stretch.to});
    std::sort(places.begin(), places.end());
    places.erase(std::unique(places.begin(), places.end()), places.end());
    return places;
}

/// What a rule asks of each channel of a verdict; nothing of those that it does not name.
inline std::vector<std::optional<SignalState>> states_asked(HintRule const& rule,
                                                            std::vector<std::string> const& channels) {
    std::vector<std::optional<SignalState>> states(channels.size(), rule.others);
    for (auto const& condition : rule.conditions)
        for (std::size_t c = 0; c < channels.size(); ++c)
            if (channels[c] == condition.channel)
                states[c] = condition.state;
    return states;
}

} // namespace detail

/// Hints at causes, in the order of the rules, then along the seam. `materials` is what is said of the seam's
/// material: {"coated"}. Where two rules hold at one place both speak. Throws BadInput for a rule that does
/// not hold (`check_hint_rule`): a rule that names a channel which is not there would be silent for ever.
inline std::vector<Hint> hints(SeamVerdict const& verdict, std::vector<HintRule> const& rules,
                               std::vector<std::string> const& materials = {}) {
    auto const places = detail::places_of_change(verdict);
    std::vector<Hint> all;
    for (auto const& rule : rules) {
        check_hint_rule(rule, verdict.channels);
        if (rule.material && std::find(materials.begin(), materials.end(), *rule.material) == materials.end())
            continue;
        auto const asked = detail::states_asked(rule, verdict.channels);
        bool const asks_for_a_fault = std::any_of(asked.begin(), asked.end(), [](auto const& state) {
            return state && *state != SignalState::inside;
        });
        if (!asks_for_a_fault) // all channels are named, and nobody is left whom `others` could mean
            throw BadInput("the rule for the hint \"" + rule.cause +
                           "\" asks for no channel to be below, above or outside: it names all of them");
        std::string shown;
        for (std::size_t c = 0; c < asked.size(); ++c)
            if (asked[c])
                shown += (shown.empty() ? "" : ", ") + verdict.channels[c] + " " + to_string(*asked[c]);
        auto const hold = [&](std::size_t i) {
            for (std::size_t c = 0; c < asked.size(); ++c)
                if (asked[c] && !detail::holds(verdict, c, *asked[c], places[i], places[i + 1]))
                    return false;
            return true;
        };
        for (std::size_t i = 0; i + 1 < places.size(); ++i) {
            std::size_t end = i;
            while (end + 1 < places.size() && hold(end))
                ++end;
            double const from = places[i], to = places[end];
            // Up to the last bits of lengths that are sums of cells.
            if (end > i && to - from >= rule.shortest * (1 - 1e-12))
                all.push_back({rule.cause, from, to,
                               "hint: " + rule.cause + ", at " + detail::text_of_stretch(from, to) + " (" +
                                   shown + ")"});
            i = end > i ? end - 1 : i;
        }
    }
    return all;
}

} // namespace seamhold

#endif
