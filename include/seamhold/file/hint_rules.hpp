#ifndef SEAMHOLD_FILE_HINT_RULES_HPP
#define SEAMHOLD_FILE_HINT_RULES_HPP

#include "seamhold/file/text.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/file/write.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/record/hint.hpp"

#include <algorithm>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

/// Rules for hints as a file that a shop edits.
namespace seamhold {

namespace detail {

inline constexpr SignalState signal_states[] = {SignalState::below, SignalState::above, SignalState::outside,
                                                SignalState::inside};

inline HintRule read_hint_rule(TomlTable table) {
    HintRule rule{table.text("cause"), {}, {}, 0, {}};
    for (SignalState const state : signal_states)
        if (table.has(to_string(state)))
            for (auto const& channel : table.texts(to_string(state)))
                rule.conditions.push_back({channel, state});
    if (table.has("others"))
        rule.others =
            table.choice<SignalState>("others", {{to_string(SignalState::below), SignalState::below},
                                                 {to_string(SignalState::above), SignalState::above},
                                                 {to_string(SignalState::outside), SignalState::outside},
                                                 {to_string(SignalState::inside), SignalState::inside}});
    rule.shortest = millimetres(table.number_or("shortest_mm", 0, zero_or_more));
    if (table.has("material"))
        rule.material = table.text("material");
    table.told_where("cause", [&] { check_hint_rule(rule, channels_named(rule)); });
    table.finish();
    return rule;
}

/// A text as TOML writes it in quotes.
inline std::string quoted_toml(std::string_view text) {
    constexpr char hex[] = "0123456789abcdef";
    std::string quoted = "\"";
    for (char const c : text) {
        auto const byte = static_cast<unsigned char>(c);
        if (c == '"' || c == '\\') {
            quoted += '\\';
            quoted += c;
        } else if (byte < 0x20 || byte == 0x7f) {
            quoted += "\\u00";
            quoted += hex[byte >> 4U];
            quoted += hex[byte & 15U];
        } else {
            quoted += c;
        }
    }
    return quoted + "\"";
}

} // namespace detail

/// The rules of a TOML file, a list of tables `[[hint]]`, each with `cause`; `below`, `above`, `outside` and
/// `inside`, lists of channels; `others`, one of these words, for the channels that are not named;
/// `shortest_mm`; and `material`. All but the cause may be left out, but something must be asked to be below,
/// above or outside. Whether the channels are there, `hints` says. Throws BadInput with file, row, column and
/// key for what is missing, unknown or not allowed.
inline std::vector<HintRule> read_hint_rules(std::filesystem::path const& path) {
    std::string const name = path.string();
    auto const root = detail::read_toml(path);
    detail::TomlTable table(name, root, "");
    std::vector<HintRule> rules;
    for (auto const& one : table.tables("hint"))
        rules.push_back(detail::read_hint_rule(one));
    table.finish();
    return rules;
}

/// The text of that file; it reads back as the same rules, with the conditions of a rule in the order below,
/// above, outside, inside, and lengths to a unit in the last place.
inline std::string text_of(std::vector<HintRule> const& rules) {
    std::string text = "# Hints at causes. Which channel does what is this shop's own experience.\n";
    for (auto const& rule : rules) {
        text += "\n[[hint]]\ncause = " + detail::quoted_toml(rule.cause) + "\n";
        for (SignalState const state : detail::signal_states) {
            std::vector<std::string> channels;
            for (auto const& condition : rule.conditions)
                if (condition.state == state)
                    channels.push_back(detail::quoted_toml(condition.channel));
            if (!channels.empty())
                text += std::string(to_string(state)) + " = [" + detail::joined(channels) + "]\n";
        }
        if (rule.others)
            text += "others = \"" + std::string(to_string(*rule.others)) + "\"\n";
        if (rule.shortest > 0)
            text += "shortest_mm = " + detail::shortest(in_millimetres(rule.shortest)) + "\n";
        if (rule.material)
            text += "material = " + detail::quoted_toml(*rule.material) + "\n";
    }
    return text;
}

/// Writes that file, whole or not at all (`WholeFile`). Throws BadInput for a rule that `check_hint_rule`
/// refuses, whatever channels there are, and where the file cannot be written.
inline void write_hint_rules(std::filesystem::path const& path, std::vector<HintRule> const& rules) {
    for (auto const& rule : rules)
        check_hint_rule(rule, channels_named(rule));
    write_text(path, text_of(rules));
}

} // namespace seamhold

#endif
