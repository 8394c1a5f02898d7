#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <string>
#include <vector>

// Every fault in the middle of a seam, in the simulated cell: what the gate does, when it could know, and
// where the light truly was.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double struck = 1.0; // robot time at which faults strike: 50 ms into the weave, which lasts 120 ms
constexpr std::size_t seam_struck = 2;

using Messages = std::vector<Arrival>;

// Does something to `count` messages from the time of the fault on.
template <class Change> void change(Messages& messages, std::size_t count, Change const& what) {
    std::size_t i = 0;
    for (auto& m : messages)
        if (m.sampled >= struck - 1e-9 && i < count)
            what(m, i++);
}

void lose(Messages& messages, std::size_t count, double from = struck) {
    auto const first = std::find_if(messages.begin(), messages.end(),
                                    [&](Arrival const& m) { return m.sampled >= from - 1e-9; });
    auto const left = static_cast<std::size_t>(messages.end() - first);
    messages.erase(first, first + static_cast<std::ptrdiff_t>(std::min(count, left)));
}

constexpr std::size_t ever = SIZE_MAX;

struct Fault {
    std::string name;
    std::function<void(Messages&)> strike;
    std::size_t known_with;        // the message from the fault on with which it can be known
    std::vector<StreamFault> told; // what may be said of it; empty: the seam goes on
    bool shuts = true;
};

void step_clock(Messages& messages, double by) {
    change(messages, ever, [by](Arrival& m, std::size_t) { m.message.head.stamp += std::llround(1e9 * by); });
}

std::vector<Fault> faults() {
    using F = StreamFault;
    double const nan = std::numeric_limits<double>::quiet_NaN();
    auto const one = [](auto what) {
        return [what](Messages& ms) { change(ms, 1, [&](Arrival& m, std::size_t) { what(m.message); }); };
    };
    auto const scaled = [](double by) {
        return [by](Messages& ms) {
            change(ms, 1, [by](Arrival& m, std::size_t) {
                auto& q = m.message.rotation;
                q = {q.w * by, q.x * by, q.y * by, q.z * by};
            });
        };
    };
    return {
        {"one sample lost", [](Messages& ms) { lose(ms, 1); }, 0, {}, false},
        {"every message twice",
         [](Messages& ms) {
             Messages all;
             for (auto const& m : ms) {
                 all.push_back(m);
                 all.push_back(m);
             }
             ms = all;
         },
         0,
         {},
         false},
        {"every second message is overtaken",
         [](Messages& ms) {
             for (std::size_t i = 0; i + 1 < ms.size(); i += 2) {
                 ms[i].time = ms[i + 1].time + 0.5e-3;
                 std::swap(ms[i], ms[i + 1]);
             }
         },
         0,
         {},
         false},
        {"a stuck stamp",
         [](Messages& ms) {
             std::int64_t stamp = 0;
             change(ms, 10, [&stamp](Arrival& m, std::size_t i) {
                 if (i == 0)
                     stamp = m.message.head.stamp;
                 m.message.head.stamp = stamp;
             });
         },
         1,
         {F::stuck_stamp}},
        {"a stamp 1 s ahead",
         one([](PoseMessage& m) { m.head.stamp += 1'000'000'000; }),
         0,
         {F::from_the_future}},
        {"a stamp a century ahead",
         one([](PoseMessage& m) { m.head.stamp += 3'000'000'000'000'000'000; }),
         0,
         {F::from_the_future}},
        {"a stamp 20 ms ahead",
         one([](PoseMessage& m) { m.head.stamp += 20'000'000; }),
         0,
         {F::from_the_future, F::clock_step, F::disagrees}},
        {"a stamp 2 ms ahead",
         one([](PoseMessage& m) { m.head.stamp += 2'000'000; }),
         0,
         {F::from_the_future, F::clock_step, F::disagrees}},
        {"a stamp 2 ms behind", one([](PoseMessage& m) { m.head.stamp -= 2'000'000; }), 0, {F::disagrees}},
        {"a place that is no number", one([nan](PoseMessage& m) { m.origin.y = nan; }), 0, {F::not_finite}},
        {"a rotation that is no number",
         one([nan](PoseMessage& m) { m.rotation.x = nan; }),
         0,
         {F::not_finite}},
        {"an infinite place", one([](PoseMessage& m) { m.origin.x = -HUGE_VAL; }), 0, {F::not_finite}},
        {"a place 1 m off", one([](PoseMessage& m) { m.origin.z += 1; }), 0, {F::disagrees}},
        {"a place 0.5 mm off", one([](PoseMessage& m) { m.origin.x += 0.5e-3; }), 0, {F::disagrees}},
        {"quaternions of either sign",
         [](Messages& ms) {
             change(ms, ever, [](Arrival& m, std::size_t i) {
                 auto& q = m.message.rotation;
                 if (i % 3 != 1)
                     q = {-q.w, -q.x, -q.y, -q.z};
             });
         },
         0,
         {},
         false},
        {"a quaternion of norm 1.0005", scaled(1.0005), 0, {}, false},
        {"a quaternion of norm 1.01", scaled(1.01), 0, {F::not_a_rotation}},
        {"a quaternion of norm 0", scaled(0), 0, {F::not_a_rotation}},
        {"the clock steps 0.3 s forward",
         [](Messages& ms) { step_clock(ms, 0.3); },
         0,
         {F::from_the_future, F::clock_step}},
        {"the clock steps 0.3 s back", [](Messages& ms) { step_clock(ms, -0.3); }, 0, {F::clock_step}},
        {"the clock steps 5 ms forward",
         [](Messages& ms) { step_clock(ms, 0.005); },
         0,
         {F::clock_step, F::disagrees}},
        {"the clock steps 5 ms back", [](Messages& ms) { step_clock(ms, -0.005); }, 0, {F::clock_step}},
        {"the clock steps 4 ms back",
         [](Messages& ms) { step_clock(ms, -0.004); },
         0,
         {F::clock_step, F::stuck_stamp}},
        {"the clock steps 2 ms forward",
         [](Messages& ms) { step_clock(ms, 0.002); },
         0,
         {F::clock_step, F::disagrees}},
        {"the clock steps 2 ms back",
         [](Messages& ms) { step_clock(ms, -0.002); },
         0,
         {F::clock_step, F::disagrees}},
        {"the pose freezes for 40 ms",
         [](Messages& ms) {
             PoseMessage held{};
             change(ms, 10, [&held](Arrival& m, std::size_t i) {
                 if (i == 0)
                     held = m.message;
                 m.message.origin = held.origin;
                 m.message.rotation = held.rotation;
             });
         },
         3,
         {F::frozen}},
        {"the sender starts anew",
         [](Messages& ms) {
             change(ms, ever, [](Arrival& m, std::size_t i) {
                 m.message.head.stamp = 4'000'000 * static_cast<std::int64_t>(i);
                 m.message.head.number = static_cast<std::uint32_t>(i);
             });
         },
         0,
         {F::restarted}},
        {"the count starts anew",
         [](Messages& ms) {
             change(ms, ever,
                    [](Arrival& m, std::size_t i) { m.message.head.number = static_cast<std::uint32_t>(i); });
         },
         0,
         {F::restarted}},
    };
}

CellMake usual_cell() {
    CellMake cell;
    cell.link = with_noise(cell.link, 1e-6);
    return cell;
}

// The record of a seam that was stopped against where the light truly was last.
void check_record(CellMake const& cell, CellRun const& run, std::size_t seam) {
    auto const& record = run.records[seam];
    auto const last =
        std::find_if(run.lit.rbegin(), run.lit.rend(), [&](Lit const& l) { return l.seam == seam; });
    REQUIRE(last != run.lit.rend());
    // Light lasts from the last tick with light to the next.
    double const ended = cell.seams[seam].feed * (last->seam_time + cell.period) + last->off.along;
    CHECK(std::abs(record.stopped_at - ended) <=
          cell.seams[seam].feed * 2 * cell.period + cell.tolerances.along);
    CHECK(record.reached == record.stopped_at);
    CHECK(record.closings == 1);
    CHECK(record.cause.reason != GateReason::none);
}

} // namespace

TEST_CASE("every fault of a stream in the middle of a seam") {
    auto const cell = usual_cell();
    auto const sound = arrivals(cell.motion, cell.link, cell.duration, 2);
    Deviations worst{0, 0, 0};
    for (auto const& fault : faults()) {
        CAPTURE(fault.name);
        auto messages = sound;
        fault.strike(messages);
        auto const run = run_cell(cell, messages);
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.within(cell.tolerances));
        worst = {std::max(worst.across, run.worst.across), std::max(worst.along, run.worst.along),
                 std::max(worst.focus, run.worst.focus)};
        for (std::size_t i = 0; i < cell.seams.size(); ++i) {
            INFO(cell.seams[i].name << " " << std::string(to_string(run.records[i].cause.reason)) << " "
                                    << std::string(detail_of(run.records[i].cause)));
            bool const whole = i != seam_struck || !fault.shuts;
            CHECK(run.records[i].outcome == (whole ? SeamOutcome::complete : SeamOutcome::stopped));
        }
        if (!fault.shuts) {
            CHECK(run.faulty.empty());
            continue;
        }
        // Known with the arrival of that message; shut from the next tick on.
        auto const first = std::find_if(messages.begin(), messages.end(),
                                        [](Arrival const& m) { return m.sampled >= struck - 1e-9; });
        double const known = (first + static_cast<std::ptrdiff_t>(fault.known_with))->time;
        auto const* closing = run.closing_after(first->time);
        REQUIRE(closing != nullptr);
        CHECK(closing->now <= known + 1.001 * cell.period);
        auto const& cause = closing->tick.cause;
        MESSAGE(fault.name << ": shut " << (closing->now - known) * 1e6 << " us after it could be known, "
                           << std::string(to_string(cause.reason)) << " " << std::string(detail_of(cause)));
        CHECK(cause.reason == GateReason::stream_fault);
        CHECK(std::count(fault.told.begin(), fault.told.end(), static_cast<StreamFault>(cause.which)) == 1);
        CHECK(run.records[seam_struck].cause.reason == cause.reason);
        check_record(cell, run, seam_struck);
    }
    MESSAGE("light off its place by at most " << worst.across * 1e6 << " across, " << worst.along * 1e6
                                              << " along, " << worst.focus * 1e6 << " um of the focus");
}
