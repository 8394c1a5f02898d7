#include "seamhold/live/block_bound.hpp"

#include "head/fifty_digits.hpp"
#include "live/block_jobs.hpp"
#include "seamhold/live/block.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>

// Bounds of blocks against a chain of its own in fifty digits of Boost.Multiprecision, which shares the
// inputs with the library and nothing else: quaternions turn vectors as q v q*, mirrors are found by Newton
// steps on a vector trace.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using V = Vector<Real>;

struct Quaternion50 {
    Real w, x, y, z;
};

// q v q* / |q|².
V turned(Quaternion50 const& q, V const& v) {
    Real const square = q.w * q.w + q.x * q.x + q.y * q.y + q.z * q.z;
    Real const w = -(q.x * v.x + q.y * v.y + q.z * v.z);
    V const u{q.w * v.x + q.y * v.z - q.z * v.y, q.w * v.y + q.z * v.x - q.x * v.z,
              q.w * v.z + q.x * v.y - q.y * v.x};
    return {(q.w * u.x - w * q.x - u.y * q.z + u.z * q.y) / square,
            (q.w * u.y - w * q.y - u.z * q.x + u.x * q.z) / square,
            (q.w * u.z - w * q.z - u.x * q.y + u.y * q.x) / square};
}
Quaternion50 back(Quaternion50 const& q) { return {q.w, -q.x, -q.y, -q.z}; }

Quaternion50 about(std::array<double, 3> const& axis, double angle) {
    Real const h = Real(angle) / 2, s = sin(h);
    return {cos(h), Real(axis[0]) * s, Real(axis[1]) * s, Real(axis[2]) * s};
}

// A circle on a plane that leans, and how it is woven.
struct Circle {
    double center_x, center_y, radius, start_angle, speed, frequency, amplitude;
    std::array<double, 3> axis; // of the face's turn in the part, unit
    double angle;
    std::array<double, 3> origin;

    V at(Real const& time) const {
        Real const along = Real(start_angle) + Real(speed) * time / Real(radius);
        Real const omega = 2 * std::numbers::pi * frequency; // the double product that the library takes
        Real const out = Real(radius) - Real(amplitude) * sin(omega * time);
        V const in_face{Real(center_x) + out * cos(along), Real(center_y) + out * sin(along), Real(0)};
        return V{Real(origin[0]), Real(origin[1]), Real(origin[2])} + turned(about(axis, angle), in_face);
    }
    auto seam() const {
        Plane<> const plane{
            {about_axis<Part, Face>({axis[0], axis[1], axis[2]}, angle), {origin[0], origin[1], origin[2]}}};
        return at_speed(arc_around({center_x, center_y}, radius, start_angle, 2 * std::numbers::pi), plane,
                        speed, {frequency, amplitude});
    }
};

Circle random_circle(Random& random, double frequency, double amplitude) {
    return {0.004,
            -0.002,
            random.uniform(0.008, 0.02),
            random.uniform(-3, 3),
            random.uniform(0.15, 0.3),
            frequency,
            amplitude,
            {2.0 / 3, -2.0 / 3, 1.0 / 3},
            random.uniform(-0.5, 0.5),
            {0.003, 0.001, -0.002}};
}

// What a forecast alone, the mount of `small_mount` and a circle make of two times.
V in_head(Forecast<7> const& f, Circle const& circle, Real const& seam_time, Real const& robot_time) {
    Real const t = robot_time - Real(f.about.seconds);
    std::array<Real, 7> c;
    for (std::size_t d = 0; d < 7; ++d)
        c[d] =
            Real(f.coefficient[0][d]) +
            t * (Real(f.coefficient[1][d]) + t * (Real(f.coefficient[2][d]) + t * Real(f.coefficient[3][d])));
    V const in_flange = turned(back({c[3], c[4], c[5], c[6]}), circle.at(seam_time) - V{c[0], c[1], c[2]});
    return turned(back(about({0.6, 0, 0.8}, degrees(2))),
                  in_flange - V{Real(0.002), Real(-0.003), Real(0.01)});
}

// The ideal head's mirrors by Newton steps on how far the traced beam passes the target by.
std::array<Real, 3> aimed_ideal(MirrorPair<> const& head, V const& target) {
    Real const e = head.separation;
    struct Miss {
        Real x, y, path;
    };
    auto const miss = [&](Real const& x, Real const& y) {
        auto const beam = traced(e, x, y);
        Real const way = (target.z - beam.line.point.z) / beam.line.direction.z;
        auto const p = beam.line.point + times(way, beam.line.direction);
        return Miss{p.x - target.x, p.y - target.y, beam.path + way};
    };
    Real x = 0, y = 0;
    Real const step("1e-25");
    for (int i = 0; i < 7; ++i) {
        auto const here = miss(x, y), by_x = miss(x + step, y), by_y = miss(x, y + step);
        Real const a = (by_x.x - here.x) / step, b = (by_y.x - here.x) / step;
        Real const c = (by_x.y - here.y) / step, d = (by_y.y - here.y) / step;
        Real const determinant = a * d - b * c;
        x -= (d * here.x - b * here.y) / determinant;
        y -= (a * here.y - c * here.x) / determinant;
    }
    return {x, y, (miss(x, y).path - Real(head.focus_path)) / Real(head.focus_ratio)};
}

struct Shares {
    double largest = 0;       ///< of a bound
    double largest_bound = 0; ///< rad
    int blocks = 0;
};

// Every tick of a block against fifty digits.
template <int N, class Moves, class Truth>
void compare(Random& random, Circle const& circle, Moves& chain, ForecastBox const& box,
             BlockBounds<N> const& bounds, Truth const& truth, double latest, Shares& shares) {
    auto const seam = circle.seam();
    auto& f = chain.cell_from_flange.forecast;
    double const when = random.uniform(0.01, seam.duration() - 0.01);
    f = random_forecast(random, *chain.cell_from_flange.pass, box, seam_start + when, false);
    auto const middle = moment_in(f, program_start, f.clock.scanner + random.uniform(0, latest));
    auto const block = block_of(chain, seam, bounds, middle, block_half);
    REQUIRE_MESSAGE(block.status == BlockStatus::ok, std::string(to_string(block.status)));
    ++shares.blocks;
    for (int i = 0; i < ticks; i += 7) {
        double const tau = -block_half + tick * i;
        auto const told = axes_of(block.after_middle(tau));
        auto const exact = truth(f, Real(middle.seam) + Real(middle.seam_rate) * Real(tau),
                                 Real(middle.robot.seconds) + Real(middle.robot_rate) * Real(tau), told);
        for (std::size_t k = 0; k < 3; ++k) {
            double const off = std::abs(Real(Real(told[k]) - exact[k]).template convert_to<double>());
            CHECK(off <= block.bound[k]);
            shares.largest = std::max(shares.largest, off / block.bound[k]);
        }
    }
    shares.largest_bound = std::max({shares.largest_bound, block.bound[0], block.bound[1]});
}

} // namespace

TEST_CASE("blocks of an ideal head against fifty digits: all that is left out and rounding are within") {
    Random random(66'301);
    // Woven: what is left out in time counts. Calm: nothing but rounding does. Shaken: the flange turns so
    // quickly that the orders of its rotation that are left out count.
    struct Case {
        char const* name;
        double amplitude, turn_jerk, most_bound, least_share;
    };
    for (auto const& c : {Case{"woven", 0.5e-3, 200, 2e-10, 0.2}, Case{"calm", 0, 200, 2e-13, 0.001},
                          Case{"shaken", 0, 1e5, 1e-9, 0.001}}) {
        std::string const name = c.name;
        CAPTURE(name);
        Shares shares;
        for (int run = 0; run < static_cast<int>(runs(6)); ++run) {
            auto const circle = random_circle(random, 300, c.amplitude);
            auto const pass = random_sweep(random, 0.6);
            auto chain = chain_of(ideal_head(), pass);
            auto box = ordinary_box();
            bool const shaken = c.turn_jerk > 200;
            if (shaken) {
                box.turn[1] = 0.5;
                box.turn[2] = 100;
                box.turn[3] = c.turn_jerk;
            }
            BlockBounds<7> const bounds(chain, circle.seam(), pass, box);
            auto const truth = [&](Forecast<7> const& f, Real const& seam_time, Real const& robot_time,
                                   auto const&) {
                return aimed_ideal(chain.head, in_head(f, circle, seam_time, robot_time));
            };
            for (int k = 0; k < 4; ++k)
                compare(random, circle, chain, box, bounds, truth, shaken ? 1e-4 : 0.004, shares);
        }
        MESSAGE(shares.blocks << " blocks, largest bound " << shares.largest_bound << " rad, largest share "
                              << shares.largest);
        CHECK(shares.largest_bound < c.most_bound);
        if (runs(10) >= 10) // fewer runs may miss the worst places
            CHECK(shares.largest > c.least_share);
    }
}

TEST_CASE("blocks of a real head against fifty digits") {
    Random random(66'302);
    Shares shares;
    for (int run = 0; run < static_cast<int>(runs(3)); ++run) {
        auto const plain = random_open_head(random);
        auto const circle = random_circle(random, 300, 0.4e-3);
        auto const pass = random_sweep(random, 0.6, std::max(0.45, plain.zero_setting - 0.04));
        auto chain = chain_of(open_head_of(plain), pass);
        auto const box = ordinary_box();
        BlockBounds<7> const bounds(chain, circle.seam(), pass, box);
        auto const truth = [&](Forecast<7> const& f, Real const& seam_time, Real const& robot_time,
                               std::array<double, 3> const& near) {
            auto const target = in_head(f, circle, seam_time, robot_time);
            auto const u = aimed<Real>(plain, target, {Real(near[0]), Real(near[1])}, Real("1e-25"), 5);
            auto const beam = beam_of<Real>(plain, u[0], u[1]);
            return std::array<Real, 3>{
                u[0], u[1],
                lens_for<Real>(plain, beam, product(target - beam.line.point, beam.line.direction))};
        };
        for (int k = 0; k < 3; ++k)
            compare(random, circle, chain, box, bounds, truth, 0.004, shares);
    }
    MESSAGE(shares.blocks << " blocks, largest bound " << shares.largest_bound << " rad, largest share "
                          << shares.largest);
    CHECK(shares.largest_bound < 1e-9);
    CHECK(shares.largest > 0.01);
}

TEST_CASE("what is proven of derivatives holds for forecasts anywhere in the box, and not by far") {
    Random random(66'303);
    constexpr int order = 7;
    using T = Taylor<double, order + 1>;
    auto const pass = random_sweep(random, 0.6);
    auto const chain = chain_of(ideal_head(), pass);
    auto const circle = random_circle(random, 280, 0.4e-3);
    auto const seam = circle.seam();
    auto const box = ordinary_box();
    BlockBounds<order> const bounds(chain, seam, pass, box);
    double closest = 0;
    for (std::size_t s = 0; s < bounds.stretches().size(); ++s) {
        auto const& stretch = bounds.stretches()[s];
        REQUIRE(stretch.proven);
        for (int run = 0; run < static_cast<int>(runs(200)); ++run) {
            double const time = random.uniform(bounds.places()[s], bounds.places()[s + 1]);
            FlangeCubic<> flange{};
            auto const base = pass.components(Taylor<double, 3>::variable(program_start + time));
            double const factorial[] = {1, 1, 2, 6};
            for (std::size_t k = 0; k < 4; ++k)
                for (std::size_t d = 0; d < 7; ++d) {
                    double const most = (d < 3 ? box.place[k] : box.turn[k]) / factorial[k];
                    flange.coefficient[k][d] = base[d].coefficient[k] + random.uniform(-most, most);
                }
            CHECK(stretch.box.holds(flange, 0));
            T seam_time(time), robot(seam_start + time);
            seam_time.coefficient[1] = random.uniform(0.95, 1.05);
            robot.coefficient[1] = random.uniform(0.999, 1.001);
            auto const target =
                chain.in_head(seam.at(seam_time).position, robot, flange.pose<order + 1>(), AsGiven{});
            auto const c = chain.head.aim(target, seam.focus_offset).command;
            T const axes[] = {c.x_mirror, c.y_mirror, c.focus};
            for (std::size_t i = 0; i < 3; ++i) {
                double const size = std::abs(axes[i].coefficient[order + 1]);
                CHECK(size <= stretch.remainder[i]);
                closest = std::max(closest, size / stretch.remainder[i]);
                CHECK(2 * std::abs(axes[i].coefficient[2]) <= stretch.steep[0][i]);
                CHECK(6 * std::abs(axes[i].coefficient[3]) <= stretch.steep[1][i]);
                CHECK(std::abs(axes[i].coefficient[1]) <= stretch.by_seam[i] + stretch.by_robot[i]);
            }
        }
    }
    if (runs(10) >= 10) // fewer runs may miss the worst places
        CHECK(closest > 0.5);
}

TEST_CASE("a box and options that are none are refused") {
    Random random(66'304);
    auto const pass = random_sweep(random, 0.6);
    auto const chain = chain_of(ideal_head(), pass);
    auto const seam = random_circle(random, 100, 1e-4).seam();
    auto const refusal = [&](auto const& change) {
        auto box = ordinary_box();
        BlockOptions options;
        change(box, options);
        return refusal_of([&] { BlockBounds<7>(chain, seam, pass, box, options); });
    };
    double const infinity = std::numeric_limits<double>::infinity();
    CHECK(refusal([](auto&, auto&) {}).empty());
    CHECK(refusal([](auto& box, auto&) { box.place[2] = -1; }).find("derivative 2 was given as -1") !=
          std::string::npos);
    CHECK(!refusal([&](auto& box, auto&) { box.turn[0] = infinity; }).empty());
    CHECK(!refusal([&](auto& box, auto&) { box.program_start = infinity; }).empty());
    CHECK(!refusal([&](auto& box, auto&) { box.seam_rate = Interval::whole(); }).empty());
    CHECK(!refusal([&](auto&, auto& options) { options.longest = 0; }).empty());
    CHECK(!refusal([&](auto&, auto& options) { options.before = -1; }).empty());
    CHECK(!refusal([&](auto&, auto& options) { options.mirror_tolerance = infinity; }).empty());
}

TEST_CASE("out of reach nothing is proven") {
    Random random(66'305);
    auto const pass = random_sweep(random, 0.6);
    auto head = ideal_head();
    head.focus_range = {-1e-4, 1e-4};
    auto const chain = chain_of(head, pass);
    BlockBounds<7> const bounds(chain, random_circle(random, 100, 1e-4).seam(), pass, ordinary_box());
    for (auto const& stretch : bounds.stretches())
        CHECK(!stretch.proven);
}
