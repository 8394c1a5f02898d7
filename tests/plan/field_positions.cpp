#include "seamhold/plan/field_positions.hpp"

#include <doctest/doctest.h>

#include "plan/plan_scenes.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

// Reach is asked once more of the chain itself. How few stops do is held against all choices of stops on a
// fine grid, by a model of its own: on a flat face at the working distance the field is a disc below the
// head.

using namespace seamhold;
using seamhold::test::flat_face;
using seamhold::test::has;
using seamhold::test::plan_head;
using seamhold::test::plan_job;
using seamhold::test::Random;
using seamhold::test::reached_at_rest;
using seamhold::test::refusal_of;
using seamhold::test::runs;
using seamhold::test::stitch;

namespace {

// What holds for all answers: each seam has one position that reaches it, or is named.
void check_answer(Job const& job, FieldPositions const& found) {
    std::vector<int> count(job.seams.size());
    for (auto const& p : found.positions) {
        CHECK(!p.assigned.empty());
        for (auto const s : p.assigned) {
            ++count[s];
            CHECK(std::find(p.reached.begin(), p.reached.end(), s) != p.reached.end());
        }
        for (auto const s : p.reached)
            CHECK(reached_at_rest(job, job.seams[s].seam, p.cell_from_flange));
    }
    for (auto const& n : found.not_reached)
        ++count[n.seam];
    CHECK(std::all_of(count.begin(), count.end(), [](int c) { return c == 1; }));
    if (found.not_reached.empty())
        CHECK(found.apart.size() <= found.positions.size());
    CHECK(found.lower_bound <= found.positions.size());
    CHECK(found.proven == (found.lower_bound == found.positions.size()));
}

struct Stitch {
    double x, y, to_x, to_y;
};

// The fewest discs of a radius, centred on a grid of 2 mm along x on lines y, that have both ends of every
// stitch: by trying one disc, two, and so on.
std::size_t fewest_discs(std::vector<Stitch> const& stitches, std::vector<double> const& lines,
                         double radius) {
    std::vector<std::uint32_t> masks;
    for (double const y : lines)
        for (double x = -0.3; x < 1.6; x += 0.002) {
            std::uint32_t mask = 0;
            for (std::size_t s = 0; s < stitches.size(); ++s)
                if (std::hypot(stitches[s].x - x, stitches[s].y - y) <= radius &&
                    std::hypot(stitches[s].to_x - x, stitches[s].to_y - y) <= radius)
                    mask |= 1U << s;
            if (mask != 0)
                masks.push_back(mask);
        }
    std::sort(masks.begin(), masks.end());
    masks.erase(std::unique(masks.begin(), masks.end()), masks.end());
    std::uint32_t const all = (1U << stitches.size()) - 1;
    std::vector<std::uint32_t> got{0};
    for (std::size_t count = 1; count <= stitches.size(); ++count) {
        std::vector<std::uint32_t> next;
        for (auto const g : got)
            for (auto const m : masks)
                next.push_back(g | m);
        std::sort(next.begin(), next.end());
        next.erase(std::unique(next.begin(), next.end()), next.end());
        if (next.back() == all)
            return count;
        got = next;
    }
    return 99;
}

} // namespace

TEST_CASE("30 stitches on a part of 1 m by 0.25 m") {
    auto const job = plan_job(seamhold::test::thirty_stitches());
    auto const found = field_positions(job);
    check_answer(job, found);
    CHECK(found.not_reached.empty());
    CHECK(found.proven);
    // A disc of radius 0.17 m that has stitches of the outer rows, 0.25 m apart, is at most 0.23 m wide
    // there.
    CHECK(found.positions.size() == 5);
    CHECK(found.apart.size() >= 3);
    MESSAGE("30 stitches: ", found.positions.size(), " positions of ", found.candidates,
            " candidates, at least ", found.apart.size(), " from any pose; reach width ", found.reach_width,
            " m");
}

TEST_CASE("as few as by trying all stops on a fine grid of the same lines") {
    Random random(20261127);
    double const radius = 0.17;
    for (std::size_t run = 0; run < runs(12); ++run) {
        std::vector<Stitch> stitches;
        std::vector<ScheduledSeam> seams;
        std::size_t const count = 4 + random.index(8);
        for (std::size_t s = 0; s < count; ++s) {
            double const x = random.uniform(0, 1.2), y = random.uniform(0, 0.4),
                         angle = random.uniform(0, 6.28);
            stitches.push_back({x, y, x + 0.03 * std::cos(angle), y + 0.03 * std::sin(angle)});
            seams.push_back(stitch("S" + std::to_string(s), flat_face(), x, y, 0.03, angle));
        }
        auto const job = plan_job(seams, plan_head(radius));
        double low = 9, high = -9;
        for (auto const& s : stitches) {
            low = std::min({low, s.y, s.to_y});
            high = std::max({high, s.y, s.to_y});
        }
        FieldSettings settings;
        settings.lines = 9;
        std::vector<double> lines;
        for (int k = 0; k < 9; ++k)
            lines.push_back(low + (high - low) * k / 8);
        auto const found = field_positions(job, settings, Direction<Part>{1, 0, 0});
        check_answer(job, found);
        CHECK(found.proven);
        REQUIRE(found.not_reached.empty());
        // The grid misses at most 1 mm; the ends of reach are found to 0.1 mm.
        std::size_t const most = fewest_discs(stitches, lines, radius - 1e-3);
        std::size_t const least = fewest_discs(stitches, lines, radius + 1e-3);
        CAPTURE(run);
        CHECK(found.positions.size() <= most);
        CHECK(found.positions.size() >= least);
        CHECK(most <= least + 1); // so the check says something
    }
}

TEST_CASE("a lid and a shoulder that falls away: the head leans with the seams, and every seam is reached") {
    auto const job = plan_job(seamhold::test::lid_and_shoulder(degrees(35)));
    FieldSettings settings;
    settings.least_margin = 0.02;
    auto const found = field_positions(job, settings);
    check_answer(job, found);
    CHECK(found.not_reached.empty());
    for (auto const& p : found.positions)
        CHECK(p.margin >= 0.02);
    // Held square to the mean of all, no stop sees the lid's or the shoulder's seams squarely.
    settings.stance.largest_lean = 0;
    auto const stiff = field_positions(job, settings);
    check_answer(job, stiff);
    CHECK(stiff.positions.size() + stiff.not_reached.size() >= found.positions.size());
}

TEST_CASE("of several standoffs the one that serves is taken") {
    auto const job = plan_job(seamhold::test::thirty_stitches());
    FieldSettings settings;
    settings.standoffs = {0.3, 0.48, 0.55};
    auto const found = field_positions(job, settings);
    check_answer(job, found);
    CHECK(found.not_reached.empty());
    for (auto const& p : found.positions) {
        CHECK(p.standoff != 0.3); // beyond the range of the focus
        CHECK(seamhold::test::head_on_part(job, p.cell_from_flange).origin.z == doctest::Approx(p.standoff));
    }
    // Farther away the field is wider: not more stops than from nearer.
    settings.standoffs = {0.48};
    CHECK(found.positions.size() <= field_positions(job, settings).positions.size());
}

TEST_CASE("a seam too long for one stop is named, with the limit, and the others are served") {
    auto seams = seamhold::test::thirty_stitches();
    seams.push_back(stitch("long", flat_face(), 0.1, 0.06, 0.5, 0));
    auto const job = plan_job(seams);
    auto const found = field_positions(job);
    check_answer(job, found);
    REQUIRE(found.not_reached.size() == 1);
    CHECK(found.not_reached[0].seam == 30);
    // Half of it is 0.25 m from the best place: more than the mirrors, and more than the field, reach.
    CHECK((found.not_reached[0].limit == Limit::field || found.not_reached[0].limit == Limit::x_angle ||
           found.not_reached[0].limit == Limit::y_angle));
    CHECK(found.not_reached[0].margin < 1 - 0.25 / 0.17 + 0.05);
    CHECK(found.positions.size() == 5);
}

TEST_CASE("one seam needs one stop, many at one place as well") {
    CHECK(field_positions(plan_job({stitch("one", flat_face(), 0, 0, 0.03, 1)})).positions.size() == 1);
    std::vector<ScheduledSeam> seams;
    for (int i = 0; i < 12; ++i)
        seams.push_back(stitch("S" + std::to_string(i), flat_face(), 0.01 * i, 0.1 - 0.015 * i, 0.02, i));
    auto const found = field_positions(plan_job(seams));
    CHECK(found.positions.size() == 1);
    CHECK(found.apart.size() == 1);
}

TEST_CASE("what cannot be is refused with what was given") {
    auto const job = plan_job(seamhold::test::thirty_stitches());
    auto const refused = [&](auto const& change) {
        FieldSettings settings;
        change(settings);
        return refusal_of([&] { return field_positions(job, settings); });
    };
    CHECK(has(refused([](auto& s) { s.least_margin = 1; }), "least margin"));
    CHECK(has(refused([](auto& s) { s.lines = 0; }), "1 line or more"));
    CHECK(has(refused([](auto& s) { s.standoffs = {-0.5}; }), "standoff"));
    CHECK(has(refused([](auto& s) { s.stance.tilt_along = 2; }), "tilt along"));
    CHECK(has(refused([](auto& s) { s.stance.smoothing = 0; }), "smoothing"));
    CHECK(has(refusal_of([] { return field_positions(plan_job({})); }), "without seams"));
    CHECK(has(refusal_of([&] { return field_positions(job, {}, Direction<Part>{0, 0, 1}); }), "square on"));
    auto moving = job;
    moving.chain.cell_from_part = Steady<Cell, Part>{Pose<Cell, Part>::identity(), {1, 0, 0}};
    CHECK(has(refusal_of([&] { return field_positions(moving); }), "part moves"));
}
