#include "seamhold/follow/chain.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "support/mirror_trace.hpp"
#include "support/random.hpp"

#include <boost/multiprecision/cpp_bin_float.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

// A chain of its own, in fifty digits of Boost.Multiprecision: quaternions turn vectors as q v q*, the
// mirrors are found by Newton steps on the vector trace, and rates are plain central differences. It shares
// the inputs with the library and nothing else.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Real =
    boost::multiprecision::number<boost::multiprecision::cpp_bin_float<50>, boost::multiprecision::et_off>;
using V = Vector<Real>;

Real evaluated(SineSum<> const& sum, Real const& t) {
    Real result = sum.middle;
    for (std::size_t i = 0; i < 3; ++i)
        result += Real(sum.amplitude[i]) * sin(Real(sum.frequency[i]) * t + Real(sum.phase[i]));
    return result;
}

struct Quaternion50 {
    Real w, x, y, z;
};

Quaternion50 multiplied(Quaternion50 const& a, Quaternion50 const& b) {
    return {a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z, a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
            a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x, a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w};
}

// q v q* / |q|².
V turned(Quaternion50 const& q, V const& v) {
    Real const square = q.w * q.w + q.x * q.x + q.y * q.y + q.z * q.z;
    auto const r = multiplied(multiplied(q, {Real(0), v.x, v.y, v.z}), {q.w, -q.x, -q.y, -q.z});
    return {r.x / square, r.y / square, r.z / square};
}

template <class Motion> Quaternion50 quaternion_at(Motion const& m, Real const& t) {
    return {evaluated(m.quaternion[0], t), evaluated(m.quaternion[1], t), evaluated(m.quaternion[2], t),
            evaluated(m.quaternion[3], t)};
}
template <class Motion> V origin_at(Motion const& m, Real const& t) {
    return {evaluated(m.origin[0], t), evaluated(m.origin[1], t), evaluated(m.origin[2], t)};
}

// A seam and its face in the terms of this file: a circle on a plane, woven or not.
struct Circle {
    double center_x, center_y, radius, start_angle, sense, speed, frequency, amplitude;
    std::array<double, 3> axis; // of the face's turn in the part, unit
    double angle;
    std::array<double, 3> origin;
};

V point_of(Circle const& c, Real const& time) {
    Real const angle = Real(c.start_angle) + Real(c.sense) * Real(c.speed) * time / Real(c.radius);
    // A weave is to the left of travel: inwards where the circle runs counter-clockwise.
    // The frequency in rad/s is the double product that the library takes, so that both swing alike.
    Real const omega = 2 * std::numbers::pi * c.frequency;
    Real const radius = Real(c.radius) - Real(c.sense) * Real(c.amplitude) * sin(omega * time);
    V const in_face{Real(c.center_x) + radius * cos(angle), Real(c.center_y) + radius * sin(angle), Real(0)};
    Real const half = Real(c.angle) / 2;
    Quaternion50 const q{cos(half), Real(c.axis[0]) * sin(half), Real(c.axis[1]) * sin(half),
                         Real(c.axis[2]) * sin(half)};
    return V{Real(c.origin[0]), Real(c.origin[1]), Real(c.origin[2])} + turned(q, in_face);
}

struct Mount {
    std::array<double, 3> axis;
    double angle;
    std::array<double, 3> origin;
};

struct Commands {
    std::array<Real, 3> axis; // x mirror, y mirror, lens
};

// The mirrors by Newton steps on how far the traced beam passes the target by, in the plane through it.
Commands aimed(MirrorPair<> const& head, V const& target) {
    Real const e = head.separation;
    auto const miss = [&](Real const& x, Real const& y) {
        auto const beam = traced(e, x, y);
        Real const way = (target.z - beam.line.point.z) / beam.line.direction.z;
        auto const p = beam.line.point + times(way, beam.line.direction);
        struct Miss {
            Real x, y, path;
        };
        return Miss{p.x - target.x, p.y - target.y, beam.path + way};
    };
    Real x = 0, y = 0;
    Real const step("1e-25");
    for (int i = 0; i < 8; ++i) {
        auto const here = miss(x, y);
        auto const by_x = miss(x + step, y);
        auto const by_y = miss(x, y + step);
        Real const a = (by_x.x - here.x) / step, b = (by_y.x - here.x) / step;
        Real const c = (by_x.y - here.y) / step, d = (by_y.y - here.y) / step;
        Real const determinant = a * d - b * c;
        x -= (d * here.x - b * here.y) / determinant;
        y -= (a * here.y - c * here.x) / determinant;
    }
    return {{x, y, (miss(x, y).path - Real(head.focus_path)) / Real(head.focus_ratio)}};
}

struct IndependentChain {
    SineMotion<Cell, Flange> flange;
    SineMotion<Cell, Part> part;
    Mount mount;
    MirrorPair<> head;
    Circle circle;
    double start;

    Commands at(Real const& t) const {
        V const in_cell =
            origin_at(part, t) + turned(quaternion_at(part, t), point_of(circle, t - Real(start)));
        auto const q = quaternion_at(flange, t);
        V const in_flange = turned({q.w, -q.x, -q.y, -q.z}, in_cell - origin_at(flange, t));
        Real const half = Real(mount.angle) / 2;
        Quaternion50 const back{cos(half), -Real(mount.axis[0]) * sin(half), -Real(mount.axis[1]) * sin(half),
                                -Real(mount.axis[2]) * sin(half)};
        V const in_head =
            turned(back, in_flange - V{Real(mount.origin[0]), Real(mount.origin[1]), Real(mount.origin[2])});
        return aimed(head, in_head);
    }

    // Value and first three derivatives by central differences: their error is h² times a fifth derivative at
    // most, 1e-20 · 1e16 of a 300 Hz weave; cancellation leaves 1e-48 / h³ = 1e-18.
    std::array<std::array<Real, 4>, 3> rates_at(Real const& t) const {
        Real const h("1e-10");
        Commands const far_back = at(t - 2 * h), back = at(t - h), here = at(t), ahead = at(t + h),
                       far_ahead = at(t + 2 * h);
        std::array<std::array<Real, 4>, 3> rates;
        for (std::size_t i = 0; i < 3; ++i) {
            rates[i][0] = here.axis[i];
            rates[i][1] = (ahead.axis[i] - back.axis[i]) / (2 * h);
            rates[i][2] = (ahead.axis[i] - 2 * here.axis[i] + back.axis[i]) / (h * h);
            rates[i][3] = (far_ahead.axis[i] - 2 * ahead.axis[i] + 2 * back.axis[i] - far_back.axis[i]) /
                          (2 * h * h * h);
        }
        return rates;
    }
};

} // namespace

TEST_CASE("the chain and its rates against a chain of its own in fifty digits, by finite differences") {
    Random random(10'201);
    for (int run = 0; run < 6; ++run) {
        CAPTURE(run);
        Mount const sits{{0.6, 0, 0.8}, random.uniform(-0.05, 0.05), {0.002, -0.003, 0.01}};
        Circle const circle{0.004,
                            -0.002,
                            random.uniform(0.002, 0.03),
                            random.uniform(-3, 3),
                            run % 2 == 0 ? 1.0 : -1.0,
                            metres_per_minute(15),
                            300,
                            run < 3 ? 0 : 0.0005,
                            {2.0 / 3, -2.0 / 3, 1.0 / 3},
                            degrees(20),
                            {0.003, 0.001, -0.002}};
        IndependentChain const truth{random_flange(random), random_part(random), sits, head(), circle, 0.25};

        Plane<> const plane{
            {about_axis<Part, Face>({circle.axis[0], circle.axis[1], circle.axis[2]}, circle.angle),
             {circle.origin[0], circle.origin[1], circle.origin[2]}}};
        auto const seam = at_speed(arc_around({circle.center_x, circle.center_y}, circle.radius,
                                              circle.start_angle, circle.sense * 2 * std::numbers::pi),
                                   plane, circle.speed, {circle.frequency, circle.amplitude});
        Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{
            truth.flange,
            truth.part,
            {about_axis<Flange, Head>({sits.axis[0], sits.axis[1], sits.axis[2]}, sits.angle),
             {sits.origin[0], sits.origin[1], sits.origin[2]}},
            truth.head};

        int const count = 12;
        std::vector<double> times;
        std::vector<std::array<std::array<double, 4>, 3>> expected;
        std::array<std::array<double, 4>, 3> scale{};
        for (int i = 0; i < count; ++i) {
            // Halves and quarters of milliseconds and a start of a quarter: t − start is exact.
            double const t = truth.start + std::floor(seam.duration() * (i + 0.5) / count * 4096) / 4096;
            times.push_back(t);
            auto const exact = truth.rates_at(Real(t));
            expected.emplace_back();
            for (std::size_t axis = 0; axis < 3; ++axis)
                for (std::size_t k = 0; k < 4; ++k) {
                    expected.back()[axis][k] = static_cast<double>(exact[axis][k]);
                    scale[axis][k] = std::max(scale[axis][k], std::abs(expected.back()[axis][k]));
                }
        }
        for (std::size_t i = 0; i < times.size(); ++i) {
            double const t = times[i];
            using T = Taylor<double, 3>;
            auto const followed = chain.follow(seam, T::variable(t - truth.start), T::variable(t));
            CHECK(followed.status == Status::ok);
            T const* const axes[3] = {&followed.aim.command.x_mirror, &followed.aim.command.y_mirror,
                                      &followed.aim.command.focus};
            for (std::size_t axis = 0; axis < 3; ++axis) {
                CAPTURE(axis);
                CAPTURE(t);
                // Angles of up to 0.1 rad from sums of metres: bits of 1 m over 2 · 0.5 m. A weave's phase of
                // up to 1000 rad is right to 1e-13 rad, of half a millimetre.
                CHECK(std::abs(axes[axis]->derivative(0) - expected[i][axis][0]) <= 20 * epsilon);
                for (int k = 1; k <= 3; ++k) {
                    CAPTURE(k);
                    auto const order = static_cast<std::size_t>(k);
                    // The promise, of the derivative's largest over the stretch; the differences above are
                    // right to 1e-17 of it.
                    CHECK(std::abs(axes[axis]->derivative(k) - expected[i][axis][order]) <=
                          1e-12 * scale[axis][order]);
                }
            }
        }
    }
}

TEST_CASE("a 0.1 mm seam, near and in a cell 100 m away, against fifty digits") {
    // The same job; only the cell's origin lies elsewhere. Its coordinates lose bits of 100 m, 1.4e-14 m
    // each, and an angle half of that over half a metre; nothing else may be lost.
    Random random(10'202);
    for (double const away : {0.0, 100.0}) {
        CAPTURE(away);
        auto flange = random_flange(random);
        auto part = random_part(random);
        for (std::size_t i = 0; i < 3; ++i) {
            flange.origin[i].middle += away;
            part.origin[i].middle += away;
        }
        Mount const sits{{0.6, 0, 0.8}, 0.02, {0.002, -0.003, 0.01}};
        Circle const circle{0.01,        0.02,     16e-6, 0.5, 1, 0.001, 0, 0, {2.0 / 3, -2.0 / 3, 1.0 / 3},
                            degrees(20), {0, 0, 0}};
        IndependentChain const truth{flange, part, sits, head(), circle, 0.25};
        Plane<> const plane{{about_axis<Part, Face>({2.0 / 3, -2.0 / 3, 1.0 / 3}, circle.angle), {0, 0, 0}}};
        auto const seam = at_speed(circle_around({0.01, 0.02}, 32e-6, 0.5), plane, 0.001);
        CHECK(seam.length() == doctest::Approx(1e-4).epsilon(0.01));
        Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{
            flange, part, {about_axis<Flange, Head>({0.6, 0, 0.8}, 0.02), {0.002, -0.003, 0.01}}, head()};
        double const bound = 20 * epsilon + 6 * epsilon * away;
        for (int i = 0; i < 8; ++i) {
            double const t = 0.25 + i / 128.0;
            auto const exact = truth.at(Real(t));
            auto const command = chain.follow(seam, t - 0.25, t).aim.command;
            CHECK(std::abs(command.x_mirror - static_cast<double>(exact.axis[0])) <= bound);
            CHECK(std::abs(command.y_mirror - static_cast<double>(exact.axis[1])) <= bound);
            CHECK(std::abs(command.focus - static_cast<double>(exact.axis[2])) <= bound);
        }
    }
}
