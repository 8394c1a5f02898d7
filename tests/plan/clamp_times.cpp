#include "seamhold/plan/clamp_times.hpp"

#include <doctest/doctest.h>

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const infinity = std::numeric_limits<double>::infinity();
double const not_a_number = std::numeric_limits<double>::quiet_NaN();

ClampTime clamp(std::string name, std::vector<std::string> seams, double closed_from, double open_from) {
    return {std::move(name), std::move(seams), closed_from, open_from};
}

} // namespace

TEST_CASE("by hand: windows are cut to the time from the last clamp's closing to the first one's opening") {
    std::vector<ClampTime> const clamps{clamp("left", {"a", "b"}, 1, 9), clamp("right", {"a"}, 2, 6),
                                        clamp("far", {"c"}, 100, 200)};
    auto const a = within_clamps("a", 0.5, {{0, 3}, {4, 20}, {7, 8}}, clamps);
    REQUIRE(a.windows.size() == 2);
    CHECK(a.windows[0].low == 2);
    CHECK(a.windows[0].high == 3);
    CHECK(a.windows[1].low == 4);
    CHECK(a.windows[1].high == 5.5);
    CHECK(a.missing == 0);
    CHECK(a.closes_last == "right");
    CHECK(a.opens_first == "right");
    auto const b = within_clamps("b", 0.5, {{0, 20}}, clamps);
    CHECK(b.windows[0].low == 1);
    CHECK(b.windows[0].high == 8.5);
    // No clamp holds it: as it was.
    auto const d = within_clamps("d", 0.5, {{-infinity, infinity}}, clamps);
    REQUIRE(d.windows.size() == 1);
    CHECK(d.windows[0].high == infinity);
    CHECK(d.closes_last.empty());
    // One moment is a window.
    auto const moment = within_clamps("a", 4, {{0, 20}}, clamps);
    REQUIRE(moment.windows.size() == 1);
    CHECK(moment.windows[0].low == 2);
    CHECK(moment.windows[0].high == 2);
}

TEST_CASE("where no start is left, by how much clamps would have to be closed longer") {
    std::vector<ClampTime> const clamps{clamp("left", {"a"}, 2, 6)};
    CHECK(within_clamps("a", 1, {{0, 1.5}}, clamps).missing == 0.5);       // it closes too late
    CHECK(within_clamps("a", 1, {{7, 9}, {30, 40}}, clamps).missing == 2); // it opens too early: 5 for 7
    CHECK(within_clamps("a", 5, {{0, 20}}, clamps).missing == 1); // it is closed for too short a time
    CHECK(within_clamps("a", 5, {{0, 0.5}}, clamps).missing == 1.5);
    CHECK(within_clamps("a", 5, {{8, 9}}, clamps).missing == 7);
    CHECK(within_clamps("a", 1, {}, clamps).missing == infinity);
    auto const text = why_not_within("a", within_clamps("a", 1, {{0, 1.5}}, clamps));
    CHECK(has(text, "seam 'a'"));
    CHECK(has(text, "clamp 'left'"));
    CHECK(has(text, "0.5 s"));
}

TEST_CASE("random windows against trying starts, and what is missing is just enough") {
    Random random(7501);
    std::size_t none = 0;
    for (std::size_t run = 0; run < runs(300); ++run) {
        // Whole numbers, so that trying them is exact.
        auto const whole = [&](double most) { return std::floor(random.uniform(0, most)); };
        std::vector<ClampTime> clamps;
        for (int i = 0; i < 2; ++i) {
            double const closed = whole(12);
            clamps.push_back(clamp(std::to_string(i), {"a"}, closed, closed + 1 + whole(12)));
        }
        std::vector<Range> windows;
        for (int i = 0; i < 2; ++i) {
            double const low = whole(20);
            windows.push_back({low, low + whole(4)});
        }
        double const duration = whole(6);
        auto const starts_of = [&](std::vector<ClampTime> const& some) {
            std::vector<double> starts;
            for (double t = 0; t < 30; ++t)
                for (auto const& w : windows)
                    if (t >= w.low && t <= w.high &&
                        std::all_of(some.begin(), some.end(), [&](ClampTime const& c) {
                            return t >= c.closed_from && t + duration <= c.open_from;
                        })) {
                        starts.push_back(t);
                        break;
                    }
            return starts;
        };
        auto const cut = within_clamps("a", duration, windows, clamps);
        std::vector<double> inside;
        for (double t = 0; t < 30; ++t)
            if (std::any_of(cut.windows.begin(), cut.windows.end(),
                            [t](Range const& w) { return t >= w.low && t <= w.high; }))
                inside.push_back(t);
        CHECK(inside == starts_of(clamps));
        if (!inside.empty())
            continue;
        ++none;
        // All ways to share whole seconds between closing earlier and opening later.
        double least = infinity;
        for (double early = 0; early <= 30; ++early)
            for (double late = 0; late <= 30; ++late) {
                auto longer = clamps;
                for (auto& c : longer) {
                    c.closed_from -= early;
                    c.open_from += late;
                }
                if (!starts_of(longer).empty())
                    least = std::min(least, early + late);
            }
        CHECK(cut.missing == least);
    }
    CHECK(none > runs(300) / 10);
}

TEST_CASE("clamps that cannot be are refused, with their names and the smallest change") {
    std::vector<std::string> const seams{"a", "b"};
    CHECK(checked({clamp("left", {"a", "b"}, 1, 9)}, seams).size() == 1);
    auto const refused = [&](ClampTime const& one) {
        return refusal_of([&] { return checked({clamp("good", {"b"}, 0, 1), one}, seams); });
    };
    auto const wrong_way = refused(clamp("left", {"a"}, 5, 3));
    CHECK(has(wrong_way, "'left'"));
    CHECK(has(wrong_way, "clamp that opens before it closes"));
    CHECK(has(wrong_way, "2 s"));
    CHECK(has(refused(clamp("left", {"a"}, 5, 5)), "clamp that opens before it closes"));
    CHECK(has(refused(clamp("left", {"a"}, 5, infinity)), "never opens"));
    CHECK(has(refused(clamp("left", {"a"}, 5, not_a_number)), "never opens"));
    CHECK(has(refused(clamp("left", {"a"}, infinity, 5)), "never closes"));
    CHECK(has(refused(clamp("left", {"a"}, not_a_number, 5)), "never closes"));
    CHECK(has(refused(clamp("left", {"c"}, 5, 6)), "'c'"));
    CHECK_THROWS_AS((void)within_clamps("a", -1, {}, {}), BadInput);
    CHECK_THROWS_AS((void)within_clamps("a", infinity, {}, {}), BadInput);
    CHECK_THROWS_AS((void)within_clamps("a", 1, {{2, 1}}, {}), BadInput);
    CHECK_THROWS_AS((void)within_clamps("a", 1, {{not_a_number, 1}}, {}), BadInput);
}
