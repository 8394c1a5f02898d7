// The live loop as it stands in a controller, over real sockets and real clocks: a robot's thread sends poses
// as datagrams every 4 ms over the loopback interface, a receiving thread waits for them with a time-out, and
// the ticking thread runs by the machine's own clock for a second and a half. It prints what happened.
// How much is welded depends on how busy the machine is, since this is no real-time system: the ticks are
// 1 ms apart here, not 10 µs, to be kind to a shared machine, and the gate is told so. All numbers are
// invented. Needs POSIX sockets. Returns 1 only if the messages did not come through or the loop did not run.
//
// The gate here keeps a weld from going wrong. It is no safety function and protects nobody: a class 4 beam
// needs guards, interlocks and an emergency stop in a safety-rated system of its own, under local codes, by
// those who are licensed to build it. A datagram can be lost, late or forged: a controller has a network of
// its own for its robot.
#include "live_robot.hpp"

#include "seamhold/live/message_bytes.hpp"

#include <array>
#include <atomic>
#include <cerrno>
#include <chrono>
#include <cstdio>
#include <exception>
#include <span>
#include <system_error>
#include <thread>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

using namespace seamhold;
using namespace seamhold::examples;

namespace {

// A socket for datagrams on 127.0.0.1, at a port that the system chooses; once it has a peer it takes nothing
// from others.
class LoopbackSocket {
public:
    LoopbackSocket() : socket_(::socket(AF_INET, SOCK_DGRAM, 0)) {
        check(socket_, "no socket");
        auto const any = address(0);
        check(::bind(socket_, reinterpret_cast<sockaddr const*>(&any), sizeof any), "cannot bind");
    }
    LoopbackSocket(LoopbackSocket const&) = delete;
    LoopbackSocket& operator=(LoopbackSocket const&) = delete;
    ~LoopbackSocket() { ::close(socket_); }

    void talk_to(LoopbackSocket const& peer) {
        auto const to = address(peer.port());
        check(::connect(socket_, reinterpret_cast<sockaddr const*>(&to), sizeof to), "cannot connect");
    }
    void give_up_after(int microseconds) {
        timeval const time{0, microseconds};
        check(::setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &time, sizeof time), "no time-out");
    }
    bool send(std::span<std::byte const> bytes) const {
        return ::send(socket_, bytes.data(), bytes.size(), 0) == static_cast<ssize_t>(bytes.size());
    }
    // How many bytes came; below 0 where none did in time.
    ssize_t receive(std::span<std::byte> bytes) const {
        return ::recvfrom(socket_, bytes.data(), bytes.size(), 0, nullptr, nullptr);
    }

private:
    static void check(int result, char const* what) {
        if (result < 0)
            throw std::system_error(errno, std::generic_category(), what);
    }
    static sockaddr_in address(std::uint16_t port) {
        sockaddr_in a{};
        a.sin_family = AF_INET;
        a.sin_port = port; // in the network's order
        a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        return a;
    }
    std::uint16_t port() const {
        sockaddr_in a{};
        socklen_t size = sizeof a;
        check(::getsockname(socket_, reinterpret_cast<sockaddr*>(&a), &size), "no port");
        return a.sin_port;
    }

    int socket_;
};

using Clock = std::chrono::steady_clock;

Clock::duration after(double s) {
    return std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(s));
}

constexpr double tick_period = 1e-3; // s
constexpr double duration = 1.5;     // s
constexpr double program_at_0 = 0.2; // how far the program is when the robot's clock shows 0, s

// The robot: its program, its clock, its messages. Gives back how many it sent.
std::uint32_t be_robot(LiveCell const& cell, LoopbackSocket const& socket, Clock::time_point begin) {
    Chance chance(4);
    std::uint32_t sent = 0;
    for (double next = 0; next < duration; next += cell.link.period) {
        std::this_thread::sleep_until(begin + after(next));
        double const since = std::chrono::duration<double>(Clock::now() - begin).count();
        double const t = since * (1 + cell.link.drift);
        auto const stamp = cell.link.epoch + std::llround(1e9 * t);
        auto const message = message_at(cell.program, program_at_0 + t, stamp, sent, cell.link.noise, chance);
        if (socket.send(encode(message)))
            ++sent;
    }
    return sent;
}

int run() {
    LiveCell cell;
    cell.period = tick_period;
    auto seams = cell.seams();
    std::erase_if(seams, [](ScheduledSeam const& s) { return s.seam.weave.moves(); }); // too fast for 1 ms
    auto settings = cell.steering_settings();
    auto const held = AxisResponse::pure_delay(tick_period / 2); // a command that is held for a tick
    settings.x_response = settings.y_response = settings.focus_response = held;
    settings.laser = {};
    settings.run_up = milliseconds(20);
    settings.gate.longest_tick = milliseconds(20); // 0.5 ms in a controller
    settings.gate.slack = milliseconds(4);
    settings.gate.tolerances = {millimetres(0.3), millimetres(0.3), millimetres(4)};
    LiveCell::CellSteering steering({{{}, {}}, {cell.cell_from_part}, cell.flange_from_head, cell.head},
                                    seams, settings);
    auto receiver_settings = cell.receiver_settings();
    receiver_settings.clock.least_delay = 0; // an assumption, of the loopback interface
    receiver_settings.lead = held.delay;
    Receiver<PoseMessage> receiver(receiver_settings, {RobotProgram::carried});

    LoopbackSocket robot_socket, socket;
    robot_socket.talk_to(socket);
    socket.talk_to(robot_socket);
    LiveLink<> link;
    std::atomic<bool> robot_lives = true;
    std::uint32_t sent = 0, received = 0, refused = 0;
    auto const begin = Clock::now();
    auto const clock = [begin] { // the scanner's
        return ScannerTime{std::chrono::duration<double>(Clock::now() - begin).count()};
    };
    std::thread robot([&] {
        sent = be_robot(cell, robot_socket, begin);
        robot_lives = false;
    });
    // [receive]
    socket.give_up_after(5000); // µs: so that this thread tells that it lives when nothing arrives
    std::thread receiving([&] {
        std::array<std::byte, pose_bytes + 1> bytes; // room to see that one is too long
        for (bool silent = false; robot_lives || !silent;) {
            auto const size = socket.receive(bytes);
            ScannerTime const now = clock();
            link.beat(now); // this thread lives
            silent = size < 0;
            if (silent)
                continue;
            auto const decoded = decode_pose(std::span(bytes).first(static_cast<std::size_t>(size)));
            if (decoded.status != BytesStatus::good) {
                ++refused;
                continue;
            }
            ++received;
            receiver.receive(decoded.message, now, link);
            if (!receiver.knows_program() && receiver.status() == IntakeStatus::accepted)
                receiver.start(program_at_0, receiver.robot_time(cell.link.epoch)); // as the robot told
        }
    });
    // [receive] end
    double worst_across = 0, worst_along = 0;
    std::size_t open = 0;
    // Where the light truly is: against the seam's line, at the place where the loop has it.
    auto const compare = [&](LiveTick const& tick) {
        ++open;
        ScannerTime const answer = tick.time + held.delay;
        auto const& forecast = steering.chain().cell_from_flange.forecast;
        double const seam_time =
            forecast.program_at(forecast.clock.robot_at(answer).seconds) - seams[tick.seam].start;
        double const truly = program_at_0 + answer.seconds * (1 + cell.link.drift);
        auto const off = cell.spot_off(cell.program.at(truly), tick.command, seams[tick.seam], seam_time);
        worst_across = std::max(worst_across, std::abs(off.across));
        worst_along = std::max(worst_along, std::abs(off.along));
    };
    // [tick]
    double worst_gap = 0;
    std::size_t ticks = 0;
    for (double before = 0, next = 0; next < duration; next += tick_period) {
        std::this_thread::sleep_until(begin + after(next)); // a controller has a timer of its own here
        ScannerTime const now = clock();
        LiveTick const tick = steering.tick(now, link);
        // To the scanner: tick.command. To the laser: tick.gate, tick.power.
        ++ticks;
        worst_gap = std::max(worst_gap, now.seconds - before);
        before = now.seconds;
        if (tick.gate)
            compare(tick);
    }
    // [tick] end
    robot.join();
    receiving.join();

    std::printf("%u datagrams sent, %u came through, %u refused\n", sent, received, refused);
    std::printf("%zu ticks, %.2f ms between two at most; gate open in %zu\n", ticks, 1e3 * worst_gap, open);
    auto const map = receiver.clock().map();
    std::printf("robot's clock known to %.1f µs (1 standard deviation), drift %+.0f ppm, truly %+.0f\n",
                1e6 * receiver.clock().deviation(map.scanner), 1e6 * (map.rate - 1), 1e6 * cell.link.drift);
    if (open > 0)
        std::printf("spot off by %.0f µm across and %.0f µm along at most, gate open\n", 1e6 * worst_across,
                    1e6 * worst_along);
    for (std::size_t i = 0; i < seams.size(); ++i) {
        SeamRecord const& seam = steering.gate().seams()[i];
        char const* const what = detail_of(seam.cause);
        std::printf("%s: %s", seams[i].name.c_str(), to_string(seam.outcome));
        if (seam.cause.reason != GateReason::none)
            std::printf(" (%s%s%s), light to %.2f mm of %.2f mm", to_string(seam.cause.reason),
                        *what ? ": " : "", what, 1e3 * seam.reached, 1e3 * seams[i].seam.length());
        std::puts("");
    }
    bool const came_through = received > 0 && 2 * received >= sent;
    return came_through && ticks > 0 ? 0 : 1;
}

} // namespace

int main() try { return run(); } catch (std::exception const& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 1;
}
