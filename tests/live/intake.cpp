#include <doctest/doctest.h>

#include "seamhold/live/intake.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"

#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

using seamhold::BadInput;
using seamhold::fault_of;
using seamhold::Intake;
using seamhold::IntakeOptions;
using seamhold::IntakeStatus;
using seamhold::JointMessage;
using seamhold::PoseMessage;
using seamhold::Quaternion;
using seamhold::SampleKind;
using seamhold::StreamFault;
using seamhold::Taken;
using seamhold::test::AllocationGuard;
using seamhold::test::Random;

namespace {

constexpr std::int64_t period = 4'000'000; // ns
constexpr IntakeOptions options{{0.004}};

// A flange that moves along x at 0.2 m/s and turns about an axis of the cell at 0.5 rad/s.
PoseMessage pose_at(std::int64_t k) {
    double const t = 0.004 * static_cast<double>(k);
    PoseMessage m{};
    m.head = {1'000'000'000'000 + k * period,
              static_cast<std::uint32_t>(k),
              true,
              true,
              false,
              SampleKind::measured};
    m.origin = {0.2 * t, -1, 2};
    // Turned by 0.5·t about (2, 3, 6)/7.
    double const s = std::sin(0.25 * t) / 7;
    m.rotation = {std::cos(0.25 * t), 2 * s, 3 * s, 6 * s};
    return m;
}

double arrival_of(std::int64_t k) { return 0.004 * static_cast<double>(k) + 0.008; }

// An intake that has seen 20 good messages, 0 to 19.
Intake<PoseMessage> running() {
    Intake<PoseMessage> intake(options);
    for (std::int64_t k = 0; k < 20; ++k)
        REQUIRE(intake.take(pose_at(k), {arrival_of(k)}).status == IntakeStatus::accepted);
    return intake;
}

double const not_a_number = std::numeric_limits<double>::quiet_NaN();
double const infinite = std::numeric_limits<double>::infinity();

} // namespace

TEST_CASE("a good message becomes a sample") {
    auto intake = running();
    auto const taken = intake.take(pose_at(20), {arrival_of(20)});
    REQUIRE(taken.status == IntakeStatus::accepted);
    CHECK(taken.lost == 0);
    CHECK(taken.sample.time.seconds == doctest::Approx(0.08).epsilon(1e-14));
    CHECK(taken.sample.value[0] == doctest::Approx(0.016).epsilon(1e-14));
    CHECK(taken.sample.value[1] == -1);
    CHECK(taken.sample.value[2] == 2);
    CHECK(taken.sample.value[3] == doctest::Approx(std::cos(0.02)).epsilon(1e-14));
    CHECK(taken.sample.value[6] == doctest::Approx(std::sin(0.02) * 6 / 7).epsilon(1e-14));
    CHECK(taken.sample.kind == SampleKind::measured);
    CHECK_FALSE(taken.sample.has_rates);
    CHECK(intake.first_stamp() == 1'000'000'000'000);
    CHECK(intake.time_of(999'000'000'000).seconds == -1);
    CHECK(intake.take(pose_at(24), {arrival_of(24)}).lost == 3);
    auto set_point = pose_at(25);
    set_point.head.kind = SampleKind::set_point;
    CHECK(intake.take(set_point, {arrival_of(25)}).sample.kind == SampleKind::set_point);
}

TEST_CASE("rates of a pose become those of the quaternion") {
    // Against differences of the motion itself, whose rates are known by hand: 0.2 m/s and 0.5 rad/s about
    // (2, 3, 6)/7. Central differences over 8 ms of a motion of 0.25 rad/s: (0.25·0.004)²/6 = 1.7e-7 of the
    // rate.
    auto intake = running();
    for (bool const flipped : {false, true}) {
        auto const k = flipped ? 41 : 40;
        auto m = pose_at(k);
        m.head.has_rates = true;
        m.velocity = {0.2, 0, 0};
        m.turning = {1.0 / 7, 1.5 / 7, 3.0 / 7};
        if (flipped)
            m.rotation = {-m.rotation.w, -m.rotation.x, -m.rotation.y, -m.rotation.z};
        auto const taken = intake.take(m, {arrival_of(k)});
        REQUIRE(taken.status == IntakeStatus::accepted);
        CHECK(taken.sample.has_rates);
        auto const before = pose_at(k - 1), after = pose_at(k + 1);
        CHECK(taken.sample.rate[0] == 0.2);
        CHECK(taken.sample.rate[3] ==
              doctest::Approx((after.rotation.w - before.rotation.w) / 0.008).epsilon(1e-6));
        CHECK(taken.sample.rate[4] ==
              doctest::Approx((after.rotation.x - before.rotation.x) / 0.008).epsilon(1e-6));
        CHECK(taken.sample.rate[5] ==
              doctest::Approx((after.rotation.y - before.rotation.y) / 0.008).epsilon(1e-6));
        CHECK(taken.sample.rate[6] ==
              doctest::Approx((after.rotation.z - before.rotation.z) / 0.008).epsilon(1e-6));
    }
}

TEST_CASE("angular velocity is in the cell's axes") {
    // Half a turn about x stands before: a turn about the cell's y is one about the flange's −y. q = (0, 1,
    // 0, 0), and with w = (0, 1, 0) in the cell: q' = ½·j·i = −½·k.
    Intake<PoseMessage> intake(options);
    PoseMessage m{};
    m.head = {0, 0, true, false, true, SampleKind::measured};
    m.rotation = {0, 1, 0, 0};
    m.turning = {0, 1, 0};
    auto const taken = intake.take(m, {0});
    REQUIRE(taken.status == IntakeStatus::accepted);
    CHECK(taken.sample.rate[3] == 0);
    CHECK(taken.sample.rate[4] == 0);
    CHECK(taken.sample.rate[5] == 0);
    CHECK(taken.sample.rate[6] == -0.5);
}

TEST_CASE("the sign of a quaternion is mended, and a norm that is nearly 1") {
    Random random(15);
    Intake<PoseMessage> intake(options);
    std::array<double, 4> before{};
    for (std::int64_t k = 0; k < 3000; ++k) { // 6 rad: through the sign's turn
        auto m = pose_at(k);
        double const scale = (random.unit() < 0.5 ? -1 : 1) * (1 + random.uniform(-0.9e-3, 0.9e-3));
        m.rotation = {m.rotation.w * scale, m.rotation.x * scale, m.rotation.y * scale, m.rotation.z * scale};
        auto const taken = intake.take(m, {arrival_of(k)});
        REQUIRE(taken.status == IntakeStatus::accepted);
        double norm = 0, product = 0;
        for (std::size_t i = 0; i < 4; ++i) {
            norm += taken.sample.value[3 + i] * taken.sample.value[3 + i];
            product += taken.sample.value[3 + i] * before[i];
            before[i] = taken.sample.value[3 + i];
        }
        CHECK(std::abs(norm - 1) < 1e-15);
        CHECK((k == 0 || product > 0.999));
    }
}

TEST_CASE("what is not finite or not a rotation is a fault at once, and leaves nothing behind") {
    for (double const bad : {not_a_number, infinite, -infinite, 1e7, -1e300}) {
        for (int field = 0; field < 13; ++field) {
            auto intake = running();
            auto m = pose_at(20);
            m.head.has_rates = field >= 7;
            double* const numbers[13] = {&m.origin.x,   &m.origin.y,   &m.origin.z,   &m.rotation.w,
                                         &m.rotation.x, &m.rotation.y, &m.rotation.z, &m.velocity.x,
                                         &m.velocity.y, &m.velocity.z, &m.turning.x,  &m.turning.y,
                                         &m.turning.z};
            *numbers[field] = bad;
            CHECK(intake.take(m, {arrival_of(20)}).status == IntakeStatus::not_finite);
            // Rates that are said not to be there are not read.
            m.head.has_rates = false;
            CHECK(intake.take(m, {arrival_of(20)}).status ==
                  (field >= 7 ? IntakeStatus::accepted : IntakeStatus::not_finite));
            auto const next = intake.take(pose_at(21), {arrival_of(21)});
            CHECK(next.status == IntakeStatus::accepted);
            CHECK(next.lost == (field >= 7 ? 0 : 1));
        }
    }
    for (double const scale : {0.0, 0.5, 0.9989, 1.0011, 2.0, -1.01, 1e-300}) {
        auto intake = running();
        auto m = pose_at(20);
        m.rotation = {m.rotation.w * scale, m.rotation.x * scale, m.rotation.y * scale, m.rotation.z * scale};
        CHECK(intake.take(m, {arrival_of(20)}).status == IntakeStatus::not_a_rotation);
        CHECK(intake.take(pose_at(21), {arrival_of(21)}).lost == 1);
    }
    auto intake = running();
    CHECK(intake.take(pose_at(20), {not_a_number}).status == IntakeStatus::not_finite);
    CHECK(intake.take(pose_at(20), {arrival_of(20)}).status == IntakeStatus::accepted);
}

TEST_CASE("faults of the link and of the clock come through as the order of messages says") {
    auto intake = running();
    CHECK(intake.take(pose_at(19), {arrival_of(19) + 0.001}).status == IntakeStatus::duplicate);
    // The same pose with the other sign is the same.
    auto flipped = pose_at(19);
    flipped.rotation = {-flipped.rotation.w, -flipped.rotation.x, -flipped.rotation.y, -flipped.rotation.z};
    CHECK(intake.take(flipped, {arrival_of(19) + 0.002}).status == IntakeStatus::duplicate);
    CHECK(intake.take(pose_at(21), {arrival_of(21)}).status == IntakeStatus::accepted);
    CHECK(intake.take(pose_at(20), {arrival_of(21) + 0.001}).status == IntakeStatus::late);
    auto stuck = pose_at(22);
    stuck.head.stamp = pose_at(21).head.stamp;
    CHECK(intake.take(stuck, {arrival_of(22)}).status == IntakeStatus::stuck_stamp);
    auto future = pose_at(23);
    future.head.stamp += 10'000'000'000;
    CHECK(intake.take(future, {arrival_of(23)}).status == IntakeStatus::from_the_future);
    CHECK(intake.take(pose_at(24), {arrival_of(24)}).status == IntakeStatus::accepted);
    auto stepped = pose_at(25);
    stepped.head.stamp -= 100'000'000;
    CHECK(intake.take(stepped, {arrival_of(25)}).status == IntakeStatus::clock_step);
    CHECK(intake.take(pose_at(26), {arrival_of(26)}).sample.time.seconds == 0);
    auto restarted = pose_at(27);
    restarted.head.stamp = 5;
    CHECK(intake.take(restarted, {arrival_of(27)}).status == IntakeStatus::restarted);
    CHECK(intake.take(pose_at(28), {arrival_of(28)}).sample.time.seconds == 0);
}

TEST_CASE("after a restart nothing is held against what was before") {
    auto intake = running();
    auto anew = pose_at(19);
    anew.head.stamp = 5;
    CHECK(intake.take(anew, {arrival_of(20)}).status == IntakeStatus::restarted);
    anew.rotation = {-anew.rotation.w, -anew.rotation.x, -anew.rotation.y, -anew.rotation.z};
    auto const first = intake.take(anew, {arrival_of(21)});
    CHECK(first.status == IntakeStatus::accepted);
    CHECK(first.sample.value[3] < 0); // the sign as it comes
    anew.head.stamp += period;
    ++anew.head.number;
    CHECK(intake.take(anew, {arrival_of(22)}).status == IntakeStatus::accepted); // it may stand still
}

TEST_CASE("one or two repeats of a moving pose are skipped, the third is a frozen sender until it moves") {
    auto intake = running();
    auto const repeat = [&intake](std::int64_t k) {
        auto m = pose_at(19);
        m.head = pose_at(k).head;
        return intake.take(m, {arrival_of(k)}).status;
    };
    CHECK(repeat(20) == IntakeStatus::repeated);
    CHECK(intake.take(pose_at(21), {arrival_of(21)}).status == IntakeStatus::accepted);
    CHECK(intake.take(pose_at(22), {arrival_of(22)}).status == IntakeStatus::accepted);
    auto const repeat22 = [&intake](std::int64_t k) {
        auto m = pose_at(22);
        m.head = pose_at(k).head;
        return intake.take(m, {arrival_of(k)}).status;
    };
    CHECK(repeat22(23) == IntakeStatus::repeated);
    CHECK(repeat22(24) == IntakeStatus::repeated);
    for (std::int64_t k = 25; k < 200; ++k)
        CHECK(repeat22(k) == IntakeStatus::frozen);
    CHECK(intake.take(pose_at(200), {arrival_of(200)}).status == IntakeStatus::accepted);
}

TEST_CASE("a sender that renews its values every third message is not frozen") {
    Intake<PoseMessage> intake(options);
    for (std::int64_t k = 0; k < 300; ++k) {
        auto m = pose_at(k - k % 3);
        m.head = pose_at(k).head;
        auto const status = intake.take(m, {arrival_of(k)}).status;
        CHECK(status == (k % 3 == 0 || k < 3 ? IntakeStatus::accepted : IntakeStatus::repeated));
    }
}

TEST_CASE("a robot that brakes to rest and starts again is not frozen") {
    // 9.375 m/s² take 0.3 m/s to rest in eight periods: the last way before is as long as it can be.
    for (double const braking : {0.5, 2.0, 9.0, 9.375}) {
        for (double const step : {0.0, 1e-6, 10e-6}) { // what the sender rounds to, m
            for (double const start : {0.0, 2e-6, 4e-6, 6e-6, 8e-6}) {
                Intake<PoseMessage> intake(options);
                double x = start, v = 0.3;
                for (std::int64_t k = 0; k < 800; ++k) {
                    double const a = k < 100 ? 0 : k < 400 ? -braking : 1.0;
                    // Uniform acceleration within the period, down to rest.
                    double const time = a < 0 ? std::min(0.004, v / -a) : 0.004;
                    x += v * time + 0.5 * a * time * time;
                    v = std::max(v + a * time, 0.0);
                    auto m = pose_at(k);
                    m.rotation = {1, 0, 0, 0};
                    m.origin.x = step > 0 ? std::round(x / step) * step : x;
                    CAPTURE(k);
                    CAPTURE(braking);
                    CAPTURE(step);
                    REQUIRE(intake.take(m, {arrival_of(k)}).status == IntakeStatus::accepted);
                }
            }
        }
    }
}

TEST_CASE("message rates of 0 say that the robot stands, and rates that stay say that it does not") {
    for (bool const stands : {false, true}) {
        auto intake = running();
        for (std::int64_t k = 20; k < 30; ++k) {
            auto m = pose_at(19);
            m.head = pose_at(k).head;
            m.head.has_rates = true;
            m.velocity = {stands ? 1e-4 : 0.2, 0, 0};
            CHECK(intake.take(m, {arrival_of(k)}).status == (stands   ? IntakeStatus::accepted
                                                             : k < 22 ? IntakeStatus::repeated
                                                                      : IntakeStatus::frozen));
        }
    }
}

TEST_CASE("a flange that turns without moving freezes as well") {
    Intake<PoseMessage> intake(options);
    for (std::int64_t k = 0; k < 20; ++k) {
        auto m = pose_at(k);
        m.origin = {0, 0, 0};
        CHECK(intake.take(m, {arrival_of(k)}).status == IntakeStatus::accepted);
    }
    auto m = pose_at(19);
    m.origin = {0, 0, 0};
    m.head = pose_at(20).head;
    CHECK(intake.take(m, {arrival_of(20)}).status == IntakeStatus::repeated);
}

TEST_CASE("joints are checked alike") {
    Intake<JointMessage<6>> intake(options);
    auto const joints_at = [](std::int64_t k) {
        JointMessage<6> m{};
        m.head = {k * period, 0, true, false, true, SampleKind::set_point};
        for (int i = 0; i < 6; ++i) {
            m.joint[i] = 0.1 * i + (i == 4 ? 0.002 * static_cast<double>(k) : 0);
            m.rate[i] = i == 4 ? 0.5 : 0;
        }
        return m;
    };
    for (std::int64_t k = 0; k < 20; ++k) {
        auto const taken = intake.take(joints_at(k), {arrival_of(k)});
        REQUIRE(taken.status == IntakeStatus::accepted);
        CHECK(taken.sample.value[3] == doctest::Approx(0.3));
        CHECK(taken.sample.rate[4] == 0.5);
        CHECK(taken.sample.kind == SampleKind::set_point);
    }
    auto frozen = joints_at(19);
    for (std::int64_t k = 20; k < 25; ++k) {
        frozen.head.stamp = k * period;
        CHECK(intake.take(frozen, {arrival_of(k)}).status ==
              (k < 22 ? IntakeStatus::repeated : IntakeStatus::frozen));
    }
    auto bad = joints_at(30);
    bad.rate[5] = infinite;
    CHECK(intake.take(bad, {arrival_of(30)}).status == IntakeStatus::not_finite);
    bad.head.has_rates = false;
    auto const without = intake.take(bad, {arrival_of(30)});
    CHECK(without.status == IntakeStatus::accepted);
    CHECK(without.sample.rate[5] == 0);
    bad.joint[0] = not_a_number;
    CHECK(intake.take(bad, {arrival_of(31)}).status == IntakeStatus::not_finite);
}

TEST_CASE("random faults: what is accepted is finite, unit, in order, and right") {
    Random random(16);
    for (int run = 0; run < 300; ++run) {
        Intake<PoseMessage> intake(options);
        double before = -1;
        std::array<double, 4> rotation{};
        bool anew = true;
        std::int64_t base = 0;
        for (std::int64_t k = 0; k < 200; ++k) {
            auto m = pose_at(k);
            bool garbled = false; // values that are wrong, not only missing
            switch (random.index(24)) {
            case 0: // lost
                k += static_cast<std::int64_t>(random.index(20));
                continue;
            case 1: // not finite
                m.origin.y = random.unit() < 0.5 ? not_a_number : infinite;
                garbled = true;
                break;
            case 2: // not a rotation
                m.rotation.w += 0.1;
                m.rotation.z += 0.1;
                garbled = true;
                break;
            case 3: // overtaken
                m = pose_at(std::max<std::int64_t>(0, k - 1 - static_cast<std::int64_t>(random.index(5))));
                break;
            case 4: // stuck
                m.head.stamp -= period;
                garbled = true;
                break;
            case 5: // from the future
                m.head.stamp += 1'000'000'000;
                garbled = true;
                break;
            case 6: // the other sign
                m.rotation = {-m.rotation.w, -m.rotation.x, -m.rotation.y, -m.rotation.z};
                break;
            default:
                break;
            }
            auto const taken = intake.take(m, {arrival_of(k) + random.uniform(0, 1e-3)});
            if (taken.status == IntakeStatus::clock_step || taken.status == IntakeStatus::restarted) {
                anew = true;
                continue;
            }
            if (taken.status != IntakeStatus::accepted)
                continue;
            if (anew) {
                base = m.head.stamp;
                before = -1;
            }
            CHECK(taken.sample.time.seconds > before);
            CHECK(std::abs(taken.sample.time.seconds - static_cast<double>(m.head.stamp - base) * 1e-9) <
                  1e-12);
            before = taken.sample.time.seconds;
            double norm = 0, product = 0;
            for (std::size_t i = 0; i < 4; ++i) {
                norm += taken.sample.value[3 + i] * taken.sample.value[3 + i];
                product += taken.sample.value[3 + i] * rotation[i];
                rotation[i] = taken.sample.value[3 + i];
            }
            CHECK(std::abs(norm - 1) < 1e-15);
            CHECK((anew || product > 0.9));
            CHECK(taken.sample.value[0] == m.origin.x);
            // Only what looks sound in itself gets through: a wrong stamp that comes first after a restart.
            CHECK((!garbled || anew || m.head.stamp != pose_at(k).head.stamp));
            anew = false;
        }
    }
}

TEST_CASE("only faults of the sender go into a forecast") {
    CHECK(fault_of(IntakeStatus::accepted) == StreamFault::none);
    CHECK(fault_of(IntakeStatus::duplicate) == StreamFault::none);
    CHECK(fault_of(IntakeStatus::late) == StreamFault::none);
    CHECK(fault_of(IntakeStatus::repeated) == StreamFault::none);
    CHECK(fault_of(IntakeStatus::not_finite) == StreamFault::not_finite);
    CHECK(fault_of(IntakeStatus::not_a_rotation) == StreamFault::not_a_rotation);
    CHECK(fault_of(IntakeStatus::frozen) == StreamFault::frozen);
    CHECK(fault_of(IntakeStatus::stuck_stamp) == StreamFault::stuck_stamp);
    CHECK(fault_of(IntakeStatus::from_the_future) == StreamFault::from_the_future);
    CHECK(fault_of(IntakeStatus::clock_step) == StreamFault::clock_step);
    CHECK(fault_of(IntakeStatus::restarted) == StreamFault::restarted);
}

TEST_CASE("options outside of what they can be are refused") {
    auto const make = [](int frozen, double braking, double turning, double period_given) {
        return Intake<PoseMessage>({{period_given}, frozen, braking, turning});
    };
    CHECK_THROWS_AS(make(0, 10, 50, 0.004), BadInput);
    CHECK_THROWS_AS(make(3, 0, 50, 0.004), BadInput);
    CHECK_THROWS_AS(make(3, 10, not_a_number, 0.004), BadInput);
    CHECK_THROWS_AS(make(3, 10, 50, 0), BadInput);
}

TEST_CASE("no message touches the heap") {
    Intake<PoseMessage> intake(options);
    AllocationGuard const guard;
    int accepted = 0;
    for (std::int64_t k = 0; k < 1000; ++k) {
        auto m = pose_at(k);
        if (k % 50 == 49)
            m.head.stamp = k % 100;
        accepted += intake.take(m, {arrival_of(k)}).status == IntakeStatus::accepted ? 1 : 0;
    }
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(accepted > 900);
}
