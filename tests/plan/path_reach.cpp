#include "seamhold/plan/path_reach.hpp"

#include "plan/plan_jobs.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// The most that is used of the ranges and the incidence at one place of a seam, with the robot still at the
// place u of its path: by the mirrors' own formulas and plain vectors. 10 where the head does not see it.
double used_at(Job const& job, AnySeam const& seam, double seam_time, double u) {
    auto const& d = std::get<MirrorPair<>>(job.chain.head.choice());
    auto const head = job.chain.cell_from_flange.motion().at(u) * job.chain.flange_from_head;
    auto const part = job.chain.cell_from_part.at(u);
    auto const at = seam.at(seam_time);
    auto const p = inverse(head) * (part * value_of(at.position));
    if (!(p.z > 0))
        return 10;
    // tan 2θy = y/z, tan 2θx = x/(e + √(y² + z²)); the focus lies at the place.
    double const deep = d.separation + std::hypot(p.y, p.z);
    double const y = std::atan2(p.y, p.z) / 2, x = std::atan2(p.x, deep) / 2;
    double const focus = (std::hypot(p.x, deep) - d.focus_path) / d.focus_ratio;
    // The beam comes from the last mirror's axis, e behind which the first one stands.
    Direction<Head> const beam{std::sin(2 * x), std::cos(2 * x) * std::sin(2 * y),
                               std::cos(2 * x) * std::cos(2 * y)};
    auto const in_cell = head * beam;
    auto const normal = part * value_of(at.normal);
    double const lean = std::acos(-dot(in_cell, normal));
    return std::max({std::abs(x) / d.x_range.high, std::abs(y) / d.y_range.high,
                     std::abs(focus) / d.focus_range.high, lean / job.largest_incidence});
}

// All stretches of a path from which a place is reached, by small steps and bisection.
std::vector<Range> stretches(Job const& job, AnySeam const& seam, double seam_time, Range const& path,
                             double margin) {
    auto const holds = [&](double u) { return used_at(job, seam, seam_time, u) <= 1 - margin; };
    constexpr int count = 4000;
    auto const at = [&](int i) { return path.low + (path.high - path.low) * i / count; };
    auto const edge = [&](double outside, double inside) {
        for (int i = 0; i < 50; ++i)
            (holds((outside + inside) / 2) ? inside : outside) = (outside + inside) / 2;
        return inside;
    };
    std::vector<Range> all;
    for (int i = 0; i <= count; ++i) {
        if (!holds(at(i)))
            continue;
        if (i == 0 || !holds(at(i - 1)))
            all.push_back({i == 0 ? at(0) : edge(at(i - 1), at(i)), 0});
        if (i == count || !holds(at(i + 1)))
            all.back().high = i == count ? at(i) : edge(at(i + 1), at(i));
    }
    return all;
}

// Paths that turn as they go.
PoseLog<Cell, Flange> waving(double far, double period, double turn) {
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= 120; ++i) {
        double const t = period * i / 120, w = 2 * std::numbers::pi * t / period;
        double const lean = turn * std::sin(w + 0.4);
        // Half a turn about x, then a lean about y of the cell.
        Quaternion<double> const lean_q{std::cos(lean / 2), 0, std::sin(lean / 2), 0};
        rows.push_back({t,
                        {far / 2 * (1 - std::cos(w)), 0.03 * std::sin(3 * w), 0.5 + 0.01 * std::sin(2 * w)},
                        lean_q * Quaternion<double>{0, 1, 0, 0}});
    }
    return PoseLog<Cell, Flange>(rows);
}

void check_against_steps(Job const& job, AnySeam const& seam, Range const& path, double margin,
                         bool from_one_place = true) {
    PathReach reach(job, path, margin);
    auto const found = reach.of(seam);
    auto const middle = stretches(job, seam, seam.duration() / 2, path, margin);
    std::size_t whole = 0;
    double const tolerance = 1e-3 * (path.high - path.low) / 100; // 1e-4 of a step, and what a step lasts
    for (std::size_t pass = 0; pass < found.size(); ++pass) {
        CHECK(found[pass].places.front().offset == 0);
        CHECK(found[pass].places.back().offset == doctest::Approx(seam.duration()).epsilon(1e-15));
        for (auto const& place : found[pass].places) {
            auto const truth = stretches(job, seam, place.offset, path, margin);
            bool const one = std::any_of(truth.begin(), truth.end(), [&](Range const& r) {
                return std::abs(r.low - place.low) < tolerance && std::abs(r.high - place.high) < tolerance;
            });
            CHECK(one);
        }
    }
    for (auto const& m : middle) { // each that the whole seam has, too
        auto const first = stretches(job, seam, 0, path, margin);
        auto const last = stretches(job, seam, seam.duration(), path, margin);
        auto const meets = [&](Range const& r) { return r.low < m.high && m.low < r.high; };
        whole +=
            std::any_of(first.begin(), first.end(), meets) && std::any_of(last.begin(), last.end(), meets);
    }
    CHECK(found.size() == (from_one_place ? whole : 1));
}

} // namespace

TEST_CASE("from where a seam is reached: as small steps and bisection find it") {
    Job job = gliding(0.25);
    int reached = 0;
    for (int i = 0; i < 12; ++i) {
        auto const seam = stitch_about("A", 0.05 + 0.08 * i, 0.17 * std::sin(1.3 * i), 0.9 * i).seam;
        CAPTURE(i);
        check_against_steps(job, seam, {0, 4}, 0.02);
        reached += !PathReach(job, {0, 4}, 0.02).of(seam).empty();
    }
    CHECK(reached > 8);
    job.chain.cell_from_flange = waving(0.7, 6, 0.12);
    for (int i = 0; i < 12; ++i) {
        auto const seam = stitch_about("B", 0.05 + 0.06 * i, 0.12 * std::sin(1.3 * i), 0.9 * i).seam;
        CAPTURE(i);
        check_against_steps(job, seam, {0, 6}, 0.02);
    }
}

TEST_CASE("a sweep there and back has two stretches for a seam, and a turn in the middle of one only one") {
    Job job = gliding(0.25, 0, {-0.08, 0.08});
    job.chain.cell_from_flange = waving(0.8, 4, 0);
    PathReach reach(job, {0, 4}, 0.02);
    CHECK(reach.of(stitch_about("M", 0.4, 0, 0.3).seam).size() == 2);
    CHECK(reach.of(stitch_about("T", 0.8, 0, 0.3).seam).size() == 1); // about the far turn
    CHECK(reach.of(stitch_about("S", 0.0, 0, 0.3).seam).size() == 2); // start and end of the path
    CHECK(PathReach(job, {0, 2}, 0.02).of(stitch_about("M", 0.4, 0, 0.3).seam).size() == 1);
}

TEST_CASE("a seam that is reached for a moment between two steps is found") {
    Job job = gliding(1.0, 0, {-0.0078, 0.0078}); // 2 · 0.0078 rad · 0.54 m: some 8 mm to either side
    int found = 0;
    for (int i = 0; i < 20; ++i) {
        auto const seam = stitch_about("N", 0.4 + 0.0013 * i, 0, std::numbers::pi / 2, 0.01).seam;
        auto const reach = PathReach(job, {0, 1}, 0.02).of(seam);
        REQUIRE(reach.size() == 1);
        found += reach.front().from_one_place();
        double const h = std::tan(2 * 0.0078 * 0.98) * 0.54;
        auto const& middle = reach.front().places[reach.front().places.size() / 2];
        CHECK(middle.low == doctest::Approx(0.4 + 0.0013 * i - h).epsilon(2e-5));
        CHECK(middle.high == doctest::Approx(0.4 + 0.0013 * i + h).epsilon(2e-5));
    }
    CHECK(found == 20);
}

TEST_CASE("a long seam is reached from nowhere at once, and as a whole while the robot goes on") {
    Job job = gliding(0.25, 0, {-0.05, 0.05});
    auto const seam = stitch_about("L", 0.5, 0, 0, 0.4).seam;
    auto const reach = PathReach(job, {0, 4}, 0.02).of(seam);
    REQUIRE(reach.size() == 1);
    CHECK(!reach.front().from_one_place());
    CHECK(reach.front().places.size() >= 33);
    check_against_steps(job, seam, {0, 4}, 0.02, false);
}

TEST_CASE("what is not reached: the nearest place of the path, and how far it would have to be moved") {
    Job job = gliding(0.25);
    auto const seam = stitch_about("F", 0.3, 0.45, 0).seam;
    PathReach reach(job, {0, 4}, 0.02);
    CHECK(reach.of(seam).empty());
    auto const nearest = reach.nearest(seam);
    CHECK(nearest.used > 1);
    CHECK(std::abs(0.25 * nearest.path - 0.3) < 0.19); // the x mirror's range is enough there
    CHECK(nearest.towards.y == 1);
    // At rest above x = 0.3, moved along y: from where incidence or the mirror leave 2 %.
    double low = 0, high = 1;
    for (int i = 0; i < 50; ++i) {
        Job other = job;
        other.chain.cell_from_flange =
            Steady<Cell, Flange>{{from_zyx_angles<Cell, Flange>(0, 0, std::numbers::pi),
                                  {nearest.path * 0.25, (low + high) / 2, 0.5}},
                                 {0, 0, 0},
                                 0};
        double most = 0;
        for (int k = 0; k <= 20; ++k)
            most = std::max(most, used_at(other, seam, seam.duration() * k / 20, 0));
        (most <= 0.98 ? high : low) = (low + high) / 2;
    }
    CHECK(nearest.shift == doctest::Approx(high).epsilon(2e-3));
    // Behind the head for good: no shift of a metre helps.
    Job up = job;
    up.chain.cell_from_flange =
        Steady<Cell, Flange>{{Rotation<Cell, Flange>::identity(), {0, 0, 0.5}}, {0.25, 0, 0}, 0};
    auto const never = PathReach(up, {0, 4}, 0.02).nearest(seam);
    CHECK(!is_finite(never.shift));
}

TEST_CASE("stretches of a path and margins that are none are refused") {
    Job job = gliding(0.25);
    for (auto const& bad : {Range{1, 1}, Range{2, 1}, Range{0, no_limit}, Range{std::nan(""), 1}})
        CHECK_THROWS_AS(PathReach(job, bad, 0.02), BadInput);
    for (double const bad : {-0.1, 1.0, 2.0, std::nan("")})
        CHECK_THROWS_AS(PathReach(job, {0, 4}, bad), BadInput);
    job.chain.cell_from_flange = waving(0.7, 6, 0);
    CHECK_THROWS_AS(PathReach(job, {0, 7}, 0.02), BadInput);
    CHECK_THROWS_AS(PathReach(job, {-1, 4}, 0.02), BadInput);
    CHECK_NOTHROW(PathReach(job, {0, 6}, 0.02));
}
