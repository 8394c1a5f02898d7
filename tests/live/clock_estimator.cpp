#include <doctest/doctest.h>

#include "seamhold/live/clock_estimator.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using seamhold::BadInput;
using seamhold::ClockEstimator;
using seamhold::ClockOptions;
using seamhold::ClockStatus;
using seamhold::RobotTime;
using seamhold::ScannerTime;
using seamhold::test::AllocationGuard;
using seamhold::test::Random;
using seamhold::test::runs;

namespace {

// How much longer than the least a message takes, s.
enum class Scatter { none, exponential, even, late };

double exponential(Random& random) { return -std::log(1 - random.unit()); }

double extra_delay(Scatter scatter, Random& random) {
    switch (scatter) {
    case Scatter::exponential:
        return 0.3e-3 * exponential(random);
    case Scatter::even:
        return random.uniform(0, 1e-3);
    case Scatter::late: // every fifth is late, by an exponential with mean 3 ms
        return random.uniform(0, 0.2e-3) + (random.unit() < 0.2 ? 3e-3 * exponential(random) : 0);
    case Scatter::none:
        break;
    }
    return 0;
}

// A robot whose clock runs at `rate` and shows `offset` when the scanner's shows 0, and the way of its
// messages.
struct Link {
    double rate, offset, delay;
    Scatter scatter;
    double before = 0;

    double robot_at(double scanner) const { return offset + rate * scanner; }

    // Adds the message that was stamped at `scanner`, and says when it arrived: in order, as through one
    // pipe.
    double send(ClockEstimator& clock, double scanner, Random& random, ClockStatus& status) {
        before = std::max(before, scanner + delay + extra_delay(scatter, random));
        status = clock.add({robot_at(scanner)}, {before});
        return before;
    }
};

ClockOptions with_delay(double delay) {
    ClockOptions options;
    options.least_delay = delay;
    return options;
}

} // namespace

TEST_CASE("the stated uncertainty covers as often as it says") {
    // Exponential, even, and with 20 % of late messages; few samples, and with the window full.
    std::vector<int> const marks{64, 100, 250, 1000, 2500, 7000};
    for (auto const scatter : {Scatter::exponential, Scatter::even, Scatter::late}) {
        Random random(1999);
        double count = 0, within_one = 0, within_two = 0, squares = 0, steps = 0, rate_squares = 0;
        std::vector<double> error(marks.size()), stated(marks.size());
        auto const all = runs(150);
        for (std::size_t run = 0; run < all; ++run) {
            Link link{1 + random.uniform(-150e-6, 150e-6), random.uniform(-10, 10), 2e-3, scatter};
            ClockEstimator clock(with_delay(2e-3));
            std::size_t mark = 0;
            for (int i = 1; i <= marks.back(); ++i) {
                ClockStatus status{};
                double const arrival = link.send(clock, 0.004 * i, random, status);
                steps += status == ClockStatus::stepped ? 1 : 0;
                if (i != marks[mark])
                    continue;
                double const off = clock.map().robot_at({arrival}).seconds - link.robot_at(arrival);
                double const one = clock.deviation({arrival});
                double const rate_off = (clock.map().rate - link.rate) / clock.rate_deviation();
                ++count;
                within_one += std::abs(off) <= one ? 1 : 0;
                within_two += std::abs(off) <= 2 * one ? 1 : 0;
                squares += off * off / (one * one);
                rate_squares += rate_off * rate_off;
                error[mark] += off * off / static_cast<double>(all);
                stated[mark] += one * one / static_cast<double>(all);
                ++mark;
            }
        }
        for (std::size_t m = 0; m < marks.size(); ++m)
            MESSAGE("scatter " << static_cast<int>(scatter) << ", " << marks[m] << " samples: error "
                               << 1e6 * std::sqrt(error[m]) << " us, stated " << 1e6 * std::sqrt(stated[m])
                               << " us");
        MESSAGE("within 1: " << within_one / count << ", within 2: " << within_two / count
                             << ", error/stated: " << std::sqrt(squares / count)
                             << ", of the rate: " << std::sqrt(rate_squares / count));
        // 900 checks. One standard deviation holds 68 % of a normal distribution, and more of this one, whose
        // tail is longer; two hold 95 %. The margins are three standard deviations of the counting.
        CHECK(within_one / count > 0.64);
        CHECK(within_one / count < 0.90);
        CHECK(within_two / count > 0.92);
        CHECK(std::sqrt(squares / count) > 0.7);
        CHECK(std::sqrt(squares / count) < 1.2);
        CHECK(std::sqrt(rate_squares / count) > 0.7);
        CHECK(std::sqrt(rate_squares / count) < 1.25);
        CHECK(steps == 0);
        // 20 s of samples with scatter below 1 ms: the offset to 2 µs.
        CHECK(std::sqrt(error.back()) < 2e-6);
    }
}

TEST_CASE("an exact link is known exactly, whatever the epochs") {
    Random random(3);
    for (double const offset : {0.0, -3e4, 3e4}) {
        Link link{1 - 123e-6, offset, 5e-3, Scatter::none};
        ClockEstimator clock(with_delay(5e-3));
        ClockStatus status{};
        for (int i = 0; i < 500; ++i)
            link.send(clock, 2e4 + 0.012 * i, random, status);
        CHECK(status == ClockStatus::good);
        double const now = 2e4 + 6;
        // The first guess of the scatter, 0.5 ms, over 500 samples and the blocks; and the last bits of 3e4
        // s.
        CHECK(std::abs(clock.map().robot_at({now}).seconds - link.robot_at(now)) < 1e-7);
        CHECK(std::abs(clock.map().rate - link.rate) < 1e-8);
        CHECK(clock.deviation({now}) < 1e-6);
    }
}

TEST_CASE("stamps cannot tell an offset from a delay: what is assumed goes through unchanged") {
    Random one_random(5), other_random(5);
    // The same arrivals: a delay 1.5 ms shorter and a clock that much behind.
    Link one{1, 0, 2e-3, Scatter::exponential};
    Link other{1, 1.5e-3, 0.5e-3, Scatter::exponential};
    ClockEstimator one_clock(with_delay(2e-3)), other_clock(with_delay(2e-3)), right(with_delay(0.5e-3));
    ClockStatus status{};
    double now = 0;
    for (int i = 0; i < 1000; ++i) {
        double const t = 0.004 * i;
        now = one.send(one_clock, t, one_random, status);
        other_clock.add({one.robot_at(t)}, {now});
        right.add({one.robot_at(t)}, {now});
    }
    CHECK(one_clock.map().robot_at({now}).seconds == other_clock.map().robot_at({now}).seconds);
    CHECK(right.map().robot_at({now}) - one_clock.map().robot_at({now}) == doctest::Approx(-1.5e-3));
    CHECK(std::abs(right.map().robot_at({now}).seconds - (other.robot_at(now) - 3e-3)) < 1e-5);
}

TEST_CASE("the deviation of the least delay is part of the uncertainty, which grows without samples") {
    Random random(6);
    auto options = with_delay(0);
    options.least_delay_deviation = 0.2e-3;
    ClockEstimator clock(options);
    CHECK_FALSE(clock.known());
    CHECK(clock.deviation({0}) == std::numeric_limits<double>::infinity());
    CHECK(clock.map().robot_at({3}).seconds == 3);
    Link link{1 + 1e-5, 0, 0, Scatter::exponential};
    ClockStatus status{};
    double now = 0;
    for (int i = 0; i < 100; ++i)
        now = link.send(clock, 0.004 * i, random, status);
    CHECK(clock.known());
    CHECK(clock.deviation({now}) == doctest::Approx(0.2e-3).epsilon(0.05));
    CHECK(clock.deviation({now + 10}) > clock.deviation({now + 1}));
    CHECK(clock.deviation({now + 10}) > 3 * clock.rate_deviation());
}

// The distribution falls as an exponential does: beyond four deviations lies one in 200 runs, beyond eight
// hardly any.
TEST_CASE("a step of the robot's clock forward is known with the first message after it") {
    for (double const step : {1.5e-3, 10e-3, 0.5, 1e6}) {
        for (auto const scatter : {Scatter::exponential, Scatter::late}) {
            Random random(7);
            Link link{1 + 50e-6, 4, 2e-3, scatter};
            ClockEstimator clock(with_delay(2e-3));
            ClockStatus status{};
            int i = 0;
            for (; i < 1000; ++i) {
                link.send(clock, 0.004 * i, random, status);
                REQUIRE(status != ClockStatus::stepped);
            }
            link.offset += step;
            int after = 0;
            for (; status != ClockStatus::stepped && after < 1000; ++after)
                link.send(clock, 0.004 * ++i, random, status);
            CAPTURE(step);
            // A message later than the step is not seen to be early.
            CHECK(after <= (scatter == Scatter::late || step < 2e-3 ? 4 : 1));
            CHECK_FALSE(clock.known());
            double now = 0;
            for (int k = 0; k < 250; ++k)
                now = link.send(clock, 0.004 * ++i, random, status);
            CHECK(clock.known());
            CHECK(std::abs(clock.map().robot_at({now}).seconds - link.robot_at(now)) <
                  8 * clock.deviation({now}));
            CHECK(clock.deviation({now}) < 15e-6);
        }
    }
}

TEST_CASE("a step back looks like late messages until it has lasted") {
    for (double const step : {1.5e-3, 3e-3, 3.9e-3}) {
        for (auto const scatter : {Scatter::exponential, Scatter::late}) {
            Random random(8);
            Link link{1 - 50e-6, 4, 2e-3, scatter};
            ClockEstimator clock(with_delay(2e-3));
            ClockStatus status{};
            int i = 0;
            for (; i < 1000; ++i)
                link.send(clock, 0.004 * i, random, status);
            link.offset -= step;
            int after = 0;
            for (; status != ClockStatus::stepped && after < 1000; ++after)
                link.send(clock, 0.004 * ++i, random, status);
            CAPTURE(step);
            CHECK(after >= 50); // 0.2 s of 4 ms
            CHECK(after <= 60);
            double now = 0;
            for (int k = 0; k < 250; ++k)
                now = link.send(clock, 0.004 * ++i, random, status);
            CHECK(std::abs(clock.map().robot_at({now}).seconds - link.robot_at(now)) <
                  8 * clock.deviation({now}));
            CHECK(clock.deviation({now}) < 15e-6);
        }
    }
}

TEST_CASE("a stalled link is no step: its messages come in a burst, late and then in time") {
    for (double const stall : {0.01, 0.1, 1.0, 5.0}) {
        Random random(9);
        Link link{1 + 50e-6, 4, 2e-3, Scatter::late};
        ClockEstimator clock(with_delay(2e-3));
        ClockStatus status{};
        int i = 0;
        for (; i < 1000; ++i)
            link.send(clock, 0.004 * i, random, status);
        link.before += stall; // nothing arrives sooner
        int steps = 0;
        double now = 0;
        for (int k = 0; k < 3000; ++k) {
            now = link.send(clock, 0.004 * i++, random, status);
            steps += status == ClockStatus::stepped || status == ClockStatus::restarted ? 1 : 0;
        }
        CAPTURE(stall);
        CHECK(steps == 0);
        CHECK(std::abs(clock.map().robot_at({now}).seconds - link.robot_at(now)) < 5e-6);
    }
}

TEST_CASE("a hole of any length is survived") {
    Random random(10);
    Link link{1 + 100e-6, 0, 0, Scatter::late};
    ClockEstimator clock;
    ClockStatus status{};
    double time = 0, now = 0;
    for (double const hole : {0.004, 0.5, 10.0, 100.0}) {
        time += hole;
        int steps = 0;
        for (int i = 0; i < 2000; ++i) {
            now = link.send(clock, time += 0.004, random, status);
            steps += status == ClockStatus::stepped ? 1 : 0;
        }
        CAPTURE(hole);
        CHECK(steps == 0);
        CHECK(std::abs(clock.map().robot_at({now}).seconds - link.robot_at(now)) < 5e-6);
    }
}

TEST_CASE("what is older than the window is forgotten, so that a rate that changed does no harm") {
    Random random(22);
    Link link{1 + 10e-6, 0, 1e-3, Scatter::exponential};
    ClockEstimator clock(with_delay(1e-3));
    ClockStatus status{};
    double time = 0, now = 0;
    for (int i = 0; i < 2500; ++i)
        link.send(clock, time += 0.004, random, status);
    time += 60;
    link.offset -= 0.3e-3; // the robot's clock ran 5 ppm slower meanwhile
    for (int i = 0; i < 200; ++i)
        now = link.send(clock, time += 0.004, random, status);
    CHECK(status != ClockStatus::stepped);
    CHECK(std::abs(clock.map().robot_at({now}).seconds - link.robot_at(now)) < 20e-6);
}

TEST_CASE("a clock that begins anew is noticed at once") {
    Random random(11);
    Link link{1, 5000, 1e-3, Scatter::late};
    ClockEstimator clock(with_delay(1e-3));
    ClockStatus status{};
    int i = 0;
    for (; i < 500; ++i)
        link.send(clock, 0.004 * i, random, status);
    link.offset = -2;
    link.send(clock, 0.004 * i, random, status);
    CHECK(status == ClockStatus::restarted);
    CHECK(clock.samples() == 1);
    double now = 0;
    for (int k = 0; k < 250; ++k)
        now = link.send(clock, 0.004 * ++i, random, status);
    CHECK(std::abs(clock.map().robot_at({now}).seconds - link.robot_at(now)) < 8 * clock.deviation({now}));
    CHECK(clock.deviation({now}) < 15e-6);
}

TEST_CASE("what is not finite or not in order is refused and changes nothing") {
    double const nan = std::numeric_limits<double>::quiet_NaN();
    double const infinite = std::numeric_limits<double>::infinity();
    ClockEstimator clock;
    CHECK(clock.add({nan}, {0}) == ClockStatus::refused);
    CHECK(clock.samples() == 0);
    for (int i = 0; i < 20; ++i)
        clock.add({0.004 * i}, {0.004 * i});
    auto const before = clock.map();
    CHECK(clock.add({0.08}, {nan}) == ClockStatus::refused);
    CHECK(clock.add({infinite}, {0.08}) == ClockStatus::refused);
    CHECK(clock.add({0.08}, {-infinite}) == ClockStatus::refused);
    CHECK(clock.add({0.076}, {0.08}) == ClockStatus::refused); // once more
    CHECK(clock.add({0.05}, {0.08}) == ClockStatus::refused);  // an older one
    CHECK(clock.add({0.08}, {0.07}) == ClockStatus::refused);  // arrived before the one before
    CHECK(clock.samples() == 20);
    CHECK(clock.map().robot.seconds == before.robot.seconds);
    CHECK(clock.map().scanner.seconds == before.scanner.seconds);
    CHECK(clock.map().rate == before.rate);
    clock.restart();
    CHECK_FALSE(clock.known());
}

TEST_CASE("set-points ahead of time have a negative least delay") {
    Random random(12);
    Link link{1 + 20e-6, 1, -12e-3, Scatter::exponential};
    link.before = -1;
    ClockEstimator clock(with_delay(-12e-3));
    ClockStatus status{};
    double now = 0;
    for (int i = 0; i < 1000; ++i)
        now = link.send(clock, 0.004 * i, random, status);
    CHECK(status != ClockStatus::stepped);
    CHECK(std::abs(clock.map().robot_at({now}).seconds - link.robot_at(now)) < 5e-6);
}

TEST_CASE("options outside of what they can be are refused by name") {
    auto const refused = [](auto change, char const* word) {
        ClockOptions options;
        change(options);
        try {
            ClockEstimator const clock(options);
        } catch (BadInput const& bad) {
            return std::string(bad.what()).find(word) != std::string::npos;
        }
        return false;
    };
    double const nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(refused([&](ClockOptions& o) { o.least_delay = nan; }, "least delay"));
    CHECK(refused([](ClockOptions& o) { o.least_delay_deviation = -1e-6; }, "-1e-06"));
    CHECK(refused([](ClockOptions& o) { o.drift_bound = 0; }, "drift bound"));
    CHECK(refused([](ClockOptions& o) { o.window = -1; }, "window"));
    CHECK(refused([&](ClockOptions& o) { o.spread = nan; }, "spread"));
    CHECK(refused([](ClockOptions& o) { o.least_step = 0; }, "least step"));
    CHECK(refused([](ClockOptions& o) { o.persistence = 0; }, "persistence"));
    CHECK(refused([](ClockOptions& o) { o.restart = 0; }, "restart"));
}

TEST_CASE("no sample touches the heap") {
    Random random(13);
    ClockEstimator clock;
    Link link{1 + 50e-6, 4, 2e-3, Scatter::late};
    ClockStatus status{};
    AllocationGuard const guard;
    double sum = 0;
    for (int i = 0; i < 10000; ++i) {
        double const now = link.send(clock, 0.004 * i, random, status);
        sum += clock.map().rate + clock.deviation({now}) + clock.rate_deviation();
    }
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(sum > 0);
}
