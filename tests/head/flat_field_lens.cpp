#include "seamhold/head/flat_field_lens.hpp"

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/boost_autodiff.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <vector>

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::infinity;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

// A lens of ordinary size, invented: f = 254 mm, exit plane 60 mm below the last mirror, 290 mm to the work.
FlatFieldLens<> lens_of(ChiefRaySlope<> const& x, ChiefRaySlope<> const& y) {
    FlatFieldLens<> lens{0.254, 0.06, 0.29, 0.002, x, y};
    lens.axis_x = 0.001;
    lens.axis_y = -0.002;
    return checked(lens);
}

// A measured lens, invented: nearly telecentric near the axis, and the chief ray turns back further out, so
// that the angle out is not even monotone.
ChiefRaySlope<> measured() {
    return ChiefRaySlope<>::from_table(
        {0, degrees(5), degrees(10), degrees(15), degrees(20), degrees(25)},
        {0, degrees(0.8), degrees(1.2), degrees(1.1), degrees(0.3), degrees(-1)});
}

std::vector<FlatFieldLens<>> lenses() {
    auto const telecentric = ChiefRaySlope<>::proportional(0);
    return {lens_of(telecentric, telecentric),
            lens_of(ChiefRaySlope<>::proportional(0.35), ChiefRaySlope<>::proportional(0.6)),
            lens_of(ChiefRaySlope<>::proportional(1), ChiefRaySlope<>::proportional(-0.1)),
            lens_of(measured(), ChiefRaySlope<>::proportional(0.2))};
}

Direction<Head> direction_of(double theta, double phi) {
    return {std::sin(theta) * std::cos(phi), std::sin(theta) * std::sin(phi), std::cos(theta)};
}

/// The point of a beam in the plane at height z.
Point<Head> at_height(Ray<double> const& ray, double z) {
    double const way = (z - ray.origin.z) / ray.direction.z;
    return {ray.origin.x + way * ray.direction.x, ray.origin.y + way * ray.direction.y, z};
}

} // namespace

TEST_CASE("the image lies f·θ from the axis, to the side to which the beam points, up to 45 degrees") {
    Random random(2331);
    auto const lens = lenses()[1];
    for (std::size_t n = 0; n < runs(2000); ++n) {
        double const theta = std::numbers::pi / 4 * random.unit(), phi = random.uniform(-3.2, 3.2);
        auto const out = lens.ray(direction_of(theta, phi));
        // sin, cos, and some six roundings of lengths up to 0.2 m.
        double const bound = 8 * epsilon * 0.2;
        CHECK(std::abs(out.focus.x - 0.001 - 0.254 * theta * std::cos(phi)) <= bound);
        CHECK(std::abs(out.focus.y + 0.002 - 0.254 * theta * std::sin(phi)) <= bound);
        CHECK(out.focus.z == 0.06 + 0.29);
    }
}

TEST_CASE("the beam starts in the exit plane, passes its focus, and leaves at the angles of the slopes") {
    Random random(2332);
    for (auto const& lens : lenses())
        for (std::size_t n = 0; n < runs(200); ++n) {
            double const theta = degrees(25) * random.unit(), phi = random.uniform(-3.2, 3.2);
            auto const out = lens.ray(direction_of(theta, phi));
            CHECK(out.ray.origin.z == 0.06);
            CHECK(out.ray.path == 0);
            CHECK(out.ray.focus_path == 0);
            CHECK(std::abs(squared_norm(out.ray.direction) - 1) <= 4 * epsilon);
            auto const passed = at_height(out.ray, lens.focal_z());
            CHECK(std::abs(passed.x - out.focus.x) <= 8 * epsilon * 0.3); // lengths up to 0.3 m
            CHECK(std::abs(passed.y - out.focus.y) <= 8 * epsilon * 0.3);
        }
    // Deflected in x only, the height is f·θ and the chief ray of κ leaves at κ·θ.
    double const theta = 0.3, bound = 4 * epsilon;
    auto const direction = [&](std::size_t i) {
        return lenses()[i].ray(direction_of(theta, 0)).ray.direction;
    };
    CHECK(direction(0).z == 1);
    CHECK(std::abs(direction(1).x - std::sin(0.35 * theta)) <= bound);
    CHECK(std::abs(direction(2).x - std::sin(theta)) <= bound); // straight through a pupil
    CHECK(std::abs(direction(2).z - std::cos(theta)) <= bound);
    CHECK(std::abs(lenses()[2].ray(direction_of(theta, std::numbers::pi / 2)).ray.direction.y +
                   std::sin(0.1 * theta)) <= bound);
    // A table: at a row, and on the other side of the axis.
    auto const row = lenses()[3].ray(direction_of(degrees(10), 0)).ray.direction;
    auto const mirrored = lenses()[3].ray(direction_of(-degrees(10), 0)).ray.direction;
    CHECK(std::abs(std::atan2(row.x, row.z) - degrees(1.2)) <= bound);
    CHECK(std::abs(std::atan2(mirrored.x, mirrored.z) + degrees(1.2)) <= bound);
}

TEST_CASE("a table of angles in one line is the proportional law, and a cubic is met exactly") {
    auto const line = ChiefRaySlope<>::from_table({0, 0.1, 0.25, 0.4}, {0, 0.03, 0.075, 0.12});
    auto const cubic = [](auto const& u) { return (u * u * 0.5 - 0.2) * u; };
    std::vector<double> in, out;
    for (double const u : {-0.3, -0.2, -0.05, 0.1, 0.25, 0.35}) {
        in.push_back(u);
        out.push_back(cubic(u));
    }
    auto const curve = ChiefRaySlope<>::from_table(in, out);
    for (double const u : {-0.29, -0.1, 0.0, 0.13, 0.34}) {
        auto const ours = line.angle(Taylor<double, 3>::variable(u));
        // Last bits of 0.12 divided by steps of 0.1, once a derivative.
        CHECK(std::abs(ours.value() - 0.3 * u) <= 10 * epsilon);
        CHECK(std::abs(ours.derivative(1) - 0.3) <= 100 * epsilon);
        CHECK(std::abs(ours.derivative(2)) <= 1000 * epsilon);
        auto const theirs = cubic(boost::math::differentiation::make_fvar<double, 3>(u));
        auto const got = curve.angle(Taylor<double, 3>::variable(u));
        for (int k = 0; k <= 3; ++k)
            CHECK(std::abs(got.derivative(k) - theirs.derivative(static_cast<std::size_t>(k))) <=
                  10 * epsilon * std::pow(20, k)); // steps of at least 0.1, halved for good measure
    }
    CHECK(line.angle(0.5) == doctest::Approx(0.15).epsilon(20 * epsilon)); // straight on beyond the end
    CHECK(line.clearance(0.0) == 1);
    CHECK(std::abs(line.clearance(0.4)) <= 4 * epsilon);
    CHECK(line.clearance(-0.41) < 0);
}

TEST_CASE("at the exact centre of the field the derivatives are the true ones, not zeros") {
    auto const lens = lens_of(ChiefRaySlope<>::proportional(0.35), ChiefRaySlope<>::proportional(0.6));
    double const f = 0.254, a = 0.7, b = 0.3, c = -0.4, g = 1.1;
    // dx = a t + g t²/2, dy = c t, a unit vector: image x = f·dx·(1 + (dx² + dy²)/6 + …) from θ / sin θ = 1 +
    // sin²θ/6 + …; so x' = f a, x'' = f g, x''' = f a (a² + c²).
    using T = Taylor<double, 3>;
    auto const t = T::variable(0);
    T const dx = a * t + g * 0.5 * sqr(t), dy = c * t;
    Direction<Head, T> const d{dx, dy, sqrt(1.0 - sqr(dx) - sqr(dy))};
    auto const out = lens.ray(d);
    double const bound = 20 * epsilon; // a dozen operations on numbers near 1
    CHECK(out.focus.x.value() == lens.axis_x);
    CHECK(std::abs(out.focus.x.derivative(1) - f * a) <= bound);
    CHECK(std::abs(out.focus.x.derivative(2) - f * g) <= bound);
    CHECK(std::abs(out.focus.x.derivative(3) - f * a * (a * a + c * c)) <= bound);
    CHECK(std::abs(out.focus.y.derivative(3) - f * c * (a * a + c * c)) <= bound);
    // The ray's z = 1 − (tan²αx + tan²αy)/2 + …: its second derivative is −((0.35 a)² + (0.6 c)²).
    CHECK(std::abs(out.ray.direction.z.derivative(1)) <= bound);
    CHECK(std::abs(out.ray.direction.z.derivative(2) + sqr(0.35 * a) + sqr(0.6 * c)) <= bound);
    // By parameters, and rates by parameters: d(x')/da is f.
    using G = Gradient<double, 2>;
    auto const by = lens.ray(Direction<Head, G>{G::variable(0, 0), G::variable(0, 1), G(1)});
    CHECK(std::abs(by.focus.x.partial[0] - f) <= bound);
    CHECK(by.focus.x.partial[1] == 0);
    CHECK(std::abs(by.focus.y.partial[1] - f) <= bound);
    Taylor<G, 2> swept(0.0);
    swept.coefficient[1] = G::variable(b, 0);
    auto const both =
        lens.ray(Direction<Head, Taylor<G, 2>>{swept, Taylor<G, 2>(0.0), sqrt(1.0 - sqr(swept))});
    CHECK(std::abs(both.focus.x.coefficient[1].partial[0] - f) <= bound);
    CHECK(std::abs(both.ray.direction.z.derivative(2).partial[0] + 2 * sqr(0.35) * b) <= bound);
}

TEST_CASE("rates anywhere in the field agree with Boost.Math's automatic differentiation") {
    using boost::math::differentiation::make_fvar;
    Random random(2333);
    auto const lens = lens_of(ChiefRaySlope<>::proportional(0.35), ChiefRaySlope<>::proportional(0.6));
    double worst[4] = {};
    for (std::size_t n = 0; n < runs(500); ++n) {
        // A beam that turns at the rates (0.8, −0.5) from a place within 45°.
        double const across = degrees(44) * random.uniform(0.01, 1), phi = random.uniform(-3.2, 3.2);
        auto const place = direction_of(across, phi);
        double const u = place.x / place.z, v = place.y / place.z;
        auto const their_t = make_fvar<double, 3>(0.0);
        auto const tx = their_t * 0.8 + u, ty = their_t * -0.5 + v;
        auto const tangent = sqrt(tx * tx + ty * ty);
        auto const theirs = tx / tangent * atan(tangent) * 0.254;
        using T = Taylor<double, 3>;
        auto const t = T::variable(0);
        T const x = t * 0.8 + u, y = t * -0.5 + v;
        T const inverse = 1.0 / sqrt(sqr(x) + sqr(y) + 1.0);
        auto const ours = lens.ray(Direction<Head, T>{x * inverse, y * inverse, inverse}).focus.x;
        for (int k = 1; k <= 3; ++k) {
            double const off = std::abs(ours.derivative(k) - theirs.derivative(static_cast<std::size_t>(k)));
            worst[k] = std::max(worst[k], off * std::pow(tangent.derivative(0), k - 1));
        }
    }
    MESSAGE("worst difference in image x rates: " << worst[1] << " m, " << worst[2] << ", " << worst[3]);
    // Their form is singular at the centre and loses (1/tangent)^(k − 1), which the weights take out. Left
    // are some twenty roundings, k! times in the k-th derivative.
    CHECK(worst[1] <= 20 * epsilon);
    CHECK(worst[2] <= 40 * epsilon);
    CHECK(worst[3] <= 120 * epsilon);
}

TEST_CASE("the direction for a point undoes the beam, in the focal plane and off it") {
    Random random(2334);
    double worst = 0;
    for (auto const& lens : lenses())
        for (std::size_t n = 0; n < runs(1000); ++n) {
            auto const d = direction_of(degrees(24) * random.unit(), random.uniform(-3.2, 3.2));
            double const beyond = n % 4 == 0 ? 0 : random.uniform(-0.05, 0.08);
            auto const p = at_height(lens.ray(d).ray, lens.focal_z() + beyond);
            auto const got = lens.input_direction(p);
            worst = std::max({worst, std::abs(got.x - d.x), std::abs(got.y - d.y), std::abs(got.z - d.z)});
        }
    MESSAGE("worst direction: " << worst);
    // A place to 8 bits of 0.3 m, over the f of 0.254 m less what the chief rays take away (less than half).
    CHECK(worst <= 16 * epsilon * 0.3 / 0.254 * 2);
    // In the middle, below the lens's axis.
    auto const middle = lenses()[1].input_direction({0.001, -0.002, 0.4});
    CHECK(middle.x == 0);
    CHECK(middle.y == 0);
    CHECK(middle.z == 1);
    // Out of reach: finite, at the end of the range.
    auto const far = lenses()[3].input_direction({2, 0, 0.36});
    CHECK(is_finite(far.x));
    CHECK(std::abs(std::atan2(far.x, far.z) - degrees(25)) <= 0.01);
}

TEST_CASE("clearances: on the axis, at the ends, beyond") {
    auto const lens = lenses()[0];
    CHECK(lens.angle_clearance(direction_of(0, 0)) == 1);
    double const bound = 8 * epsilon;
    CHECK(std::abs(lens.angle_clearance(direction_of(std::numbers::pi / 4, 1))) <= bound);
    CHECK(lens.angle_clearance(direction_of(degrees(44), 2)) > 0);
    CHECK(lens.angle_clearance(direction_of(degrees(46), 2)) < 0);
    CHECK(lens.angle_clearance(direction_of(degrees(120), 2)) < 0);
    CHECK(lens.angle_clearance(Direction<Head>{0, 0, -1}) < 0);
    CHECK(is_finite(lens.ray(Direction<Head>{0, 0, -1}).ray.direction.z));
    CHECK(lenses()[3].angle_clearance(direction_of(degrees(24), 0)) > 0);
    CHECK(lenses()[3].angle_clearance(direction_of(degrees(26), 0)) < 0); // beyond the table in x
    CHECK(lenses()[3].angle_clearance(direction_of(degrees(26), std::numbers::pi / 2)) > 0);
    CHECK(std::abs(lens.depth_clearance(Point<Head>{0, 0, 0.3515}) - 0.0005) <= 4 * epsilon);
    CHECK(std::abs(lens.depth_clearance(Point<Head>{0, 0, 0.3485}) - 0.0005) <= 4 * epsilon);
    CHECK(lens.depth_clearance(Point<Head>{0, 0, 0.353}) < 0);
    CHECK(lens.depth_clearance(Point<Head>{0, 0, 0.347}) < 0);
    auto deep = lens;
    deep.depth = infinity;
    CHECK(deep.depth_clearance(Point<Head>{0, 0, 5}) > 0);
}

TEST_CASE_TEMPLATE("law: every number type sees the same lens", T, double, float, Taylor<double, 2>,
                   Taylor<double, 3>, Gradient<double, 2>, Taylor<Gradient<double, 2>, 2>) {
    double const bound = 10 * (std::is_same_v<T, float> ? 1.2e-7 : epsilon); // a dozen roundings below 1
    for (auto const& lens : lenses())
        for (double const theta : {0.0, 1e-8, 0.1, 0.4}) {
            auto const d = direction_of(theta, 0.7);
            auto const plain = lens.ray(d);
            auto const got = lens.ray(number_cast<T>(d));
            CHECK(std::abs(value_of(got.focus.x) - plain.focus.x) <= bound);
            CHECK(std::abs(value_of(got.focus.y) - plain.focus.y) <= bound);
            CHECK(std::abs(value_of(got.ray.origin.x) - plain.ray.origin.x) <= bound);
            CHECK(std::abs(value_of(got.ray.direction.x) - plain.ray.direction.x) <= bound);
            CHECK(std::abs(value_of(got.ray.direction.z) - plain.ray.direction.z) <= bound);
            CHECK(std::abs(value_of(lens.angle_clearance(number_cast<T>(d))) - lens.angle_clearance(d)) <=
                  20 * bound); // 1 − r²/0.17
        }
    FlatFieldLens<float> const narrow{0.254F, 0.06F, 0.29F, 0.002};
    static_assert(std::is_same_v<decltype(narrow.ray(Direction<Head, float>{}).focus.x), float>);
}

TEST_CASE("a lens's lengths and slopes may be unknowns") {
    using G = Gradient<double, 2>;
    FlatFieldLens<G> const lens{G::variable(0.254, 0),
                                G(0.06),
                                G(0.29),
                                0.002,
                                ChiefRaySlope<G>::proportional(G::variable(0.35, 1)),
                                ChiefRaySlope<G>::proportional(G(0.6))};
    double const theta = 0.3;
    auto const out = lens.ray(direction_of(theta, 0));
    CHECK(std::abs(out.focus.x.partial[0] - theta) <= 4 * epsilon);
    CHECK(out.focus.x.partial[1] == 0);
    CHECK(std::abs(out.ray.direction.x.partial[1] - theta * std::cos(0.35 * theta)) <= 4 * epsilon);
    auto const d = lens.input_direction({0.05, 0.02, 0.4});
    auto const again = lens.ray(d);
    double const way = (0.4 - 0.06) / again.ray.direction.z.value;
    CHECK(std::abs(again.ray.origin.x.value + way * again.ray.direction.x.value - 0.05) <= 8 * epsilon);
}

TEST_CASE("asking a lens does not touch the heap") {
    auto const all = lenses();
    AllocationGuard const guard;
    double sum = 0;
    for (auto const& lens : all) {
        using T = Taylor<double, 3>;
        auto const t = T::variable(0.1);
        auto const out = lens.ray(Direction<Head, T>{t, T(0.0), sqrt(1.0 - sqr(t))});
        sum += out.focus.x.derivative(1) + lens.input_direction({0.01, 0.02, 0.36}).z +
               lens.angle_clearance(Direction<Head>{0, 0, 1});
    }
    CHECK(guard.count() == 0);
    CHECK(sum > 0);
}

TEST_CASE("lenses that are none are refused, with the field") {
    auto const changed = [](auto const& change) {
        return refusal_of([&] {
            auto lens = lenses()[1];
            change(lens);
            return checked(lens);
        });
    };
    CHECK(changed([](auto&) {}).empty());
    CHECK(changed([](auto& l) { l.focal_length = 0; }) ==
          "a flat-field lens's focal length (m) of 0 is not possible: it must be above 0 and finite");
    CHECK(changed([](auto& l) { l.exit_z = -0.1; }) ==
          "a flat-field lens's exit plane's z (m) of -0.1 is not possible: it must be above 0 and finite");
    CHECK(changed([](auto& l) { l.working_distance = infinity; }) ==
          "a flat-field lens's working distance (m) of inf is not possible: it must be above 0 and finite");
    CHECK(changed([](auto& l) { l.depth = -1; }) ==
          "a flat-field lens's depth (m) of -1 is not possible: it must be above 0");
    CHECK(changed([](auto& l) { l.axis_y = infinity; }) ==
          "a flat-field lens's axis (m) of inf is not possible: it must be finite");
    CHECK(
        changed([](auto& l) { l.x_slope = ChiefRaySlope<>::proportional(3); })
            .find(
                "a flat-field lens's chief ray's angle in x (rad) of -2.35619449 is not possible: it must be "
                "less than a right angle at -0.785398163 rad in") == 0);
    CHECK(
        changed([](auto& l) {
            l.y_slope = ChiefRaySlope<>::proportional(1);
            l.depth = 0.2;
        })
            .find("a flat-field lens's depth (m) of 0.2 is not possible: it must be below 0.127, where chief "
                  "rays cross in the plane of y and z") == 0); // f·cos²45° = 0.127
    CHECK(changed([](auto& l) {
              l.y_slope = ChiefRaySlope<>::proportional(1);
              l.depth = infinity;
          }).empty());
}

TEST_CASE("tables of chief-ray angles that are none are refused, with the rows") {
    auto const table = [](std::vector<double> const& in, std::vector<double> const& out) {
        return refusal_of([&] { return ChiefRaySlope<>::from_table(in, out); });
    };
    CHECK(table({0}, {0}) ==
          "a table of chief-ray angles needs two rows or more, each with both angles; given "
          "were 1 angles in and 1 out");
    CHECK(table({0, 1}, {0, 0}) ==
          "row 1 of a table of chief-ray angles is not finite or beyond 45 degrees: 1 "
          "rad in, 0 rad out");
    CHECK(
        table({0, 0.1, 0.1}, {0, 0.1, 0.2}) ==
        "rows 1 and 2 of a table of chief-ray angles clash: the angle in must increase from row to row: 0.1 "
        "follows 0.1");
    CHECK(table({0.1, 0.2}, {0, 0.1}) ==
          "a table of chief-ray angles must start at 0 or below and end above; "
          "its angles in (rad) run from 0.1 to 0.2");
    CHECK(table({-0.1, 0}, {0, 0.1}) == "a table of chief-ray angles must start at 0 or below and end above; "
                                        "its angles in (rad) run from -0.1 to 0");
    CHECK(table({0, 0.1}, {0.01, 0.1}) ==
          "row 0 of a table of chief-ray angles lies on the axis, so its angle "
          "out must be 0; given was 0.01 rad");
    CHECK(table({-0.1, 0.1}, {0.01, 0.1}).empty());
}
