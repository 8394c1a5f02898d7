#include "map/sweep.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include "seamhold/limit/report.hpp"
#include "seamhold/map/margin_question.hpp"
#include "seamhold/map/run_map.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <set>

using namespace seamhold;
using namespace seamhold::test;

namespace {

DesignSpace sweep_space() {
    return {{axis("sweep", "m/s", 1, 0.05, 0.5, 12), axis("standoff", "mm", 1e-3, 420, 500, 5),
             axis("tilt", "deg", degrees(1), -12, 12, 5), choice("head", {"wide", "narrow"}),
             choice("order", {"in a row", "pairs swapped"})}};
}

SetUpValues<double> values_of_row(Candidates const& candidates, std::size_t row) {
    auto const numbers = candidates.row(row);
    SetUpValues<double> x{numbers, std::vector<std::size_t>(numbers.size(), 0)};
    for (std::size_t a = 0; a < numbers.size(); ++a) {
        auto const& axis = candidates.space().axes[a];
        x.value[a] = axis.in_si(numbers[a]);
        if (axis.is_choice())
            x.choices[a] = static_cast<std::size_t>(numbers[a]);
    }
    return x;
}

/// What a report of the same job says: the least margin, which limit, which seam.
struct Reported {
    double margin = 1e300;
    Limit limit = Limit::reach;
    std::size_t seam = 0;
};

Reported reported(SweepMaker const& maker, SetUpValues<double> const& x, std::size_t samples) {
    auto const job = job_of(maker, x);
    double const duration = job.seams.front().seam.duration();
    Reported r;
    auto const reports = report(job, duration / static_cast<double>(samples - 1) * (1 + 1e-12));
    for (std::size_t i = 0; i < reports.size(); ++i)
        if (reports[i].margin() < r.margin)
            r = {reports[i].margin(), reports[i].binding(), i + 1};
    return r;
}

} // namespace

TEST_CASE("margins, limits and seams are those that a report of the same job names") {
    SweepMaker maker;
    maker.stitches = 6;
    for (bool const tight : {false, true}) {
        maker.jerk = tight ? 4e5 : no_limit;
        maker.rms = tight ? 900 : no_limit;
        MarginQuestion const question("the sweep of the tests", maker, 20);
        Candidates const grid(sweep_space());
        auto const table = run_map(grid, question).table;
        std::set<Limit> bind;
        std::size_t feasible = 0, compared = 0;
        for (std::size_t r = 0; r < grid.size(); r += 3) {
            auto const x = values_of_row(grid, r);
            auto const expected = reported(maker, x, 20);
            if (table.at(r, 1) == static_cast<double>(Limit::air_move) && table.at(r, 0) < -1e5)
                continue; // the seams overlap in time, which no job may
            CAPTURE(r);
            ++compared;
            // The report's chain goes through variants; both round a few times, at utilisations of up to 100.
            CHECK(std::abs(table.at(r, 0) - expected.margin) < 1e-11 * (1 + std::abs(expected.margin)));
            CHECK(table.at(r, 1) == static_cast<double>(expected.limit));
            bind.insert(expected.limit);
            feasible += table.feasible(r);
            // Takt and beam on by hand: five pitches of 60 mm and one stitch of 30 mm at 0.25 m/s.
            double const takt = 5 * 0.06 / x.value[0] + 0.12;
            CHECK(table.at(r, 3) == doctest::Approx(takt).epsilon(1e-14));
            CHECK(table.at(r, 4) == doctest::Approx(6 * 0.12 / takt).epsilon(1e-14));
        }
        CHECK(compared > 100);
        CHECK(feasible > 5);
        CHECK(feasible < compared);
        CHECK(bind.size() > 2);
    }
}

TEST_CASE("a pack's lanes are what each candidate gets alone, to the last bit") {
    SweepMaker maker;
    maker.stitches = 4;
    maker.jerk = 4e5;
    MarginQuestion const question("the sweep of the tests", maker, 12);
    Candidates const grid(sweep_space());
    auto const table = run_map(grid, question).table;
    for (std::size_t r = 0; r < grid.size(); r += 7) {
        auto const alone = question.of(values_of_row(grid, r));
        for (std::size_t c = 0; c < alone.size(); ++c)
            CHECK(table.at(r, c) == alone[c]);
    }
}

TEST_CASE("by hand: the margin of a still head over one stitch is that of its mirror's angle") {
    // Sweep speed next to nothing, head 450 mm above the stitch: half a stitch of 15 mm across is
    // tan 2θ = 15 / 450 for the last mirror, of 0.19 rad.
    SweepMaker maker;
    maker.stitches = 1;
    maker.feed = 0.001;
    auto const found = MarginQuestion("one stitch", maker, 3)
                           .of(SetUpValues<double>{{1e-9, 0.45, 0, 0, 0}, {0, 0, 0, 0, 0}});
    double const by_angle = 1 - std::atan(0.015 / 0.45) / 2 / 0.19;
    CHECK(found[0] <= by_angle);
    // The field is a circle of 140 mm around the middle, crossed at 450 mm; the lens is at 0: what binds is
    // the incidence of atan(15/450) of 20 degrees, or the field's 15 mm of 140 mm, or the angle.
    CHECK(found[0] ==
          doctest::Approx(1 - std::max({1 - by_angle, 15.0 / 140, std::atan(0.015 / 0.45) / degrees(20)}))
              .epsilon(1e-6));
    CHECK(found[1] == static_cast<double>(Limit::field));
}

TEST_CASE("who is behind the head, or overlaps in time, is not feasible and says why") {
    SweepMaker maker;
    maker.stitches = 2;
    MarginQuestion const question("two stitches", maker, 5);
    auto const behind = question.of(SetUpValues<double>{{0.1, -0.4, 0, 0, 0}, {0, 0, 0, 0, 0}});
    CHECK(behind[0] == 1 - 1e6);
    CHECK(behind[1] == static_cast<double>(Limit::reach));
    auto const together = question.of(SetUpValues<double>{{0.6, 0.45, 0, 0, 0}, {0, 0, 0, 0, 0}});
    CHECK(together[0] == 1 - 1e6); // a stitch lasts 0.12 s, the next begins 0.1 s later
    CHECK(together[1] == static_cast<double>(Limit::air_move));
    CHECK(together[2] == 2);
    auto const nothing = question.of(
        SetUpValues<double>{{0.1, std::numeric_limits<double>::quiet_NaN(), 0, 0, 0}, {0, 0, 0, 0, 0}});
    CHECK(nothing[0] == 1 - 1e6);
    CHECK(nothing[1] == static_cast<double>(Limit::reach));
}

TEST_CASE("questions that ask nothing are refused") {
    SweepMaker const maker;
    CHECK(
        has(refusal_of([&] { MarginQuestion("x", maker, 1); }), "two samples a seam or more; given were 1"));
    CHECK(has(refusal_of([&] { MarginQuestion("x", maker, 5, {{"", "", {}}}); }), "no name"));
    MarginQuestion const more("x", maker, 5, {{"cost", "EUR", {}}});
    Candidates const grid(sweep_space());
    CHECK(has(refusal_of([&] { run_map(grid, more); }), "tells 0 figures, and 1 are named"));
}
