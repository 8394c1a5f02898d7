#include "seamhold/live/error_record.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"
#include "support/robot_link.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const period = 0.004;

// The spot of a sweep by its first 20 s at rest, then by the sweep.
struct RestThenSweep {
    Sweep sweep;
    double rest;
    Point<Cell> spot(double t) const { return sweep.spot(t - rest); }
    Pose<Cell, Flange> flange(double t) const { return sweep.flange(t - rest); }
    Quaternion<double> rotation(double t) const { return sweep.rotation(t - rest); }
};

// What came of each forecast, at moments from 8 ms beyond its sample to 8 ms beyond the next.
struct Judged {
    double time;    // robot's, s
    double horizon; // s
    double off;     // along the sweep, m
    double bound;   // m
};

template <class Motion>
std::vector<Judged> judged(Motion const& motion, LinkSettings const& link, double duration, double step,
                           double coverage = 0.99) {
    std::vector<Judged> all;
    FlangeSpot const spot{swept_point};
    Predictor<7> predictor({link.period});
    ErrorRecord record({step, link.period, coverage});
    auto const messages = arrivals(motion, link, duration, 7);
    for (std::size_t i = 0; i + 1 < messages.size(); ++i) {
        auto const& m = messages[i].message;
        double const t = messages[i].sampled;
        Sample<7> const sample{
            {t},
            {m.origin.x, m.origin.y, m.origin.z, m.rotation.w, m.rotation.x, m.rotation.y, m.rotation.z},
            {},
            false,
            SampleKind::measured};
        predictor.add(sample);
        auto const prediction = predictor.predict({t + 0.008});
        auto const error = record.add(spot_course(predictor, spot, step));
        if (!record.ready())
            continue;
        double const until = messages[i + 1].sampled;
        for (int k = 0; k < 8; ++k) {
            double const then = t + 0.008 + (until - t) * (k + 0.5) / 8;
            Direction<Cell> const along{0.8, 0.6, 0};
            double const off = dot(spot(prediction.at(then)) - motion.spot(then), along);
            all.push_back({then, then - t, off, error.bound(along, then - t)});
        }
    }
    return all;
}

template <class Choose> double share_missed(std::vector<Judged> const& all, Choose const& choose) {
    double missed = 0;
    double count = 0;
    for (auto const& j : all)
        if (choose(j)) {
            missed += std::abs(j.off) > j.bound;
            ++count;
        }
    REQUIRE(count > 0);
    return missed / count;
}

} // namespace

TEST_CASE("the factor is the root of chi-square with three degrees of freedom") {
    // upper critical values, NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.4, three digits
    CHECK(near(sqr(detail::ellipsoid_factor(0.90)), 6.251, 1e-4));
    CHECK(near(sqr(detail::ellipsoid_factor(0.95)), 7.815, 1e-4));
    CHECK(near(sqr(detail::ellipsoid_factor(0.99)), 11.345, 1e-4));
    CHECK(near(sqr(detail::ellipsoid_factor(0.999)), 16.266, 1e-4));
}

TEST_CASE("a length in second moments is that by Eigen's decomposition") {
    Random random(61);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        Eigen::Matrix3d a;
        for (int r = 0; r < 3; ++r)
            for (int c = 0; c < 3; ++c)
                a(r, c) = 1e-4 * random.normal();
        if (i % 3 == 0)
            a.row(2).setZero(); // flat
        Eigen::Matrix3d m = a * a.transpose();
        double const moments[6] = {m(0, 0), m(1, 1), m(2, 2), m(0, 1), m(0, 2), m(1, 2)};
        double const e[3] = {1e-4 * random.normal(), 1e-4 * random.normal(),
                             i % 3 == 0 ? 0 : 1e-4 * random.normal()};
        m += (1e-18 + 1e-9 * m.trace()) * Eigen::Matrix3d::Identity();
        Eigen::Vector3d const d(e[0], e[1], e[2]);
        double const want = d.dot(m.ldlt().solve(d));
        // the condition of m is at most 1e9 by what was added
        CHECK(near(detail::squared_length_in(moments, e), want, 1e-6));
    }
}

TEST_CASE("errors of a known size are stated as such, the samples' noise taken out") {
    // a spot in steady motion, seen with noise; forecasts that are off by a known normal error which the one
    // who foretells knows nothing of
    Random random(71);
    double const noise = 40e-6;
    ErrorRecord record({0.004, 0.004, 0.99});
    double mean[SpotError::count] = {};
    int counted = 0;
    for (int i = 0; i < 40000; ++i) {
        double const t = i * period;
        SpotCourse course{};
        course.newest = {t};
        course.seen = {0.2 * t + noise * random.normal(), noise * random.normal(), noise * random.normal()};
        for (double* m : {&course.noise[0], &course.noise[1], &course.noise[2]})
            *m = noise * noise;
        for (std::size_t k = 0; k < SpotError::count; ++k) {
            double const size = 15e-6 * static_cast<double>(k + 1);
            double const then = t + 0.004 * static_cast<double>(k + 1);
            course.place[k] = {0.2 * then + size * random.normal(), size * random.normal(),
                               size * random.normal()};
        }
        auto const error = record.add(course);
        if (i < 5000)
            continue;
        ++counted;
        for (std::size_t k = 0; k < SpotError::count; ++k)
            mean[k] += (error.moment[k][0] + error.moment[k][1] + error.moment[k][2]) / 3;
    }
    // From the second horizon on: 30 to 120 µm. Means over 250 samples scatter by 5 %, more where noise is
    // taken out, and the scale makes up for that.
    for (std::size_t k = 1; k < SpotError::count; ++k) {
        CAPTURE(k);
        CHECK(near(std::sqrt(mean[k] / counted), 15e-6 * static_cast<double>(k + 1), 0.1));
    }
}

TEST_CASE("the first sweep after a long rest is covered before long") {
    for (double const jerk : {20.0, 200.0, 0.0}) {
        CAPTURE(jerk);
        SweepSettings settings;
        settings.jerk = jerk;
        settings.turn = 0;
        RestThenSweep const motion{Sweep(settings, 40, 9), 20};
        auto const all = judged(motion, with_noise({}, 2e-6), 60, 0.002);
        double first = 100;
        for (auto const& j : all)
            if (j.time > 20 && std::abs(motion.sweep.speed(j.time - 20)) > 0.19)
                first = std::min(first, j.time);
        auto const of = [&](double from, double to) {
            return share_missed(all, [&](Judged const& j) { return j.time >= from && j.time < to; });
        };
        // What sets in after a rest cannot be foreseen, and the record has seen nothing like it: there more
        // is missed than the 1 % stated. Measured: 4 % until the sweep is up to speed, 1 to 4 % in the second
        // after that, 0.9 to 1.2 % then.
        CHECK(of(10, 20) < 0.01);
        CHECK(of(20, first) < 0.08);
        CHECK(of(first, first + 1) < 0.06);
        CHECK(of(first + 1, 60) < 0.017);
    }
}

TEST_CASE("lost samples: what is stated grows with the horizon, and holds") {
    for (int const lost : {1, 3, 10}) {
        CAPTURE(lost);
        Sweep const sweep({}, 120, 11);
        auto link = with_noise({}, 2e-6);
        link.loss = 0.01;
        link.lost = lost;
        auto const all = judged(sweep, link, 120, 0.004);
        auto const whole = judged(sweep, with_noise({}, 2e-6), 120, 0.004);
        // 1 % is stated; bursts of misses make a third more or less of it, and beyond 12 ms only one tick in
        // some twenty lies, in 300 bursts
        CHECK(share_missed(all, [](Judged const& j) { return j.horizon < 0.012; }) < 0.015);
        CHECK(share_missed(all, [](Judged const& j) { return j.horizon > 0.012; }) < 0.025);
        // the bound follows the horizon up
        auto const mean_bound_of = [](std::vector<Judged> const& some, double from, double to) {
            double sum = 0;
            double count = 0;
            for (auto const& j : some)
                if (j.horizon >= from && j.horizon < to) {
                    sum += j.bound;
                    ++count;
                }
            return sum / count;
        };
        auto const mean_bound = [&](double from, double to) { return mean_bound_of(all, from, to); };
        // and what lies across a gap, where nobody knows where the spot was, does not spoil the record
        CHECK(mean_bound(0.008, 0.012) < 1.15 * mean_bound_of(whole, 0.008, 0.012));
        CHECK(mean_bound(0.013, 0.016) > 1.4 * mean_bound(0.008, 0.012));
        if (lost == 10)
            CHECK(mean_bound(0.040, 0.050) > 8 * mean_bound(0.013, 0.016));
    }
}

TEST_CASE("when it is ready, how it starts anew, what it refuses") {
    ErrorRecord record({0.002, 0.004});
    CHECK_FALSE(record.ready());
    auto const course_at = [](double t) {
        SpotCourse course{};
        course.newest = {t};
        for (auto& place : course.place)
            place = {1e-5, 0, 0};
        return course;
    };
    // the last horizon is 16 ms, four samples: it is first compared at the fifth
    for (int i = 0; i < 53; ++i) {
        CHECK_FALSE(record.ready());
        record.add(course_at(i * period));
    }
    record.add(course_at(53 * period));
    CHECK(record.ready());
    auto const error = record.add(course_at(54 * period));
    CHECK(error.step == 0.002);
    CHECK(near(error.factor, std::sqrt(11.345), 1e-4));
    // an error of 10 µm each time is within what is stated
    CHECK(error.bound({1, 0, 0}, 0.01) >= 1e-5);
    // a time that is not later is stated and not recorded
    auto const again = record.add(course_at(54 * period));
    CHECK(again.moment[3][0] == error.moment[3][0]);
    // a stream that begins anew, far off: it is not compared with what was before
    record.restart();
    auto far = course_at(0);
    far.seen = {5, 5, 5};
    for (auto& place : far.place)
        place = {5, 5, 5};
    for (int i = 0; i < 20; ++i) {
        far.newest = {i * period};
        record.add(far);
    }
    CHECK(record.ready());
    CHECK(record.add(far).deviation({1, 0, 0}, 0.01) <= error.deviation({1, 0, 0}, 0.01));

    // after ten lost samples it stands elsewhere: of the way there nothing is known, and nothing is learnt
    double const before = record.add(far).deviation({1, 0, 0}, 0.01);
    far.newest = {30 * period};
    far.seen.x = 6;
    for (auto& place : far.place)
        place.x = 6;
    CHECK(record.add(far).deviation({1, 0, 0}, 0.01) <= before);

    CHECK(refusal_of([] {
              return ErrorRecord({0, 0.004});
          }) == "error record: step is 0, but must be above 0");
    // what is not finite teaches nothing
    far.newest = {31 * period};
    far.place[2].y = not_a_number;
    record.add(far);
    for (int i = 32; i < 50; ++i) {
        far.newest = {i * period};
        far.place[2].y = 5;
        CHECK(is_finite(record.add(far).deviation({0, 1, 0}, 0.006)));
    }

    CHECK(refusal_of([] {
              return ErrorRecord({0.04, 0.004});
          }) == "error record: step is 0.04, but must be at most 7.5 periods");
    CHECK(refusal_of([] {
              return ErrorRecord({0.002, -1});
          }) == "error record: period is -1, but must be above 0");
    CHECK(refusal_of([] {
              return ErrorRecord({0.002, 0.004, 1});
          }) == "error record: coverage is 1, but must be 0.5 to 0.9999");
    CHECK(refusal_of([] {
              return ErrorRecord({0.002, 0.004, 0.99, 0});
          }) == "error record: samples is 0, but must be at least 1");
}

TEST_CASE("no heap while errors are recorded and stated") {
    FlangeSpot const spot{swept_point};
    Predictor<7> predictor({period});
    ErrorRecord record({0.002, period});
    Sample<7> sample{{0}, {1, 0, 0, 1, 0, 0, 0}, {}, false, SampleKind::measured};
    AllocationGuard const guard;
    double sum = 0;
    for (int i = 0; i < 200; ++i) {
        sample.time.seconds = i * period;
        predictor.add(sample);
        sum += record.add(spot_course(predictor, spot, 0.002)).moment[7][0];
    }
    auto const allocations = guard.count();
    CHECK(allocations == 0);
    CHECK(is_finite(sum));
}
