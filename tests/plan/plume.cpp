#include "seamhold/plan/plume.hpp"

#include <doctest/doctest.h>

#include "seamhold/plan/fume_order.hpp"
#include "seamhold/plan/near_pairs.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"
#include "support/seam_paths.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const not_a_number = std::numeric_limits<double>::quiet_NaN();
Plane<> const flat{Pose<Part, Face>::identity()};

AnyPath line(double x, double y, double to_x, double to_y) {
    return OnFace<Straight<>, Plane<>>{straight_between({x, y}, {to_x, to_y}), flat};
}

/// Straight stitches of 25 mm, anyhow on a table of 0.8 m by 0.5 m.
std::vector<PathChords> stitches(std::size_t count, std::uint64_t seed) {
    Random random(seed);
    std::vector<PathChords> all;
    for (std::size_t i = 0; i < count; ++i) {
        double const x = random.uniform(0, 0.8), y = random.uniform(0, 0.5), a = random.uniform(0, 6.3);
        all.push_back(chords_of(line(x, y, x + 0.025 * std::cos(a), y + 0.025 * std::sin(a))));
    }
    return all;
}

/// Points along a path, a share of its length apart.
std::vector<Point<Part>> points_along(AnyPath const& path, int count) {
    std::vector<Point<Part>> points;
    for (int i = 0; i <= count; ++i)
        points.push_back(path.at(path.length() * i / count).position);
    return points;
}

/// How far a point is from the straight line between two others.
double from_line(Point<Part> const& p, Point<Part> const& a, Point<Part> const& b) {
    double const share = std::clamp(dot(p - a, b - a) / squared_norm(b - a), 0.0, 1.0);
    return norm(p - (a + share * (b - a)));
}

} // namespace

TEST_CASE("chords stay within their sagitta, and that within the tolerance, on every path") {
    for (auto const& named : paths_of_every_kind()) {
        auto const& path = named.path;
        CAPTURE(named.name);
        for (double const tolerance : {1e-4, 2e-6}) {
            auto const chords = chords_of(path, tolerance);
            CHECK(chords.sagitta <= tolerance * (1 + 1e-12));
            // 3e-13: of what is stored by arc length.
            for (int i = 0; i <= 200; ++i) {
                auto const p = path.at(path.length() * i / 200).position;
                double least = 1;
                for (std::size_t k = 0; k < chords.count(); ++k)
                    least = std::min(least, from_line(p, chords.chord(k)[0], chords.chord(k)[1]));
                CHECK(least <= chords.sagitta + 1e-12);
            }
            CHECK(norm(chords.points.front() - path.at(0.0).position) == 0);
            CHECK(norm(chords.points.back() - path.at(path.length()).position) <= 1e-12);
        }
        auto const part = chords_of(path, 0.25 * path.length(), 0.5 * path.length(), 1e-5);
        CHECK(norm(part.points.front() - path.at(0.25 * path.length()).position) == 0);
        CHECK(norm(part.points.back() - path.at(0.5 * path.length()).position) <= 1e-12);
    }
    CHECK(chords_of(line(0, 0, 0.05, 0)).count() == 1);
    // An arc's chords rise by r (1 − cos(angle / 2)): the bound is met, and not with three times the chords.
    auto const arc = chords_of(AnyPath(OnFace<Arc<>, Plane<>>{arc_around({0, 0}, 0.02, 0, 3), flat}), 1e-5);
    double const rise = 0.02 * (1 - std::cos(3.0 / static_cast<double>(arc.count()) / 2));
    CHECK(rise <= arc.sagitta);
    CHECK(rise >= 0.99 * arc.sagitta);
    auto const point = chords_of(AnyPath(held({0.1, 0.2}, flat, 1).path));
    CHECK(point.count() == 1);
    CHECK(norm(point.chord(0)[0] - point.chord(0)[1]) == 0);
    CHECK_THROWS_AS((void)chords_of(line(0, 0, 1, 0), 0), BadInput);
    CHECK_THROWS_AS((void)chords_of(line(0, 0, 1, 0), not_a_number), BadInput);
}

TEST_CASE("by hand: beams before, through and above an upright plume") {
    auto const fresh = chords_of(line(0, 0, 0.05, 0));
    Plume const plume{{0, 0, 1}, 0.1, 0.004, 2};
    // In the plane x = 25 mm, from 500 mm up and 300 mm aside.
    Point<Part> const head{0.025, 0.3, 0.5};
    auto const gap = [&](double y) { return plume_gap(fresh, plume, {head, {0.025, y, 0}}); };
    CHECK(gap(0.02) == doctest::Approx(0.02 - 0.004).epsilon(1e-10)); // its spot is nearest
    CHECK(gap(0.003) == doctest::Approx(0.003 - 0.004).epsilon(1e-10));
    CHECK(gap(-0.05) == doctest::Approx(-0.004).epsilon(1e-10)); // through it, 71 mm up
    // Over its top: the line through (0.3, 0.5) and (−0.2, 0) is at 45°, √½ · (0.2 − 0.1) from (0, 0.1).
    CHECK(gap(-0.2) == doctest::Approx(0.1 * std::sqrt(0.5) - 0.004).epsilon(1e-10));
    CHECK(plume_crosses(fresh, plume, {head, {0.025, -0.05, 0}}));
    CHECK_FALSE(plume_crosses(fresh, plume, {head, {0.025, -0.2, 0}}));
    // Beyond the seam's end by 10 mm, through the plane of the sheet.
    Point<Part> const aside{0.06, 0.3, 0.5};
    CHECK(plume_gap(fresh, plume, {aside, {0.06, -0.05, 0}}) == doctest::Approx(0.006).epsilon(1e-10));
    // Leaning by 30° along the seam the column stands over there.
    Plume const leaning{{0.5, 0, std::sqrt(0.75)}, 0.1, 0.004, 2};
    CHECK(plume_crosses(fresh, leaning, {aside, {0.06, -0.05, 0}}));
    CHECK_FALSE(plume_crosses(fresh, leaning, {{-0.01, 0.3, 0.5}, {-0.01, -0.05, 0}}));
    // Without a length it is the seam itself.
    CHECK(plume_gap(fresh, {{0, 0, 1}, 0, 0.004, 2}, {head, {0.025, 0.02, 0}}) ==
          doctest::Approx(0.016).epsilon(1e-10));
}

TEST_CASE("the gap of one beam is the sampled distance of sheet and beam, never above it") {
    Random random(7401);
    for (auto const& named : paths_of_every_kind()) {
        CAPTURE(named.name);
        auto const fresh = chords_of(named.path);
        auto const feet = points_along(named.path, 400);
        for (std::size_t run = 0; run < runs(20); ++run) {
            auto const d = random.on_sphere<3>();
            Plume const plume{{d[0], d[1], d[2]}, random.uniform(0, 0.1), 0.003, 1};
            auto const near = feet[random.index(feet.size())];
            auto const offset = random.on_sphere<3>(), way = random.on_sphere<3>();
            Point<Part> const spot =
                near + random.uniform(0, 0.06) * Direction<Part>{offset[0], offset[1], offset[2]};
            BeamEnds<Part> const beam{spot + 0.4 * Direction<Part>{way[0], way[1], way[2]}, spot};
            double least = 1; // of feet, each with its column as a straight line in steps of 0.25 mm
            for (auto const& foot : feet)
                for (int k = 0; k <= 400; ++k)
                    least = std::min(least, from_line(foot + (plume.length * k / 400) * plume.direction,
                                                      beam.head, beam.spot));
            double const gap = plume_gap(fresh, plume, beam);
            CHECK(gap <= least - plume.radius + 1e-12);
            // The samples are nowhere farther than half a step of both from any point of the sheet.
            double const step = std::hypot(named.path.length(), plume.length) / 800;
            CHECK(gap >= least - plume.radius - step - 2 * fresh.sagitta);
        }
    }
}

TEST_CASE("no beam from between the poses to any place of the later seam comes nearer than the gap of all") {
    Random random(7402);
    auto const paths = paths_of_every_kind();
    std::size_t clear = 0, met = 0;
    for (std::size_t run = 0; run < runs(60); ++run) {
        auto const& path = paths[random.index(paths.size())].path;
        auto const& next = paths[random.index(paths.size())].path;
        auto const fresh = chords_of(path), later = chords_of(next);
        auto const d = random.on_sphere<3>();
        Plume const plume{{d[0], d[1], d[2]}, random.uniform(0, 0.1), 0.003, 1};
        std::vector<Point<Part>> exits;
        for (int i = 0; i < 3; ++i)
            exits.push_back({random.uniform(-0.2, 0.2), random.uniform(-0.2, 0.2), random.uniform(0.4, 0.5)});
        double const all = plume_gap(fresh, plume, exits, later);
        CHECK(plume_crosses(fresh, plume, exits, later) == (all <= 0));
        (all <= 0 ? met : clear) += 1;
        for (int i = 0; i < 100; ++i) {
            std::size_t const leg = random.index(2);
            BeamEnds<Part> const beam{exits[leg] + random.unit() * (exits[leg + 1] - exits[leg]),
                                      next.at(random.uniform(0, next.length())).position};
            CHECK(all <= plume_gap(fresh, plume, beam) + fresh.sagitta + 1e-12);
        }
    }
    CHECK(clear > 5);
    CHECK(met > 5);
    // And it is met where both are straight: a plume at the side of the triangles that the beams fill.
    auto const fresh = chords_of(line(0, 0, 0.05, 0)), later = chords_of(line(0, 0.03, 0.05, 0.03));
    Plume const plume{{0, 0, 1}, 0.1, 0.004, 2};
    // Head over y = 30 mm, upright above the later seam: 30 mm all the way. With an exit over y = 0 at 300
    // mm: from its spot at y = 30 mm, 100 mm up, the beam is at 20 mm; √(1 / 1.01) of it is the distance from
    // the top edge.
    CHECK(plume_gap(fresh, plume, {{0.025, 0.03, 0.3}, {0.025, 0.1, 0.3}}, later) ==
          doctest::Approx(0.026).epsilon(1e-10));
    CHECK(plume_gap(fresh, plume, {{0.025, 0.1, 0.3}, {0.025, 0.03, 0.3}, {0.025, 0, 0.3}}, later) ==
          doctest::Approx(0.02 * std::sqrt(1 / 1.01) - 0.004).epsilon(1e-10));
}

TEST_CASE("plumes that cannot be are refused") {
    auto const fresh = chords_of(line(0, 0, 0.05, 0));
    CHECK(has(refusal_of([] { return checked(Plume{{0, 0, 2}, 0.1, 0.01, 1}); }), "length 2"));
    CHECK(has(refusal_of([] { return checked(Plume{{0, 0, 1}, -0.1, 0.01, 1}); }), "-100 mm"));
    CHECK(has(refusal_of([] { return checked(Plume{{0, 0, 1}, 0.1, 0, 1}); }), "radius"));
    CHECK(has(refusal_of([] { return checked(Plume{{0, 0, 1}, 0.1, 0.01, not_a_number}); }), "time"));
    CHECK_THROWS_AS((void)checked(Plume{{0, not_a_number, 1}, 0.1, 0.01, 1}), BadInput);
    Plume const plume{{0, 0, 1}, 0.1, 0.004, 2};
    CHECK_THROWS_AS((void)plume_crosses(fresh, plume, std::vector<Point<Part>>{}, fresh), BadInput);
    CHECK_THROWS_AS((void)plume_crosses(fresh, plume, {{0, not_a_number, 1}, {0, 0, 0}}), BadInput);
    CHECK_THROWS_AS((void)plume_crosses(fresh, plume, {{0, 0, 1}, {0, 0, not_a_number}}), BadInput);
    CHECK_THROWS_AS((void)plume_crosses(fresh, {{0, 0, 1}, 0.1, not_a_number, 2}, {{0, 0, 1}, {0, 0, 0}}),
                    BadInput);
}

TEST_CASE("near pairs are those that sampling finds, with their distances") {
    Random random(7403);
    auto all = stitches(60, 7404);
    std::vector<std::vector<Point<Part>>> samples;
    for (auto const& path : all) {
        samples.emplace_back();
        for (int i = 0; i <= 100; ++i)
            samples.back().push_back(path.points[0] + (i / 100.0) * (path.points[1] - path.points[0]));
    }
    for (auto const& named : paths_of_every_kind()) {
        all.push_back(chords_of(named.path));
        samples.push_back(points_along(named.path, 400));
    }
    for (double const distance : {0.0, 0.01, 0.05}) {
        CAPTURE(distance);
        auto const pairs = near_pairs(all, distance);
        std::size_t next = 0, found = 0;
        for (std::size_t i = 0; i < all.size(); ++i)
            for (std::size_t k = i + 1; k < all.size(); ++k) {
                double least = 10;
                for (auto const& a : samples[i])
                    for (auto const& b : samples[k])
                        least = std::min(least, norm(a - b));
                bool const named = next < pairs.size() && pairs[next].one == i && pairs[next].other == k;
                double const slack = 2.6e-4 + 4e-5; // half a step of 0.25 mm each, and the sagittas
                if (named) {
                    CHECK(pairs[next].distance <= std::min(least, distance));
                    CHECK(pairs[next].distance >= least - slack);
                    ++next;
                    ++found;
                } else {
                    CHECK(least > distance);
                }
            }
        CHECK(next == pairs.size()); // all of them, in order
        CHECK((distance < 0.05 || found > 40));
    }
    CHECK(near_pairs({}, 0.1).empty());
    CHECK(near_pairs({chords_of(line(0, 0, 1, 0))}, 0.1).empty());
    // Exactly at the distance counts.
    auto const beside = near_pairs({chords_of(line(0, 0, 1, 0)), chords_of(line(0, 0.125, 1, 0.125))}, 0.125);
    REQUIRE(beside.size() == 1);
    CHECK(beside[0].distance == 0.125);
    CHECK_THROWS_AS((void)near_pairs(all, -1), BadInput);
    CHECK_THROWS_AS((void)near_pairs(all, not_a_number), BadInput);
}

TEST_CASE("by hand: against the flow of fume the seam downstream comes first") {
    FumeFlow const flow{{1, 0, 0}, 0.1, 0.04}; // along x, 100 mm far, 40 mm wide
    auto const order = [&](AnyPath const& a, AnyPath const& b) {
        return fume_order({chords_of(a), chords_of(b)}, flow);
    };
    auto const across = line(0, 0, 0, 0.02); // 20 mm across the flow
    auto const check = [&](std::vector<FumePair> const& found, std::size_t first, bool mutual) {
        REQUIRE(found.size() == 1);
        CHECK(found[0].first == first);
        CHECK(found[0].then == 1 - first);
        CHECK(found[0].mutual == mutual);
    };
    check(order(across, line(0.05, 0, 0.05, 0.02)), 1, false);
    check(order(line(0.05, 0, 0.05, 0.02), across), 0, false);
    CHECK(order(across, line(0.101, 0, 0.101, 0.02)).empty()); // too far downstream
    check(order(across, line(0.099, 0, 0.099, 0.02)), 1, false);
    CHECK(order(across, line(0.05, 0.041, 0.05, 0.06)).empty()); // beside the band: 21 mm from its end
    check(order(across, line(0.05, 0.039, 0.05, 0.06)), 1, false);
    CHECK(order(across, line(0, 0.025, 0, 0.045)).empty()); // abreast
    // Along the flow, beside each other: either is in the other's fume; farther downstream is first.
    check(order(line(0, 0, 0.03, 0), line(0.01, 0.01, 0.04, 0.01)), 1, true);
    check(order(line(0.01, 0.01, 0.04, 0.01), line(0, 0, 0.03, 0)), 0, true);
    // A long one whose middle lies downstream: at x = 0 it is 40 mm beside the short one, outside of the
    // band, and within it (20 mm) only up to x = −25 mm. So the short one lies in its fume and not it in the
    // short one's.
    check(order(line(-0.05, 0, 0.2, 0.2), line(0, 0, 0, 0.001)), 1, false);
    check(order(line(0, 0, 0.2, 0.2), line(-0.001, 0, -0.002, 0)), 0, false);
    // A half circle with its vertex 10 mm upstream of both ends; in a band of 4 mm only the vertex has the
    // short one downstream.
    AnyPath const bow(
        OnFace<Arc<>, Plane<>>{arc_around({0, 0}, 0.01, std::numbers::pi / 2, std::numbers::pi), flat});
    auto const round =
        fume_order({chords_of(bow), chords_of(line(-0.005, 0, -0.005, 0.001))}, {{1, 0, 0}, 0.1, 0.004});
    check(round, 1, false);
}

TEST_CASE("the order against fume is what sampling says") {
    auto all = stitches(60, 7405);
    double const c = 0.6, s = 0.8;
    FumeFlow const flow{{c, s, 0}, 0.12, 0.03};
    auto const pairs = fume_order(all, flow);
    auto const named = [&](std::size_t first, std::size_t then, bool mutual) {
        return std::any_of(pairs.begin(), pairs.end(), [&](FumePair const& p) {
            return p.first == first && p.then == then && p.mutual == mutual;
        });
    };
    // Whether samples of b lie in the fume of a whose band is changed by `grown` m.
    auto const in_fume = [&](PathChords const& a, PathChords const& b, double grown) {
        for (int i = 0; i <= 100; ++i)
            for (int k = 0; k <= 100; ++k) {
                auto const way = (b.points[0] + (k / 100.0) * (b.points[1] - b.points[0])) -
                                 (a.points[0] + (i / 100.0) * (a.points[1] - a.points[0]));
                double const along = c * way.x + s * way.y, beside = c * way.y - s * way.x;
                if (along > -grown && along < flow.distance + grown &&
                    std::abs(beside) < flow.width / 2 + grown)
                    return true;
            }
        return false;
    };
    double const step = 0.3e-3; // more than a step of both samples
    std::size_t one_way = 0, both = 0;
    for (std::size_t i = 0; i < all.size(); ++i)
        for (std::size_t k = 0; k < all.size(); ++k) {
            if (i == k)
                continue;
            bool const sure = in_fume(all[i], all[k], -step), maybe = in_fume(all[i], all[k], step);
            bool const back = in_fume(all[k], all[i], -step), back_maybe = in_fume(all[k], all[i], step);
            if (sure != maybe || back != back_maybe)
                continue; // too near to call by samples
            CHECK(named(k, i, false) == (sure && !back));
            CHECK((named(k, i, true) || named(i, k, true)) == (sure && back));
            one_way += sure && !back ? 1 : 0;
            both += sure && back ? 1 : 0;
        }
    CHECK(one_way > 20);
    CHECK(both > 5);
    CHECK(has(refusal_of([&] { return fume_order(all, {{1, 1, 0}, 0.1, 0.1}); }), "unit vector"));
    CHECK_THROWS_AS((void)fume_order(all, {{1, 0, 0}, 0, 0.1}), BadInput);
    CHECK_THROWS_AS((void)fume_order(all, {{1, 0, 0}, 0.1, not_a_number}), BadInput);
}
