#include "seamhold/calibrate/part_calibration.hpp"

#include <doctest/doctest.h>

#include "support/poses.hpp"
#include "support/refusal.hpp"

#include <Eigen/Geometry>

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <vector>

// Parts found again from touches that were made at a true pose; closed forms and Eigen::umeyama beside it.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using True = Pose<Cell, Part>;

Direction<Part> random_unit(Random& random) {
    auto const v = random.on_sphere<3>();
    return {v[0], v[1], v[2]};
}
Point<Part> random_place(Random& random, double reach = 0.3) {
    return {random.uniform(-reach, reach), random.uniform(-reach, reach), random.uniform(-reach, reach)};
}

// Touches without error: a place of the feature is chosen, the tip's middle stands off it by the radius.
PointTouch on_point(Random& random, True const& truth) {
    auto const p = random_place(random);
    return {p, truth * p};
}
FaceTouch on_face(Random& random, True const& truth, Point<Part> const& on, Direction<Part> const& outward,
                  double tip) {
    auto const aside = cross(outward, random_unit(random));
    return {on, outward, truth * (on + random.uniform(-0.3, 0.3) * aside + tip * outward), tip};
}
EdgeTouch on_edge(Random& random, True const& truth, Point<Part> const& on, Direction<Part> const& along,
                  double tip) {
    auto const aside = unit(cross(along, random_unit(random)));
    return {on, along, truth * (on + random.uniform(-0.3, 0.3) * along + tip * aside), tip};
}
CylinderTouch on_cylinder(Random& random, True const& truth, Point<Part> const& on,
                          Direction<Part> const& along, double radius, bool bore, double tip) {
    auto const aside = unit(cross(along, random_unit(random)));
    return {on,
            along,
            radius,
            bore,
            truth * (on + random.uniform(-0.3, 0.3) * along + (bore ? radius - tip : radius + tip) * aside),
            tip};
}
BallTouch on_ball(Random& random, True const& truth, Point<Part> const& centre, double radius, double tip) {
    return {centre, radius, truth * (centre + (radius + tip) * random_unit(random)), tip};
}
BeamTouch on_beam(Random& random, True const& truth) {
    auto const p = random_place(random);
    auto const v = random.on_sphere<3>();
    Direction<Cell> const d{v[0], v[1], v[2]};
    return {p, truth * p - random.uniform(0.3, 0.6) * d, d};
}

/// A few touches of every kind.
std::vector<PartTouch> mixed(Random& random, True const& truth, int each) {
    std::vector<PartTouch> touches;
    double const tip = random.uniform(0.001, 0.004);
    for (int i = 0; i < each; ++i) {
        touches.push_back(on_point(random, truth));
        touches.push_back(on_face(random, truth, random_place(random), random_unit(random), tip));
        touches.push_back(on_edge(random, truth, random_place(random), random_unit(random), 0));
        touches.push_back(on_edge(random, truth, random_place(random), random_unit(random), tip));
        touches.push_back(
            on_cylinder(random, truth, random_place(random), random_unit(random), 0.02, true, tip));
        touches.push_back(
            on_cylinder(random, truth, random_place(random), random_unit(random), 0.03, false, tip));
        touches.push_back(on_ball(random, truth, random_place(random), 0.025, tip));
        touches.push_back(on_beam(random, truth));
    }
    return touches;
}

True nudged(True const& pose, Random& random, double turn, double shift) {
    auto const a = random_unit(random), b = random_unit(random);
    return {pose.rotation * about_axis<Part, Part>(a, turn), pose * (Point<Part>{0, 0, 0} + shift * b)};
}

void shift_touch(PartTouch& touch, Direction<Cell> const& by) {
    std::visit(
        [&](auto& t) {
            if constexpr (std::is_same_v<std::decay_t<decltype(t)>, BeamTouch>)
                t.origin = t.origin + by;
            else
                t.touched = t.touched + by;
        },
        touch);
}

std::vector<PartTouch> with_noise(std::vector<PartTouch> touches, Random& random, double deviation) {
    for (auto& touch : touches)
        shift_touch(touch,
                    {deviation * random.normal(), deviation * random.normal(), deviation * random.normal()});
    return touches;
}

/// A block's three faces: 3 touches below, 2 at a side, 1 at an end, with a pointed tip.
struct ThreeTwoOne {
    std::array<Point<Part>, 6> places;
    std::vector<PartTouch> touches;
};
ThreeTwoOne three_two_one(Random& random, True const& truth) {
    auto const u = [&](double low, double high) { return random.uniform(low, high); };
    ThreeTwoOne all{{{{u(0.02, 0.1), u(0.02, 0.1), 0},
                      {u(0.4, 0.5), u(0.02, 0.1), 0},
                      {u(0.2, 0.3), u(0.25, 0.3), 0},
                      {u(0.02, 0.1), 0, u(0.02, 0.05)},
                      {u(0.4, 0.5), 0, u(0.02, 0.05)},
                      {0, u(0.1, 0.2), u(0.02, 0.05)}}},
                    {}};
    for (std::size_t i = 0; i < 6; ++i)
        all.touches.push_back(FaceTouch{{0, 0, 0},
                                        i < 3   ? Direction<Part>{0, 0, -1}
                                        : i < 5 ? Direction<Part>{0, -1, 0}
                                                : Direction<Part>{-1, 0, 0},
                                        truth * all.places[i]});
    return all;
}

Point<Cell> touched_of(PartTouch const& touch) { return std::get<FaceTouch>(touch).touched; }

} // namespace

TEST_CASE("part: touches without error give the place back") {
    Random random(901);
    double worst = 0;
    for (std::size_t i = 0; i < runs(1000); ++i) {
        auto const truth = random_pose<Cell, Part>(random, 2);
        PartOptions options;
        if (i % 2 == 0)
            options.start = nudged(truth, random, 0.3, 0.03);
        auto const fit = fit_part(mixed(random, truth, 3), options);
        worst = std::max(worst, difference(fit.cell_from_part, truth));
        CHECK(fit.outliers.empty());
    }
    // Some hundred units in the last place of 2 m.
    CHECK(worst < 1e-12);
}

TEST_CASE("part: three, two, one against planes and lines worked out by hand") {
    Random random(902);
    double worst = 0;
    for (std::size_t i = 0; i < runs(1000); ++i) {
        auto const truth = random_pose<Cell, Part>(random, 2);
        auto all = three_two_one(random, truth);
        // Touches off by millimetres still hold the part exactly, somewhere else.
        for (auto& touch : all.touches)
            shift_touch(touch, {random.uniform(-0.002, 0.002), random.uniform(-0.002, 0.002),
                                random.uniform(-0.002, 0.002)});
        auto const& t = all.touches;
        auto z = unit(cross(touched_of(t[1]) - touched_of(t[0]), touched_of(t[2]) - touched_of(t[0])));
        auto const along = touched_of(t[4]) - touched_of(t[3]);
        auto const x = unit(along - dot(along, z) * z);
        auto const y = cross(z, x);
        Rotation<Cell, Part> const rotation{{{x.x, y.x, z.x}, {x.y, y.y, z.y}, {x.z, y.z, z.z}}};
        // The origin: on all three planes.
        auto const zero = Point<Cell>{0, 0, 0};
        double const a = dot(touched_of(t[5]) - zero, x), b = dot(touched_of(t[3]) - zero, y),
                     c = dot(touched_of(t[0]) - zero, z);
        auto const by_hand = True{rotation, zero + a * x + b * y + c * z};
        PartOptions options;
        options.start = nudged(truth, random, 0.2, 0.03);
        auto const fit = fit_part(all.touches, options);
        worst = std::max(worst, difference(fit.cell_from_part, by_hand));
        CHECK(fit.rms < 1e-12);
        CHECK(fit.degrees_of_freedom == 0);
        CHECK(!is_finite(fit.deviations()[0]));
        CHECK(has(refusal_of([&] { return fit.half_widths(); }), "no more was touched than holds the part"));
    }
    CHECK(worst < 1e-12);
}

TEST_CASE("part: points against Eigen's umeyama") {
    Random random(903);
    double worst = 0;
    for (std::size_t i = 0; i < runs(300); ++i) {
        auto const truth = random_pose<Cell, Part>(random, 2);
        std::vector<PartTouch> touches;
        for (int k = 0; k < 8; ++k)
            touches.push_back(on_point(random, truth));
        touches = with_noise(touches, random, 1e-4);
        Eigen::Matrix3Xd known(3, 8), touched(3, 8);
        for (int k = 0; k < 8; ++k) {
            auto const& p = std::get<PointTouch>(touches[static_cast<std::size_t>(k)]);
            known.col(k) << p.known.x, p.known.y, p.known.z;
            touched.col(k) << p.touched.x, p.touched.y, p.touched.z;
        }
        Eigen::Matrix4d const m = Eigen::umeyama(known, touched, false);
        auto const fit = fit_part(touches);
        if (!fit.outliers.empty()) // one set in a hundred loses a point
            continue;
        for (int r = 0; r < 3; ++r)
            for (int c = 0; c < 3; ++c)
                worst = std::max(worst, std::abs(fit.cell_from_part.rotation.m[r][c] - m(r, c)));
        worst = std::max({worst, std::abs(fit.cell_from_part.origin.x - m(0, 3)),
                          std::abs(fit.cell_from_part.origin.y - m(1, 3)),
                          std::abs(fit.cell_from_part.origin.z - m(2, 3))});
    }
    // The sum of squares is flat to rounding: coordinates of 2 m are exact to 4e-16 m, residuals are 1e-4 m,
    // and √(4e-16 · 1e-4) is 2e-10 m; times ten for weak directions.
    CHECK(worst < 2e-9);
}

TEST_CASE("part: balls against spheres solved in closed form") {
    // A sphere's middle from four touches or more: differences of |p|² − 2 p·c = r² − |c|² are linear in c.
    Random random(904);
    double worst = 0;
    for (std::size_t i = 0; i < runs(200); ++i) {
        auto const truth = random_pose<Cell, Part>(random, 2);
        std::array<Point<Part>, 3> const centres{{{0.1, 0.2, 0}, {-0.3, 0.1, 0.1}, {0.2, -0.2, 0.3}}};
        std::vector<PartTouch> touches;
        std::vector<TouchedPoint<Cell, Part>> middles;
        for (auto const& centre : centres) {
            Eigen::Matrix<double, 6, 3> rows;
            Eigen::Matrix<double, 6, 1> right;
            auto const first = on_ball(random, truth, centre, 0.02, 0.003);
            touches.push_back(first);
            for (int k = 0; k < 6; ++k) {
                auto const touch = on_ball(random, truth, centre, 0.02, 0.003);
                touches.push_back(touch);
                auto const off = touch.touched - first.touched;
                rows.row(k) << 2 * off.x, 2 * off.y, 2 * off.z;
                right(k) = squared_norm(off);
            }
            Eigen::Vector3d const c = rows.colPivHouseholderQr().solve(right);
            middles.push_back({centre, first.touched + Direction<Cell>{c.x(), c.y(), c.z()}});
        }
        PartOptions options;
        options.start = nudged(truth, random, 0.1, 0.01);
        worst =
            std::max(worst, difference(fit_part(touches, options).cell_from_part, fit_pose(middles).pose));
    }
    CHECK(worst < 1e-11);
}

TEST_CASE("part: errors fall with the root of the number of touches") {
    Random random(905);
    double before = 0;
    for (int const each : {2, 8, 32}) {
        double squares = 0;
        std::size_t const trials = runs(120);
        for (std::size_t i = 0; i < trials; ++i) {
            auto const truth = random_pose<Cell, Part>(random, 1);
            PartOptions options;
            options.start = truth;
            options.deviation = 1e-4;
            options.find_outliers = false;
            auto const fit = fit_part(with_noise(mixed(random, truth, each), random, 1e-4), options);
            for (double const x : step_between(truth, fit.cell_from_part))
                squares += sqr(x);
        }
        double const error = std::sqrt(squares / static_cast<double>(trials));
        // Sets of 120 random cells: a root of a mean square scatters by some 6 %, few touches spread
        // unevenly.
        if (before > 0)
            CHECK(before / error == doctest::Approx(2).epsilon(0.25));
        before = error;
    }
}

TEST_CASE("part: intervals and the joint region hold the truth as often as they say") {
    Random random(906);
    auto const truth = random_pose<Cell, Part>(random, 1);
    auto const clean = mixed(random, truth, 2);
    for (bool const given : {false, true}) {
        std::array<double, 6> held{};
        double jointly = 0, at_a_point = 0;
        std::size_t const trials = runs(2000);
        for (std::size_t i = 0; i < trials; ++i) {
            PartOptions options;
            options.start = truth;
            if (given)
                options.deviation = 2e-4;
            auto const fit = fit_part(with_noise(clean, random, 2e-4), options);
            auto const step = step_between(fit.cell_from_part, truth);
            auto const half = fit.half_widths();
            for (std::size_t k = 0; k < 6; ++k)
                held[k] += std::abs(step[k]) <= half[k] ? 1 : 0;
            jointly += fit.holds(truth) ? 1 : 0;
            Point<Part> const corner{0.3, -0.2, 0.1};
            Direction<Cell> const along{0.6, 0, 0.8};
            at_a_point +=
                std::abs(dot(truth * corner - fit.cell_from_part * corner, along)) <=
                        student_quantile(0.975, fit.degrees_of_freedom) * fit.deviation_at(corner, along)
                    ? 1
                    : 0;
        }
        for (double& count : held)
            count /= static_cast<double>(trials);
        jointly /= static_cast<double>(trials);
        at_a_point /= static_cast<double>(trials);
        MESSAGE("six " << held[0] << " " << held[1] << " " << held[2] << " " << held[3] << " " << held[4]
                       << " " << held[5] << " joint " << jointly << " at a point " << at_a_point);
        for (double const share :
             {held[0], held[1], held[2], held[3], held[4], held[5], jointly, at_a_point}) {
            CHECK(share > 0.93);
            CHECK(share < 0.97);
        }
    }
}

TEST_CASE("part: a gross error is named and bends nothing") {
    Random random(907);
    for (std::size_t i = 0; i < runs(100); ++i) {
        auto const truth = random_pose<Cell, Part>(random, 1);
        auto touches = with_noise(mixed(random, truth, 3), random, 1e-4);
        std::size_t const wrong = random.index(touches.size());
        PartOptions options;
        options.start = nudged(truth, random, 0.1, 0.02);
        auto without = touches;
        without.erase(without.begin() + static_cast<std::ptrdiff_t>(wrong));
        // Against what the touch measures: along the face's normal, across the axis, away from the middle.
        auto const off = detail::off_of(touches[wrong], nudged(truth, random, 0, 0.01));
        auto const push = truth * ((0.01 / norm(off)) * off);
        shift_touch(touches[wrong], std::holds_alternative<BeamTouch>(touches[wrong]) ? -push : push);
        auto const fit = fit_part(touches, options);
        CHECK(std::find(fit.outliers.begin(), fit.outliers.end(), wrong) != fit.outliers.end());
        auto const clean = fit_part(without, options);
        if (clean.outliers.empty() && fit.outliers.size() == 1)
            CHECK(difference(fit.cell_from_part, clean.cell_from_part) < 1e-9);
    }
}

TEST_CASE("part: exchanged points are named") {
    Random random(908);
    auto const truth = random_pose<Cell, Part>(random, 1);
    std::vector<PartTouch> touches;
    for (int k = 0; k < 12; ++k)
        touches.push_back(on_point(random, truth));
    touches = with_noise(touches, random, 1e-4);
    std::swap(std::get<PointTouch>(touches[3]).touched, std::get<PointTouch>(touches[7]).touched);
    auto const fit = fit_part(touches);
    CHECK(fit.outliers == std::vector<std::size_t>{3, 7});
    REQUIRE(fit.remarks.size() == 1);
    CHECK(has(fit.remarks[0], "touches 4 and 8 look as if they had changed places"));
    CHECK(difference(fit.cell_from_part, truth) < 5e-4);
}

TEST_CASE("part: what is left free is said in words") {
    Random random(909);
    auto const truth = random_pose<Cell, Part>(random, 1);
    PartOptions options;
    options.start = truth;
    auto const all = three_two_one(random, truth).touches;
    auto const only = [&](std::vector<std::size_t> const& which) {
        std::vector<PartTouch> some;
        for (auto const k : which)
            some.push_back(all[k]);
        return refusal_of([&] { return fit_part(some, options); });
    };
    auto const no_end = only({0, 1, 2, 3, 4});
    CHECK(has(no_end, "nothing holds the part along its x axis"));
    CHECK(!has(no_end, "along its y axis"));
    CHECK(!has(no_end, "turning"));
    auto const no_side = only({0, 1, 2, 5, 5});
    CHECK(has(no_side, "nothing holds the part along its y axis"));
    CHECK(has(no_side, "nothing keeps the part from turning about its z axis"));
    CHECK(!has(no_side, "about its x axis"));
    auto const only_floor = only({0, 1, 2, 0, 1, 2, 0});
    CHECK(has(only_floor, "nothing holds the part along its x axis"));
    CHECK(has(only_floor, "nothing holds the part along its y axis"));
    CHECK(has(only_floor, "nothing keeps the part from turning about its z axis"));
    CHECK(!has(only_floor, "about its x axis"));

    // A shaft: touched all round, it still turns and slides.
    std::vector<PartTouch> shaft;
    for (int k = 0; k < 12; ++k)
        shaft.push_back(on_cylinder(random, truth, {0, 0, 0}, {0, 1, 0}, 0.02, false, 0.001));
    auto const free = refusal_of([&] { return fit_part(shaft, options); });
    CHECK(has(free, "nothing holds the part along its y axis"));
    CHECK(has(free, "nothing keeps the part from turning about its y axis"));
    CHECK(!has(free, "its x axis"));
    CHECK(!has(free, "its z axis"));

    CHECK(has(refusal_of([&] { return fit_part({}); }), "no touches"));
    CHECK(has(refusal_of([&] { return fit_part(all); }), "must be given (PartOptions::start)"));
    std::vector<PartTouch> line;
    for (int k = 0; k < 4; ++k) {
        Point<Part> const p{0.1 * k, 0, 0};
        line.push_back(PointTouch{p, truth * p});
    }
    CHECK(has(refusal_of([&] { return fit_part(line); }), "lie on one line"));
    CHECK(has(refusal_of([&] { return fit_part(line, options); }), "turning about its x axis"));
    // A line far beside the part's origin: still a turn about it, and no shift.
    std::vector<PartTouch> far_line;
    for (int k = 0; k < 4; ++k) {
        Point<Part> const p{0.1 * k, 1, 0};
        far_line.push_back(PointTouch{p, truth * p});
    }
    auto const about_line = refusal_of([&] { return fit_part(far_line, options); });
    CHECK(has(about_line, "turning about its x axis"));
    CHECK(!has(about_line, "nothing holds"));
}

TEST_CASE("part: units, columns and mirror images are recognised and named") {
    Random random(910);
    for (std::size_t i = 0; i < runs(50); ++i) {
        // Within the 5 cm by which a part may lie off its drawn place.
        True const truth = nudged({Rotation<Cell, Part>::identity(), {1.2, 0.4, 0.7}}, random, 0.03, 0.02);
        std::vector<PartTouch> points;
        for (int k = 0; k < 8; ++k)
            points.push_back(on_point(random, truth));
        points = with_noise(points, random, 2e-4);
        PartOptions started;
        started.start = True{Rotation<Cell, Part>::identity(), {1.2, 0.4, 0.7}};
        auto const refused = [&](PartOptions const& options, auto const& change) {
            auto list = points;
            for (auto& touch : list)
                change(std::get<PointTouch>(touch));
            return refusal_of([&] { return fit_part(list, options); });
        };
        auto const times = [](auto& p, double by) { p = {by * p.x, by * p.y, by * p.z}; };
        CHECK(refused({}, [](PointTouch&) {}) == "");
        CHECK(refused(started, [](PointTouch&) {}) == "");
        for (auto const& options : {PartOptions{}, started}) {
            CHECK(has(refused(options, [&](PointTouch& p) { times(p.touched, 1000); }),
                      "touched points look like millimetres given as metres"));
            CHECK(has(refused(options, [&](PointTouch& p) { times(p.known, 1000); }),
                      "known points look like millimetres given as metres"));
            CHECK(has(refused(options, [&](PointTouch& p) { times(p.touched, 1 / 0.0254); }),
                      "touched points look like inches"));
        }
        auto const swap_xy = [](PointTouch& p) { std::swap(p.touched.x, p.touched.y); };
        CHECK(has(refused({}, swap_xy), "mirror image"));
        CHECK(has(refused({}, swap_xy), "two of its columns have changed places"));
        CHECK(has(refused(started, swap_xy), "x and y have changed places"));
        CHECK(has(refused(started, [](PointTouch& p) { std::swap(p.touched.x, p.touched.z); }),
                  "x and z have changed places"));
        CHECK(has(refused(started,
                          [](PointTouch& p) {
                              p.touched = {p.touched.y, p.touched.z, p.touched.x};
                          }),
                  "the columns stand in the order y, z, x"));
        CHECK(has(refused({}, [](PointTouch& p) { p.known.y = -p.known.y; }), "left-handed"));

        // Features, with the place by the drawing.
        auto const all = three_two_one(random, truth).touches;
        auto const features = [&](auto const& change) {
            auto list = all;
            for (auto& touch : list)
                change(std::get<FaceTouch>(touch).touched);
            return refusal_of([&] { return fit_part(list, started); });
        };
        CHECK(features([](Point<Cell>&) {}) == "");
        CHECK(has(features([&](Point<Cell>& p) { times(p, 1000); }), "millimetres were given as metres"));
        CHECK(has(features([&](Point<Cell>& p) { times(p, 1e-3); }), "metres were given as millimetres"));
        CHECK(has(features([](Point<Cell>& p) { std::swap(p.x, p.y); }), "x and y have changed places"));
    }
}

TEST_CASE("part: a gross error among ten points does not look like a mix-up") {
    Random random(911);
    for (std::size_t i = 0; i < runs(100); ++i) {
        auto const truth = random_pose<Cell, Part>(random, 1);
        std::vector<PartTouch> points;
        for (int k = 0; k < 10; ++k)
            points.push_back(on_point(random, truth));
        points = with_noise(points, random, 1e-4);
        std::size_t const wrong = random.index(10);
        shift_touch(points[wrong], {0.1, 0.05, -0.03});
        auto const fit = fit_part(points);
        CHECK(fit.outliers == std::vector<std::size_t>{wrong});
        CHECK(difference(fit.cell_from_part, truth) < 1e-3);
    }
}

TEST_CASE("part: touches that are not possible are refused by number") {
    Random random(912);
    auto const truth = random_pose<Cell, Part>(random, 1);
    auto const touches = mixed(random, truth, 2);
    auto const with = [&](std::size_t at, PartTouch const& touch) {
        auto list = touches;
        list[at] = touch;
        return refusal_of([&] { return fit_part(list); });
    };
    double const nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(
        has(with(3, PointTouch{{nan, 0, 0}, {0, 0, 0}}), "touch 4 (a point): its known point is not finite"));
    CHECK(
        has(with(4, FaceTouch{{0, 0, 0}, {0, 0, 2}, {0, 0, 0}}), "touch 5 (a face): its outward direction"));
    CHECK(has(with(5, CylinderTouch{{0, 0, 0}, {0, 0, 1}, 0.002, true, {0, 0, 0}, 0.003}),
              "does not fit into"));
    CHECK(has(with(6, BallTouch{{0, 0, 0}, 0, {0, 0, 0}}), "radius of 0 m"));
    CHECK(has(with(7, EdgeTouch{{0, 0, 0}, {0, 0, 1}, {0, 0, 0}, -1}), "tip of radius -1"));
    CHECK(has(with(0, PointTouch{{0, 0, 0}, {0, 0, 0}, 0}), "relative deviation must be above 0"));
    CHECK(has(with(1, BeamTouch{{0, 0, 0}, {0, nan, 0}, {0, 0, 1}}), "beam's origin is not finite"));
}
