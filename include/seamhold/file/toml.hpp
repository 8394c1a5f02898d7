#ifndef SEAMHOLD_FILE_TOML_HPP
#define SEAMHOLD_FILE_TOML_HPP

#include "seamhold/file/read.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/number/bad_input.hpp"

#include <toml++/toml.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstddef>
#include <filesystem>
#include <initializer_list>
#include <limits>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

/// Strict reading of TOML: every key is asked for, checked and accounted for, and every error says where.
namespace seamhold::detail {

/// What a number in a file may be.
struct Allowed {
    double low = -std::numeric_limits<double>::infinity();
    double high = std::numeric_limits<double>::infinity();
    bool low_itself = true;  ///< whether `low` is allowed
    bool high_itself = true; ///< whether `high` is allowed

    bool operator()(double x) const {
        return is_finite(x) && (low_itself ? x >= low : x > low) && (high_itself ? x <= high : x < high);
    }

    std::string text() const {
        std::string words;
        if (is_finite(low))
            words = (low_itself ? "at least " : "above ") + shortest(low);
        if (is_finite(high))
            words += (words.empty() ? "" : " and ") + std::string(high_itself ? "at most " : "below ") +
                     shortest(high);
        return words.empty() ? "finite" : words;
    }
};

inline constexpr Allowed any_number{};
inline constexpr Allowed above_zero{0, std::numeric_limits<double>::infinity(), false};
inline constexpr Allowed zero_or_more{0};

/// A table of a TOML file. Each key that is asked for becomes a known one; `finish` refuses all others.
class TomlTable {
public:
    TomlTable(std::string const& file, toml::table const& table, std::string name)
        : file_(file), table_(table), name_(std::move(name)) {}

    /// Whether the key is there. It counts as known.
    bool has(std::string_view key) {
        if (std::find(known_.begin(), known_.end(), key) == known_.end())
            known_.emplace_back(key);
        return table_.contains(key);
    }

    double number(std::string_view key, Allowed const& allowed) {
        return checked(required(key), key, "a number", allowed);
    }

    double number_or(std::string_view key, double otherwise, Allowed const& allowed) {
        return has(key) ? number(key, allowed) : otherwise;
    }

    template <std::size_t N> std::array<double, N> numbers(std::string_view key) {
        std::string const wanted = std::string("[") + joined(std::vector<std::string>(N, "number")) + "]";
        toml::node const& node = required(key);
        auto const* const list = node.as_array();
        if (list == nullptr || list->size() != N)
            fail(node, key, wanted + " is needed, given is " + given(node));
        std::array<double, N> values{};
        for (std::size_t i = 0; i < N; ++i)
            values[i] = checked((*list)[i], key, wanted, any_number);
        return values;
    }

    /// A list of one list of N numbers or more.
    template <std::size_t N> std::vector<std::array<double, N>> lists(std::string_view key) {
        std::string const wanted =
            std::string("a list of [") + joined(std::vector<std::string>(N, "number")) + "]";
        toml::node const& node = required(key);
        auto const* const list = node.as_array();
        if (list == nullptr || list->empty())
            fail(node, key, wanted + " is needed, given is " + given(node));
        std::vector<std::array<double, N>> values;
        for (auto const& item : *list) {
            auto const* const inner = item.as_array();
            if (inner == nullptr || inner->size() != N)
                fail(item, key, wanted + " is needed, given is " + given(item));
            std::array<double, N> numbers{};
            for (std::size_t i = 0; i < N; ++i)
                numbers[i] = checked((*inner)[i], key, wanted, any_number);
            values.push_back(numbers);
        }
        return values;
    }

    /// A whole number from 1 to `most`.
    std::size_t count(std::string_view key, std::size_t most) {
        toml::node const& node = required(key);
        auto const* const whole = node.as_integer();
        if (whole == nullptr || whole->get() < 1 || static_cast<std::size_t>(whole->get()) > most)
            fail(node, key,
                 given(node) + " is not allowed: it must be a whole number from 1 to " +
                     std::to_string(most));
        return static_cast<std::size_t>(whole->get());
    }

    /// A date, or a date with a time of the day and no offset, in days since 1970-01-01.
    double date(std::string_view key) {
        toml::node const& node = required(key);
        toml::date day{};
        double share = 0;
        if (auto const* const whole = node.as_date()) {
            day = whole->get();
        } else if (auto const* const moment = node.as_date_time(); moment && !moment->get().offset) {
            auto const& time = moment->get().time;
            day = moment->get().date;
            share = (time.hour * 3600.0 + time.minute * 60.0 + time.second + 1e-9 * time.nanosecond) / 86400;
        } else {
            fail(node, key,
                 "a date is needed, as 2026-11-27 or 2026-11-27T08:30:00, given is " + given(node));
        }
        std::chrono::year_month_day const date{std::chrono::year(day.year), std::chrono::month(day.month),
                                               std::chrono::day(day.day)};
        return static_cast<double>(std::chrono::sys_days(date).time_since_epoch().count()) + share;
    }

    /// Two numbers, the first below the second, both allowed.
    std::array<double, 2> range(std::string_view key, Allowed const& allowed) {
        auto const values = numbers<2>(key);
        for (double const value : values)
            if (!allowed(value))
                fail(key, shortest(value) + " is not allowed: it must be " + allowed.text());
        if (!(values[0] < values[1]))
            fail(key, "the first must be below the second");
        return values;
    }

    /// Which of some keys is there; fails unless it is exactly one.
    std::string one_of(std::initializer_list<char const*> keys) {
        std::string found, words;
        std::size_t left = keys.size();
        int count = 0;
        for (char const* const key : keys) {
            words += std::string(words.empty() ? "" : left == 1 ? " and " : ", ") + key;
            --left;
            if (has(key)) {
                found = key;
                ++count;
            }
        }
        if (count != 1)
            fail(count == 0 ? std::string(*keys.begin()) : found, "exactly one of " + words + " is needed");
        return found;
    }

    /// Whether what stands at a key is a text.
    bool is_text(std::string_view key) { return has(key) && table_.get(key)->is_string(); }

    std::string text(std::string_view key) {
        toml::node const& node = required(key);
        if (!node.is_string())
            fail(node, key, "a text in quotes is needed, given is " + given(node));
        return node.as_string()->get();
    }

    /// A text that stands in names of files and columns: not empty, no comma, quote, control character, nor
    /// space at its ends.
    std::string name(std::string_view key) {
        std::string value = text(key);
        bool const bad = std::any_of(value.begin(), value.end(), [](char c) {
            return c == ',' || c == '"' || (static_cast<unsigned char>(c) < 0x20) || c == 0x7f;
        });
        if (bad || value.empty() || value.front() == ' ' || value.back() == ' ')
            fail(*table_.get(key), key,
                 shown(value) +
                     " is no name: it must not be empty, have spaces at its ends, or hold a comma, a "
                     "quote or a control character");
        return value;
    }

    std::vector<std::string> texts(std::string_view key) {
        toml::node const& node = required(key);
        std::vector<std::string> values;
        if (auto const* const list = node.as_array())
            for (auto const& item : *list)
                if (auto const* const word = item.as_string())
                    values.push_back(word->get());
        if (values.empty() || values.size() != node.as_array()->size())
            fail(node, key, "a list of texts is needed, given is " + given(node));
        return values;
    }

    bool truth_or(std::string_view key, bool otherwise) {
        if (!has(key))
            return otherwise;
        toml::node const& node = required(key);
        if (!node.is_boolean())
            fail(node, key, "true or false is needed, given is " + given(node));
        return node.as_boolean()->get();
    }

    /// One of some words, as what it stands for.
    template <class T>
    T choice(std::string_view key, std::initializer_list<std::pair<char const*, T>> const& choices) {
        std::string const word = text(key);
        std::vector<std::string> words;
        for (auto const& [name, value] : choices) {
            if (word == name)
                return value;
            words.push_back(shown(name));
        }
        fail(*table_.get(key), key, shown(word) + " is not allowed; allowed are " + joined(words));
    }

    TomlTable table(std::string_view key) {
        toml::node const& node = required(key);
        if (!node.is_table())
            fail(node, key, "a table is needed, given is " + given(node));
        return {file_, *node.as_table(), path_of(key)};
    }

    /// A list of one table or more.
    std::vector<TomlTable> tables(std::string_view key) {
        toml::node const& node = required(key);
        auto const* const list = node.as_array();
        if (list == nullptr || list->empty() ||
            !std::all_of(list->begin(), list->end(), [](auto const& item) { return item.is_table(); }))
            fail(node, key, "a list of tables is needed, given is " + given(node));
        std::vector<TomlTable> all;
        for (auto const& item : *list)
            all.emplace_back(file_, *item.as_table(), path_of(key));
        return all;
    }

    /// What `make` returns; a BadInput that it throws is told where this key stands.
    template <class Make> auto told_where(std::string_view key, Make&& make) const {
        try {
            return make();
        } catch (BadInput const& error) {
            fail(key, error.what());
        }
    }

    /// Throws BadInput at a key, or at the table where it does not have the key.
    [[noreturn]] void fail(std::string_view key, std::string const& what) const {
        auto const* const node = table_.get(key);
        fail(node != nullptr ? *node : table_, key, what);
    }

    /// Throws BadInput at the first key that nobody asked for.
    void finish() const {
        for (auto const& [key, node] : table_)
            if (std::find(known_.begin(), known_.end(), key.str()) == known_.end())
                throw BadInput(place(key.source()) + path_of(key.str()) +
                               ": this key is not known here; known are " + joined(known_));
    }

private:
    static std::string given(toml::node const& node) {
        if (auto const* const value = node.as_string())
            return "the text " + shown(value->get());
        if (auto const* const value = node.as_integer())
            return std::to_string(value->get());
        if (auto const* const value = node.as_floating_point())
            return shortest(value->get());
        if (auto const* const value = node.as_boolean())
            return value->get() ? "true" : "false";
        if (auto const* const list = node.as_array())
            return "a list of " + std::to_string(list->size());
        return node.is_table() ? "a table" : "a date or time";
    }

    toml::node const& required(std::string_view key) {
        if (!has(key))
            throw BadInput(place(table_.source()) + path_of(key) + ": this key is missing");
        return *table_.get(key);
    }

    double checked(toml::node const& node, std::string_view key, std::string const& wanted,
                   Allowed const& allowed) const {
        if (!node.is_number())
            fail(node, key, wanted + " is needed, given is " + given(node));
        double const value = node.is_integer() ? static_cast<double>(node.as_integer()->get())
                                               : node.as_floating_point()->get();
        if (!allowed(value))
            fail(node, key, given(node) + " is not allowed: it must be " + allowed.text());
        return value;
    }

    [[noreturn]] void fail(toml::node const& node, std::string_view key, std::string const& what) const {
        throw BadInput(place(node.source()) + path_of(key) + ": " + what);
    }

    std::string path_of(std::string_view key) const {
        return name_.empty() ? std::string(key) : name_ + "." + std::string(key);
    }

    std::string place(toml::source_region const& source) const {
        return file_ + ":" + std::to_string(source.begin.line) + ":" + std::to_string(source.begin.column) +
               ": ";
    }

    std::string const& file_;
    toml::table const& table_;
    std::string name_;
    std::vector<std::string> known_;
};

/// The tables of a TOML file. Throws BadInput with file, row and column where it cannot be read.
inline toml::table read_toml(std::filesystem::path const& path) {
    std::string const text = read_text(path);
    try {
        return toml::parse(text);
    } catch (toml::parse_error const& error) {
        auto const& begin = error.source().begin;
        throw BadInput(path.string() + ":" + std::to_string(begin.line) + ":" + std::to_string(begin.column) +
                       ": " + std::string(error.description()));
    }
}

} // namespace seamhold::detail

#endif
