#include "seamhold/follow/chain.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "support/allocation_guard.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <thread>
#include <vector>

// What the chain answers when it cannot: statuses, holes in the data, wild numbers. That it is right where it
// can is asked in hold.cpp, rates.cpp and fifty_digits.cpp.

using namespace seamhold;
using namespace seamhold::test;

namespace {

Pose<Cell, Flange> looking_down(double x, double y, double z) {
    return {{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {x, y, z}};
}

Plane<> flat() { return {Pose<Part, Face>::identity()}; }

// A head at rest over a part at rest.
using RestingChain = Chain<Rest<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>>;
RestingChain resting(Pose<Cell, Flange> const& flange) {
    auto h = head();
    h.focus_path = 0.54; // half a metre to the work
    return {{flange}, {Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), h};
}

// A log with rows at 0, 0.01, … 0.2 s, then a hole, then rows from 0.5 to 0.7 s, gliding along x at 0.1
// m/s.
PoseLog<Cell, Flange> log_with_hole() {
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= 70; ++i)
        if (i <= 20 || i >= 50)
            rows.push_back({i * 0.01, {i * 0.001, 0, 0.5}, {0, 1, 0, 0}});
    return PoseLog<Cell, Flange>(rows, 0.05);
}

template <class T> bool all_finite(Followed<T> const& f) {
    return is_finite(f.aim.command.x_mirror) && is_finite(f.aim.command.y_mirror) &&
           is_finite(f.aim.command.focus) && is_finite(f.target);
}

} // namespace

TEST_CASE("a point under a resting head, worked by hand") {
    auto const chain = resting(looking_down(0, 0, 0.5));
    auto const at = [&](double x, double y) { return chain.follow(held({x, y}, flat(), 1), 0.5, 0.5); };
    CHECK(at(0, 0).status == Status::ok);
    CHECK(std::abs(at(0, 0).aim.command.x_mirror) <= epsilon);
    CHECK(std::abs(at(0, 0).aim.command.y_mirror) <= epsilon);
    CHECK(std::abs(at(0, 0).aim.command.focus) <= epsilon);
    // The head's y axis points against the cell's: tan 2θy = −0.1/0.5, tan 2θx = 0.1/0.54.
    CHECK(at(0.1, 0).aim.command.x_mirror ==
          doctest::Approx(0.5 * std::atan(0.1 / 0.54)).epsilon(2 * epsilon));
    CHECK(at(0, 0.1).aim.command.y_mirror == doctest::Approx(-0.5 * std::atan(0.2)).epsilon(2 * epsilon));
    CHECK(difference(at(0.1, 0.05).target, Point<Head>{0.1, -0.05, 0.5}) <= epsilon);
    // Upright over the middle the beam is square, aside it leans by the deflection.
    auto const seam = held({0, 0}, flat(), 1);
    CHECK(cosine_of_incidence(chain, seam, 0.5, 0.5) == doctest::Approx(1).epsilon(2 * epsilon));
    auto const aside = held({0.1, 0}, flat(), 1);
    CHECK(cosine_of_incidence(chain, aside, 0.5, 0.5) ==
          doctest::Approx(std::cos(std::atan(0.1 / 0.54))).epsilon(4 * epsilon));
    // On a face that leans by 35° about the part's y axis, from above: 35°, whatever is behind it.
    Plane<> const leaning{{about_axis<Part, Face>({0, 1, 0}, degrees(35)), {0, 0, 0}}};
    CHECK(cosine_of_incidence(chain, held({0, 0}, leaning, 1), 0.5, 0.5) ==
          doctest::Approx(std::cos(degrees(35))).epsilon(4 * epsilon));
}

TEST_CASE("statuses: in reach, beyond each axis, behind the head") {
    auto chain = resting(looking_down(0, 0, 0.5));
    auto const status = [&](double x, double y) {
        auto const followed = chain.follow(held({x, y}, flat(), 1), 0.5, 0.5);
        CHECK(all_finite(followed));
        return followed.status;
    };
    CHECK(status(0, 0) == Status::ok);
    // 12.5° mechanical is 25° of the beam: 0.54 tan 25° along x, 0.5 tan 25° along y.
    double const x_end = 0.54 * std::tan(degrees(25)), y_end = 0.5 * std::tan(degrees(25));
    for (double const sign : {-1.0, 1.0}) {
        CHECK(status(sign * (x_end - 1e-9), 0) == Status::ok);
        CHECK(status(sign * (x_end + 1e-9), 0) == Status::out_of_reach);
        CHECK(status(0, sign * (y_end - 1e-9)) == Status::ok);
        CHECK(status(0, sign * (y_end + 1e-9)) == Status::out_of_reach);
        // Exactly at the limit, with the last bit's allowance.
        CHECK(status(sign * x_end, 0) == Status::ok);
        CHECK(status(0, sign * y_end) == Status::ok);
    }
    // The lens: ±15 mm of it are ±150 mm at the work.
    chain.cell_from_flange.pose = looking_down(0, 0, 0.65 - 1e-9);
    CHECK(status(0, 0) == Status::ok);
    chain.cell_from_flange.pose = looking_down(0, 0, 0.65 + 1e-9);
    CHECK(status(0, 0) == Status::out_of_reach);
    chain.cell_from_flange.pose = looking_down(0, 0, 0.35 + 1e-9);
    CHECK(status(0, 0) == Status::ok);
    chain.cell_from_flange.pose = looking_down(0, 0, 0.35 - 1e-9);
    CHECK(status(0, 0) == Status::out_of_reach);
    // The field.
    chain.cell_from_flange.pose = looking_down(0, 0, 0.5);
    chain.head.field_radius = 0.1;
    CHECK(status(0.0999999, 0) == Status::ok);
    CHECK(status(0.1000001, 0) == Status::out_of_reach);
    chain.head.field_radius = infinity;
    // Behind, and level with the last mirror.
    for (double const z : {0.0, -0.1, -100.0})
        for (double const x : {0.0, 0.05}) {
            chain.cell_from_flange.pose = looking_down(0, 0, z);
            CHECK(status(x, 0.01) == Status::behind_head);
        }
}

TEST_CASE("statuses: no data before, after and in a hole, of the flange and of the part") {
    auto const log = log_with_hole();
    Rest<Cell, Part> const part{Pose<Cell, Part>::identity()};
    Chain<PoseLog<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>> const chain{
        log, part, Pose<Flange, Head>::identity(), head()};
    auto const seam = held({0.01, 0}, flat(), 1);
    auto const status = [&](double t) {
        auto const followed = chain.follow(seam, 0.5, t);
        CHECK(all_finite(followed));
        CHECK((followed.status == Status::ok) == chain.covers(t));
        using T = Taylor<double, 2>;
        auto const moving = chain.follow(seam, T(0.5), T::variable(t));
        CHECK(all_finite(moving));
        CHECK(moving.status == followed.status);
        return followed.status;
    };
    CHECK(status(-1e-9) == Status::no_data);
    CHECK(status(-1000.0) == Status::no_data);
    CHECK(status(0.0) == Status::ok);
    CHECK(status(0.1234) == Status::ok);
    CHECK(status(0.2) == Status::ok);
    CHECK(status(0.2 + 1e-9) == Status::no_data);
    CHECK(status(0.35) == Status::no_data);
    CHECK(status(0.5 - 1e-9) == Status::no_data);
    CHECK(status(0.5) == Status::ok);
    CHECK(status(0.7) == Status::ok);
    CHECK(status(0.7 + 1e-9) == Status::no_data);
    CHECK(status(1000.0) == Status::no_data);
    CHECK(chain.breaks() == std::vector<double>(log.times().begin(), log.times().end()));

    // No data wins over out of reach and behind the head: nothing is known.
    auto const far = held({5, 5}, flat(), 1);
    CHECK(chain.follow(far, 0.5, 0.1).status == Status::out_of_reach);
    CHECK(chain.follow(far, 0.5, 0.3).status == Status::no_data);

    // The part's data count as much.
    std::vector<PoseRow<Cell>> const rows{{10 * 0.01, {0, 0, 0}, {1, 0, 0, 0}},
                                          {15 * 0.01, {0, 0, 0}, {1, 0, 0, 0}}};
    Chain<PoseLog<Cell, Flange>, PoseLog<Cell, Part>, MirrorPair<>> const both{
        log, PoseLog<Cell, Part>(rows), Pose<Flange, Head>::identity(), head()};
    CHECK(both.follow(seam, 0.5, 0.12).status == Status::ok);
    CHECK(both.follow(seam, 0.5, 0.09).status == Status::no_data);
    CHECK(both.follow(seam, 0.5, 0.16).status == Status::no_data);
    CHECK(both.follow(seam, 0.5, 0.6).status == Status::no_data);
    // And both their breaks, in order, each once.
    auto const breaks = both.breaks();
    CHECK(breaks.size() == log.times().size()); // 0.1 and 0.15 are in both
    CHECK(std::is_sorted(breaks.begin(), breaks.end()));
}

TEST_CASE("rates where data end and begin are those of the data, not of the hole") {
    auto const chain = Chain<PoseLog<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>>{
        log_with_hole(), {Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), head()};
    auto const seam = held({0, 0}, flat(), 1);
    using T = Taylor<double, 1>;
    for (double const t : {0.0, 0.1, 0.2, 0.5, 0.6, 0.7}) {
        CAPTURE(t);
        auto const followed = chain.follow(seam, T(0.5), T::variable(t));
        CHECK(followed.status == Status::ok);
        // The flange glides at 0.1 m/s: the target runs back in the head's x; a spline of 0.1 m in steps of
        // 10 ms.
        CHECK(std::abs(followed.target.x.derivative(1) + 0.1) <= 100 * epsilon);
    }
}

TEST_CASE("what is not finite gives a command of zero and says so") {
    auto chain = resting(looking_down(0, 0, 0.5));
    auto const check_zero = [](auto const& followed) {
        CHECK(followed.status == Status::not_finite);
        CHECK(value_of(followed.aim.command.x_mirror) == 0);
        CHECK(value_of(followed.aim.command.y_mirror) == 0);
        CHECK(value_of(followed.aim.command.focus) == 0);
        CHECK(is_finite(followed.aim.command.x_mirror));
        CHECK(is_finite(followed.aim.command.focus));
    };
    using T = Taylor<double, 2>;
    for (double const wrong : {not_a_number, infinity, -infinity}) {
        CAPTURE(wrong);
        auto const straight = at_speed(straight_between({0, 0}, {0.05, 0}), flat(), 0.25);
        check_zero(chain.follow(straight, wrong, 0.5));
        check_zero(chain.follow(straight, T::variable(wrong), T::variable(0.5)));
        auto seam = held({wrong, 0}, flat(), 1);
        check_zero(chain.follow(seam, 0.5, 0.5));
        auto broken = chain;
        broken.cell_from_flange.pose.origin.z = wrong;
        check_zero(broken.follow(held({0, 0}, flat(), 1), 0.5, 0.5));
        broken = chain;
        broken.flange_from_head.rotation.m[2][2] = wrong;
        check_zero(broken.follow(held({0.01, 0.02}, flat(), 1), 0.5, 0.5));
        // A rate that is not finite.
        T t = T::variable(0.1);
        t.coefficient[2] = wrong;
        check_zero(chain.follow(straight, t, t));
        // A log asked at no time at all: it is not finite before it is without data.
        Chain<PoseLog<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>> const logged{
            log_with_hole(), {Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), head()};
        check_zero(logged.follow(held({0, 0}, flat(), 1), 0.1, wrong));
        check_zero(logged.follow(held({0, 0}, flat(), 1), T(0.1), T::variable(wrong)));
    }
}

TEST_CASE("far outside its data a log gives no command that is not finite") {
    Chain<PoseLog<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>> const chain{
        log_with_hole(), {Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), head()};
    auto const seam = held({0.01, 0}, flat(), 1);
    using T = Taylor<double, 2>;
    for (double const t : {-1e300, -1e100, -1e9, 1e9, 1e100, 1e300}) {
        CAPTURE(t);
        auto const followed = chain.follow(seam, 0.5, t);
        CHECK(followed.status != Status::ok);
        CHECK(is_finite(followed.aim.command.x_mirror));
        CHECK(is_finite(followed.aim.command.y_mirror));
        CHECK(is_finite(followed.aim.command.focus));
        auto const moving = chain.follow(seam, T(0.5), T::variable(t));
        CHECK(moving.status != Status::ok);
        CHECK(is_finite(moving.aim.command.x_mirror));
        CHECK(is_finite(moving.aim.command.y_mirror));
        CHECK(is_finite(moving.aim.command.focus));
    }
}

TEST_CASE("wild numbers anywhere never give an ok that is not finite") {
    double const wild[] = {0.0,      -0.0,      1e-300,       -1e-300, 1e-160, 1e-9,  0.01,
                           -0.1,     0.5,       1.0,          1e6,     1e154,  1e300, -1e300,
                           infinity, -infinity, not_a_number, 5e-324,  1.7e308};
    Random random(10'301);
    auto const pick = [&] { return wild[random.index(std::size(wild))]; };
    auto const log = log_with_hole();
    std::size_t bad = 0, ok = 0;
    auto const count = runs(100'000);
    using T = Taylor<double, 2>;
    for (std::size_t i = 0; i < count; ++i) {
        // A job that could be, of which one to three numbers are replaced.
        double numbers[] = {0.01, 0.5,  0.02, 0.03, 0.25, 300,   0.0005, 0.002, 0.01,
                            0.04, 0.54, 10,   0.1,  0.3,  -0.01, 0.1,    0.1,   0.02};
        for (std::size_t k = random.index(4); k > 0; --k)
            numbers[random.index(std::size(numbers))] = pick();
        auto const n = [&](std::size_t k) { return numbers[k]; };
        MirrorPair<> const h{n(9),
                             n(10),
                             n(11),
                             {-0.2, 0.2},
                             {-0.2, 0.2},
                             {-0.05, 0.05},
                             random.unit() < 0.5 ? infinity : n(12)};
        Turntable<Cell, Part> const table{Pose<Cell, Part>::identity(), {n(0), 0, 0}, {0, 0, 1}, n(13), 0};
        Pose<Flange, Head> const sits{Rotation<Flange, Head>::identity(), {n(14), 0, n(8)}};
        Seam<OnFace<Arc<>, Plane<>>> const arc{
            {{n(2), n(0), n(3), n(13), 2}, flat()}, {n(4), 0.2}, n(7), {n(5), n(6)}};
        Seam<OnFace<Still<>, Plane<>>> const still{{{n(2), n(0)}, flat()}, {0, 0.2}, n(7), {n(5), n(6)}};
        AnySeam const seam = random.unit() < 0.7 ? AnySeam(arc) : AnySeam(still);
        AnyFlangeMotion const flange =
            random.unit() < 0.5
                ? AnyFlangeMotion(log)
                : AnyFlangeMotion(Steady<Cell, Flange>{looking_down(n(0), 0, n(1)), {n(16), 0, 0}, 0});
        AnyChain const chain{flange, AnyPartMotion(table), sits, h};
        auto const moving = chain.follow(seam, T::variable(n(15)), T::variable(n(17)));
        auto const followed = chain.follow(seam, n(15), n(17));
        // Finite whatever happens …
        bad += !is_finite(followed.aim.command.x_mirror) || !is_finite(followed.aim.command.y_mirror) ||
               !is_finite(followed.aim.command.focus);
        bad += !is_finite(moving.aim.command.x_mirror) || !is_finite(moving.aim.command.y_mirror) ||
               !is_finite(moving.aim.command.focus);
        // … and with an ok, true: finite all through, inside the ranges, backed by data.
        if (followed.status == Status::ok) {
            ++ok;
            bad += !all_finite(followed) || !chain.covers(n(17));
            bad += !(std::abs(followed.aim.command.x_mirror) <= 0.2 + 1e-15);
            bad += !(std::abs(followed.aim.command.focus) <= 0.05 + 1e-15);
        }
        if (moving.status == Status::ok)
            bad += !all_finite(moving);
    }
    CHECK(bad == 0);
    CHECK(ok > count / 20); // the check was one
    CHECK(ok < count);
}

TEST_CASE("the same job in other units of length gives the same mirrors, bit by bit") {
    // Scaled by a power of two every product and sum is the same one, scaled. A 0.1 mm seam under a head the
    // size of a thimble needs the angles of a 0.1 m seam under a head of half a metre.
    Random random(10'302);
    auto flange = random_flange(random);
    auto part = random_part(random);
    auto const scaled = [](auto motion, double k) {
        for (auto& coordinate : motion.origin) {
            coordinate.middle *= k;
            for (double& a : coordinate.amplitude)
                a *= k;
        }
        return motion;
    };
    auto const follow = [&](double k, double t) {
        auto h = head();
        h.separation *= k;
        h.focus_path *= k;
        h.focus_range = {h.focus_range.low * k, h.focus_range.high * k};
        auto m = mount();
        m.origin = {m.origin.x * k, m.origin.y * k, m.origin.z * k};
        auto plane = face();
        auto& o = plane.part_from_face.origin;
        o = {o.x * k, o.y * k, o.z * k};
        auto const seam =
            at_speed(circle_around({0.001 * k, 0.002 * k}, 0.03 * k), plane, 0.25 * k, {300, 0.0005 * k});
        Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{
            scaled(flange, k), scaled(part, k), m, h};
        using T = Taylor<double, 3>;
        return chain.follow(seam, T::variable(t), T::variable(t));
    };
    for (double const t : {0.0, 0.01, 0.1, 0.3}) {
        auto const reference = follow(1, t);
        CHECK(reference.status == Status::ok);
        for (double const k : {0x1p-10, 0x1p-3, 0x1p10}) { // 1/1024, 1/8 and 1024 times
            CAPTURE(k);
            auto const other = follow(k, t);
            CHECK(other.status == Status::ok);
            for (int order = 0; order <= 3; ++order) {
                CHECK(other.aim.command.x_mirror.derivative(order) ==
                      reference.aim.command.x_mirror.derivative(order));
                CHECK(other.aim.command.y_mirror.derivative(order) ==
                      reference.aim.command.y_mirror.derivative(order));
                CHECK(other.aim.command.focus.derivative(order) ==
                      k * reference.aim.command.focus.derivative(order));
            }
        }
    }
}

TEST_CASE("the same job elsewhere in the cell gives the same commands to the bits of its coordinates") {
    Random random(10'303);
    auto const flange = random_flange(random);
    auto const part = random_part(random);
    auto const seam = at_speed(circle_around({0, 0}, 0.03), face(), 0.25);
    using T = Taylor<double, 2>;
    auto const follow = [&](double away, double t) {
        auto f = flange;
        auto p = part;
        for (std::size_t i = 0; i < 3; ++i) {
            f.origin[i].middle += away;
            p.origin[i].middle += away;
        }
        Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{f, p, mount(),
                                                                                          head()};
        return chain.follow(seam, T::variable(t), T::variable(t)).aim.command;
    };
    for (double const t : {0.0, 0.1, 0.3}) {
        auto const near = follow(0, t);
        for (double const away : {1.0, 100.0}) {
            auto const far = follow(away, t);
            // Six coordinates lose half a bit of `away` each; an angle is at most that over 2 · 0.5 m, with
            // the turn of three axes √3 of it; the lens a tenth. Rates have no offset to lose bits to, but
            // for the angles' part in them, times the circle's 17 rad/s per order.
            double const bound = 6 * epsilon * away + 20 * epsilon;
            for (int order = 0; order <= 2; ++order) {
                double const scale = std::pow(17.0, order);
                CHECK(std::abs(far.x_mirror.derivative(order) - near.x_mirror.derivative(order)) <=
                      bound * scale);
                CHECK(std::abs(far.y_mirror.derivative(order) - near.y_mirror.derivative(order)) <=
                      bound * scale);
                CHECK(std::abs(far.focus.derivative(order) - near.focus.derivative(order)) <= bound * scale);
            }
        }
    }
}

TEST_CASE("following does not touch the heap, whatever is inside") {
    auto const seam = AnySeam(at_speed(circle_around({0, 0}, 0.03), flat(), 0.25, {300, 0.0005}));
    AnyChain const chain{
        AnyFlangeMotion(log_with_hole()),
        AnyPartMotion(Turntable<Cell, Part>{Pose<Cell, Part>::identity(), {0, 0, 0}, {0, 0, 1}, 0.1, 0}),
        mount(), head()};
    std::size_t ok = 0;
    AllocationGuard const guard;
    for (int i = -10; i < 80; ++i) {
        double const t = i * 0.01;
        using T = Taylor<double, 2>;
        ok += chain.follow(seam, t, t).status == Status::ok;
        ok += chain.follow(seam, T::variable(t), T::variable(t)).status == Status::ok;
        ok += chain.covers(t);
        ok += cosine_of_incidence(chain, seam, t, t) > 0;
    }
    CHECK(guard.count() == 0);
    CHECK(ok > 0);
}

TEST_CASE("any number of threads may ask one chain") {
    Random random(10'304);
    auto const rows = rows_of<Cell>(random_flange(random), 0, 1, 0.004, random);
    AnyChain const chain{AnyFlangeMotion(PoseLog<Cell, Flange>(rows)),
                         AnyPartMotion(Rest<Cell, Part>{Pose<Cell, Part>::identity()}), mount(), head()};
    auto const seam = AnySeam(at_speed(circle_around({0, 0}, 0.03), face(), 0.25));
    auto const sum = [&] {
        double total = 0;
        for (int i = 0; i < 2000; ++i)
            total += chain.follow(seam, i * 1e-4, 0.1 + i * 1e-4).aim.command.x_mirror;
        return total;
    };
    double const alone = sum();
    double together[4] = {};
    std::vector<std::thread> threads;
    for (double& result : together)
        threads.emplace_back([&] { result = sum(); });
    for (auto& thread : threads)
        thread.join();
    for (double const result : together)
        CHECK(result == alone);
}
