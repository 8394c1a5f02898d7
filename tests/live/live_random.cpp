#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

// Random faults, several in a run, at random times, over random links and sweeps. Left out is what nobody can
// tell from a sound stream: places that are wrong by less than the receiver's least disagreement for more
// than one sample, stamps wrong by less than that over the speed, and robots that truly brake.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Messages = std::vector<Arrival>;

double power(Random& random, double low, double high) {
    return std::pow(10, random.uniform(low, high)) * (random.unit() < 0.5 ? -1 : 1);
}

// Off by so little that it is no matter, or by so much that it can be told, s.
double stamp_error(Random& random) {
    return random.unit() < 0.2 ? power(random, -6, -4.3) : power(random, -3.1, 0.3);
}

void sort(Messages& messages) {
    std::stable_sort(messages.begin(), messages.end(),
                     [](Arrival const& a, Arrival const& b) { return a.time < b.time; });
}

// One fault at a random time; returns its name.
std::string strike(Random& random, Messages& messages) {
    std::size_t const from = 90 + random.index(messages.size() - 120);
    std::size_t const count = 1 + random.index(10);
    auto const each = [&](std::size_t n, auto const& what) {
        for (std::size_t i = from; i < std::min(messages.size(), from + n); ++i)
            what(messages[i].message);
    };
    auto const shifted = [](PoseMessage& m, double by) { m.head.stamp += std::llround(1e9 * by); };
    std::size_t const kind = random.index(16);
    std::string const name =
        std::to_string(kind) + " at " + std::to_string(messages[from].sampled) + " x" + std::to_string(count);
    switch (kind) {
    case 0:
        messages.erase(messages.begin() + static_cast<std::ptrdiff_t>(from),
                       messages.begin() + static_cast<std::ptrdiff_t>(from + count));
        break;
    case 1:
        for (std::size_t i = 0; i < count; ++i) {
            auto copy = messages[from + i];
            copy.time += random.uniform(0, 5e-3);
            messages.push_back(copy);
        }
        sort(messages);
        break;
    case 2:
        for (std::size_t i = from; i < from + count; ++i)
            messages[i].time += random.uniform(0, 0.012);
        sort(messages);
        break;
    case 3: {
        auto const stamp = messages[from].message.head.stamp;
        each(count + 1, [&](PoseMessage& m) { m.head.stamp = stamp; });
        break;
    }
    case 4: {
        double const by = stamp_error(random);
        each(count, [&](PoseMessage& m) { shifted(m, by); });
        break;
    }
    case 5: {
        double const bad[] = {NAN, HUGE_VAL, -HUGE_VAL, 1e300, 1e-310};
        double const x = bad[random.index(5)];
        std::size_t const which = random.index(7);
        each(count, [&](PoseMessage& m) {
            double* const numbers[] = {&m.origin.x,   &m.origin.y,   &m.origin.z,  &m.rotation.w,
                                       &m.rotation.x, &m.rotation.y, &m.rotation.z};
            *numbers[which] = x;
        });
        break;
    }
    case 6: {
        double const by = power(random, -6, 0);
        std::size_t const n = std::abs(by) < 0.5e-3 ? 1 : count;
        each(n, [&](PoseMessage& m) { m.origin.x += by; });
        break;
    }
    case 7:
        each(messages.size(), [&](PoseMessage& m) {
            auto& q = m.rotation;
            if (random.unit() < 0.5)
                q = {-q.w, -q.x, -q.y, -q.z};
        });
        break;
    case 8: {
        double const by = 1 + power(random, -6, 0);
        each(count, [&](PoseMessage& m) {
            auto& q = m.rotation;
            q = {q.w * by, q.x * by, q.y * by, q.z * by};
        });
        break;
    }
    case 9: {
        double const by = power(random, -6, -0.5);
        std::size_t const n = std::abs(by) < 2e-3 ? 1 : count;
        each(n, [&](PoseMessage& m) {
            m.rotation = Quaternion<double>{std::cos(by / 2), 0, std::sin(by / 2), 0} * m.rotation;
        });
        break;
    }
    case 10: {
        double const by = stamp_error(random);
        each(messages.size(), [&](PoseMessage& m) { shifted(m, by); });
        break;
    }
    case 11: {
        auto const held = messages[from].message;
        each(count + 1, [&](PoseMessage& m) {
            m.origin = held.origin;
            m.rotation = held.rotation;
        });
        break;
    }
    case 12: {
        auto const stamp = messages[from].message.head.stamp;
        auto const number = messages[from].message.head.number;
        each(messages.size(), [&](PoseMessage& m) {
            m.head.stamp -= stamp;
            m.head.number -= number;
        });
        break;
    }
    case 13: {
        auto const by = static_cast<std::uint32_t>(random.index(1U << 31U)) * 2;
        each(messages.size(), [&](PoseMessage& m) { m.head.number += by; });
        break;
    }
    case 14: { // the network is busy
        double const by = random.uniform(0.5e-3, 0.04);
        for (std::size_t i = from; i < from + count; ++i)
            messages[i].time += by;
        sort(messages);
        break;
    }
    default: {
        auto const stamp = static_cast<std::int64_t>(random.index(SIZE_MAX));
        auto const number = static_cast<std::uint32_t>(random.index(SIZE_MAX));
        each(1, [&](PoseMessage& m) {
            m.head.stamp = stamp;
            m.head.number = number;
        });
    }
    }
    return name;
}

} // namespace

TEST_CASE("random faults: never open beyond tolerance, nor on a faulty forecast, nor twice in a seam") {
    Random random(6);
    Deviations worst{0, 0, 0};
    std::size_t count = 0, complete = 0, stopped = 0, missed = 0;
    for (std::size_t run_number = 0; run_number < runs(40); ++run_number) {
        CellMake cell;
        cell.link = with_noise(cell.link, random.uniform(0, 2e-6));
        cell.link.jitter = random.unit() < 0.5 ? 0 : 0.5e-3;
        cell.link.latency = random.uniform(3e-3, 9e-3);
        cell.link.drift = random.uniform(-100e-6, 100e-6);
        cell.link.has_rates = random.unit() < 0.2;
        cell.link.rate_noise = 1e-3;
        cell.motion.swing = random.uniform(0, 4e-3);
        cell.motion.turn = random.uniform(0, 0.1);
        cell.belongs = CellMake::Belongs::by_loop; // which may be told under a wrong stamp
        cell.tolerances = {150e-6, 200e-6, 3e-3};
        cell.seams = cell.usual_seams();
        auto messages = arrivals(cell.motion, cell.link, cell.duration, 100 + run_number);
        std::string struck;
        for (std::size_t i = 1 + random.index(4); i > 0; --i)
            struck += strike(random, messages) + "; ";
        double const dead_at = random.unit() < 0.1 ? 40 + random.uniform(0.5, 1.4) : 1e9;
        double const dead_for = random.uniform(0, 0.1);
        double const stop_at = random.unit() < 0.1 ? 40 + random.uniform(0.5, 1.4) : 1e9;
        double const stop_for = random.uniform(0, 0.1);
        CellHooks hooks;
        hooks.writer_lives = [&](double now) { return now < dead_at || now > dead_at + dead_for; };
        hooks.before = [&](double now, LiveLink<7>& link) {
            link.stop(now > stop_at && now < stop_at + stop_for);
        };
        auto const run = run_cell(cell, messages, hooks);
        INFO("run " << run_number << ", faults " << struck << " dead at " << dead_at << " stop at "
                    << stop_at);
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.within(cell.tolerances));
        if (!run.within(cell.tolerances))
            for (auto const& l : run.lit)
                if (std::abs(l.off.across) > cell.tolerances.across ||
                    std::abs(l.off.along) > cell.tolerances.along) {
                    MESSAGE("first beyond at " << l.now << " seam " << l.seam << " off " << l.off.across
                                               << " " << l.off.along << " worst " << run.worst.across << " "
                                               << run.worst.along);
                    break;
                }
        worst = {std::max(worst.across, run.worst.across), std::max(worst.along, run.worst.along),
                 std::max(worst.focus, run.worst.focus)};
        for (auto const& record : run.records) {
            ++count;
            complete += record.outcome == SeamOutcome::complete ? 1 : 0;
            stopped += record.outcome == SeamOutcome::stopped ? 1 : 0;
            missed += record.outcome == SeamOutcome::missed ? 1 : 0;
            CHECK(record.closings <= 1);
        }
    }
    MESSAGE(count << " seams: " << complete << " complete, " << stopped << " stopped, " << missed
                  << " missed; light off its place by at most " << worst.across * 1e6 << " across, "
                  << worst.along * 1e6 << " along, " << worst.focus * 1e6 << " um of the focus");
    CHECK(complete > 0);
    CHECK(stopped > 0);
    CHECK(complete + stopped + missed == count);
}
