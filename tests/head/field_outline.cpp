#include "seamhold/head/field_outline.hpp"

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <boost/multiprecision/cpp_bin_float.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {
using Fifty =
    boost::multiprecision::number<boost::multiprecision::cpp_bin_float<50>, boost::multiprecision::et_off>;
} // namespace

namespace seamhold {
template <> struct NumberTraits<Fifty> {
    static constexpr int rank = 1;
    static double value(Fifty const& x) { return static_cast<double>(x); }
    static bool finite(Fifty const& x) { return is_finite(static_cast<double>(x)); }
};
} // namespace seamhold

namespace {

using Points = std::vector<std::array<double, 2>>;

// Invented fields, m or rad.
Points const convex = {{-0.15, -0.1}, {0.12, -0.12}, {0.17, 0.02}, {0.1, 0.13}, {-0.12, 0.11}};
Points const notched = {{-0.15, -0.1}, {0.15, -0.1}, {0.15, 0.1}, {0.03, 0.1},
                        {0.0, -0.02},  {-0.04, 0.1}, {-0.15, 0.1}};

struct Named {
    std::string name;
    FieldOutline outline;
    bool convex;
    // The true signed distance, by brute force and without the code under test.
    double (*distance)(double, double);
};

// Whether a point is inside, by counting crossings of a ray to the right.
bool inside(Points const& points, double u, double v) {
    bool in = false;
    for (std::size_t i = 0, j = points.size() - 1; i < points.size(); j = i++)
        if ((points[i][1] > v) != (points[j][1] > v) &&
            u < (points[j][0] - points[i][0]) * (v - points[i][1]) / (points[j][1] - points[i][1]) +
                    points[i][0])
            in = !in;
    return in;
}

// The distance to the polygon's edge from the foot of the perpendicular or the nearer end of each edge.
double signed_distance(Points const& points, double u, double v) {
    double least = 1e300;
    for (std::size_t i = 0; i < points.size(); ++i) {
        auto const &a = points[i], &b = points[(i + 1) % points.size()];
        double const length = std::hypot(b[0] - a[0], b[1] - a[1]);
        double const ex = (b[0] - a[0]) / length, ey = (b[1] - a[1]) / length;
        double const s = (u - a[0]) * ex + (v - a[1]) * ey;
        double const d = s < 0        ? std::hypot(u - a[0], v - a[1])
                         : s > length ? std::hypot(u - b[0], v - b[1])
                                      : std::abs((v - a[1]) * ex - (u - a[0]) * ey);
        least = std::min(least, d);
    }
    return inside(points, u, v) ? least : -least;
}

// The distance to an ellipse: the least over 2000 places of its edge, then golden section. Accurate to 1e-9,
// which is the square of what golden section tells of the place.
double ellipse_distance(double a, double b, double u, double v) {
    auto const squared = [&](double t) {
        return std::pow(u - a * std::cos(t), 2) + std::pow(v - b * std::sin(t), 2);
    };
    double const step = 2 * 3.141592653589793 / 2000;
    double best = 0;
    for (int i = 0; i < 2000; ++i)
        if (squared(i * step) < squared(best))
            best = i * step;
    double low = best - step, high = best + step;
    for (int i = 0; i < 60; ++i) {
        double const left = high - (high - low) * 0.618, right = low + (high - low) * 0.618;
        (squared(left) < squared(right) ? high : low) = squared(left) < squared(right) ? right : left;
    }
    double const d = std::sqrt(squared((low + high) / 2));
    return u * u / (a * a) + v * v / (b * b) < 1 ? d : -d;
}

std::vector<Named> outlines() {
    auto const in = OutlineIn::focal_plane;
    Points turned = convex;
    std::reverse(turned.begin(), turned.end());
    return {
        {"circle", circle_outline(0.15, in), true,
         [](double u, double v) { return 0.15 - std::hypot(u, v); }},
        {"rectangle", rectangle_outline(0.3, 0.2, in), true,
         [](double u, double v) {
             return signed_distance({{-0.15, -0.1}, {0.15, -0.1}, {0.15, 0.1}, {-0.15, 0.1}}, u, v);
         }},
        {"wide ellipse", ellipse_outline(0.34, 0.12, in), true,
         [](double u, double v) { return ellipse_distance(0.17, 0.06, u, v); }},
        {"high ellipse", ellipse_outline(0.2, 0.3, in), true,
         [](double u, double v) { return ellipse_distance(0.1, 0.15, u, v); }},
        {"convex polygon", polygon_outline(convex, in), true,
         [](double u, double v) { return signed_distance(convex, u, v); }},
        {"the same, the other way round", polygon_outline(turned, in), true,
         [](double u, double v) { return signed_distance(convex, u, v); }},
        {"notched polygon", polygon_outline(notched, in), false,
         [](double u, double v) { return signed_distance(notched, u, v); }},
    };
}

} // namespace

TEST_CASE(
    "the clearance has the sign of the true distance, its slope at the edge, and stays below it inside") {
    Random random(31);
    for (auto const& one : outlines()) {
        auto const& name = one.name;
        auto const& outline = one.outline;
        bool const is_convex = one.convex;
        auto const distance = one.distance;
        CAPTURE(name);
        int on_the_edge = 0;
        for (int i = 0; i < 2000; ++i) {
            double const u = random.uniform(-0.25, 0.25), v = random.uniform(-0.2, 0.2);
            double const truth = distance(u, v);
            double const got = outline.clearance(u, v);
            CAPTURE(u);
            CAPTURE(v);
            // 1e-9 is what the brute-force distance from the ellipse is worth.
            if (std::abs(truth) > 1e-9) {
                CHECK((got > 0) == (truth > 0));
                CHECK((outline.utilisation(u, v) < 1) == (truth > 0));
            }
            if (is_convex && truth > 0)
                CHECK(got <= truth + 1e-9);
        }
        // From random places to the edge by bisection, then a little to both sides along the normal: to
        // first order the clearance is the distance.
        for (int i = 0; i < 200; ++i) {
            double in[2] = {0.05, 0.02}, out[2];
            double const angle = random.uniform(0, 6.28);
            out[0] = 0.4 * std::cos(angle);
            out[1] = 0.4 * std::sin(angle);
            for (int k = 0; k < 60; ++k) {
                double const middle[2] = {(in[0] + out[0]) / 2, (in[1] + out[1]) / 2};
                double* const moved = outline.clearance(middle[0], middle[1]) > 0 ? in : out;
                moved[0] = middle[0];
                moved[1] = middle[1];
            }
            using G = Gradient<double, 2>;
            auto const c = outline.clearance(G::variable(in[0], 0), G::variable(in[1], 1));
            // Bisection ends within 1e-16 of the edge; second derivatives are below 1e3 per m unless a
            // corner is nearer than a millimetre.
            bool corner = false;
            for (auto const& points :
                 {convex, notched, Points{{0.15, 0.1}, {-0.15, 0.1}, {0.15, -0.1}, {-0.15, -0.1}}})
                for (auto const& p : points)
                    corner = corner || std::hypot(in[0] - p[0], in[1] - p[1]) < 1e-3;
            if (corner)
                continue;
            ++on_the_edge;
            CHECK(std::abs(c.value) < 1e-15);
            CHECK(std::hypot(c.partial[0], c.partial[1]) == doctest::Approx(1).epsilon(1e-11));
            CHECK(std::abs(outline.utilisation(in[0], in[1]) - 1) < 1e-13);
            CHECK(std::abs(outline.share(in[0], in[1])) < 1e-13);
        }
        CHECK(on_the_edge > 150);
    }
}

TEST_CASE("a polygon's clearance is 2 over the integral of 1 / distance over all directions") {
    // Belyaev, Fayolle, Pasko, "Signed Lp-distance fields", Computer-Aided Design 45, 2013 (from memory): the
    // integral by the midpoint rule over a million directions, with crossings counted in turn as leaving and
    // entering. At a corner the integrand has a jump where the edge is not convex, hence 1e-5.
    for (auto const& points : {convex, notched}) {
        auto const outline = polygon_outline(points, OutlineIn::focal_plane);
        for (auto const& p : Points{{0.05, 0.02}, {-0.1, 0.05}, {0.1, -0.05}}) {
            REQUIRE(inside(points, p[0], p[1]));
            int const directions = 1000000;
            double sum = 0;
            for (int k = 0; k < directions; ++k) {
                double const angle = 2 * 3.141592653589793 * (k + 0.5) / directions;
                double const c = std::cos(angle), s = std::sin(angle);
                for (std::size_t i = 0; i < points.size(); ++i) {
                    auto const &a = points[i], &b = points[(i + 1) % points.size()];
                    double const da = c * (a[1] - p[1]) - s * (a[0] - p[0]);
                    double const db = c * (b[1] - p[1]) - s * (b[0] - p[0]);
                    if ((da > 0) == (db > 0))
                        continue;
                    double const part = da / (da - db);
                    double const rho =
                        c * (a[0] + part * (b[0] - a[0]) - p[0]) + s * (a[1] + part * (b[1] - a[1]) - p[1]);
                    if (rho > 0)
                        sum += (db > da ? 1 : -1) / rho;
                }
            }
            double const expected = 2 / (sum * 2 * 3.141592653589793 / directions);
            CHECK(outline.clearance(p[0], p[1]) == doctest::Approx(expected).epsilon(1e-5));
        }
    }
}

TEST_CASE("share and utilisation are 1 and 0 in the deepest place") {
    for (auto const& one : outlines()) {
        auto const& name = one.name;
        auto const& outline = one.outline;
        CAPTURE(name);
        double most = 0;
        double least_used = 1;
        for (double u = -0.2; u <= 0.2; u += 0.0009765625)
            for (double v = -0.2; v <= 0.2; v += 0.0009765625) {
                most = std::max(most, outline.share(u, v));
                least_used = std::min(least_used, outline.utilisation(u, v));
            }
        // The grid passes within 0.7 mm of the deepest place, where the share falls by the square of that
        // over some 0.05 m: 2e-4; the gauges of ellipse and rectangle by its first power: 0.015. The grid
        // has the middle, 0, only to rounding.
        CHECK(most <= 1 + 1e-12);
        CHECK(most > 1 - 1e-3);
        CHECK(least_used >= -1e-12);
        CHECK(least_used < 0.015);
        CHECK(outline.share(0.05, 0.02) * outline.depth() ==
              doctest::Approx(outline.clearance(0.05, 0.02)).epsilon(1e-14));
    }
    CHECK(circle_outline(0.15, OutlineIn::focal_plane).utilisation(0.09, 0.12) == doctest::Approx(1));
    CHECK(circle_outline(0.15, OutlineIn::focal_plane, {0.01, 0.02}).utilisation(0.1, 0.14) ==
          doctest::Approx(1));
    CHECK(circle_outline(0.15, OutlineIn::focal_plane).share(0.03, 0.04) == doctest::Approx(8.0 / 9));
    CHECK(circle_outline(0.15, OutlineIn::focal_plane).depth() == doctest::Approx(0.075));
}

TEST_CASE("rates of the clearance are those of differences in fifty digits") {
    // Central differences of order 8 with a step of 1e-4 in fifty digits, on a path of second degree: the
    // step to the eighth leaves 1e-32 of the ninth derivative, some 1e20 in SI units at most. The clearance
    // stands in for itself here in another number; that its values are right is shown above.
    Random random(32);
    for (auto const& one : outlines()) {
        auto const& name = one.name;
        auto const& outline = one.outline;
        CAPTURE(name);
        for (int i = 0; i < 60; ++i) {
            double u[3] = {random.uniform(-0.2, 0.2), random.uniform(-0.3, 0.3), random.uniform(-1, 1)};
            double v[3] = {random.uniform(-0.15, 0.15), random.uniform(-0.3, 0.3), random.uniform(-1, 1)};
            bool corner = false;
            for (auto const& points : {convex, notched})
                for (auto const& p : points)
                    corner = corner || std::hypot(u[0] - p[0], v[0] - p[1]) < 5e-3;
            if (corner)
                continue;
            Taylor<double, 3> tu(u[0]), tv(v[0]);
            for (int k = 1; k <= 2; ++k) {
                tu.coefficient[k] = u[k];
                tv.coefficient[k] = v[k];
            }
            auto const got = outline.clearance(tu, tv);
            Fifty const h = Fifty(1) / 10000;
            auto const f = [&](int n) {
                Fifty const t = h * n;
                return outline.clearance(Fifty(Fifty(u[0]) + t * (u[1] + t * u[2])),
                                         Fifty(Fifty(v[0]) + t * (v[1] + t * v[2])));
            };
            // B. Fornberg, "Generation of finite difference formulas on arbitrarily spaced grids", Math.
            // Comp. 51, 1988, tables 1 (from memory).
            Fifty const first =
                ((f(1) - f(-1)) * 672 - (f(2) - f(-2)) * 168 + (f(3) - f(-3)) * 32 - (f(4) - f(-4)) * 3) /
                840 / h;
            Fifty const second = (f(0) * -14350 + (f(1) + f(-1)) * 8064 - (f(2) + f(-2)) * 1008 +
                                  (f(3) + f(-3)) * 128 - (f(4) + f(-4)) * 9) /
                                 5040 / h / h;
            Fifty const third =
                ((f(1) - f(-1)) * -488 + (f(2) - f(-2)) * 338 - (f(3) - f(-3)) * 72 + (f(4) - f(-4)) * 7) /
                240 / h / h / h;
            CHECK(got.value() == doctest::Approx(static_cast<double>(f(0))).epsilon(1e-12));
            double const expected[] = {static_cast<double>(first), static_cast<double>(second),
                                       static_cast<double>(third)};
            // Rounding grows by the steepness of what is summed, 1/distance for each order; and the third
            // difference is of order 6 only.
            for (int k = 1; k <= 3; ++k) {
                CAPTURE(k);
                CHECK(got.derivative(k) == doctest::Approx(expected[k - 1])
                                               .epsilon(k < 3 ? 1e-10 : 1e-8)
                                               .scale(std::pow(10.0, k - 1)));
            }
        }
    }
}

TEST_CASE("derivatives up to the third go through the edge without a jump") {
    // Along a path across the edge: the third derivative on both sides, a step of 1e-7 apart, differs by
    // less than the fourth derivative, some 1e6 at most there, times the step.
    for (auto const& one : outlines()) {
        auto const& name = one.name;
        auto const& outline = one.outline;
        CAPTURE(name);
        auto const third = [&](double t) {
            Taylor<double, 3> u(0.02 + 0.3 * t), v(0.01 + 0.11 * t);
            u.coefficient[1] = 0.3;
            v.coefficient[1] = 0.11;
            return outline.clearance(u, v);
        };
        double in = 0, out = 1;
        for (int k = 0; k < 50; ++k)
            (third((in + out) / 2).value() > 0 ? in : out) = (in + out) / 2;
        auto const before = third(in - 1e-7), after = third(out + 1e-7);
        for (int k = 0; k <= 3; ++k)
            CHECK(before.derivative(k) == doctest::Approx(after.derivative(k)).epsilon(1e-4).scale(1));
    }
    // Far outside the ellipse a guard takes over where x²/a² = (1 − b²/2a²) / (1 − b²/a²).
    auto const ellipse = ellipse_outline(0.3, 0.2, OutlineIn::focal_plane);
    double const at = 0.15 * std::sqrt((1 - 2.0 / 9) / (1 - 4.0 / 9));
    auto const before = ellipse.clearance(Taylor<double, 3>::variable(at - 1e-9), 0.03);
    auto const after = ellipse.clearance(Taylor<double, 3>::variable(at + 1e-9), 0.03);
    for (int k = 0; k <= 3; ++k)
        CHECK(before.derivative(k) == doctest::Approx(after.derivative(k)).epsilon(1e-5));
    CHECK(is_finite(ellipse.clearance(Taylor<double, 3>::variable(10), 0.0)));
    CHECK(ellipse.clearance(10.0, 0.0) < 0);
}

TEST_CASE("every derivative is finite, at the centre, on edges and on corners") {
    using T = Taylor<Gradient<double, 2>, 2>;
    for (auto const& one : outlines()) {
        auto const& name = one.name;
        auto const& outline = one.outline;
        CAPTURE(name);
        Points places = {{0, 0},   {0.15, 0.1}, {-0.15, 0.1}, {0.15, 0},
                         {0, 0.1}, {0.17, 0},   {0, 0.06},    {0.5, 0.5}};
        for (auto const& points : {convex, notched})
            for (std::size_t i = 0; i < points.size(); ++i) {
                auto const &a = points[i], &b = points[(i + 1) % points.size()];
                places.push_back(a);
                places.push_back({a[0] + 1e-14, a[1] - 1e-13});
                places.push_back({(a[0] + b[0]) / 2, (a[1] + b[1]) / 2});
            }
        for (auto const& p : places) {
            CAPTURE(p[0]);
            CAPTURE(p[1]);
            T u(Gradient<double, 2>::variable(p[0], 0)), v(Gradient<double, 2>::variable(p[1], 1));
            u.coefficient[1] = 1.0;
            v.coefficient[2] = 0.5;
            CHECK(is_finite(outline.clearance(u, v)));
            CHECK(is_finite(outline.share(u, v)));
            CHECK(is_finite(
                outline.clearance(Taylor<double, 3>::variable(p[0]), Taylor<double, 3>::variable(p[1]))));
        }
    }
    // The corners themselves are on the edge; a tenth of a nanometre beside one the sign is that of the
    // place.
    for (auto const& points : {convex, notched}) {
        auto const outline = polygon_outline(points, OutlineIn::focal_plane);
        for (auto const& p : points) {
            CHECK(std::abs(outline.clearance(p[0], p[1])) < 1e-16);
            for (int k = 0; k < 16; ++k) {
                double const u = p[0] + 1e-10 * std::cos(0.1 + k * 0.39),
                             v = p[1] + 1e-10 * std::sin(0.1 + k * 0.39);
                CHECK((outline.clearance(u, v) > 0) == inside(points, u, v));
            }
        }
    }
}

TEST_CASE("no unit and no place matters, and each type of number gives the same value") {
    Points scaled, moved;
    for (auto const& p : notched) {
        scaled.push_back({p[0] * 1024, p[1] * 1024});
        moved.push_back({p[0] + 0.25, p[1] - 0.125});
    }
    auto const outline = polygon_outline(notched, OutlineIn::mirror_angles);
    CHECK(outline.in() == OutlineIn::mirror_angles);
    CHECK(polygon_outline(scaled, OutlineIn::focal_plane).clearance(0.05 * 1024, 0.02 * 1024) ==
          outline.clearance(0.05, 0.02) * 1024); // scaling by a power of two is exact
    CHECK(polygon_outline(moved, OutlineIn::focal_plane).clearance(0.30, -0.105) ==
          doctest::Approx(outline.clearance(0.05, 0.02)).epsilon(1e-13));
    for (auto const& one : outlines()) {
        auto const& name = one.name;
        auto const& shape = one.outline;
        CAPTURE(name);
        double const plain = shape.clearance(0.05, 0.02);
        CHECK(shape.clearance(Taylor<double, 2>(0.05), 0.02).value() == plain);
        CHECK(shape.clearance(Gradient<double, 2>(0.05), Taylor<double, 3>(0.02)).value().value == plain);
        CHECK(shape.clearance(0.05F, 0.02F) == doctest::Approx(plain).epsilon(1e-5)); // digits of a float
        AllocationGuard const guard;
        auto const moving = shape.clearance(Taylor<double, 2>::variable(0.05), Taylor<double, 2>(0.02));
        double const used = shape.utilisation(0.05, 0.02);
        CHECK(guard.count() == 0);
        CHECK(moving.value() == plain);
        CHECK(used < 1);
    }
}

TEST_CASE("without outline everything is inside") {
    auto const outline = unlimited_outline();
    CHECK(outline.unlimited());
    CHECK_FALSE(circle_outline(1, OutlineIn::focal_plane).unlimited());
    CHECK(outline.share(Taylor<double, 2>::variable(100), 3.0).value() == 1);
    CHECK(outline.clearance(1e6, 1e6) == 1e9);
    CHECK(outline.utilisation(1e6, 0) == 0);
}

TEST_CASE("an outline that is none is refused by its points and edges") {
    auto const in = OutlineIn::focal_plane;
    auto const polygon = [&](Points points) { return refusal_of([&] { polygon_outline(points, in); }); };
    CHECK(polygon({{0, 0}, {1, 0}}) == "an outline needs three points or more; given were 2");
    CHECK(polygon({{0, 0}, {1, 0}, {1, std::numeric_limits<double>::quiet_NaN()}}) ==
          "point 3 of an outline, (1, nan), is not finite");
    CHECK(polygon({{0, 0}, {1, 0}, {1, 1}, {0, 0}}) == "points 1 and 4 of an outline coincide, at (0, 0); an "
                                                       "outline closes by itself and visits each point once");
    CHECK(polygon({{0, 0}, {1, 1}, {3, 3}, {2, 2}}) ==
          "the 4 points of an outline, from (0, 0) to (3, 3), lie on one line: it encloses no area");
    CHECK(
        polygon({{0, 0}, {1, 1}, {1, 0}, {0, 1}}) ==
        "an outline crosses or touches itself: its edge from point 1 (0, 0) to point 2 (1, 1) and that from "
        "point 3 (1, 0) to point 4 (0, 1)");
    CHECK(
        polygon({{0, 0}, {2, 0}, {2, 1}, {1, 0}, {0, 1}}) ==
        "an outline crosses or touches itself: its edge from point 1 (0, 0) to point 2 (2, 0) and that from "
        "point 3 (2, 1) to point 4 (1, 0)");
    CHECK(
        polygon({{0, 0}, {2, 0}, {1, 0}, {1, 1}}) ==
        "an outline crosses or touches itself: its edge from point 1 (0, 0) to point 2 (2, 0) and that from "
        "point 2 (2, 0) to point 3 (1, 0)");
    CHECK(refusal_of([&] { circle_outline(-0.1, in); }) ==
          "the sides of a round field outline must be above 0; given was -0.2");
    CHECK(refusal_of([&] { rectangle_outline(0.1, 0, in); }) ==
          "the sides of a rectangular field outline must be above 0; given was 0");
    CHECK(refusal_of([&] { ellipse_outline(std::numeric_limits<double>::infinity(), 1, in); }) ==
          "the sides of an elliptic field outline must be above 0; given was inf");
    CHECK(refusal_of([&] {
              circle_outline(1, in, {0, std::numeric_limits<double>::infinity()});
          }) == "the centre of a round field outline is not finite");
}
