#include <doctest/doctest.h>

#include "seamhold/live/message_bytes.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"

#include <boost/crc.hpp>

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <limits>
#include <span>
#include <vector>

using seamhold::BytesStatus;
using seamhold::decode_joints;
using seamhold::decode_pose;
using seamhold::encode;
using seamhold::JointMessage;
using seamhold::MessageHead;
using seamhold::pose_bytes;
using seamhold::PoseMessage;
using seamhold::SampleKind;
using seamhold::test::AllocationGuard;
using seamhold::test::Random;

namespace {

std::uint32_t crc_by_boost(std::span<std::byte const> bytes) {
    boost::crc_32_type crc;
    crc.process_bytes(bytes.data(), bytes.size());
    return crc.checksum();
}

// With its sum renewed, as a sender with a fault would send it.
template <class Bytes> Bytes with_sum(Bytes bytes) {
    auto const sum = crc_by_boost(std::span(bytes).first(bytes.size() - 4));
    for (std::size_t i = 0; i < 4; ++i)
        bytes[bytes.size() - 4 + i] = static_cast<std::byte>((sum >> (8 * i)) & 0xffU);
    return bytes;
}

PoseMessage const pose{{-2, 0x01020304, true, true, true, SampleKind::set_point},
                       {1, -2, 0.5},
                       {0.5, -0.5, 0.5, -0.5},
                       {3, 4, 5},
                       {6, 7, 8}};

} // namespace

TEST_CASE("the check sum is the one of Boost, and of the catalogues") {
    // The check value of CRC-32 for the digits 1 to 9: CBF43926 (published in every catalogue of CRCs, from
    // memory).
    std::array<std::byte, 9> digits{};
    for (std::size_t i = 0; i < 9; ++i)
        digits[i] = static_cast<std::byte>('1' + i);
    CHECK(seamhold::detail::check_sum(digits) == 0xcbf43926U);
    Random random(17);
    for (std::size_t size = 0; size < 300; ++size) {
        std::vector<std::byte> bytes(size);
        for (auto& b : bytes)
            b = static_cast<std::byte>(random.index(256));
        CHECK(seamhold::detail::check_sum(bytes) == crc_by_boost(bytes));
    }
}

TEST_CASE("a pose stands in bytes as the table says") {
    // Written out by hand from the table in the header. 1 is 3ff0…, −2 c000…, 0.5 3fe0…, −0.5 bfe0…, 3 4008…,
    // 4 4010…, 5 4014…, 6 4018…, 7 401c…, 8 4020… (IEEE 754).
    std::vector<int> by_hand{'s',  'h',  1,    1,    128,  0,    0, 15, 0xfe, 0xff,
                             0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 4, 3,  2,    1};
    for (int const high : {0x3ff0, 0xc000, 0x3fe0, 0x3fe0, 0xbfe0, 0x3fe0, 0xbfe0, 0x4008, 0x4010, 0x4014,
                           0x4018, 0x401c, 0x4020}) {
        by_hand.insert(by_hand.end(), 6, 0);
        by_hand.push_back(high & 0xff);
        by_hand.push_back(high >> 8);
    }
    auto const bytes = encode(pose);
    REQUIRE(by_hand.size() == bytes.size() - 4);
    for (std::size_t i = 0; i < by_hand.size(); ++i) {
        CAPTURE(i);
        CHECK(std::to_integer<int>(bytes[i]) == by_hand[i]);
    }
    auto const sum = crc_by_boost(std::span(bytes).first(124));
    CHECK(std::to_integer<std::uint32_t>(bytes[124]) == (sum & 0xffU));
    CHECK(std::to_integer<std::uint32_t>(bytes[127]) == (sum >> 24U));
}

TEST_CASE("a pose comes back to the last bit, NaNs and zeros of both signs included") {
    Random random(18);
    for (int run = 0; run < 500; ++run) {
        PoseMessage m{};
        m.head = {static_cast<std::int64_t>(random.index(std::numeric_limits<std::size_t>::max())),
                  static_cast<std::uint32_t>(random.index(std::size_t{1} << 32U)),
                  run % 2 == 0,
                  run % 3 == 0,
                  run % 5 != 0,
                  run % 7 == 0 ? SampleKind::set_point : SampleKind::measured};
        double* const numbers[13] = {&m.origin.x,   &m.origin.y,   &m.origin.z,   &m.rotation.w,
                                     &m.rotation.x, &m.rotation.y, &m.rotation.z, &m.velocity.x,
                                     &m.velocity.y, &m.velocity.z, &m.turning.x,  &m.turning.y,
                                     &m.turning.z};
        for (double* x : numbers)
            *x = std::bit_cast<double>(
                static_cast<std::uint64_t>(random.index(std::numeric_limits<std::size_t>::max())));
        m.origin.x = run % 11 == 0   ? std::numeric_limits<double>::quiet_NaN()
                     : run % 13 == 0 ? -0.0
                                     : m.origin.x;
        auto const back = decode_pose(encode(m));
        REQUIRE(back.status == BytesStatus::good);
        auto const& b = back.message;
        CHECK(b.head.stamp == (m.head.has_stamp ? m.head.stamp : 0));
        CHECK(b.head.number == (m.head.has_number ? m.head.number : 0));
        CHECK(b.head.has_stamp == m.head.has_stamp);
        CHECK(b.head.has_number == m.head.has_number);
        CHECK(b.head.has_rates == m.head.has_rates);
        CHECK(b.head.kind == m.head.kind);
        double const got[13] = {b.origin.x,   b.origin.y,   b.origin.z,   b.rotation.w, b.rotation.x,
                                b.rotation.y, b.rotation.z, b.velocity.x, b.velocity.y, b.velocity.z,
                                b.turning.x,  b.turning.y,  b.turning.z};
        for (std::size_t i = 0; i < 13; ++i) {
            bool const there = i < 7 || m.head.has_rates;
            CHECK(std::bit_cast<std::uint64_t>(got[i]) ==
                  (there ? std::bit_cast<std::uint64_t>(*numbers[i]) : std::uint64_t{0}));
        }
    }
}

TEST_CASE("joints come back") {
    JointMessage<6> m{};
    m.head = {1'700'000'000'000'000'000, 7, true, true, true, SampleKind::measured};
    for (int i = 0; i < 6; ++i) {
        m.joint[i] = 0.25 * i;
        m.rate[i] = -i;
    }
    auto const bytes = encode(m);
    CHECK(bytes.size() == 120);
    auto const back = decode_joints<6>(bytes);
    REQUIRE(back.status == BytesStatus::good);
    CHECK(back.message.head.stamp == 1'700'000'000'000'000'000);
    for (int i = 0; i < 6; ++i) {
        CHECK(back.message.joint[i] == 0.25 * i);
        CHECK(back.message.rate[i] == -i);
    }
    CHECK(decode_joints<7>(bytes).status == BytesStatus::wrong_kind);
    CHECK(decode_pose(bytes).status == BytesStatus::wrong_kind);
    CHECK(decode_joints<6>(encode(pose)).status == BytesStatus::wrong_kind);
}

TEST_CASE("each wrong byte is noticed") {
    auto const bytes = encode(pose);
    for (std::size_t i = 0; i < bytes.size(); ++i)
        for (int bit = 0; bit < 8; ++bit) {
            auto changed = bytes;
            changed[i] ^= static_cast<std::byte>(1 << bit);
            auto const status = decode_pose(changed).status;
            CAPTURE(i);
            CHECK(status == (i < 2              ? BytesStatus::wrong_tag
                             : i == 2           ? BytesStatus::wrong_version
                             : i == 3 || i == 6 ? BytesStatus::wrong_kind
                             : i == 4 || i == 5 ? BytesStatus::wrong_length
                                                : BytesStatus::wrong_sum));
        }
}

TEST_CASE("each other length is refused") {
    auto const bytes = encode(pose);
    for (std::size_t size = 0; size < bytes.size(); ++size)
        CHECK(decode_pose(std::span(bytes).first(size)).status == BytesStatus::wrong_length);
    std::vector<std::byte> longer(bytes.begin(), bytes.end());
    longer.resize(1500);
    CHECK(decode_pose(longer).status == BytesStatus::wrong_length);
    CHECK(decode_pose({}).status == BytesStatus::wrong_length);
}

TEST_CASE("flags of no meaning and other versions are refused even with a right sum") {
    auto flags = encode(pose);
    flags[7] |= std::byte{0x10};
    CHECK(decode_pose(with_sum(flags)).status == BytesStatus::wrong_flags);
    auto version = encode(pose);
    version[2] = std::byte{2};
    CHECK(decode_pose(with_sum(version)).status == BytesStatus::wrong_version);
    auto joints = encode(pose);
    joints[6] = std::byte{6};
    CHECK(decode_pose(with_sum(joints)).status == BytesStatus::wrong_kind);
    CHECK(decode_pose(with_sum(encode(pose))).status == BytesStatus::good);
}

TEST_CASE("random bytes are refused") {
    Random random(19);
    for (int run = 0; run < 20000; ++run) {
        std::array<std::byte, pose_bytes> bytes;
        for (auto& b : bytes)
            b = static_cast<std::byte>(random.index(256));
        if (run % 2 == 0) { // a right head
            auto const good = encode(pose);
            std::memcpy(bytes.data(), good.data(), 20);
        }
        CHECK(decode_pose(bytes).status != BytesStatus::good);
    }
}

TEST_CASE("bytes can be made and read at compile time, and without the heap") {
    static_assert(decode_pose(encode(PoseMessage{})).status == BytesStatus::good);
    AllocationGuard const guard;
    auto const status = decode_pose(encode(pose)).status;
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(status == BytesStatus::good);
}
