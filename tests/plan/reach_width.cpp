#include "seamhold/plan/reach_width.hpp"

#include <doctest/doctest.h>

#include "plan/plan_scenes.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

// The width of what a pair of mirrors reaches, against places traced forward by plain formulas.

using namespace seamhold;
using seamhold::test::plan_head;
using seamhold::test::plan_job;
using seamhold::test::Random;

namespace {

using Place = std::array<double, 3>;

double distance(Place const& a, Place const& b) {
    return std::sqrt((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1]) +
                     (a[2] - b[2]) * (a[2] - b[2]));
}

// The place at optical angles of both mirrors and an optical path L from the first: unfolded, the beam makes
// a right angle with legs x and e + the way from the last axis.
Place place(double e, double first, double last, double L) {
    double const way = L * std::cos(first) - e;
    return {L * std::sin(first), way * std::sin(last), way * std::cos(last)};
}

// The widest pair of places on the edge of the field, or of the mirrors' ranges, at both ends of the focus.
double width_by_tracing(MirrorPair<> const& head, double offset) {
    double const e = head.separation, h = head.focus_path - e;
    std::vector<Place> edge;
    for (int i = 0; i < 720; ++i) {
        double const angle = 2 * std::numbers::pi * i / 720;
        // Inwards along a ray of angles until field and ranges hold.
        double const far_x = 2 * head.x_range.high * std::cos(angle),
                     far_y = 2 * head.y_range.high * std::sin(angle);
        double share = 1 / std::max(std::abs(std::cos(angle)), std::abs(std::sin(angle)));
        auto const in_field = [&](double s) {
            double const to_plane = h / std::cos(s * far_y);
            double const x = (e + to_plane) * std::tan(s * far_x), y = h * std::tan(s * far_y);
            return std::hypot(x, y) <= head.field_radius;
        };
        if (!in_field(share)) {
            double low = 0, high = share;
            for (int k = 0; k < 60; ++k)
                (in_field((low + high) / 2) ? low : high) = (low + high) / 2;
            share = low;
        }
        for (double const lens : {head.focus_range.low, head.focus_range.high})
            edge.push_back(
                place(e, share * far_x, share * far_y, head.focus_path + head.focus_ratio * lens - offset));
    }
    double widest = 0;
    for (auto const& a : edge)
        for (auto const& b : edge)
            widest = std::max(widest, distance(a, b));
    return widest;
}

} // namespace

TEST_CASE("no two places that one pose reaches are farther apart, and hardly nearer ones are excluded") {
    for (double const radius : {0.17, 0.08, no_limit})
        for (double const offset : {0.0, 0.01, -0.02}) {
            auto const head = plan_head(radius);
            double const traced = width_by_tracing(head, offset);
            double const width = reach_width(head, {offset, offset});
            CAPTURE(radius);
            CAPTURE(offset);
            CHECK(width >= traced);
            CHECK(width <=
                  traced + 4 * 0.5 / 48); // a box and its diagonal at both ends, and what intervals add
            double const fine = reach_width(head, {offset, offset}, 0.004, 4000000);
            CHECK(fine >= traced * (1 - 1e-4)); // the edge is looked at each half degree
            CHECK(fine <= traced + 4 * 0.004);
        }
    // All offsets together: at least as wide as each.
    double const both = reach_width(plan_head(), {-0.02, 0.01});
    CHECK(both >= width_by_tracing(plan_head(), -0.02));
    CHECK(both >= width_by_tracing(plan_head(), 0.01));
}

TEST_CASE("a budget that does not suffice gives no bound") {
    CHECK(reach_width(plan_head(), {0, 0}, 0.001, 100) == no_limit);
}

TEST_CASE("seams that are apart: each pair farther than the width, and by hand as many as a row needs") {
    std::vector<ScheduledSeam> row;
    for (int i = 0; i < 11; ++i)
        row.push_back(seamhold::test::stitch("S" + std::to_string(i), seamhold::test::flat_face(), 0.1 * i, 0,
                                             0.02, 0));
    auto const job = plan_job(row);
    // Far ends of stitches i < k are 0.1 (k - i) + 0.02 apart.
    CHECK(seams_apart(job, 0.31).size() == 4); // 0, 3, 6, 9
    CHECK(seams_apart(job, 0.33).size() == 3); // 0, 4, 8
    CHECK(seams_apart(job, 1.03).size() == 1);
    CHECK(seams_apart(job, 1.01).size() == 2);
    CHECK(seams_apart(job, no_limit).size() == 1);
    CHECK(seams_apart(job, 0.05).size() == 11);

    // A seam that is itself wider than the width is no seam that stops can serve (it once went on for ever).
    row.push_back(seamhold::test::stitch("long", seamhold::test::flat_face(), 0, 0.1, 0.5, 0));
    auto const with_long = seams_apart(plan_job(row), 0.31);
    CHECK(with_long.size() == 4);
    CHECK(std::find(with_long.begin(), with_long.end(), 11U) == with_long.end());

    Random random(7);
    std::vector<ScheduledSeam> cloud;
    for (int i = 0; i < 40; ++i)
        cloud.push_back(seamhold::test::stitch("S" + std::to_string(i), seamhold::test::flat_face(),
                                               random.uniform(0, 2), random.uniform(0, 1), 0.03,
                                               random.uniform(0, 6)));
    auto const random_job = plan_job(cloud);
    auto const apart = seams_apart(random_job, 0.4);
    CHECK(apart.size() >= 5);
    for (std::size_t i = 0; i < apart.size(); ++i)
        for (std::size_t k = i + 1; k < apart.size(); ++k) {
            double farthest = 0;
            for (int a = 0; a <= 100; ++a)
                for (int b = 0; b <= 100; ++b) {
                    auto const& one = random_job.seams[apart[i]].seam;
                    auto const& other = random_job.seams[apart[k]].seam;
                    farthest = std::max(farthest, norm(one.at(one.duration() * a / 100).position -
                                                       other.at(other.duration() * b / 100).position));
                }
            CHECK(farthest > 0.4);
        }
}
