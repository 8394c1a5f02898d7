#include "seamhold/limit/report.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <set>
#include <string>
#include <vector>

// What a report says of a seam: worked by hand for resting heads, and against a search of its own for moving
// ones.

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

Plane<> flat() { return {Pose<Part, Face>::identity()}; }

Pose<Cell, Flange> looking_down(double x, double y, double z) {
    return {{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {x, y, z}};
}

HeadDynamics dynamics() { return {20, 1.5e4, 4e3, milliseconds(0.5), milliseconds(2), 0.5, milliseconds(5)}; }

// A head half a metre above the part, 40 mm between its mirrors.
Job job_of(AnyFlangeMotion flange, std::vector<ScheduledSeam> seams) {
    auto h = head();
    h.focus_path = 0.54;
    AnyChain const chain{std::move(flange), AnyPartMotion(Rest<Cell, Part>{Pose<Cell, Part>::identity()}),
                         Pose<Flange, Head>::identity(), h};
    return {chain, dynamics(), degrees(25), in_order(std::move(seams))};
}
// The same at rest, with one seam that starts at 1 s.
Job resting(AnySeam const& seam) {
    return job_of(AnyFlangeMotion(Rest<Cell, Flange>{looking_down(0, 0, 0.5)}), {{"seam", 1, seam}});
}

doctest::Approx near(double value, double relative) { return doctest::Approx(value).epsilon(relative); }

bool finite(Peak const& p) {
    return is_finite(p.utilisation) && is_finite(p.value) && is_finite(p.allowed) && is_finite(p.time) &&
           is_finite(p.arc_length);
}
bool finite(SeamReport const& r) {
    return std::all_of(r.peaks.begin(), r.peaks.end(), [](Peak const& p) { return finite(p); }) &&
           is_finite(r.margin());
}

} // namespace

TEST_CASE("every limit has a name of its own") {
    std::set<std::string> names;
    for (std::size_t i = 0; i < limit_count; ++i)
        names.insert(to_string(static_cast<Limit>(i)));
    CHECK(names.size() == limit_count);
    CHECK(std::string(to_string(Limit::x_angle)) == "x mirror angle");
    CHECK(std::string(to_string(Limit::air_move)) == "air move");
}

TEST_CASE("a circle under the middle of a resting head, worked by hand") {
    // r = 50 mm at v = 0.25 m/s, d = 0.5 m, e = 40 mm; ω = v / r = 5 rad/s. With s and c of the angle φ on
    // the circle, 2θy = atan(r s / d), so θy' = ½ d r c ω / (d² + r² s²), greatest at s = 0: ½ r ω / d = v /
    // 2d; and θy'' is greatest at c = 0: ½ d r ω² / (d² + r²), for a small circle the centripetal v² / r over
    // 2d.
    double const r = 0.05, v = 0.25, d = 0.5, e = 0.04, omega = v / r;
    auto job = resting(AnySeam(at_speed(circle_around({0, 0}, 2 * r), flat(), v)));
    job.largest_incidence = degrees(20);
    // A multiple of four samples: the quarters are among them.
    auto const result = report(job, job.seams[0].seam.duration() / 4000).front();
    CHECK(result.name == "seam");
    CHECK(result.start == 1);
    CHECK(result.duration == near(2 * pi * r / v, 4 * epsilon));
    CHECK(result.length == near(2 * pi * r, 4 * epsilon));
    CHECK(result.samples == 4001);
    CHECK(result.unusable == 0);
    CHECK(result.status == Status::ok);
    CHECK(result.within());

    double const end = degrees(12.5);
    auto const check = [&](Limit limit, double value, double allowed, double relative) {
        CAPTURE(std::string(to_string(limit)));
        auto const& peak = result.peak(limit);
        CHECK(std::abs(peak.value) == near(value, relative));
        CHECK(std::abs(peak.allowed) == near(allowed, 2 * epsilon));
        CHECK(peak.utilisation == near(value / allowed, relative));
    };
    // A dozen operations on coordinates of half a metre.
    double const rounding = 40 * epsilon;
    check(Limit::x_angle, 0.5 * std::atan(r / (e + d)), end, rounding);
    check(Limit::y_angle, 0.5 * std::atan(r / d), end, rounding);
    check(Limit::y_velocity, v / (2 * d), 20, rounding);
    check(Limit::y_acceleration, 0.5 * d * r * omega * omega / (d * d + r * r), 1.5e4, rounding);
    // The x mirror where y is greatest (its path is longest there, but its cosine alone counts): ½ r ω / (e +
    // √(d²+r²)); nearby, 1/u falls less than the sine does.
    check(Limit::x_velocity, 0.5 * r * omega / (e + std::hypot(d, r)), 20, rounding);
    // Focus: greatest where the path is, at y = ±r: √ of (e + √(d² + r²))², or at x = ±r: √(r² + (e + d)²).
    double const longest = std::max(e + std::hypot(d, r), std::hypot(r, e + d));
    check(Limit::focus_range, (longest - (e + d)) / 10, 0.015,
          1e-12); // a difference of lengths 100 times as great
    // Incidence: the head stands upright, so it is the beam's angle to the axis.
    check(Limit::incidence, std::max(std::atan(r / d), std::atan(r / (e + d))), degrees(20),
          1e-12);                                         // acos near 1
    CHECK(result.peak(Limit::field).utilisation == 0);    // this head has none
    CHECK(result.peak(Limit::air_move).utilisation == 0); // nothing before
    // When: the y velocity at the first sample of all, the y angle a quarter turn later.
    CHECK(result.peak(Limit::y_velocity).time == 1);
    CHECK(result.peak(Limit::y_angle).time == near(1 + 0.25 * result.duration, 1e-12));
    CHECK(result.peak(Limit::y_angle).arc_length == near(0.25 * result.length, 1e-12));
    // The limit that is used most: 5.71° of incidence of 20° allowed, 0.29.
    CHECK(result.binding() == Limit::incidence);
    CHECK(result.margin() == near(1 - std::atan(r / d) / degrees(20), 1e-12));
}

TEST_CASE("a small circle needs the centripetal acceleration") {
    // 3 mm at 15 m/min: v²/r over 2d for y and over 2(e + d) for x, but for (r/d)² = 1e-5.
    double const r = 0.0015, v = 0.25;
    auto const job = resting(AnySeam(at_speed(circle_around({0, 0}, 2 * r), flat(), v)));
    auto const result = report(job, job.seams[0].seam.duration() / 400).front();
    CHECK(result.peak(Limit::y_acceleration).value == near(v * v / r / 1.0, 2e-5));
    CHECK(std::abs(result.peak(Limit::x_acceleration).value) == near(v * v / r / 1.08, 2e-5));
    CHECK(result.peak(Limit::y_velocity).utilisation == near(0.25 / 20, 2e-5));
    // RMS of a sine: the greatest over √2. Both ends of the turn are sampled, so one sample in 401 counts
    // twice.
    CHECK(result.peak(Limit::x_rms_acceleration).value ==
          near(v * v / r / 1.08 / std::sqrt(2.0), 2e-5 + 1.0 / 401));
    CHECK(result.peak(Limit::y_rms_acceleration).value == near(v * v / r / std::sqrt(2.0), 2e-5 + 1.0 / 401));
    CHECK(result.peak(Limit::y_rms_acceleration).allowed == 4e3);
}

TEST_CASE("a sine weave loads the mirror by amplitude · ω² / √2") {
    // ±0.5 mm at 300 Hz on a held point in the middle, across along y: the angle is A sin(ωt) / 2d but for
    // (A/d)² = 1e-6.
    double const amplitude = 0.0005, omega = 2 * pi * 300, d = 0.5;
    double const periods = 30;
    auto const seam = held({0, 0}, flat(), periods / 300, {300, amplitude});
    int const samples = 12000; // 400 a period, so that peaks are among them
    auto const result = report(resting(AnySeam(seam)), seam.duration() / samples).front();
    CHECK(result.samples == samples + 1);
    // The mean of sin² over whole periods is ½; the one sample more is 0 and takes 1/24000 of the root.
    double const relative = 1e-6 + 0.5 / samples;
    CHECK(result.peak(Limit::y_rms_acceleration).value ==
          near(amplitude * omega * omega / (2 * d) / std::sqrt(2.0), relative));
    CHECK(result.peak(Limit::y_rms_acceleration).utilisation ==
          near(amplitude * omega * omega / (2 * d) / std::sqrt(2.0) / 4e3, relative));
    CHECK(std::abs(result.peak(Limit::y_acceleration).value) ==
          near(amplitude * omega * omega / (2 * d), 1e-6));
    CHECK(std::abs(result.peak(Limit::y_velocity).value) == near(amplitude * omega / (2 * d), 1e-6));
    CHECK(result.peak(Limit::x_rms_acceleration).value == 0);
    CHECK(result.binding() == Limit::y_rms_acceleration); // 1256 of 4000
    // Four times the amplitude is beyond the RMS limit and not beyond the greatest acceleration.
    auto const wide = report(resting(AnySeam(held({0, 0}, flat(), 0.1, {300, 4 * amplitude}))), 1e-5).front();
    CHECK_FALSE(wide.within());
    CHECK(wide.status == Status::ok); // the head can reach it; its mirrors would grow hot
    CHECK(wide.binding() == Limit::y_rms_acceleration);
    CHECK(wide.margin() == near(1 - 4 * 1256.2 / 4e3, 1e-3)); // 0.0005 · (600π)² / √2 = 1256.2
    CHECK(wide.peak(Limit::y_acceleration).utilisation < 1);
}

TEST_CASE("utilisations of lopsided ranges, of the field and of incidence, by hand") {
    auto job = resting(AnySeam(held({0.1, 0}, flat(), 0.01)));
    auto h = ideal(job.chain.head);
    auto const reported = [&] {
        job.chain.head = h;
        return report(job, 1e-3).front();
    };
    double const angle = 0.5 * std::atan(0.1 / 0.54); // 5.246°
    h.x_range = {-0.05, 0.15};                        // middle 0.05, half 0.1
    auto peak = reported().peak(Limit::x_angle);
    CHECK(peak.utilisation == near((angle - 0.05) / 0.1, 40 * epsilon));
    CHECK(peak.allowed == 0.15);
    h.x_range = {-0.05, 0.35}; // middle 0.15: the lower end is nearer
    peak = reported().peak(Limit::x_angle);
    CHECK(peak.utilisation == near((0.15 - angle) / 0.2, 40 * epsilon));
    CHECK(peak.allowed == -0.05);
    // The field: 0.1 m of 0.125 m.
    h.field_radius = 0.125;
    peak = reported().peak(Limit::field);
    CHECK(peak.utilisation == near(0.8, 40 * epsilon));
    CHECK(peak.value == near(0.8, 40 * epsilon)); // a share
    CHECK(peak.allowed == 1);
    // Beyond it is said so, by how much.
    h.field_radius = 0.08;
    auto const beyond = reported();
    CHECK(beyond.status == Status::out_of_reach);
    CHECK(beyond.status_time == 1);
    CHECK(beyond.unusable == 0); // what would be needed is known
    CHECK(beyond.peak(Limit::field).utilisation == near(1.25, 40 * epsilon));
    CHECK_FALSE(beyond.within());
    CHECK(beyond.binding() == Limit::field);

    // A face that leans by 35° under an upright head: 35° of 25° allowed.
    Plane<> const leaning{{about_axis<Part, Face>({0, 1, 0}, degrees(35)), {0, 0, 0}}};
    auto const steep = report(resting(AnySeam(held({0, 0}, leaning, 0.01))), 1e-3).front();
    CHECK(steep.peak(Limit::incidence).value == near(degrees(35), 8 * epsilon));
    CHECK(steep.peak(Limit::incidence).utilisation == near(35.0 / 25, 8 * epsilon));
    CHECK_FALSE(steep.within());
    CHECK(steep.status == Status::ok);
    // A held point's place on the seam is 0, and its time is the first sample's.
    CHECK(steep.peak(Limit::incidence).arc_length == 0);
}

TEST_CASE("peaks of a moving job against a search of its own") {
    Random random(11'001);
    for (int run = 0; run < 3; ++run) {
        CAPTURE(run);
        auto const rows = rows_of<Cell>(random_flange(random), -0.01, 1, 0.004, random);
        auto h = head();
        h.field_radius = 0.15;
        AnyChain const chain{AnyFlangeMotion(PoseLog<Cell, Flange>(rows)),
                             AnyPartMotion(Turntable<Cell, Part>{
                                 Pose<Cell, Part>::identity(), {0.01, 0, 0}, {0.6, 0, 0.8}, 0.2, 0}),
                             mount(), h};
        AnySeam const seam(at_speed(circle_around({0, 0}, 0.03), face(), 0.25, {60, 0.0005}));
        Job const job{chain, dynamics(), degrees(25), in_order({{"seam", 0.1, seam}})};
        double const duration = seam.duration();
        auto const result = report(job, 1e-5).front();

        // Commands alone, at double, at times of its own; rates by central differences. With h = 2e-6 s a
        // velocity is right to 1e-16 / 2e-6 = 5e-11 rad/s plus h² of a third derivative of 1e5, and an
        // acceleration to 4e-16 / 4e-12 = 1e-4 rad/s² plus h² of a fourth derivative of 1e8: of some 100
        // rad/s², 1e-5.
        double const step = 2e-6;
        auto const command = [&](double t) { return chain.follow(seam, t - 0.1, t).aim.command; };
        struct Search {
            double x = 0, y = 0, focus = 0, x_velocity = 0, y_velocity = 0, focus_velocity = 0,
                   x_acceleration = 0, y_acceleration = 0, x_squares = 0, y_squares = 0, incidence = 0,
                   field = 0;
        } found;
        auto const raise = [](double& largest, double value) {
            largest = std::max(largest, std::abs(value));
        };
        int const count = 20000;
        for (int i = 0; i <= count; ++i) {
            double const t = 0.1 + duration * i / count;
            auto const back = command(t - step), here = command(t), ahead = command(t + step);
            raise(found.x, here.x_mirror);
            raise(found.y, here.y_mirror);
            raise(found.focus, here.focus);
            raise(found.x_velocity, (ahead.x_mirror - back.x_mirror) / (2 * step));
            raise(found.y_velocity, (ahead.y_mirror - back.y_mirror) / (2 * step));
            raise(found.focus_velocity, (ahead.focus - back.focus) / (2 * step));
            double const x_acceleration =
                (ahead.x_mirror - 2 * here.x_mirror + back.x_mirror) / (step * step);
            double const y_acceleration =
                (ahead.y_mirror - 2 * here.y_mirror + back.y_mirror) / (step * step);
            raise(found.x_acceleration, x_acceleration);
            raise(found.y_acceleration, y_acceleration);
            found.x_squares += x_acceleration * x_acceleration;
            found.y_squares += y_acceleration * y_acceleration;
            // The beam by the vector trace, the normal carried by hand, the field by a cut through its plane.
            auto const beam = traced(h.separation, here.x_mirror, here.y_mirror).line;
            auto const n = seam.at(t - 0.1).normal;
            auto const from_part = [&](Vector<> const& p) {
                return carried_back(
                    chain.flange_from_head,
                    carried_back(chain.cell_from_flange.at(t), carried(chain.cell_from_part.at(t), p)));
            };
            auto const normal = from_part({n.x, n.y, n.z}) - from_part({0, 0, 0});
            raise(found.incidence, std::acos(-product(beam.direction, normal)));
            double const way = (h.focus_path - h.separation - beam.point.z) / beam.direction.z;
            auto const cut = beam.point + times(way, beam.direction);
            raise(found.field, std::hypot(cut.x, cut.y));
        }
        auto const check = [&](Limit limit, double value, double allowed, double relative) {
            CAPTURE(std::string(to_string(limit)));
            CHECK(std::abs(result.peak(limit).value) == near(value, relative));
            CHECK(result.peak(limit).utilisation == near(value / allowed, relative));
            CHECK(result.peak(limit).time >= 0.1);
            CHECK(result.peak(limit).time <= 0.1 + duration);
            CHECK(result.peak(limit).arc_length ==
                  near(0.25 * (result.peak(limit).time - 0.1), 1e-12)); // bits of a time of 0.4 s
        };
        // Both look at times up to 1e-5 s from a peak, where a curve of 2π·60 rad/s is lower by (0.004)²/2 =
        // 7e-6.
        double const sampling = 8e-6;
        check(Limit::x_angle, found.x, degrees(12.5), sampling);
        check(Limit::y_angle, found.y, degrees(12.5), sampling);
        check(Limit::focus_range, found.focus, 0.015, sampling);
        check(Limit::field, found.field / 0.15, 1, sampling);
        check(Limit::x_velocity, found.x_velocity, 20, sampling);
        check(Limit::y_velocity, found.y_velocity, 20, sampling);
        check(Limit::focus_velocity, found.focus_velocity, 0.5, 2 * sampling);
        check(Limit::x_acceleration, found.x_acceleration, 1.5e4, 1e-4);
        check(Limit::y_acceleration, found.y_acceleration, 1.5e4, 1e-4);
        check(Limit::incidence, found.incidence, degrees(25), sampling);
        // The sums are of different samples: each is right to the jump of the integrand over a step, 1e-4 of
        // it.
        CHECK(result.peak(Limit::x_rms_acceleration).value ==
              near(std::sqrt(found.x_squares / (count + 1)), 2e-4));
        CHECK(result.peak(Limit::y_rms_acceleration).value ==
              near(std::sqrt(found.y_squares / (count + 1)), 2e-4));
    }
}

TEST_CASE("finer steps find no less, and the same where they look") {
    Random random(11'002);
    auto const rows = rows_of<Cell>(random_flange(random), -0.01, 1, 0.004, random);
    AnySeam const seam(at_speed(circle_around({0, 0}, 0.03), face(), 0.25));
    Job const job = job_of(AnyFlangeMotion(PoseLog<Cell, Flange>(rows)), {{"seam", 0.1, seam}});
    auto const coarse = report(job, seam.duration() / 256).front();
    auto const fine = report(job, seam.duration() / 1024).front();
    CHECK(coarse.samples == 257);
    CHECK(fine.samples == 1025);
    for (std::size_t i = 0; i < limit_count; ++i) {
        auto const limit = static_cast<Limit>(i);
        CAPTURE(std::string(to_string(limit)));
        if (limit == Limit::x_rms_acceleration || limit == Limit::y_rms_acceleration) {
            // A mean over samples: right to a sample in 257.
            CHECK(fine.peak(limit).value == near(coarse.peak(limit).value, 1.0 / 257));
            continue;
        }
        // Every coarse sample is a fine one, but for the last bit of its time.
        CHECK(fine.peak(limit).utilisation >= coarse.peak(limit).utilisation * (1 - 1e-12));
        // A curve of 17 rad/s between samples of 1.5 ms: (0.0125)²/2 … and of the log's own corners in
        // acceleration.
        CHECK(fine.peak(limit).utilisation == near(coarse.peak(limit).utilisation, 0.01));
    }
    // Steps are no longer than asked for, and both ends are looked at.
    CHECK(report(job, 1).front().samples == 2);
    CHECK(report(job, seam.duration() * 0.5001).front().samples == 3);
    CHECK(report(job, seam.duration() * 0.4999).front().samples == 4);
    // The same in another order of asking.
    auto const again = report(job, seam.duration() / 256).front();
    for (std::size_t i = 0; i < limit_count; ++i)
        CHECK(again.peaks[i].utilisation == coarse.peaks[i].utilisation);
}

TEST_CASE("samples without data are counted, and leave no trace in the peaks") {
    // Rows every 5 ms with a hole from 1.055 to 1.145 s. The seam is held from 1 to 1.2 s and sampled every
    // 10 ms: the samples from 1.06 to 1.14 are in the hole.
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= 400; ++i)
        if (i <= 211 || i >= 229)
            rows.push_back({i * 0.005, {0, 0, 0.5}, {0, 1, 0, 0}});
    PoseLog<Cell, Flange> const log(rows, 0.02);
    auto const result =
        report(job_of(AnyFlangeMotion(log), {{"seam", 1, AnySeam(held({0.01, 0}, flat(), 0.2))}}), 0.01)
            .front();
    CHECK(result.samples == 21);
    CHECK(result.unusable == 9);
    CHECK(result.status == Status::no_data);
    CHECK(result.status_time == near(1.06, 1e-12));
    CHECK_FALSE(result.within());
    CHECK(finite(result));
    CHECK(result.peak(Limit::x_angle).value == near(0.5 * std::atan(0.01 / 0.54), 1e-12));
    CHECK(result.peak(Limit::y_acceleration).utilisation <=
          1e-6); // a log at rest; a spline's rounding over steps²

    // No data at all, and behind the head all the time: nothing usable, nothing within, nothing infinite.
    auto const none =
        report(job_of(AnyFlangeMotion(log), {{"seam", 5, AnySeam(held({0, 0}, flat(), 0.2))}}), 0.01);
    CHECK(none.front().unusable == none.front().samples);
    CHECK_FALSE(none.front().within());
    CHECK(finite(none.front()));
    CHECK(none.front().status_time == 5);
    auto const behind = report(job_of(AnyFlangeMotion(Rest<Cell, Flange>{looking_down(0, 0, -0.5)}),
                                      {{"seam", 1, AnySeam(held({0, 0}, flat(), 0.2))}}),
                               0.01);
    CHECK(behind.front().status == Status::behind_head);
    CHECK(behind.front().unusable == 21);
    CHECK_FALSE(behind.front().within());
    // What is out of reach in part is usable and not within: a straight seam that leaves the field.
    auto const leaves =
        report(resting(AnySeam(at_speed(straight_between({0, 0}, {0.4, 0}), flat(), 0.25))), 0.01);
    CHECK(leaves.front().unusable == 0);
    CHECK(leaves.front().status == Status::out_of_reach);
    CHECK(leaves.front().status_time > 1.9); // 0.54 tan 25° = 0.2518 m
    CHECK(leaves.front().status_time < 2.03);
}

TEST_CASE("no report holds a NaN, and none is within that is not finite or has an unusable sample, whatever "
          "goes in") {
    double const wild[] = {0.0, -0.0,  1e-300, 1e-9,   0.01,     1.0,
                           1e6, 1e154, 1e300,  -1e300, infinity, not_a_number};
    Random random(11'003);
    std::size_t bad = 0, within = 0;
    auto const count = runs(5000);
    for (std::size_t i = 0; i < count; ++i) {
        double numbers[] = {0.01, 0.5, 0.02, 0.03, 0.25, 300, 0.0005, 0.2, 0.1, 0.54};
        for (std::size_t k = random.index(3); k > 0; --k)
            numbers[random.index(std::size(numbers))] = wild[random.index(std::size(wild))];
        auto const n = [&](std::size_t k) { return numbers[k]; };
        Seam<OnFace<Arc<>, Plane<>>> const arc{
            {{n(2), n(0), n(3), 0, 2}, flat()}, {n(4), 0.05}, 0, {n(5), n(6)}};
        auto job = job_of(AnyFlangeMotion(Steady<Cell, Flange>{looking_down(n(0), 0, n(1)), {n(7), 0, 0}, 1}),
                          {{"before", 0.5, AnySeam(held({0, 0}, flat(), 0.1))}, {"seam", 1, AnySeam(arc)}});
        auto changed = ideal(job.chain.head);
        changed.field_radius = random.unit() < 0.5 ? infinity : 0.1;
        changed.focus_path = n(9);
        job.chain.head = changed;
        for (auto const& r : report(job, 0.005)) {
            // What is beyond all bounds, a weave of 1e154 Hz, may overflow to infinity: far from within.
            for (Peak const& p : r.peaks)
                for (double const x : {p.utilisation, p.value, p.allowed, p.time, p.arc_length})
                    bad += !is_finite(x) && !(x > 0) && !(x < 0);
            bad += r.within() && (r.unusable > 0 || r.status != Status::ok || !finite(r));
            within += r.within();
        }
    }
    CHECK(bad == 0);
    CHECK(within > count / 10); // the check was one
}

TEST_CASE("the least time for a turn, worked by hand") {
    // Below v²/a the axis never reaches its velocity: 2 √(way / a). Above, way / v + v / a.
    CHECK(least_turn_time(0, 20, 1.5e4) == 0);
    CHECK(least_turn_time(0.015, 20, 1.5e4) == near(0.002, 2 * epsilon)); // 2 √(1e-6)
    CHECK(least_turn_time(-0.015, 20, 1.5e4) == near(0.002, 2 * epsilon));
    CHECK(least_turn_time(0.2, 20, 1.5e4) == near(0.01 + 20 / 1.5e4, 2 * epsilon));
    // Rest-to-rest tables: 30 at v = a = 10 takes 4; 10 at v = 5, a = 10 takes 2.5; 1 takes 2 √(1/10) (from
    // memory).
    CHECK(least_turn_time(30, 10, 10) == near(4, 2 * epsilon));
    CHECK(least_turn_time(10, 5, 10) == near(2.5, 2 * epsilon));
    CHECK(least_turn_time(1, 5, 10) == near(0.6324555320336759, 4 * epsilon));
    // Both agree where they meet.
    double const meet = 400 / 1.5e4;
    CHECK(least_turn_time(meet * (1 - 1e-12), 20, 1.5e4) == near(least_turn_time(meet, 20, 1.5e4), 1e-11));
}

TEST_CASE("air moves: the time there is against the least time there must be") {
    // From (0, 0) to (0.1, 0): the x mirror turns by ½ atan(0.1/0.54) = 0.09156 rad at 20 rad/s, 1.5e4
    // rad/s².
    auto const with_gap = [](double gap) {
        return job_of(AnyFlangeMotion(Rest<Cell, Flange>{looking_down(0, 0, 0.5)}),
                      {{"a", 1, AnySeam(held({0, 0}, flat(), 0.5))},
                       {"b", 1.5 + gap, AnySeam(held({0.1, 0}, flat(), 0.5))}});
    };
    double const angle = 0.5 * std::atan(0.1 / 0.54);
    double const needed = angle / 20 + 20 / 1.5e4 + 0.002;
    auto const roomy = report(with_gap(0.01), 0.01);
    auto const& peak = roomy[1].peak(Limit::air_move);
    CHECK(peak.value == near(needed, 1e-12));
    CHECK(peak.allowed == near(0.01, 1e-12)); // a difference of times of 1.5 s
    CHECK(peak.utilisation == near(needed / 0.01, 1e-12));
    CHECK(peak.time == near(1.51, epsilon));
    CHECK(roomy[1].within()); // 7.9 ms of 10
    CHECK(roomy[0].peak(Limit::air_move).utilisation == 0);
    // Too short, and none at all.
    auto const tight = report(with_gap(0.005), 0.01);
    CHECK_FALSE(tight[1].within());
    CHECK(tight[1].binding() == Limit::air_move);
    CHECK(tight[0].within());
    auto const none = report(with_gap(0), 0.01);
    CHECK_FALSE(none[1].within());
    CHECK(finite(none[1]));
    CHECK(none[1].peak(Limit::air_move).utilisation > 1);
    // The axis that needs longer counts: 0.1 m aside in y is a larger turn than in x.
    auto const in_y = report(job_of(AnyFlangeMotion(Rest<Cell, Flange>{looking_down(0, 0, 0.5)}),
                                    {{"a", 1, AnySeam(held({0, 0}, flat(), 0.5))},
                                     {"b", 1.6, AnySeam(held({0.1, -0.1}, flat(), 0.5))}}),
                             0.01);
    CHECK(in_y[1].peak(Limit::air_move).value == near(0.5 * std::atan(0.2) / 20 + 20 / 1.5e4 + 0.002, 1e-12));
    // The robot moves on meanwhile: seen from a head that glides past, two places may be one.
    auto const gliding =
        report(job_of(AnyFlangeMotion(Steady<Cell, Flange>{looking_down(0, 0, 0.5), {0.2, 0, 0}, 1.5}),
                      {{"a", 1, AnySeam(held({0, 0}, flat(), 0.5))},
                       {"b", 2, AnySeam(held({0.1, 0}, flat(), 0.1))}}),
               0.01);
    CHECK(gliding[1].peak(Limit::air_move).value ==
          near(0.002, 1e-6)); // 2 √(bits of 0.1 rad / 1.5e4) = 1e-10 s
}

TEST_CASE("reports in the order of the seams, and what is refused") {
    auto const job = job_of(AnyFlangeMotion(Rest<Cell, Flange>{looking_down(0, 0, 0.5)}),
                            {{"late", 3, AnySeam(held({0, 0}, flat(), 0.5))},
                             {"early", 1, AnySeam(held({0.1, 0}, flat(), 0.5))}});
    auto const reports = report(job, 0.01);
    CHECK(reports.size() == 2);
    CHECK(reports[0].name == "early");
    CHECK(reports[1].name == "late");
    for (double const wrong : {0.0, -0.01, not_a_number})
        CHECK_THROWS_AS((void)report(job, wrong), BadInput);
    CHECK(report(job_of(AnyFlangeMotion(Rest<Cell, Flange>{looking_down(0, 0, 0.5)}), {}), 0.01).empty());
    CHECK_THROWS_AS((void)in_order({{"a", 1, AnySeam(held({0, 0}, flat(), 0.5))},
                                    {"b", 1.4, AnySeam(held({0, 0}, flat(), 0.5))}}),
                    BadInput);
}

TEST_CASE("a margin is one less the utilisation that is largest, and at the limit a seam is within") {
    SeamReport result{};
    result.samples = 1;
    result.peaks[static_cast<std::size_t>(Limit::focus_range)].utilisation = 1;
    result.peaks[static_cast<std::size_t>(Limit::incidence)].utilisation = 0.5;
    CHECK(result.binding() == Limit::focus_range);
    CHECK(result.margin() == 0);
    CHECK(result.within());
    result.peaks[static_cast<std::size_t>(Limit::incidence)].utilisation = 1 + 1e-9;
    CHECK(result.binding() == Limit::incidence);
    CHECK_FALSE(result.within());
    result.peaks[static_cast<std::size_t>(Limit::incidence)].utilisation = 0;
    CHECK(result.within());
    result.unusable = 1;
    CHECK_FALSE(result.within());
    result.unusable = 0;
    result.status = Status::out_of_reach;
    CHECK_FALSE(result.within());
    CHECK_FALSE(SeamReport{}.within()); // nothing was looked at
}

TEST_CASE("a report's samples do not touch the heap") {
    Random random(11'004);
    auto const rows = rows_of<Cell>(random_flange(random), -0.01, 1, 0.004, random);
    AnySeam const seam(at_speed(circle_around({0, 0}, 0.03), face(), 0.25));
    Job const job = job_of(AnyFlangeMotion(PoseLog<Cell, Flange>(rows)), {{"seam", 0.1, seam}});
    auto const allocations = [&](double step) {
        AllocationGuard const guard;
        auto const reports = report(job, step);
        return reports.empty() ? 0 : guard.count();
    };
    CHECK(allocations(1e-2) == allocations(1e-4)); // for the reports themselves only
}
