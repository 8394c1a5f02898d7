#include "seamhold/live/clock_estimator.hpp"
#include "seamhold/live/error_record.hpp"
#include "seamhold/live/predictor.hpp"

#include <doctest/doctest.h>

#include "support/random.hpp"
#include "support/robot_link.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>
#include <vector>

// How far the foretold spot is from the true one, on the surface, in a simulated link: samples every 4 ms,
// 8 ms old when they arrive, a sweep between 0 and ± 0.2 m/s with 2 m/s². Errors are those at all ticks, that
// is from one arrival to the next; noise is the standard deviation of the spot's place on each axis.

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const period = 0.004;
double const step = 0.002; // of stated horizons
int const ticks = 10;      // between arrivals, at which errors are taken
int const begin = 500;     // samples before anything is counted

struct Cell16 {
    double jerk;  // m/s³; 0: unlimited
    double noise; // m at the spot
    bool stamped; // else only arrivals and counts, ± 0.5 ms
};

struct Outcome {
    double median, high, extreme;  // 99 % and 99.9 % of errors, m
    double uncompensated;          // 99.9 % of the errors of the newest sample as it is
    double polynomial;             // 99.9 % with the best polynomial in hindsight
    double covered, covered_along; // share of ticks at which the stated ellipsoid and bound held
    double usual_bound;            // median of the bound stated along the sweep, m
};

double quantile(std::vector<float>& errors, double share) {
    auto const place =
        errors.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(errors.size() - 1));
    std::nth_element(errors.begin(), place, errors.end());
    return *place;
}

double on_surface(Direction<Cell> const& d) { return std::hypot(d.x, d.y); }

Sample<7> sample_of(Arrival const& a, double time, Sample<7> const& before) {
    auto const& m = a.message;
    Quaternion<double> const& q = m.rotation;
    double const cosine =
        q.w * before.value[3] + q.x * before.value[4] + q.y * before.value[5] + q.z * before.value[6];
    double const sign = cosine < 0 ? -1 : 1;
    return {{time},
            {m.origin.x, m.origin.y, m.origin.z, sign * q.w, sign * q.x, sign * q.y, sign * q.z},
            {},
            false,
            SampleKind::measured};
}

struct Tick {
    double ahead; // of the newest sample, periods
    Point<Cell> spot;
};

// Polynomials of all orders 1 to 3 through 2 to 14 samples, fitted by least squares to the spot's place.
struct Polynomials {
    struct One {
        int samples;
        Eigen::MatrixXd coefficients; // from places, the newest last
        std::vector<float> errors;
    };
    std::vector<One> all;
    Polynomials() {
        for (int order = 1; order <= 3; ++order)
            for (int n = order + 1; n <= 14; ++n) {
                Eigen::MatrixXd powers(n, order + 1);
                for (int i = 0; i < n; ++i)
                    for (int k = 0; k <= order; ++k)
                        powers(i, k) = std::pow(i - n + 1, k);
                all.push_back({n, powers.completeOrthogonalDecomposition().pseudoInverse(), {}});
            }
    }
    template <class TickOf> void foretell(std::vector<Point<Cell>> const& places, TickOf const& tick_of) {
        Tick at[ticks];
        for (int k = 0; k < ticks; ++k)
            at[k] = tick_of(k);
        for (auto& one : all) {
            double x[4] = {};
            double y[4] = {};
            for (int n = 0; n < one.coefficients.rows(); ++n)
                for (int j = 0; j < one.samples; ++j) {
                    auto const& p = places[places.size() - static_cast<std::size_t>(one.samples - j)];
                    x[n] += one.coefficients(n, j) * p.x;
                    y[n] += one.coefficients(n, j) * p.y;
                }
            for (auto const& tick : at) {
                double const s = tick.ahead;
                one.errors.push_back(
                    static_cast<float>(std::hypot(((x[3] * s + x[2]) * s + x[1]) * s + x[0] - tick.spot.x,
                                                  ((y[3] * s + y[2]) * s + y[1]) * s + y[0] - tick.spot.y)));
            }
        }
    }
};

Outcome run(Cell16 const& cell, double duration, bool with_polynomials) {
    SweepSettings sweep;
    sweep.jerk = cell.jerk;
    // seeds that had no part in choosing the memories of the bank: those were chosen with 1 and 2
    Sweep const truth(sweep, duration, 101);
    auto link = with_noise({}, cell.noise);
    if (!cell.stamped) {
        link.jitter = 0.5e-3;
        link.drift = 30e-6;
        link.offset = 12;
    }
    auto const all = arrivals(truth, link, duration, 108);
    FlangeSpot const spot{swept_point};
    Predictor<7> predictor({period});
    ErrorRecord record({step, period, 0.99});
    // without stamps: the count times the period is the robot's time; its relation to the scanner's is
    // estimated, the least delay being known
    ClockEstimator clock({.least_delay = link.latency - link.jitter});
    std::vector<float> errors, plain, bounds;
    Polynomials polynomials;
    std::vector<Point<Cell>> places;
    double held = 0, held_along = 0;
    Sample<7> sample{};
    for (std::size_t i = 0; i + 1 < all.size(); ++i) {
        double const count = static_cast<double>(all[i].message.head.number - link.first_number);
        double const time = cell.stamped ? static_cast<double>(all[i].message.head.stamp - link.epoch) * 1e-9
                                         : count * period;
        sample = sample_of(all[i], time, sample);
        if (!predictor.add(sample))
            FAIL("a good sample was refused");
        clock.add({time}, {all[i].time});
        auto const scanner_to_robot = [&](double t) {
            return cell.stamped ? t : clock.map().robot_at({t}).seconds;
        };
        auto const prediction = predictor.predict({scanner_to_robot(all[i].time)});
        auto const error = record.add(spot_course(predictor, spot, step));
        Pose<Cell, Flange> const seen{
            rotation_of<Cell, Flange>(
                Quaternion<double>{sample.value[3], sample.value[4], sample.value[5], sample.value[6]}),
            {sample.value[0], sample.value[1], sample.value[2]}};
        places.push_back(seen * swept_point);
        if (i < begin)
            continue;
        for (int k = 0; k < ticks; ++k) {
            double const scanner = all[i].time + (all[i + 1].time - all[i].time) * (k + 0.5) / ticks;
            // at this moment the robot's clock shows
            double const robot = (scanner - link.offset) * (1 + link.drift);
            auto const want = truth.spot(robot);
            double const believed = scanner_to_robot(scanner);
            auto const off = spot(prediction.at(believed)) - want;
            errors.push_back(static_cast<float>(on_surface(off)));
            plain.push_back(static_cast<float>(on_surface(places.back() - want)));
            double const horizon = believed - prediction.newest.seconds;
            double const bound = error.bound(sweep.along, horizon);
            bounds.push_back(static_cast<float>(bound));
            held_along += std::abs(dot(off, sweep.along)) <= bound;
            Eigen::Matrix3d moments;
            auto const& e = error.moment;
            double const place = horizon / step - 1;
            auto const at = static_cast<std::size_t>(place);
            double const share = place - static_cast<double>(at);
            auto const m = [&](int j) { return (1 - share) * e[at][j] + share * e[at + 1][j]; };
            moments << m(0), m(3), m(4), m(3), m(1), m(5), m(4), m(5), m(2);
            Eigen::Vector3d const d(off.x, off.y, off.z);
            moments += Eigen::Matrix3d::Identity() * (1e-9 * moments.trace() + 1e-18);
            held += d.dot(moments.llt().solve(d)) <= error.factor * error.factor;
        }
        if (with_polynomials)
            polynomials.foretell(places, [&](int k) {
                double const scanner = all[i].time + (all[i + 1].time - all[i].time) * (k + 0.5) / ticks;
                return Tick{(scanner_to_robot(scanner) - time) / period,
                            truth.spot((scanner - link.offset) * (1 + link.drift))};
            });
    }
    double best = 1;
    for (auto& one : polynomials.all)
        if (!one.errors.empty())
            best = std::min(best, quantile(one.errors, 0.999));
    double const n = static_cast<double>(errors.size());
    return {quantile(errors, 0.5),
            quantile(errors, 0.99),
            quantile(errors, 0.999),
            quantile(plain, 0.999),
            best,
            held / n,
            held_along / n,
            quantile(bounds, 0.5)};
}

} // namespace

TEST_CASE("the table: jerk by noise by stamps") {
    double const jerks[] = {20, 50, 200, 0};
    double const noises[] = {0, 1e-6, 2e-6, 10e-6};
    // 99.9 % of errors of the best polynomial that was tried before, along 1 to 2 µm of noise, µm
    double const before[] = {39, 76, 156, 186};
    double const duration = 40 * static_cast<double>(runs(1));
    std::printf("spot error on the surface, um: 99.9 %% of ticks; in brackets the best polynomial in "
                "hindsight; then 50 %% and 99 %%; the newest sample as it is; the share of ticks within the "
                "99 %% ellipsoid and bound; the usual bound\n");
    for (bool const stamped : {true, false})
        for (int j = 0; j < 4; ++j)
            for (double const noise : noises) {
                bool const band = noise == 1e-6 || noise == 2e-6;
                auto const o = run({jerks[j], noise, stamped}, duration, stamped && band);
                std::printf("%s jerk %4.0f noise %3.0f: %6.1f", stamped ? "stamps  " : "arrivals", jerks[j],
                            1e6 * noise, 1e6 * o.extreme);
                if (stamped && band)
                    std::printf(" (%5.1f)", 1e6 * o.polynomial);
                else
                    std::printf("        ");
                std::printf("  %5.1f %6.1f  %6.0f  %.4f %.4f  %6.1f\n", 1e6 * o.median, 1e6 * o.high,
                            1e6 * o.uncompensated, o.covered, o.covered_along, 1e6 * o.usual_bound);
                CAPTURE(jerks[j]);
                CAPTURE(noise);
                CAPTURE(stamped);
                CHECK(o.uncompensated > 1e-3);
                if (jerks[j] == 20 && noise <= 1e-6)
                    CHECK(o.extreme <= 50e-6);
                // At 2 µm and jerk 20 no polynomial comes below 49 µm in this link, where noise is counted on
                // each axis, so the figure from before is not asked for there.
                if (band && !(jerks[j] == 20 && noise == 2e-6))
                    CHECK(o.extreme <= 1e-6 * before[j]);
                // 80 changes of speed make the figure: 5 % of luck either way
                if (stamped && band)
                    CHECK(o.extreme <= 1.05 * o.polynomial);
                // 1 % of misses is stated. They come in groups of ten or so ticks, some 100 of them: ± 0.1 %;
                // what is learnt is learnt from samples with noise, and between two horizons
                // the moments are interpolated: half as many again
                CHECK(o.covered >= 0.983);
                CHECK(o.covered_along >= 0.985);
                CHECK(o.covered <= 0.996);
                // it would be easy to state much: the usual bound is no more than twice what 99 % keep within
                CHECK(o.usual_bound <= 2 * o.high);
            }
}
