#include "seamhold/live/clock_estimator.hpp"
#include "seamhold/live/intake.hpp"
#include "seamhold/live/message_bytes.hpp"
#include "seamhold/live/predictor.hpp"
#include "seamhold/live/receiver.hpp"

#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <optional>
#include <span>
#include <vector>

// Any bytes as a sequence of datagrams with arrival times, through decoding, intake, clock estimate and
// predictor, and once more through a whole receiver. What may never happen stops the program.
//
// The first byte says what the plausible messages hold. Then, again and again: one byte of what comes next,
// two of the time since the arrival before (10 µs each), and what that kind of datagram needs (see
// `next_datagram`). Most of them are the next good message of a smooth motion, so that faults come in the
// midst of a running stream.

using namespace seamhold;

namespace {

void require(bool holds, char const* what) {
    if (holds)
        return;
    std::fprintf(stderr, "does not hold: %s\n", what);
    std::abort();
}

class Input {
public:
    explicit Input(std::span<std::uint8_t const> bytes) : bytes_(bytes) {}

    bool ended() const { return at_ >= bytes_.size(); }

    // Zeros after the end.
    std::uint64_t take(std::size_t size) {
        std::uint64_t r = 0;
        for (std::size_t i = 0; i < size; ++i, ++at_)
            if (at_ < bytes_.size())
                r |= std::uint64_t{bytes_[at_]} << (8 * i);
        return r;
    }

    double take_double() { return std::bit_cast<double>(take(8)); }

private:
    std::span<std::uint8_t const> bytes_;
    std::size_t at_ = 0;
};

constexpr std::int64_t period = 4'000'000; // ns

// A smooth motion, invented.
PoseMessage pose_at(std::int64_t k, std::uint64_t flags) {
    double const t = 0.004 * static_cast<double>(k);
    PoseMessage m{};
    m.head = {1'000'000'000 + k * period, static_cast<std::uint32_t>(k) - 10,
              (flags & 1U) == 0,          (flags & 2U) == 0,
              (flags & 4U) != 0,          (flags & 8U) != 0 ? SampleKind::set_point : SampleKind::measured};
    m.origin = {1 + 0.1 * std::sin(2 * t), 0.2 * std::cos(t), 0.8};
    m.velocity = {0.2 * std::cos(2 * t), -0.2 * std::sin(t), 0};
    m.rotation = {std::cos(0.25 * t), 0, std::sin(0.25 * t), 0};
    m.turning = {0, 0.5, 0};
    return m;
}

JointMessage<6> joints_at(std::int64_t k, std::uint64_t flags) {
    JointMessage<6> m{};
    m.head = pose_at(k, flags).head;
    for (int i = 0; i < 6; ++i) {
        m.joint[i] = std::sin(0.002 * static_cast<double>(k) + i);
        m.rate[i] = 0.5 * std::cos(0.002 * static_cast<double>(k) + i);
    }
    return m;
}

template <std::size_t Size> void renew_sum(std::array<std::byte, Size>& bytes) {
    auto const sum = detail::check_sum(std::span(bytes).first(Size - 4));
    for (std::size_t i = 0; i < 4; ++i)
        bytes[Size - 4 + i] = static_cast<std::byte>((sum >> (8 * i)) & 0xffU);
}

struct Counter {
    std::int64_t k = 0;
};

// The next datagram, with up to 128 bytes that mean something.
std::vector<std::byte> next_datagram(Input& input, std::uint64_t kind, std::uint64_t flags,
                                     Counter& counter) {
    if (kind == 0) { // raw
        std::vector<std::byte> bytes(input.take(1));
        for (auto& b : bytes)
            b = static_cast<std::byte>(input.take(1));
        return bytes;
    }
    counter.k += kind == 1 ? static_cast<std::int8_t>(input.take(1)) : 1; // lost, overtaken or once more
    auto m = pose_at(counter.k, flags);
    if (kind == 2) // any stamp and number
        m.head.stamp = static_cast<std::int64_t>(input.take(8));
    if (kind == 3) // a jump, up to ±2.1 s by ns
        m.head.stamp += static_cast<std::int32_t>(input.take(4));
    if (kind == 4)
        m.head.number = static_cast<std::uint32_t>(input.take(4));
    if (kind == 5) { // any double anywhere
        std::size_t const field = input.take(1) % 13;
        double* const numbers[13] = {&m.origin.x,   &m.origin.y,   &m.origin.z,   &m.rotation.w,
                                     &m.rotation.x, &m.rotation.y, &m.rotation.z, &m.velocity.x,
                                     &m.velocity.y, &m.velocity.z, &m.turning.x,  &m.turning.y,
                                     &m.turning.z};
        *numbers[field] = input.take_double();
    }
    if (kind == 6) { // a place anywhere within 1e6 m, the other sign
        m.origin.x = 1e-3 * static_cast<double>(static_cast<std::int32_t>(input.take(4))) * 0.4;
        m.rotation = {-m.rotation.w, -m.rotation.x, -m.rotation.y, -m.rotation.z};
    }
    auto bytes = encode(m);
    if (kind == 7) { // other bytes anywhere
        std::size_t const count = input.take(1) % 8;
        for (std::size_t i = 0; i < count; ++i) {
            std::size_t const place = input.take(1) % bytes.size();
            bytes[place] = static_cast<std::byte>(input.take(1));
        }
        if ((input.take(1) & 1U) != 0)
            renew_sum(bytes);
    }
    return {bytes.begin(), bytes.end()};
}

// What must hold of samples and of what is made from them.
template <class Message> class Line {
public:
    static constexpr int size = Intake<Message>::size;

    void take(Message const& message, ScannerTime arrival) {
        auto const taken = intake_.take(message, arrival);
        require(fault_of(taken.status) == StreamFault::none || taken.status > IntakeStatus::repeated,
                "faults are those of the sender");
        if (taken.status == IntakeStatus::clock_step || taken.status == IntakeStatus::restarted) {
            clock_.restart();
            predictor_.restart();
            before_.reset();
        }
        if (taken.status != IntakeStatus::accepted)
            return;
        auto const& s = taken.sample;
        require(is_finite(s.time.seconds), "times are finite");
        require(before_ ? s.time > before_->time : s.time.seconds == 0,
                "samples are in order, and begin at 0");
        require(s.has_rates == message.head.has_rates, "rates are there where the message says so");
        for (int i = 0; i < size; ++i) {
            require(is_finite(s.value[i]) && std::abs(s.value[i]) <= 1e6, "values are finite");
            require(is_finite(s.rate[i]), "rates are finite");
        }
        if constexpr (size == 7) {
            double norm = 0, product = 0;
            for (int i = 3; i < 7; ++i) {
                norm += s.value[i] * s.value[i];
                product += before_ ? s.value[i] * before_->value[i] : 0;
            }
            require(std::abs(std::sqrt(squared_norm(message.rotation)) - 1) < 1.001e-3,
                    "what is no rotation is refused");
            require(std::abs(norm - 1) < 1e-14, "quaternions are of length 1");
            require(product >= 0, "quaternions keep their sign");
        }
        before_ = s;

        auto const status = clock_.add(s.time, arrival);
        require(status != ClockStatus::refused, "what the intake lets through is in order for the clock too");
        auto const map = clock_.map();
        require(is_finite(map.robot.seconds) && is_finite(map.scanner.seconds), "the clocks' map is finite");
        require(map.rate > 0.999 && map.rate < 1.001, "the clock's rate is within its bound");
        double const deviation = clock_.deviation(arrival);
        require(is_finite(deviation) && deviation > 0, "the clock's uncertainty is finite and above 0");
        require(is_finite(clock_.rate_deviation()), "the rate's uncertainty is finite");
        require(clock_.samples() > 0, "a clock that was fed has a sample");

        predictor_.add(s);
        auto const later = predictor_.predict(map.robot_at(arrival));
        for (double const x : later.at(later.about.seconds + 0.01))
            require(is_finite(x), "predictions are finite");
        for (double const x : predictor_.variances(0.01))
            require(is_finite(x) && x >= 0, "variances are finite and not below 0");
    }

private:
    Intake<Message> intake_{{{0.004}}};
    ClockEstimator clock_;
    Predictor<size> predictor_{{0.004}};
    std::optional<Sample<size>> before_;
};

void check(Forecast<7> const& f) {
    require(is_finite(f.clock.robot.seconds) && is_finite(f.clock.scanner.seconds) && is_finite(f.clock.rate),
            "a forecast's clock is finite");
    require(!(f.clock_uncertainty < 0), "a forecast's clock uncertainty is not below 0");
    require(is_finite(f.about.seconds) && is_finite(f.newest.seconds) && is_finite(f.speed),
            "a forecast is finite");
    for (auto const& row : f.coefficient)
        for (double const x : row)
            require(is_finite(x), "a forecast's cubic is finite");
    for (auto const& moments : f.error.moment)
        for (double const x : moments)
            require(is_finite(x), "a forecast's error is finite");
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(std::uint8_t const* data, std::size_t size) {
    Input input({data, size});
    std::uint64_t const flags = input.take(1);
    bool const joints = (flags & 16U) != 0;
    bool const receives = (flags & 32U) == 0; // a receiver takes most of the time
    Line<PoseMessage> pose_line;
    Line<JointMessage<6>> joint_line;
    Receiver<PoseMessage> receiver(ReceiverSettings::of(0.004), FlangeSpot{{0.05, 0, 0.4}});
    receiver.start(0, {0.5});
    double now = 0.01;
    Counter counter;
    std::uint64_t number = 0;
    auto const receive = [&](PoseMessage const& message) {
        pose_line.take(message, {now});
        if (!receives)
            return;
        if (auto const forecast = receiver.take(message, {now})) {
            require(forecast->number == number + 1, "forecasts are counted");
            number = forecast->number;
            check(*forecast);
        }
    };
    while (!input.ended()) {
        std::uint64_t const op = input.take(1);
        // Mostly in time: above 0xf000 the last bits are the time since the arrival before.
        std::uint64_t const wait = input.take(2);
        now += wait < 0xf000U ? 0.004 : 1e-5 * static_cast<double>(wait & 0xfffU);
        std::size_t const repeats = 1 + (op >> 3U); // a stretch of good messages before it
        for (std::size_t i = 1; i < repeats; ++i, now += 0.004) {
            ++counter.k;
            if (joints)
                joint_line.take(joints_at(counter.k, flags), {now});
            else
                receive(pose_at(counter.k, flags));
        }
        auto const bytes = next_datagram(input, op & 7U, flags, counter);
        if (auto const decoded = decode_joints<6>(bytes); joints && decoded.status == BytesStatus::good)
            joint_line.take(decoded.message, {now});
        auto const decoded = decode_pose(bytes);
        if (decoded.status != BytesStatus::good)
            continue;
        auto const again = encode(decoded.message);
        require(std::memcmp(encode(decode_pose(again).message).data(), again.data(), again.size()) == 0,
                "what is decoded and encoded stays as it is");
        receive(decoded.message);
    }
    return 0;
}
