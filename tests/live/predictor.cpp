#include "seamhold/live/predictor.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"
#include "support/robot_link.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {
double const period = 0.004;

Sample<1> at(double time, double value, SampleKind kind = SampleKind::measured) {
    return {{time}, {value}, {}, false, kind};
}
} // namespace

TEST_CASE("motion of its order is foretold exactly, at uneven times and over lost samples") {
    for (int order = 1; order <= 3; ++order) {
        CAPTURE(order);
        Random random(41);
        Predictor<2> predictor({period, order});
        double const a[4] = {0.8, 0.2, order > 1 ? 1.0 : 0, order > 2 ? 5.0 : 0};
        auto const truth = [&](double t) { return a[0] + t * (a[1] + t * (a[2] + t * a[3])); };
        double t = 0;
        for (int i = 0; i < 150; ++i) {
            Sample<2> const sample{{t}, {truth(t), -truth(t)}, {}, false, SampleKind::measured};
            REQUIRE(predictor.add(sample));
            t += period * (i % 17 == 5 ? 11 : random.uniform(0.5, 1.5));
        }
        auto const prediction = predictor.predict({t + 0.008});
        CHECK_FALSE(prediction.interpolated);
        for (double ahead = 0; ahead < 0.014; ahead += 0.001) {
            auto const r = prediction.at(prediction.newest.seconds + ahead);
            double const want = truth(prediction.newest.seconds + ahead);
            // rounding of values of 1 in the samples, times what three periods ahead make of it: below 1e3
            CHECK(std::abs(r[0] - want) < 1e-12);
            CHECK(std::abs(r[1] + want) < 1e-12);
        }
    }
}

TEST_CASE("the noise is measured at rest and in a sweep") {
    for (double const jerk : {20.0, 200.0, 0.0})
        for (double const noise : {1e-6, 10e-6}) {
            CAPTURE(jerk);
            CAPTURE(noise);
            SweepSettings settings;
            settings.jerk = jerk;
            Sweep const sweep(settings, 60, 3);
            Random random(43);
            Predictor<2> predictor({period});
            double mean[2] = {};
            int count = 0;
            for (int i = 0; i < 15000; ++i) {
                double const t = i * period;
                Sample<2> const sample{{t},
                                       {sweep.way(t) + noise * random.normal(), noise * random.normal()},
                                       {},
                                       false,
                                       SampleKind::measured};
                predictor.add(sample);
                if (i > 1000) {
                    for (int d = 0; d < 2; ++d)
                        mean[d] += predictor.noise_variance(d);
                    ++count;
                }
            }
            // measured by the likeliest filter of each moment, likelier because it fits: some percent low;
            // in a sweep motion passes for noise, or noise for motion, by a tenth or two
            CHECK(near(std::sqrt(mean[1] / count), noise, 0.1));
            CHECK(near(std::sqrt(mean[0] / count), noise, 0.2));
        }
}

TEST_CASE("set-points that lie ahead are interpolated") {
    Random random(47);
    double const omega = 12;
    for (bool const uneven : {false, true})
        for (double const lead : {0.0, 0.5, 1.0, 2.0, 3.0, 3.6, 10.0, 10.6, 40.0}) {
            CAPTURE(uneven);
            CAPTURE(lead);
            Predictor<1> predictor({period});
            double t = 0;
            for (int i = 0; i < 200; ++i) {
                predictor.add(at(t, 0.1 * std::sin(omega * t), SampleKind::set_point));
                t += period * (uneven ? random.uniform(0.6, 1.4) : 1);
            }
            double const from = predictor.newest().time.seconds - lead * period;
            auto const prediction = predictor.predict({from});
            bool const within = lead > 0.75; // the middle of its period and a half lies before the newest
            CHECK(prediction.interpolated == within);
            for (double s = 0; s <= 1.5 * period; s += period / 16) {
                double const off = prediction.at(from + s)[0] - 0.1 * std::sin(omega * (from + s));
                // Lagrange's remainder: |Π(t − tᵢ)|/24 times the fourth derivative. The product is at most h⁴
                // within the four points, and for half an h beyond, where the middle lies in the last step or
                // steps are uneven, below 6.6 h⁴, h the widest step.
                double const h = uneven ? 1.4 * period : period;
                double const fourth = 0.1 * std::pow(omega, 4) * std::pow(h, 4) / 24;
                // beyond the newest: a jerk that is not followed, over what the filters lag and look ahead
                double const jerk = 0.1 * std::pow(omega, 3) / 6 * std::pow(5 * h, 3);
                CHECK(std::abs(off) < (!within ? jerk : uneven || lead < 2 ? 6.6 * fourth : fourth));
            }
        }
    // measurements are never taken for set-points
    Predictor<1> predictor({period});
    for (int i = 0; i < 100; ++i)
        predictor.add(at(i * period, 0));
    CHECK_FALSE(predictor.predict({0.2}).interpolated);
}

TEST_CASE("measured rates are made use of") {
    SweepSettings settings;
    settings.jerk = 0;
    Sweep const sweep(settings, 40, 5);
    double const noise = 2e-6;
    Random random(53);
    Predictor<1> without({period});
    Predictor<1> with({period, 2, 250});
    std::vector<double> errors[2];
    for (int i = 0; i < 10000; ++i) {
        double const t = i * period;
        double const value = sweep.way(t) + noise * random.normal();
        double const rate = sweep.speed(t) + 250 * noise * random.normal();
        without.add(at(t, value));
        with.add({{t}, {value}, {rate}, true, SampleKind::measured});
        for (int k = 0; k < 4 && i > 100; ++k) {
            double const then = t + 0.0085 + 0.001 * k;
            errors[0].push_back(std::abs(without.predict({t + 0.008}).at(then)[0] - sweep.way(then)));
            errors[1].push_back(std::abs(with.predict({t + 0.008}).at(then)[0] - sweep.way(then)));
        }
    }
    double share[2];
    for (int k = 0; k < 2; ++k) {
        auto const place = errors[k].begin() + static_cast<std::ptrdiff_t>(errors[k].size() * 99 / 100);
        std::nth_element(errors[k].begin(), place, errors[k].end());
        share[k] = *place;
    }
    CAPTURE(share[0]);
    CAPTURE(share[1]);
    CHECK(share[1] < 0.95 * share[0]);
}

TEST_CASE("after a long rest without any noise it follows at once") {
    Predictor<1> predictor({period});
    auto const truth = [](double t) { return t < 40 ? 0.3 : 0.3 + (t - 40) * (t - 40); };
    int i = 0;
    for (; i * period <= 40.0301; ++i)
        predictor.add(at(i * period, truth(i * period)));
    // seven samples of an acceleration of 2 m/s² from rest: 144 µm are what it makes of 12 ms, and by now two
    // percent of it would be 3 µm
    double const then = (i - 1) * period + 0.012;
    CHECK(std::abs(predictor.predict({then - period}).at(then)[0] - truth(then)) < 3e-6);
}

TEST_CASE("noise that comes after a rest without any is soon reckoned with") {
    Random random(59);
    double const noise = 5e-6;
    Predictor<1> always({period});
    Predictor<1> after({period});
    double said[2] = {};
    double squares[2] = {};
    for (int i = -10000; i < 100; ++i) {
        double const value = noise * random.normal();
        always.add(at(i * period, value));
        after.add(at(i * period, i < 0 ? 0 : value));
        if (i < 15) // 60 ms of it
            continue;
        for (int k = 0; k < 2; ++k) {
            auto const& predictor = k == 0 ? always : after;
            said[k] += predictor.variances(0.012)[0];
            squares[k] += sqr(predictor.predict({0}).at(i * period + 0.012)[0]);
        }
    }
    CHECK(said[1] > said[0] / 2);
    CHECK(said[1] < 8 * said[0]);
    CHECK(squares[1] < 8 * squares[0]);
    CHECK(squares[0] < 2 * said[0]);
    CHECK(squares[1] < 2 * said[1]);
}

TEST_CASE("what it passes over, and how it starts anew") {
    double const nan = std::numeric_limits<double>::quiet_NaN();
    Predictor<1> predictor({period});
    CHECK(predictor.predict({0}).at(0.1)[0] == 0);
    CHECK_FALSE(predictor.add(at(nan, 0)));
    CHECK_FALSE(predictor.add(at(0, nan)));
    CHECK_FALSE(predictor.add(at(0, 1e300))); // its square would not be finite
    CHECK(predictor.count() == 0);
    for (int i = 0; i < 12; ++i) {
        CHECK_FALSE(predictor.ready());
        CHECK(predictor.add(at(i * period, 0.1 * i * period)));
        CHECK_FALSE(predictor.add(at(i * period, 5)));
        CHECK_FALSE(predictor.add(at((i + 1) * period, nan)));
        CHECK(is_finite(predictor.predict({i * period}).at(i * period + 0.012)[0]));
        CHECK(is_finite(predictor.variances(0.012)[0]));
    }
    CHECK(predictor.ready());
    // ten lost: goes on
    CHECK(predictor.add(at(22 * period, 2.2 * period)));
    CHECK(predictor.ready());
    CHECK(near(predictor.predict({23 * period}).at(30 * period)[0], 3 * period, 1e-6));
    // a thousand lost: begins anew, but not for what is passed over
    CHECK_FALSE(predictor.add(at(1000 * period, nan)));
    CHECK(predictor.ready());
    CHECK(predictor.add(at(1000 * period, 7)));
    CHECK_FALSE(predictor.ready());
    CHECK(predictor.count() == 1);
    CHECK(predictor.predict({1000 * period}).at(1003 * period)[0] == 7);
    // a sample that is far off but finite: all stays finite
    for (int i = 1; i < 200; ++i) {
        predictor.add(at((1000 + i) * period, i == 50 ? 1e99 : 7));
        REQUIRE(is_finite(predictor.predict({0}).at((1003 + i) * period)[0]));
        REQUIRE(is_finite(predictor.variances(0.012)[0]));
    }
    predictor.restart();
    CHECK(predictor.count() == 0);
    CHECK(predictor.add(at(0, 3)));

    CHECK(refusal_of([] { return Predictor<1>({0.004, 0}); }) == "predictor: order is 0, but must be 1 to 3");
    CHECK(refusal_of([] { return Predictor<1>({0.004, 4}); }) == "predictor: order is 4, but must be 1 to 3");
    CHECK(
        has(refusal_of([] { return Predictor<1>({-1}); }), "predictor: period is -1 s, but must be above 0"));
}

TEST_CASE("at rest nothing denormal is handed on, and no heap is used") {
    Predictor<7> predictor({period});
    Sample<7> sample{{0}, {1e-310, 0, 0, 1, 0, 0, 0}, {}, false, SampleKind::measured};
    AllocationGuard const guard;
    Prediction<7> prediction{};
    for (int i = 0; i < 1000; ++i) {
        sample.time.seconds = i * period;
        sample.value[0] = -sample.value[0];
        predictor.add(sample);
        prediction = predictor.predict(sample.time);
    }
    auto const allocations = guard.count();
    CHECK(allocations == 0);
    for (auto const& row : prediction.coefficient)
        for (double const c : row)
            CHECK((c == 0 || std::abs(c) > 1e-200));
}
