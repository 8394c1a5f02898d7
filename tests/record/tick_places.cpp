#include "seamhold/record/tick_places.hpp"

#include "seamhold/record/place.hpp"
#include "seamhold/record/trace_passes.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

// What ticks mean is proven in live_passes.cpp, against a simulated laser. Here are ticks as a loop makes
// them, over ways that are formulas, with gaps and jitter.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double no_number = std::numeric_limits<double>::quiet_NaN();

/// Ticks of a loop that opens and shuts at given ticks; the way is place(t) = speed · (t − start) + bend/2 ·
/// (t − start)².
struct Loop {
    TickTiming timing{10e-6, 200e-6, 120e-6};
    double speed = 0.2, bend = 3, start = 10;

    double place(double t) const { return (speed + bend / 2 * (t - start)) * (t - start); }

    TraceRow row(double time, std::uint32_t seam, bool open, bool was_open) const {
        TraceRow r{};
        r.time = {time};
        r.seam = seam;
        r.open = open;
        r.arc_length = place(time + (was_open ? timing.period + timing.off : timing.on));
        return r;
    }

    /// `count` ticks from a moment on, open from one to before another.
    std::vector<NumberedRow<TraceRow>> rows(double from, std::size_t count, std::size_t opens,
                                            std::size_t shuts, std::uint32_t seam = 0) const {
        std::vector<NumberedRow<TraceRow>> all;
        for (std::size_t k = 0; k < count; ++k)
            all.push_back({k, row(from + 10e-6 * static_cast<double>(k), seam,
                                  k >= opens && k<shuts, k> opens && k <= shuts)});
        return all;
    }
};

std::vector<RecordedSeam> seams(double length = 1) {
    return {{{{}, "first", 1}, length}, {{{}, "second", 2}, length}};
}

void add(std::vector<NumberedRow<TraceRow>>& all, std::vector<NumberedRow<TraceRow>> const& more) {
    all.insert(all.end(), more.begin(), more.end());
}

} // namespace

TEST_CASE("light is on from the opening + on to the shutting + off, and places are those of the way") {
    for (double const on : {0.0, 35e-6, 200e-6, 480e-6})
        for (double const off : {0.0, 22e-6, 300e-6}) {
            INFO("on " << on << ", off " << off);
            Loop loop;
            loop.timing.on = on;
            loop.timing.off = off;
            auto const passes = passes_of(loop.rows(10.001, 3000, 40, 2800), loop.timing, seams());
            REQUIRE(passes.size() == 1);
            auto const& pass = passes[0];
            double const lit = 10.0014 + on, dark = 10.029 + off;
            CHECK(std::abs(pass.knots.front().time.seconds - lit) <= 1e-12);
            CHECK(std::abs(pass.knots.back().time.seconds - dark) <= 1e-12);
            CHECK(pass.key.pass == 1);
            for (double t = lit + 1e-9; t < dark - 1e-9; t += 3.3e-6) {
                auto const place = pass.lit_place({t});
                REQUIRE(place);
                CHECK(std::abs(*place - loop.place(t)) <= 1.001e-6); // what knots may be off by
            }
            CHECK_FALSE(pass.lit_place({lit - 1e-9}));
            CHECK_FALSE(pass.lit_place({dark + 1e-9}));
            CHECK(pass.knots.size() <= 60);
        }
}

// 27 November 2026: found by a review. The first pass ended after the second had begun, and the placing
// refused them both.
TEST_CASE("where a pass begins before the light of the one before was to go out, that one ends") {
    for (double const off : {5e-6, 80e-6, 300e-6})
        for (std::size_t const shut : {1U, 5U}) { // ticks between two seams
            INFO("off " << off << ", shut " << shut << " ticks");
            Loop loop;
            loop.timing = {10e-6, 20e-6, off};
            auto rows = loop.rows(10.001, 1000, 100, 1000 - shut);
            add(rows, loop.rows(10.011, 1000, 0, 900, 1));
            // The first row of the second seam opens it; the one before it was shut.
            auto const passes = passes_of(rows, loop.timing, seams());
            REQUIRE(passes.size() == 2);
            double const begins = 10.011 + 20e-6, goes_out = 10.011 - 10e-6 * static_cast<double>(shut) + off;
            CHECK(std::abs(passes[1].knots.front().time.seconds - begins) <= 1e-12);
            CHECK(std::abs(passes[0].knots.back().time.seconds - std::min(begins, goes_out)) <= 1e-12);
            // Its last place is where the spot was then, to what knots may be off by.
            auto const& last = passes[0].knots.back();
            CHECK(std::abs(last.arc_length - loop.place(last.time.seconds)) <= 1.001e-6);
            CHECK_NOTHROW(SamplePlacer(passes, {{"light", 50e3}}));
        }
}

TEST_CASE("another seam, and the same one again from before, are other passes; going on is not") {
    Loop loop;
    auto rows = loop.rows(10.001, 1000, 100, 900);
    add(rows, loop.rows(10.011, 1000, 100, 900, 1)); // another seam
    CHECK(passes_of(rows, loop.timing, seams()).size() == 2);
    add(rows, loop.rows(10.021, 1000, 100, 900, 1)); // that one goes on after an interruption
    auto const three = passes_of(rows, loop.timing, seams());
    REQUIRE(three.size() == 2);
    CHECK(three[1].key.seam == "second");
    double const out = 10.02 + 120e-6, in = 10.022 + 200e-6;
    CHECK(three[1].lit_place({out - 1e-7}));
    CHECK_FALSE(three[1].lit_place({out + 1e-7}));
    CHECK_FALSE(three[1].lit_place({in - 1e-7}));
    CHECK(three[1].lit_place({in + 1e-7}));
    Loop next;
    next.start = 10.031; // another part: from the seam's start
    add(rows, next.rows(10.0311, 1000, 100, 900, 1));
    auto const four = passes_of(rows, loop.timing, seams());
    REQUIRE(four.size() == 3);
    CHECK(four[2].key.seam == "second");
    CHECK(four[2].knots.front().arc_length < 0.001);
    // Shut before the light came on: no pass.
    CHECK(passes_of(loop.rows(10.001, 100, 40, 44), loop.timing, seams()).empty());
    CHECK(passes_of(loop.rows(10.001, 100, 200, 300), loop.timing, seams()).empty());
    CHECK(passes_of({}, loop.timing, seams()).empty());
}

TEST_CASE("rows that were not kept: bridged where few, dark where many, never guessed") {
    Loop loop;
    auto const all = loop.rows(10.001, 2000, 40, 1900);
    auto const without = [&](std::size_t from, std::size_t to) {
        auto rows = all;
        rows.erase(rows.begin() + static_cast<std::ptrdiff_t>(from),
                   rows.begin() + static_cast<std::ptrdiff_t>(to));
        return passes_of(rows, loop.timing, seams());
    };
    auto const few = without(500, 560);
    REQUIRE(few.size() == 1);
    for (auto const& k : few[0].knots)
        CHECK(std::abs(k.arc_length - loop.place(k.time.seconds)) <= 1e-9);
    for (double t = 10.0017; t < 10.02; t += 1e-5)
        CHECK(few[0].lit_place({t}));
    auto const many = without(500, 800);
    REQUIRE(many.size() == 1); // it goes on where it was, farther on
    CHECK(many[0].lit_place({10.006}));
    CHECK_FALSE(many[0].lit_place({10.0075}));
    CHECK(many[0].lit_place({10.0095}));
    for (double t = 10.0017; t < 10.02; t += 1e-5)
        if (auto const place = many[0].lit_place({t}))
            CHECK(std::abs(*place - loop.place(t)) <= 1.001e-6);
    // A ring that has lost the opening begins within the seam.
    auto const late = without(0, 700);
    REQUIRE(late.size() == 1);
    double const first = 10.001 + 701 * 10e-6 + 130e-6; // of the second row that there is
    CHECK(std::abs(late[0].knots.front().time.seconds - first) <= 1e-12);
    CHECK(std::abs(late[0].knots.front().arc_length - loop.place(first)) <= 1e-12);
    // And one that ends within it ends where the last tick said.
    auto const early = without(1000, 2000);
    REQUIRE(early.size() == 1);
    CHECK(std::abs(early[0].knots.back().time.seconds - (10.001 + 999 * 10e-6 + 130e-6)) <= 1e-12);
}

TEST_CASE("uneven ticks, a late last one, and rows that are nonsense") {
    Random random(941);
    Loop loop;
    std::vector<NumberedRow<TraceRow>> rows;
    double time = 10.001;
    bool was_open = false;
    for (std::size_t k = 0; k < 2000; ++k) {
        bool const open = k >= 30 && k < 1990;
        rows.push_back({k, loop.row(time, 0, open, was_open)});
        was_open = open;
        if (k % 97 == 5) { // what is not finite or not later is left out
            auto bad = loop.row(time, 0, open, was_open);
            bad.time = {k % 2 == 0 ? no_number : time};
            bad.arc_length = 0.9;
            rows.push_back({k, bad});
            bad.time = {time + 1e-6};
            bad.arc_length = no_number;
            rows.push_back({k, bad});
        }
        time += k == 1989 ? 400e-6 : 10e-6 + random.uniform(-4e-6, 4e-6);
    }
    auto const passes = passes_of(rows, loop.timing, seams());
    REQUIRE(passes.size() == 1);
    auto const& pass = passes[0];
    double const dark = rows[rows.size() - 10].row.time.seconds + 120e-6;
    CHECK(std::abs(pass.knots.back().time.seconds - dark) <= 1e-12);
    // Beyond the last tick with light the mean speed of the last ms is taken: 400 µs at 3 m/s² for some 0.8
    // ms.
    CHECK(std::abs(pass.knots.back().arc_length - loop.place(dark)) <= 1.5e-6);
    for (auto const& k : pass.knots)
        CHECK(std::abs(k.arc_length - loop.place(k.time.seconds)) <= 1.5e-6);
}

TEST_CASE("nothing beyond the seam's ends, and nothing allocated") {
    Loop loop;
    auto rows = loop.rows(10.001, 3000, 40, 2950);
    double const length = loop.place(10.03); // the light goes out a little later than it should
    auto const passes = passes_of(rows, loop.timing, seams(length));
    REQUIRE(passes.size() == 1);
    CHECK(passes[0].knots.back().arc_length == length);
    TickPlaces places(loop.timing);
    std::size_t count = 0;
    AllocationGuard guard;
    for (auto const& r : rows)
        count += places.take(r.row.time, r.row.seam, r.row.arc_length, r.row.open).count;
    auto const allocations = guard.count();
    CHECK(allocations == 0);
    CHECK(count == 2911 - 7); // open ticks and the end, without those whose moment is before first light
}

TEST_CASE("settings and seams that cannot be are refused") {
    auto const made = [](TickTiming const& timing) {
        return refusal_of([&] { TickPlaces const places(timing); });
    };
    CHECK(made({10e-6, 0, 0}).empty());
    CHECK(has(made({0, 0, 0}), "period"));
    CHECK(has(made({no_number, 0, 0}), "period"));
    CHECK(has(made({10e-6, -1e-6, 0}), "delays"));
    CHECK(has(made({10e-6, 0, no_number}), "delays"));
    CHECK(has(made({10e-6, 0, 0, 5e-6}), "gap"));
    Loop loop;
    auto const rows = loop.rows(10.001, 100, 10, 90, 2);
    CHECK(has(refusal_of([&] { return passes_of(rows, loop.timing, seams()).size(); }), "seam number 2"));
    CHECK(has(refusal_of([&] { return passes_of(rows, loop.timing, seams(), no_number).size(); }),
              "largest error"));
    CHECK(has(
        refusal_of([&] { return passes_of(loop.rows(10.001, 100, 10, 90), loop.timing, seams(0)).size(); }),
        "length above 0"));
}
