#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"

#include <Eigen/Core>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <ctime>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

#ifdef __linux__
#include <linux/seccomp.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>
#endif

// What a tick must not do: throw, allocate, call the system, or take longer where numbers are tiny.

using namespace seamhold;
using namespace seamhold::test;

namespace {

static_assert(noexcept(std::declval<CellSteering&>().tick(ScannerTime{0}, std::declval<LiveLink<7>&>())));
static_assert(noexcept(std::declval<CellSteering&>().tick(ScannerTime{0}, nullptr, ScannerTime{0}, false)));
static_assert(noexcept(std::declval<CellSteering&>().loaded({}, {})));
static_assert(noexcept(std::declval<Gate&>().tick(std::declval<GateFacts const&>())));
static_assert(noexcept(std::declval<ExternalInputs&>().take({}, {})));
static_assert(noexcept(std::declval<ExternalInputs const&>().verdict({})));
static_assert(noexcept(std::declval<LiveLink<7>&>().beat({})));
static_assert(noexcept(std::declval<LiveLink<7> const&>().heartbeat()));
static_assert(noexcept(std::declval<LiveLink<7>&>().stop()));
static_assert(noexcept(std::declval<LiveLink<7> const&>().stopped()));
// What goes from thread to thread is bits.
static_assert(std::is_trivially_copyable_v<Forecast<7>> && std::is_trivially_copyable_v<InputState> &&
              std::is_trivially_copyable_v<LiveTick>);

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool is_sanitized = true;
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer) || __has_feature(memory_sanitizer)
constexpr bool is_sanitized = true;
#else
constexpr bool is_sanitized = false;
#endif
#else
constexpr bool is_sanitized = false;
#endif

// A receiver and a loop over messages with faults among them, both sides in one thread.
class BothSides {
public:
    BothSides()
        : messages_(made(cell_)), receiver_(cell_.receiver(), {ProgramSweep::point}),
          steering_(cell_steering(cell_, cell_.steering())) {}

    /// So many ticks; how many of them were open.
    std::size_t run(std::size_t ticks) {
        std::size_t open = 0;
        for (std::size_t i = 0; i < ticks; ++i, ++tick_) {
            double const now = cell_.link.offset + cell_.period * static_cast<double>(tick_);
            for (; next_ < messages_.size() && messages_[next_].time <= now; ++next_) {
                auto const& m = messages_[next_];
                receiver_.receive(m.message, {m.time}, link_);
                if (!receiver_.knows_program() && receiver_.status() == IntakeStatus::accepted)
                    receiver_.start(m.sampled, receiver_.robot_time(m.message.head.stamp));
            }
            static_cast<void>(link_.inputs.push({0, true, {now}}));
            auto const tick = steering_.tick({now}, link_);
            open += tick.gate ? 1 : 0;
            sum_ += tick.command.x_mirror + tick.power;
        }
        return open;
    }

    double sum() const { return sum_; }

private:
    static std::vector<Arrival> made(CellMake& cell) {
        cell.link = with_noise(cell.link, 1e-6);
        cell.link.jitter = 0.5e-3;
        cell.link.loss = 0.01;
        cell.link.duplicated = 0.02;
        cell.inputs = {{"gas", 0.03}};
        auto all = arrivals(cell.motion, cell.link, cell.duration, 12);
        for (std::size_t i = 290; i < all.size(); i += 7) // the last seam
            all[i].message.origin.x = NAN;
        for (std::size_t i = 293; i < all.size(); i += 7)
            all[i].message.head.stamp += static_cast<std::int64_t>(i) * 10'000'000;
        return all;
    }

    CellMake cell_;
    std::vector<Arrival> messages_;
    CellReceiver receiver_;
    CellSteering steering_;
    LiveLink<7> link_;
    std::size_t tick_ = 0, next_ = 0;
    double sum_ = 0;
};

#ifdef __linux__
// Runs in a process of its own that may do nothing but compute and leave: the kernel kills it at any other
// call. Returns how it ended.
template <class Work> int ended_in_strict_mode(Work const& work) {
    pid_t const child = fork();
    if (child == 0) {
        if (prctl(PR_SET_SECCOMP, SECCOMP_MODE_STRICT) != 0)
            _exit(99);
        long const code = work();
        syscall(SYS_exit, code);
    }
    int status = -1;
    waitpid(child, &status, 0);
    return status;
}
#endif

// Processor time of this thread, s.
double processor_time() {
    timespec t{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

double median(std::vector<double> all) {
    std::sort(all.begin(), all.end());
    return all[all.size() / 2];
}

} // namespace

TEST_CASE("neither side allocates once it is made, faults or not") {
    if (!AllocationGuard::counts())
        return;
    BothSides sides;
    AllocationGuard guard;
    auto const open = sides.run(140000);
    auto const allocations = guard.count();
    CHECK(allocations == 0);
    CHECK(open > 30000); // three seams
    // The guard sees what Eigen would ask for.
    AllocationGuard control;
    Eigen::VectorXd const vector(Eigen::VectorXd::Zero(100));
    CHECK(control.count() > 0);
    CHECK(vector.sum() == 0);
}

#ifdef __linux__
TEST_CASE("a hundred thousand ticks, and the messages between them, without one call of the system") {
    if (is_sanitized)
        return;
    BothSides sides;
    int const status = ended_in_strict_mode([&] {
        auto const open = sides.run(100000);
        return open > 20000 && is_finite(sides.sum()) ? 7L : 8L;
    });
    if (WIFEXITED(status) && WEXITSTATUS(status) == 99) {
        MESSAGE("this kernel has no strict mode; not looked at");
        return;
    }
    CHECK(WIFEXITED(status));
    CHECK(WEXITSTATUS(status) == 7);
    // One call, and it would have been killed.
    int const killed = ended_in_strict_mode([&] {
        sides.run(10);
        return syscall(SYS_getppid);
    });
    CHECK(WIFSIGNALED(killed));
}
#endif

TEST_CASE("numbers near nothing cost nothing") {
    CellMake cell;
    cell.link = with_noise(cell.link, 1e-6);
    cell.tolerances = {0.5e-3, 0.5e-3, 5e-3};
    auto const moving = forecasts_of(cell, arrivals(cell.motion, cell.link, cell.duration, 13));
    CellMake at_rest = cell;
    at_rest.motion.speed = at_rest.motion.swing = at_rest.motion.turn = 0;
    at_rest.link = with_noise(at_rest.link, 0);
    auto const resting = forecasts_of(at_rest, arrivals(at_rest.motion, at_rest.link, cell.duration, 13));
    auto tiny = resting;
    for (auto& f : tiny) {
        for (auto& row : f.coefficient)
            for (double& c : row)
                if (std::abs(c) < 1e-9)
                    c = 1e-310;
        for (auto& moment : f.error.moment)
            for (double& m : moment)
                m = 1e-310;
        f.clock_uncertainty = f.speed = 1e-310;
        f.measured_rate = 1;
    }
    auto const time_of = [&](std::vector<Forecast<7>> const& forecasts) {
        auto steering = cell_steering(cell, cell.steering());
        LoopAlone loop(cell, forecasts);
        std::vector<double> times;
        double sum = 0;
        for (int i = 0; i < 200; ++i) {
            double const begun = processor_time();
            for (int k = 0; k < 500; ++k)
                sum += loop.step(steering).command.x_mirror;
            times.push_back((processor_time() - begun) / 500);
        }
        CHECK(is_finite(sum));
        return median(times);
    };
    double ratio_at_rest = 1e9, ratio_tiny = 1e9, usual = 0;
    for (int i = 0; i < 3; ++i) { // the best of three: others may use the machine
        usual = time_of(moving);
        ratio_at_rest = std::min(ratio_at_rest, time_of(resting) / usual);
        ratio_tiny = std::min(ratio_tiny, time_of(tiny) / usual);
    }
    MESSAGE("a tick takes " << usual * 1e9 << " ns; at rest " << ratio_at_rest
                            << " times that, with numbers of 1e-310 " << ratio_tiny << " times");
    CHECK(ratio_at_rest < 2);
    CHECK(ratio_tiny < 2);

    // And messages.
    auto const receiving = [&](CellMake const& make, double add) {
        auto messages = arrivals(make.motion, make.link, cell.duration, 14);
        for (auto& m : messages) {
            auto& q = m.message.rotation;
            for (double* x :
                 {&m.message.origin.x, &m.message.origin.y, &m.message.origin.z, &q.x, &q.y, &q.z, &q.w})
                if (add != 0 && std::abs(*x) < 1e-9)
                    *x = add;
        }
        std::vector<double> times;
        for (int k = 0; k < 9; ++k) {
            CellReceiver receiver(make.receiver(), {ProgramSweep::point});
            double const begun = processor_time();
            for (auto const& m : messages)
                static_cast<void>(receiver.take(m.message, {m.time}));
            times.push_back((processor_time() - begun) / static_cast<double>(messages.size()));
        }
        return median(times);
    };
    double const message = receiving(cell, 0);
    double const rest = receiving(at_rest, 0) / message;
    double const near_nothing = receiving(at_rest, 1e-310) / message;
    MESSAGE("a message takes " << message * 1e6 << " us; at rest " << rest << " times that, at 1e-310 "
                               << near_nothing << " times");
    CHECK(rest < 2);
    CHECK(near_nothing < 2);
}
