#include "seamhold/live/receiver.hpp"

#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include "seamhold/live/forecast_arm.hpp"
#include "support/allocation_guard.hpp"
#include "support/arms.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// The receiver in the simulated cell, with streams of other kinds than `steering.cpp` has: without stamps,
// set-points ahead, joints, an earlier pass.

using namespace seamhold;
using namespace seamhold::test;

namespace {

void check_all_complete(CellMake const& cell, CellRun const& run) {
    CHECK(run.broken == std::vector<std::string>{});
    CHECK(run.within(cell.tolerances));
    for (std::size_t i = 0; i < cell.seams.size(); ++i) {
        auto const& r = run.records[i];
        INFO(cell.seams[i].name << ": " << std::string(to_string(r.cause.reason)) << " "
                                << std::string(detail_of(r.cause)) << " " << r.cause.value << " of "
                                << r.cause.allowed);
        CHECK(r.outcome == SeamOutcome::complete);
    }
}

} // namespace

TEST_CASE("streams without stamps: by numbers, or by even arrivals alone") {
    for (bool const numbered : {true, false}) {
        CAPTURE(numbered);
        CellMake cell;
        cell.link = with_noise(cell.link, 1e-6);
        cell.link.jitter = 0.2e-3;
        cell.link.loss = 0.01;
        cell.link.has_stamp = false;
        auto messages = arrivals(cell.motion, cell.link, cell.duration, 41);
        for (auto& m : messages) {
            m.message.head.has_number = numbered;
            m.message.head.stamp = static_cast<std::int64_t>(1e9 * m.sampled); // for the cell, not to be read
        }
        auto const run = run_cell(cell, messages);
        MESSAGE("light off by " << run.worst.across * 1e6 << " um across");
        check_all_complete(cell, run);
    }
}

TEST_CASE("set-points ahead, and a robot that is behind them: no error of prediction, however it moves") {
    CellMake cell;
    cell.motion.swing = 6e-3;
    cell.motion.swing_frequency = 3; // 2 m/s2, 40 m/s3
    cell.link = with_noise(cell.link, 0.3e-6);
    cell.link.kind = SampleKind::set_point;
    cell.link.latency = -0.02; // sent 20 ms before their time
    auto messages = arrivals(cell.motion, cell.link, cell.duration, 42);
    cell.motion.late = 0.015;
    cell.belongs = CellMake::Belongs::by_loop;
    auto settings = cell.receiver();
    settings.servo_lag = cell.motion.late;
    settings.sweep_speed = 0; // it swings too much to be measured by
    {
        CellReceiver receiver(settings, {ProgramSweep::point});
        auto steering = cell_steering(cell, cell.steering());
        auto const run = run_cell(cell, messages, receiver, steering);
        MESSAGE("light off by " << run.worst.across * 1e6 << " um across, " << run.worst.along * 1e6
                                << " along; stated " << run.worst_stated.across * 1e6);
        check_all_complete(cell, run);
        CHECK(run.within({5e-6, 5e-6, 5e-6}));
    }
    // Without the lag the light is 15 ms of the sweep beside its place: 3 mm.
    {
        auto untold = settings;
        untold.servo_lag = 0;
        CellReceiver receiver(untold, {ProgramSweep::point});
        auto steering = cell_steering(cell, cell.steering());
        auto const run = run_cell(cell, messages, receiver, steering);
        CHECK(run.worst.across > 1e-3);
    }
    // Lost: what is foretold ends where the last set-points end, and the gate knows.
    for (std::size_t const lost : {2U, 5U, 12U, 30U}) {
        CAPTURE(lost);
        auto less = messages;
        auto const first =
            std::find_if(less.begin(), less.end(), [](Arrival const& m) { return m.time > 40 + 1.0; });
        less.erase(first, first + static_cast<std::ptrdiff_t>(lost));
        CellReceiver receiver(settings, {ProgramSweep::point});
        auto steering = cell_steering(cell, cell.steering());
        auto const run = run_cell(cell, less, receiver, steering);
        auto const& r = run.records[2];
        MESSAGE(lost << " lost: " << std::string(to_string(r.outcome)) << ", "
                     << std::string(to_string(r.cause.reason)) << "; light off by " << run.worst.across * 1e6
                     << " um across");
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.within(cell.tolerances));
        CHECK(run.records[3].outcome == SeamOutcome::complete);
    }
}

namespace {

// The program as it ran before at full override, a row every 4 ms, with noise.
PoseLog<Cell, Flange> earlier_pass(CellMake const& cell, double noise, std::uint64_t seed) {
    auto before = cell.motion;
    before.override_ = {};
    before.deviation = 0;
    auto link = with_noise(LinkSettings{}, noise);
    std::vector<PoseRow<Cell>> rows;
    for (auto const& a : arrivals(before, link, 1.9, seed))
        rows.push_back({a.sampled, a.message.origin, a.message.rotation});
    return PoseLog<Cell, Flange>(rows);
}

PassSettings pass_settings(double noise) {
    PassSettings s{};
    s.spot = ProgramSweep::point;
    s.noise = noise;
    return s;
}

} // namespace

TEST_CASE("with an earlier pass: a jerky robot and noise of 10 um are welded within 50 um") {
    CellMake cell;
    cell.motion.swing = 4e-3;
    cell.motion.swing_frequency = 3; // 1.4 m/s2, 27 m/s3
    cell.seams = cell.usual_seams();
    auto const pass = earlier_pass(cell, 10e-6, 51);
    cell.motion.deviation = 30e-6;
    cell.link = with_noise(cell.link, 10e-6);
    auto const messages = arrivals(cell.motion, cell.link, cell.duration, 52);
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point}, pass, pass_settings(10e-6));
    auto steering = cell_steering(cell, cell.steering(), pass);
    auto const run = run_cell(cell, messages, receiver, steering);
    MESSAGE("light off by " << run.worst.across * 1e6 << " um across, " << run.worst.along * 1e6
                            << " along; stated " << run.worst_stated.across * 1e6 << ", "
                            << run.worst_stated.along * 1e6);
    check_all_complete(cell, run);
    CHECK(run.within({50e-6, 50e-6, 100e-6}));
}

TEST_CASE("a dry run at 30 %, with a pause and single steps: pilot light on the seam, the gate shut") {
    CellMake cell;
    auto const pass = earlier_pass(cell, 3e-6, 53);
    cell.motion.override_ = {{{0.3, 1},
                              {0.4, 0.3},
                              {1.217, 0.3}, // half way down the first seam
                              {1.237, 0},
                              {1.6, 0}, // a step of 15 ms of the program
                              {1.65, 0.3},
                              {1.7, 0},
                              {1.8, 0},
                              {1.85, 1},
                              {2.3, 1},
                              {2.35, 0.5}}};
    cell.motion.deviation = 30e-6;
    cell.duration = 3.2;
    cell.link = with_noise(cell.link, 3e-6);
    auto const messages = arrivals(cell.motion, cell.link, cell.duration, 54);
    for (bool const dry : {true, false}) {
        CAPTURE(dry);
        CellReceiver receiver(cell.receiver(), {ProgramSweep::point}, pass, pass_settings(3e-6));
        receiver.pace(Pace::tracked);
        auto settings = cell.steering();
        settings.dry_run = dry;
        auto steering = cell_steering(cell, settings, pass);
        CellHooks hooks;
        hooks.pilot_every = 10;
        bool bad_rate = false;
        hooks.after = [&](LiveTick const& tick) {
            double const rate = (cell.motion.program(cell.robot_time(tick.time.seconds)) -
                                 cell.motion.program(cell.robot_time(tick.time.seconds) - 0.02)) /
                                0.02;
            bad_rate = bad_rate || (tick.gate && std::abs(rate - 1) > 0.1);
        };
        auto const run = run_cell(cell, messages, receiver, steering, hooks);
        double across = 0, along = 0;
        for (auto const& l : run.pilot) {
            // How far the program is, is known to 0.3 ms here: by so much early the axes may leave for the
            // next seam, and since 2026-11-27 they leave as quickly as they can.
            if (l.seam_time > cell.seams[l.seam].duration() - 0.3e-3)
                continue;
            across = std::max(across, std::abs(l.off.across));
            along = std::max(along, std::abs(l.off.along));
        }
        MESSAGE("pilot light on for " << run.pilot.size() << " of " << run.pilot_wanted << ", off by "
                                      << across * 1e6 << " um across, " << along * 1e6 << " along");
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.pilot.size() > 9 * run.pilot_wanted / 10);
        CHECK(across < cell.tolerances.across);
        CHECK(along < 0.5e-3); // how far the program is, is found anew after each change of its rate
        if (dry)
            CHECK(run.edges.empty());
        CHECK(!bad_rate);
        // The first seam is passed at 30 %: nothing is welded there.
        CHECK(run.opened(0) == 0);
        CHECK(run.records[0].cause.reason == GateReason::sweep_speed);
    }
}

TEST_CASE("the welding gate opens at the speed that was proven, and at no other") {
    for (double const rate : {1.0, 0.9, 0.3}) {
        for (Pace const pace : {Pace::steady, Pace::tracked}) {
            CAPTURE(rate);
            CellMake cell;
            cell.link = with_noise(cell.link, 1e-6);
            auto const pass = earlier_pass(cell, 1e-6, 55);
            if (rate != 1)
                cell.motion.override_ = {{{0.1, 1}, {0.2, rate}}};
            cell.duration = 0.2 + 1.2 / rate;
            auto const messages = arrivals(cell.motion, cell.link, cell.duration, 56);
            CellReceiver receiver(cell.receiver(), {ProgramSweep::point}, pass, pass_settings(1e-6));
            receiver.pace(pace);
            auto steering = cell_steering(cell, cell.steering(), pass);
            auto const run = run_cell(cell, messages, receiver, steering);
            std::size_t complete = 0, opened = 0;
            for (std::size_t i = 0; i < cell.seams.size(); ++i) {
                complete += run.records[i].outcome == SeamOutcome::complete ? 1 : 0;
                opened += run.opened(i);
            }
            MESSAGE(std::string(pace == Pace::steady ? "steady" : "tracked")
                    << " at " << rate << ": " << complete << " of 4 complete, " << opened
                    << " begun; the third " << std::string(to_string(run.records[2].cause.reason)) << " "
                    << std::string(detail_of(run.records[2].cause)) << " " << run.records[2].cause.value);
            CHECK(run.broken == std::vector<std::string>{});
            CHECK(run.within(cell.tolerances));
            if (rate == 1 && pace == Pace::steady)
                CHECK(complete >= 3);
            if (rate != 1)
                CHECK(opened == 0);
        }
    }
}

namespace {

// A small arm whose joints run and swing. Invented.
struct JointMotion {
    SerialArm<6> arm = SerialArm<6>::standard_dh(puma_560());
    Pose<Cell, Base> cell_from_base{about_axis<Cell, Base>({0, 0, 1}, 0.4), {0.2, -0.1, 0.8}};

    std::array<double, 6> joints(double t, std::array<double, 16> const& lag = {}) const {
        double const start[] = {0.3, 0.7, -2.4, 0.2, 0.9, -0.3}, pace[] = {0.2, -0.05, 0.08, 0, 0.05, 0.1};
        double const swing[] = {4e-3, 3e-3, 5e-3, 0.01, 0.01, 0.02}, rate[] = {9, 7, 8, 5, 11, 6};
        std::array<double, 6> q;
        for (std::size_t j = 0; j < 6; ++j) {
            double const s = t - lag[j];
            q[j] = start[j] + pace[j] * s + swing[j] * std::sin(rate[j] * s + static_cast<double>(j));
        }
        return q;
    }
    Pose<Cell, Flange> flange(std::array<double, 6> const& q) const {
        return cell_from_base * arm.forward(q);
    }
};

struct ArmSpot {
    JointMotion const* robot;
    Point<Cell> operator()(std::array<double, 6> const& q) const {
        return robot->flange(q) * ProgramSweep::point;
    }
};

} // namespace

TEST_CASE(
    "streams of joints: measured and late, or set-points ahead of joints that each lag in their own way") {
    for (bool const ahead : {false, true}) {
        CAPTURE(ahead);
        JointMotion const robot;
        CellMake cell;
        cell.axes = {{{0, 0, 0}, {0, 0, 0}, {0, 0, 0}}};
        cell.laser_on = cell.laser_off = 0;
        auto settings = ReceiverSettings::of(0.004);
        double const latency = ahead ? -0.004 : 0.008;
        settings.clock.least_delay = latency;
        if (ahead) // the wrist lags less than the base
            settings.joint_lag = {0.021, 0.019, 0.02, 0.008, 0.007, 0.006};
        // A face in front of the head half way down the seam.
        auto const middle = robot.flange(robot.joints(0.7, settings.joint_lag));
        Pose<Head, Face> const before_head{about_axis<Head, Face>({0.6, 0.8, 0}, 3.0), {0.01, 0, 0.49}};
        cell.seams = {
            {"joints", 0.6, middle * cell.flange_from_head * before_head, {-0.01, 0}, 0.2, 0, 0.02, 0.1}};
        Receiver<JointMessage<6>, ArmSpot> receiver(settings, ArmSpot{&robot});
        using Flanges = ForecastArm<6>;
        Steering<Flanges, Rest<Cell, Part>, MirrorPair<>> steering({Flanges(robot.cell_from_base, robot.arm),
                                                                    {cell.cell_from_part},
                                                                    cell.flange_from_head,
                                                                    cell.head},
                                                                   cell.scheduled(), cell.steering());
        static_assert(noexcept(steering.tick(ScannerTime{0}, std::declval<LiveLink<6>&>())));
        LiveLink<6> link;
        Random random(61);
        SimulatedAxis x(0, 0, 0), y(0, 0, 0), lens(0, 0, 0);
        std::size_t sent = 0, open = 0, allocations = 0;
        double worst = 0, stated = 0;
        for (std::size_t k = 0; k < 90000; ++k) {
            double const t = cell.period * static_cast<double>(k), now = 40 + t;
            for (; 0.004 * static_cast<double>(sent) + latency <= t; ++sent) {
                double const stamp = 0.004 * static_cast<double>(sent);
                JointMessage<6> m{};
                m.head = {std::llround(stamp * 1e9),
                          static_cast<std::uint32_t>(sent),
                          true,
                          true,
                          false,
                          ahead ? SampleKind::set_point : SampleKind::measured};
                auto const q = robot.joints(stamp);
                for (std::size_t j = 0; j < 6; ++j)
                    m.joint[j] = q[j] + 0.3e-6 * random.normal();
                AllocationGuard guard;
                receiver.receive(m, {40 + stamp + latency}, link);
                allocations += guard.count();
                if (!receiver.knows_program())
                    receiver.start(stamp, receiver.robot_time(m.head.stamp));
            }
            AllocationGuard guard;
            auto const tick = steering.tick({now}, link);
            allocations += guard.count();
            if (tick.gate) {
                ++open;
                auto const off =
                    true_spot(cell, cell.seams[0], robot.flange(robot.joints(t, settings.joint_lag)),
                              x.value(), y.value(), lens.value(), t - 0.6);
                worst = std::max(worst, std::hypot(off.across, off.along));
                stated = std::max(stated, tick.stated.across);
            }
            x.step(tick.command.x_mirror, cell.period);
            y.step(tick.command.y_mirror, cell.period);
            lens.step(tick.command.focus, cell.period);
        }
        auto const& record = steering.gate().seams()[0];
        INFO(std::string(to_string(record.cause.reason))
             << " " << std::string(detail_of(record.cause)) << " " << record.cause.value);
        MESSAGE("light off by " << worst * 1e6 << " um at most; stated " << stated * 1e6);
        CHECK(record.outcome == SeamOutcome::complete);
        CHECK(open > 19000);
        CHECK(allocations == 0);
        CHECK(worst <= (ahead ? 5e-6 : 40e-6));
    }
}

TEST_CASE("a lone sample that is off is passed over; two begin anew, and the program must be told again") {
    CellMake cell;
    cell.link = with_noise(cell.link, 1e-6);
    auto const messages = arrivals(cell.motion, cell.link, 1.2, 71);
    for (std::size_t const wrong : {1U, 2U}) {
        CAPTURE(wrong);
        CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
        std::size_t disagrees = 0, few = 0, good = 0;
        for (std::size_t i = 0; i < messages.size(); ++i) {
            auto m = messages[i].message;
            bool const off = i >= 150 && i < 150 + wrong;
            if (off)
                m.origin.y += 5e-3;
            auto const f = receiver.take(m, {messages[i].time});
            if (i == 0)
                receiver.start(0, receiver.robot_time(m.head.stamp));
            REQUIRE(f.has_value());
            if (i < 150)
                continue;
            if (off)
                CHECK(f->fault != StreamFault::none);
            disagrees += f->fault == StreamFault::disagrees ? 1 : 0;
            few += f->fault == StreamFault::few_samples ? 1 : 0;
            good += f->fault == StreamFault::none ? 1 : 0;
        }
        if (wrong == 1) {
            // The wrong one, and four of the five that must agree.
            CHECK(disagrees == 5);
            CHECK(few == 0);
            CHECK(receiver.knows_program());
        } else {
            CHECK(disagrees == 1);
            CHECK(good == 0);
            CHECK(!receiver.knows_program());
        }
    }
}

TEST_CASE("a link that nobody reads: the newest forecasts are dropped and counted, nothing else happens") {
    CellMake cell;
    auto const messages = arrivals(cell.motion, cell.link, 0.4, 72);
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    LiveLink<7> link;
    for (auto const& m : messages)
        receiver.receive(m.message, {m.time}, link);
    CHECK(link.forecasts.dropped() + 16 >= messages.size());
    CHECK(link.heartbeat() == ScannerTime{messages.back().time});
}

TEST_CASE("settings of a receiver that are not possible are refused") {
    auto const refused = [](auto change) {
        auto s = ReceiverSettings::of(0.004);
        change(s);
        CHECK_THROWS_AS(CellReceiver(s, {ProgramSweep::point}), BadInput);
    };
    using S = ReceiverSettings&;
    for (double const x : {-1e-3, static_cast<double>(NAN), static_cast<double>(HUGE_VAL)}) {
        refused([x](S s) { s.period = x; });
        refused([x](S s) { s.intake.order.period = x; });
        refused([x](S s) { s.lead = x; });
        refused([x](S s) { s.servo_lag = x; });
        refused([x](S s) { s.joint_lag[3] = x; });
        refused([x](S s) { s.disagreement = x; });
        refused([x](S s) { s.least_disagreement = x; });
        refused([x](S s) { s.sweep_speed = x; });
        refused([x](S s) { s.coverage = x; });
    }
    refused([](S s) { s.disagreement = 1; });
    refused([](S s) { s.least_disagreement = 0; });
    refused([](S s) { s.agreeing = 0; });
    refused([](S s) { s.order = 0; });
    refused([](S s) { s.order = 4; });
}
