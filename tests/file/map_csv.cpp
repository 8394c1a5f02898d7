#include "seamhold/file/map_csv.hpp"

#include "map/scenes.hpp"
#include "small_disk.hpp"
#include "support/refusal.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <string>
#include <vector>

// Maps as text for other programs: every byte written by hand.

using namespace seamhold;
using seamhold::test::content_of;
using seamhold::test::has;
using seamhold::test::known_question;
using seamhold::test::refusal_of;
using seamhold::test::small_space;
using seamhold::test::SmallDisk;
using seamhold::test::TemporaryFolder;

namespace {

AnswerTable table_by_hand() {
    Candidates const grid(
        {{axis("speed", "m/s", 1, 0.1, 0.3, 2), choice("head", {"wide", "narrow, \"new\""})}});
    constexpr double nan = std::numeric_limits<double>::quiet_NaN();
    return {grid,
            {{"margin", "", {}}, {"takt, beam on", "s", {}}, {"limit", "", {"none", "reach"}}},
            {0.5, 1.0 / 3, 0, -0.0, 1e300, 1, -2, nan, 2, nan, nan, nan}};
}

} // namespace

TEST_CASE("a table as text: names with units, the fewest digits, choices and limits in words") {
    TemporaryFolder const folder;
    write_map(folder / "map.csv", table_by_hand());
    CHECK(content_of(folder / "map.csv") == "speed [m/s],head,margin,\"takt, beam on [s]\",limit\n"
                                            "0.1,wide,0.5,0.3333333333333333,none\n"
                                            "0.3,wide,-0,1e+300,reach\n"
                                            "0.1,\"narrow, \"\"new\"\"\",-2,nan,2\n"
                                            "0.3,\"narrow, \"\"new\"\"\",nan,nan,nan\n");
    // Rows of one's choice, in that order.
    write_map(folder / "map.csv", table_by_hand(), {1, 0});
    CHECK(content_of(folder / "map.csv") == "speed [m/s],head,margin,\"takt, beam on [s]\",limit\n"
                                            "0.3,wide,-0,1e+300,reach\n"
                                            "0.1,wide,0.5,0.3333333333333333,none\n");
    write_map(folder / "map.csv", table_by_hand(), {});
    CHECK(content_of(folder / "map.csv") == "speed [m/s],head,margin,\"takt, beam on [s]\",limit\n");
}

TEST_CASE("an edge as text: from where to where along each axis, and which choice") {
    TemporaryFolder const folder;
    RefinedEdge edge{table_by_hand(), {{{0.1, 0}, {0.2, 0}}, {{0.2, 1}, {0.3, 1}}}, 4, 4, true};
    write_edge(folder / "edge.csv", edge);
    CHECK(content_of(folder / "edge.csv") == "speed from [m/s],speed to [m/s],head\n"
                                             "0.1,0.2,wide\n"
                                             "0.2,0.3,\"narrow, \"\"new\"\"\"\n");
}

TEST_CASE("where the disk is full, the text that stood there still stands") {
    TemporaryFolder const folder;
    folder.file("map.csv", "before");
    auto const run = run_map(Candidates(small_space(33)), known_question());
    CHECK(has(refusal_of([&] {
                  SmallDisk const disk(5000);
                  write_map(folder / "map.csv", run.table);
                  return 0;
              }),
              "map.csv: cannot be written: File too large"));
    CHECK(content_of(folder / "map.csv") == "before");
    CHECK(folder.names().size() == 1);
}
