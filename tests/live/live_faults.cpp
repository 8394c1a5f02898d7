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

TEST_CASE("how soon after a fault the stream is trusted again") {
    auto const cell = usual_cell();
    auto const sound = arrivals(cell.motion, cell.link, 3.0, 15);
    double longest = 0;
    std::string which;
    for (auto const& fault : faults()) {
        if (!fault.shuts)
            continue;
        auto messages = sound;
        fault.strike(messages);
        auto const forecasts = forecasts_of(cell, messages);
        // From the first message that is wrong to the first after it with which the gate may open again.
        double bad = 0, good = 0;
        for (auto const& f : forecasts)
            if (f.made.seconds > 40 + struck) {
                if (f.fault != StreamFault::none)
                    bad = f.made.seconds;
                else if (good <= bad)
                    good = f.made.seconds;
            }
        CAPTURE(fault.name);
        CHECK(good > bad);
        double const took = good - (40 + struck + cell.link.latency);
        if (took > longest) {
            longest = took;
            which = fault.name;
        }
        // What is stated then is within tolerance again too.
        auto const then = std::find_if(forecasts.begin(), forecasts.end(),
                                       [&](Forecast<7> const& f) { return f.made.seconds >= good; });
        CHECK(then->error.bound({0.6, 0.8, 0}, 0.013) < cell.tolerances.across);
        CHECK(then->clock_uncertainty * then->speed * then->error.factor < cell.tolerances.across / 2);
    }
    MESSAGE("at most " << longest * 1e3 << " ms after it began: " << which);
    CHECK(longest < 0.5);
}

TEST_CASE("lost samples: the weld goes on as long as the stated error allows, and not a tick longer") {
    for (std::size_t const lost : {1U, 3U, 10U, 1000U}) {
        CAPTURE(lost);
        auto cell = usual_cell();
        double const gap = static_cast<double>(lost) * cell.link.period;
        if (lost == 1000) { // 4 s, in which nothing is welded; the last seam comes after
            cell.seams[3] = {"last", 5.25, cell.face_under(5.3, -0.1), {0, 0}, 0.5, 0, 0.01, 0.1};
            cell.duration = 5.5;
        }
        auto messages = arrivals(cell.motion, cell.link, cell.duration, 3);
        lose(messages, lost);
        double last_good = -1;                    // tick at which the stated error was last within tolerance
        double stated_first = 0, stated_last = 0; // with the gate open, while nothing comes
        bool in_gap = false;
        CellHooks hooks;
        double const silent_from = cell.link.offset + struck + cell.link.latency; // had it not been lost
        hooks.after = [&](LiveTick const& tick) {
            in_gap = tick.time.seconds >= silent_from && tick.time.seconds < silent_from + gap;
            if (tick.gate)
                last_good = tick.time.seconds;
            if (tick.gate && in_gap) {
                stated_last = tick.stated.across;
                stated_first = stated_first > 0 ? stated_first : stated_last;
            }
        };
        auto const run = run_cell(cell, messages, hooks);
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.within(cell.tolerances));
        CHECK(run.records[3].outcome == SeamOutcome::complete);
        CHECK(last_good > silent_from);
        auto const& record = run.records[seam_struck];
        auto const* closing = run.closing_after(silent_from);
        REQUIRE(closing != nullptr);
        MESSAGE(lost << " lost: " << std::string(to_string(record.outcome)) << ", shut "
                     << (closing->now - silent_from) * 1e3 << " ms after the first that did not come, "
                     << std::string(to_string(closing->tick.cause.reason)) << ", stated "
                     << closing->tick.stated.across * 1e6 << " um across; light off by "
                     << run.worst.across * 1e6 << " um at most");
        bool const whole = lost <= 3;
        CHECK(record.outcome == (whole ? SeamOutcome::complete : SeamOutcome::stopped));
        if (!whole) {
            auto const reason = closing->tick.cause.reason;
            bool const is_error = reason == GateReason::error_across || reason == GateReason::error_along;
            CHECK(is_error);
            // It is the stated error that shuts it, by growing, well before the data are too old by the
            // settings (50 ms, of which one period has passed before the first loss).
            CHECK(stated_last > 3 * stated_first);
            CHECK(closing->now - silent_from < 0.8 * (0.05 - cell.link.period));
            check_record(cell, run, seam_struck);
        }
    }
}

namespace {

// A run in which something from outside happens at `struck`, by the scanner's clock.
struct Outside {
    std::string name;
    GateReason reason;
    double until; // from `struck` to the tick at which it must be shut, s
    std::function<void(double now, LiveLink<7>& link, CellSteering& steering)> happen;
    bool for_good; // the last seam is not welded either
    bool missed = false;
};

} // namespace

TEST_CASE("stop, inputs, fingerprint, a writer that died, a loop that stood still") {
    double const at = 40 + struck;
    double const period = 10e-6;
    std::vector<Outside> const all{
        {"stop", GateReason::stopped, period,
         [&](double now, LiveLink<7>& link, CellSteering&) {
             if (now >= at)
                 link.stop();
         },
         true},
        {"stop, and on again", GateReason::stopped, period,
         [&](double now, LiveLink<7>& link, CellSteering&) { link.stop(now >= at && now < at + 0.02); },
         false},
        {"another calibration", GateReason::fingerprint, period,
         [&](double now, LiveLink<7>&, CellSteering& steering) {
             Fingerprint other;
             other[FingerprintPart::calibration] = now >= at ? 1 : 0;
             steering.loaded(other, {});
         },
         true},
        {"clamps open", GateReason::input, period,
         [&](double now, LiveLink<7>& link, CellSteering&) {
             static_cast<void>(link.inputs.push({1, now < at || now > at + 0.05, {now}}));
             static_cast<void>(link.inputs.push({0, true, {now}}));
         },
         false},
        {"gas says nothing more", GateReason::input, 0.03 + 2 * period,
         [&](double now, LiveLink<7>& link, CellSteering&) {
             if (now < at)
                 static_cast<void>(link.inputs.push({0, true, {now}}));
             static_cast<void>(link.inputs.push({1, true, {now}}));
         },
         true},
        {"clamps from the future", GateReason::input, period,
         [&](double now, LiveLink<7>& link, CellSteering&) {
             static_cast<void>(link.inputs.push({0, true, {now}}));
             static_cast<void>(link.inputs.push({1, true, {now + (now >= at ? 1.0 : 0.0)}}));
         },
         true},
    };
    for (auto const& one : all) {
        CAPTURE(one.name);
        auto cell = usual_cell();
        bool const has_inputs = one.reason == GateReason::input;
        if (has_inputs)
            cell.inputs = {{"gas", 0.03}, {"clamps", 0.03}};
        CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
        auto steering = cell_steering(cell, cell.steering());
        CellHooks hooks;
        hooks.before = [&](double now, LiveLink<7>& link) { one.happen(now, link, steering); };
        auto const run =
            run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 4), receiver, steering, hooks);
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.within(cell.tolerances));
        CHECK(run.records[0].outcome == SeamOutcome::complete);
        CHECK(run.records[1].outcome == SeamOutcome::complete);
        CHECK(run.records[seam_struck].outcome == SeamOutcome::stopped);
        CHECK(run.records[seam_struck].cause.reason == one.reason);
        auto const* closing = run.closing_after(at - period / 2);
        REQUIRE(closing != nullptr);
        CHECK(closing->now < at + one.until + period / 2);
        check_record(cell, run, seam_struck);
        CHECK(run.records[3].outcome == (one.for_good ? SeamOutcome::missed : SeamOutcome::complete));
    }
}

TEST_CASE("the watchdog alone: everything else wide open") {
    auto cell = usual_cell();
    cell.tolerances = {1, 1, 1};
    auto settings = cell.steering();
    settings.gate.longest_age = settings.gate.longest_horizon = 10;
    settings.gate.longest_silence = 0.015;
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, settings);
    double const died = 40 + struck;
    CellHooks hooks;
    hooks.writer_lives = [&](double now) { return now < died; };
    auto const messages = arrivals(cell.motion, cell.link, cell.duration, 5);
    auto const run = run_cell(cell, messages, receiver, steering, hooks);
    auto const* closing = run.closing_after(died);
    REQUIRE(closing != nullptr);
    CHECK(closing->tick.cause.reason == GateReason::writer_silent);
    CHECK(closing->now > died + 0.005); // a sign of life every 5 ms
    CHECK(closing->now < died + 0.015 + 2 * cell.period);
    CHECK(run.records[seam_struck].outcome == SeamOutcome::stopped);
    CHECK(run.records[3].outcome == SeamOutcome::missed);
}

TEST_CASE("a robot that brakes hard, unannounced: shut at once when it can be known; physics till then") {
    for (double const braking : {2.0, 8.0}) {
        auto cell = usual_cell();
        cell.motion.brake_at = struck;
        cell.motion.braking = braking;
        cell.belongs = CellMake::Belongs::by_loop; // which does not know that the program stopped
        auto const messages = arrivals(cell.motion, cell.link, cell.duration, 6);
        auto const run = run_cell(cell, messages);
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.records[seam_struck].outcome == SeamOutcome::stopped);
        auto const* closing = run.closing_after(40 + struck);
        REQUIRE(closing != nullptr);
        // The place is off by ½ a t² till the light is out: the first sample after tells ½ a (4 ms)², and
        // arrives 8 ms later; what it tells may be too little to be told from noise, and the next tells.
        double const dark = closing->now + static_cast<double>(cell.laser_off) * cell.period - 40 - struck;
        double const way = braking / 2 * dark * dark;
        double off = 0;
        for (auto const& l : run.lit)
            if (l.seam == seam_struck)
                off = std::max(off, std::hypot(l.off.across, l.off.along));
        MESSAGE("braking at " << braking << " m/s2: shut " << (closing->now - 40 - struck) * 1e3
                              << " ms after it began, " << std::string(to_string(closing->tick.cause.reason))
                              << " " << std::string(detail_of(closing->tick.cause)) << "; light off by "
                              << off * 1e6 << " um, the robot by " << way * 1e6);
        CHECK(off <= way / std::cos(0.35) + 15e-6); // on a face that leans; and noise
    }
}
