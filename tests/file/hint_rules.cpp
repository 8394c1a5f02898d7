#include "seamhold/file/hint_rules.hpp"

#include "temporary.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::content_of;
using seamhold::test::message_of;
using seamhold::test::place_of;
using seamhold::test::TemporaryFolder;

namespace {

// Common practice, no source: a gap lowers plume light and heat; contamination pushes returned light out.
constexpr char const* good = R"(# our own experience
[[hint]]
cause = "gap between the sheets"
below = ["plume light", "heat"]
others = "inside"
shortest_mm = 0.5

[[hint]]
cause = "no gap between coated sheets"
above = ["plume light"]
inside = ["returned light"]
material = "coated"

[[hint]]
cause = "contamination"
outside = ["returned light"]

[[hint]]
cause = "too little power"
others = "outside"
)";

std::string refused(std::string const& text) {
    TemporaryFolder const folder;
    return message_of([&] { read_hint_rules(folder.file("hints.toml", text)); });
}

void check_same(std::vector<HintRule> const& a, std::vector<HintRule> const& b) {
    REQUIRE(a.size() == b.size());
    for (std::size_t i = 0; i < a.size(); ++i) {
        CHECK(a[i].cause == b[i].cause);
        REQUIRE(a[i].conditions.size() == b[i].conditions.size());
        for (std::size_t k = 0; k < a[i].conditions.size(); ++k) {
            CHECK(a[i].conditions[k].channel == b[i].conditions[k].channel);
            CHECK(a[i].conditions[k].state == b[i].conditions[k].state);
        }
        CHECK(a[i].others == b[i].others);
        CHECK(a[i].shortest == doctest::Approx(b[i].shortest).epsilon(1e-15)); // mm and back: last bit
        CHECK(a[i].material == b[i].material);
    }
}

} // namespace

TEST_CASE("rules for hints from a file") {
    TemporaryFolder const folder;
    auto const rules = read_hint_rules(folder.file("hints.toml", good));
    check_same(rules, {{"gap between the sheets",
                        {{"plume light", SignalState::below}, {"heat", SignalState::below}},
                        SignalState::inside,
                        0.0005,
                        {}},
                       {"no gap between coated sheets",
                        {{"plume light", SignalState::above}, {"returned light", SignalState::inside}},
                        {},
                        0,
                        "coated"},
                       {"contamination", {{"returned light", SignalState::outside}}, {}, 0, {}},
                       {"too little power", {}, SignalState::outside, 0, {}}});
}

TEST_CASE("rules for hints go to a file and come back") {
    TemporaryFolder const folder;
    auto const rules = read_hint_rules(folder.file("hints.toml", good));
    write_hint_rules(folder / "again.toml", rules);
    check_same(read_hint_rules(folder / "again.toml"), rules);
    CHECK(content_of(folder / "again.toml") == text_of(rules));
    // Texts that need care: a quote, a backslash, a control character, letters beyond ASCII.
    std::vector<HintRule> const odd{
        {"Spalt über 0,3 mm", {{"a \"b\" \\c\t", SignalState::above}}, {}, 1.0 / 3, {}}};
    write_hint_rules(folder / "odd.toml", odd);
    check_same(read_hint_rules(folder / "odd.toml"), odd);
    // What could not be read back is not written.
    CHECK(message_of([&] {
              write_hint_rules(folder / "bad.toml", {{"x", {}, {}, 0, {}}});
          }) == "the rule for the hint \"x\" asks for no channel to be below, above or outside");
    CHECK(folder.names().size() == 3);
}

TEST_CASE("errors in a file of rules say where") {
    CHECK(refused("") == "hints.toml:1:1: hint: this key is missing");
    std::string const unknown = "[[hint]]\ncause = \"gap\"\nbelow = [\"heat\"]\nabve = [\"plume\"]\n";
    CHECK(refused(unknown) == "hints.toml:" + place_of("abve", unknown) +
                                  ": hint.abve: this key is not known here; known are cause, below, above, "
                                  "outside, inside, others, shortest_mm, material");
    std::string const no_cause = "[[hint]]\nbelow = [\"heat\"]\n";
    CHECK(refused(no_cause) == "hints.toml:1:1: hint.cause: this key is missing");
    std::string const nothing = "[[hint]]\ncause = \"gap\"\ninside = [\"heat\"]\n";
    CHECK(refused(nothing) ==
          "hints.toml:" + place_of("\"gap\"", nothing) +
              ": hint.cause: the rule for the hint \"gap\" asks for no channel to be below, "
              "above or outside");
    std::string const state = "[[hint]]\ncause = \"gap\"\nothers = \"beneath\"\n";
    CHECK(refused(state) ==
          "hints.toml:" + place_of("\"beneath\"", state) +
              ": hint.others: \"beneath\" is not allowed; allowed are \"below\", \"above\", "
              "\"outside\", \"inside\"");
    std::string const negative = "[[hint]]\ncause = \"gap\"\nbelow = [\"heat\"]\nshortest_mm = -1\n";
    CHECK(refused(negative) == "hints.toml:" + place_of("-1", negative) +
                                   ": hint.shortest_mm: -1 is not allowed: it must be at least 0");
    std::string const twice = "[[hint]]\ncause = \"gap\"\nbelow = [\"heat\"]\nabove = [\"heat\"]\n";
    CHECK(refused(twice).find("names the channel heat twice") != std::string::npos);
    std::string const word = "[[hint]]\ncause = \"gap\"\nbelow = \"heat\"\n";
    CHECK(refused(word) == "hints.toml:" + place_of("\"heat\"", word) +
                               ": hint.below: a list of texts is needed, given is the text \"heat\"");
    CHECK(refused("[[hint]\n").find("hints.toml:1:") == 0);
}
