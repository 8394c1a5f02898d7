// The live loop in two threads: a simulated robot sweeps and sends poses every 4 ms, late, unevenly, some of
// them never, by a clock of its own; one thread receives them, the other hands a command to the mirrors every
// 10 µs. It prints how far the light truly was from the seams against what the loop stated of itself, and
// what happens when the link is cut in the middle of a seam. With the name of a folder it draws live.png
// there (gnuplot) and writes trace.csv, the ticks around the cut. All numbers are invented. Time is
// simulated: the figures do not depend on how fast the machine is. Returns 1 if a seam is welded that should
// not be, or the other way round, or if light falls beyond a tolerance.
//
// The gate here keeps a weld from going wrong. It is no safety function and protects nobody: a class 4 beam
// needs guards, interlocks and an emergency stop in a safety-rated system of its own, under local codes, by
// those who are licensed to build it.
#include "live_picture.hpp"
#include "live_robot.hpp"

#include "seamhold/file/trace_csv.hpp"

#include <atomic>
#include <cstdio>
#include <filesystem>
#include <thread>

using namespace seamhold;
using namespace seamhold::examples;

namespace {

// Simulated time for two threads. Each sleeps until the other is where it must be; a controller has clocks
// instead, and nothing that waits.
class SimulatedClock {
public:
    // The receiving thread has done all that is before `next`, s, and sleeps until then.
    void sleep_until(double next) {
        quiet_until_ = nanoseconds(next);
        quiet_until_.notify_one();
        for (auto now = now_.load(); now < quiet_until_; now = now_.load())
            now_.wait(now);
    }
    // The receiving thread has done all.
    void leave() {
        quiet_until_ = std::numeric_limits<std::int64_t>::max();
        quiet_until_.notify_one();
    }
    // The ticking thread is there, s; returns when the receiving thread has done all up to that.
    void go_to(double now) {
        if (nanoseconds(now) < quiet_until_)
            return;
        now_ = nanoseconds(now);
        now_.notify_one();
        for (auto until = quiet_until_.load(); until <= now_; until = quiet_until_.load())
            quiet_until_.wait(until);
    }

private:
    static std::int64_t nanoseconds(double s) { return std::llround(1e9 * s); }
    std::atomic<std::int64_t> now_{0}, quiet_until_{0};
};

// What became of a run.
struct LiveRun {
    std::vector<PictureRow> rows; // of every tick within a seam's time, with light or without
    std::vector<SeamRecord> seams;
    std::vector<GateEvent> events;
    double worst_lateness = 0;             // of what the loop takes the program's time to be, s, with light
    double worst_horizon = 0;              // s, with light
    double clock_off = 0, clock_bound = 0; // at the end, s, and stated
    double drift = 0, drift_bound = 0;
};

constexpr double begin = 0.3, end = 1.75; // of the ticks, robot time, s

LiveRun run(LiveCell const& cell, std::optional<PoseLog<Cell, Flange>> const& pass, Trace& trace) {
    LiveRun result;
    auto const messages = messages_of(cell.program, cell.link, end);
    auto const settings = cell.receiver_settings();
    FlangeSpot const spot{RobotProgram::carried};
    PassSettings pass_settings;
    pass_settings.spot = spot.point;
    Receiver<PoseMessage> receiver = pass ? Receiver<PoseMessage>(settings, spot, *pass, pass_settings)
                                          : Receiver<PoseMessage>(settings, spot);
    auto steering = cell.steering(cell.steering_settings(), pass);
    SimulatedHead head(cell);
    SimulatedClock clock;
    double const first = cell.link.scanner_time(0), last = cell.link.scanner_time(end);

    // [receive]
    LiveLink<> link; // what goes between the threads
    std::thread receiving([&] {
        auto next = messages.begin();
        for (double now = first, beat = first; now < last;) {
            bool const arrived = next != messages.end() && next->arrival <= beat;
            now = arrived ? next->arrival : beat;
            clock.sleep_until(now); // a controller waits for a datagram here, at most so long
            if (arrived) {
                receiver.receive(next->message, {now}, link);
                if (!receiver.knows_program() && receiver.status() == IntakeStatus::accepted)
                    receiver.start(0, receiver.robot_time(cell.link.epoch)); // as the robot told
                ++next;
            } else {
                link.beat({now}); // nothing came, but this thread lives
            }
            beat = now + milliseconds(5);
        }
        clock.leave();
    });
    // [receive] end
    auto const seams = cell.seams();
    // Where the light truly is: against the seam's line, at the place where the loop has it.
    auto const compare = [&](LiveTick const& tick, Command<> const& axes, bool light) {
        double const truly = cell.link.robot_time(tick.time.seconds);
        auto const& forecast = steering.chain().cell_from_flange.forecast;
        double const program = forecast.program_at(forecast.clock.robot_at(tick.time).seconds);
        for (auto const& seam : seams)
            if (program >= seam.start && program <= seam.end())
                result.rows.push_back(
                    {truly, cell.spot_off(cell.program.at(truly), axes, seam, program - seam.start),
                     tick.stated, light});
        if (light) {
            result.worst_horizon = std::max(result.worst_horizon, tick.horizon);
            result.worst_lateness = std::max(result.worst_lateness, std::abs(program - truly));
        }
    };
    auto const ticks = std::llround((end - begin) / cell.period);
    // [tick]
    double trace_until = no_limit;
    for (std::int64_t k = 0; k < ticks; ++k) {
        ScannerTime const now{cell.link.scanner_time(begin) + cell.period * static_cast<double>(k)};
        clock.go_to(now.seconds);
        LiveTick const tick = steering.tick(now, link);
        auto const axes = head.axes();      // where mirrors and lens stand now
        bool const light = head.take(tick); // the command to the scanner, the gate to the laser
        compare(tick, axes, light);
        if (now.seconds < trace_until)
            trace.write(steering.trace_row(tick));
        auto const& events = steering.gate().events();
        if (events.size() > 0 && events[events.size() - 1].action == GateAction::closed)
            trace_until = events[events.size() - 1].time.seconds + milliseconds(2); // keeps what led to it
    }
    // [tick] end
    clock.go_to(last + 1);
    receiving.join();
    auto const map = receiver.clock().map();
    result.seams = steering.gate().seams();
    for (std::size_t i = 0; i < steering.gate().events().size(); ++i)
        result.events.push_back(steering.gate().events()[i]);
    result.clock_off =
        map.robot_at({last}) - receiver.robot_time(cell.link.epoch) - cell.link.robot_time(last);
    result.clock_bound = receiver.clock().deviation({last});
    result.drift = map.rate - 1;
    result.drift_bound = receiver.clock().rate_deviation();
    return result;
}

// Of all ticks with light, sorted, m.
template <class Of> std::vector<double> sorted(LiveRun const& run, Of const& of) {
    std::vector<double> all;
    for (auto const& row : run.rows)
        if (row.light)
            all.push_back(of(row));
    std::sort(all.begin(), all.end());
    return all;
}

void print_line(char const* name, std::vector<double> const& truly, std::vector<double> const& stated,
                double allowed) {
    auto const at = [](std::vector<double> const& all, double share) {
        return 1e6 * all[static_cast<std::size_t>(share * static_cast<double>(all.size() - 1))];
    };
    std::printf("  %-7s %7.1f %7.1f %7.1f  %7.1f %7.1f  %7.1f\n", name, at(truly, 0.5), at(truly, 0.999),
                at(truly, 1), at(stated, 0.5), at(stated, 1), 1e6 * allowed);
}

// Says what became of a run. Whether all light was within tolerance.
bool print(char const* title, LiveCell const& cell, LiveRun const& run) {
    auto const most = default_tolerances(cell.spot_diameter, cell.rayleigh_length);
    auto const whole = std::count_if(run.seams.begin(), run.seams.end(), [](SeamRecord const& seam) {
        return seam.outcome == SeamOutcome::complete;
    });
    std::printf("%s\n  %td of %zu seams welded whole\n", title, whole, run.seams.size());
    std::printf("  µm, light on       true             stated    allowed\n");
    std::printf("              p50   p99.9   worst      p50   worst\n");
    auto const across = sorted(run, [](PictureRow const& r) { return std::abs(r.off.across); });
    auto const along = sorted(run, [](PictureRow const& r) { return std::abs(r.off.along); });
    auto const focus = sorted(run, [](PictureRow const& r) { return std::abs(r.off.focus); });
    print_line("across", across, sorted(run, [](PictureRow const& r) { return r.stated.across; }),
               most.across);
    print_line("along", along, sorted(run, [](PictureRow const& r) { return r.stated.along; }), most.along);
    print_line("focus", focus, sorted(run, [](PictureRow const& r) { return r.stated.focus; }), most.focus);
    auto const held = sorted(run, [](PictureRow const& r) {
        return std::abs(r.off.across) <= r.stated.across && std::abs(r.off.along) <= r.stated.along ? 1.0
                                                                                                    : 0.0;
    });
    auto const beyond = std::count(held.begin(), held.end(), 0.0);
    std::printf("  within what was stated, across and along: %.2f %% of %zu ticks with light\n",
                100 - 100 * static_cast<double>(beyond) / static_cast<double>(held.size()), held.size());
    std::printf("  furthest ahead of the newest sample, with light: %.1f ms\n", 1e3 * run.worst_horizon);
    std::printf("  the program's time is known to %.0f µs: a seam is welded so early or late, on its line\n",
                1e6 * run.worst_lateness);
    std::printf(
        "  robot's clock: off by %+.1f µs (stated %.1f, 1 standard deviation), drift %.0f ± %.0f ppm, "
        "truly %.0f\n",
        1e6 * run.clock_off, 1e6 * run.clock_bound, 1e6 * run.drift, 1e6 * run.drift_bound,
        1e6 * cell.link.drift);
    auto const seams = cell.seams();
    for (auto const& event : run.events)
        if (event.action == GateAction::closed || event.action == GateAction::missed)
            std::printf(
                "  seam %u, %s: %s at %.4f s, %.1f ms after the cut: %s, %.1f µm of %.1f µm; light to "
                "%.2f mm of %.2f mm\n",
                event.seam + 1, seams[event.seam].name.c_str(), to_string(event.action),
                cell.link.robot_time(event.time.seconds),
                1e3 * (cell.link.robot_time(event.time.seconds) - cell.link.cut),
                to_string(event.cause.reason), 1e6 * event.cause.value, 1e6 * event.cause.allowed,
                1e3 * event.arc_length, 1e3 * seams[event.seam].seam.length());
    return across.back() <= most.across && along.back() <= most.along && focus.back() <= most.focus;
}

} // namespace

int main(int count, char** words) {
    LiveCell cell;
    cell.link.cut = 1.31;    // robot time, s: half-way along the fourth seam
    cell.link.mended = 1.35; // within that seam
    Trace trace(2000);       // ticks: 20 ms
    auto const plain = run(cell, {}, trace);
    std::printf("Link: a pose every %.0f ms, %.0f ms late and %.1f ms more on average, %.0f %% lost, noise "
                "%.0f µm; cut from %.3f s to %.3f s\n\n",
                1e3 * cell.link.period, 1e3 * cell.link.least_delay, 1e3 * cell.link.scatter,
                100 * cell.link.loss, 1e6 * cell.link.noise, cell.link.cut, cell.link.mended);
    bool good = print("From the last arrivals", cell, plain);
    Trace second(2000);
    auto const tracked = run(cell, cell.earlier_pass(end + 0.5), second);
    good = print("\nWith an earlier pass of the program; this one is up to 0.1 mm off it", cell, tracked) &&
           good;
    if (count > 1) {
        std::filesystem::path const folder = words[1];
        auto const written =
            (std::filesystem::create_directories(folder), write_trace(folder / "trace.csv", trace));
        std::printf("\ntrace.csv: %zu ticks, up to 2 ms after the gate shut\n", written.rows);
        draw_live(folder, cell, plain.rows);
    }
    for (std::size_t i = 0; i < plain.seams.size(); ++i)
        good = good && plain.seams[i].outcome == (i == 3 ? SeamOutcome::stopped : SeamOutcome::complete);
    return good ? 0 : 1;
}
