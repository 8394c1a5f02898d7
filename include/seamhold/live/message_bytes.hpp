#ifndef SEAMHOLD_LIVE_MESSAGE_BYTES_HPP
#define SEAMHOLD_LIVE_MESSAGE_BYTES_HPP

#include "seamhold/live/message.hpp"

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>

/// Messages as bytes, for a datagram or a file: a layout of our own, for those who write the sender too. All
/// numbers are little endian whatever the host; doubles are IEEE 754 binary64.
///
/// | at | bytes | what |
/// |---|---|---|
/// | 0 | 2 | tag: the letters `s`, `h` |
/// | 2 | 1 | version of the layout: 1 |
/// | 3 | 1 | kind: 1 a pose, 2 joints |
/// | 4 | 2 | length of the whole, bytes |
/// | 6 | 1 | number of joints; 0 in a pose |
/// | 7 | 1 | flags: 1 has a stamp, 2 has a number, 4 has rates, 8 is a set-point; the others 0 |
/// | 8 | 8 | stamp, ns, signed |
/// | 16 | 4 | number |
/// | 20 | 104 | a pose: origin x, y, z in m; quaternion w, x, y, z; velocity, m/s; angular velocity, rad/s |
/// | 20 | 16·N | joints: N values, N rates |
/// | then | 4 | CRC-32 of all before (polynomial 04C11DB7, reflected, as in Ethernet and zip files) |
///
/// What a flag says is not there stands as 0 and is not read.
namespace seamhold {

/// What came of bytes.
enum class BytesStatus : std::uint8_t {
    good,
    wrong_length, ///< other than the layout's for this kind, or than the length within says
    wrong_tag,    ///< something else altogether
    wrong_version,
    wrong_kind,  ///< a pose where joints were expected, joints where a pose was, or another number of joints
    wrong_flags, ///< a flag of no meaning is set
    wrong_sum    ///< damaged on the way
};

/// A pose message from bytes; zeros unless the status is `good`.
struct DecodedPose {
    BytesStatus status;
    PoseMessage message;
};

/// A joint message from bytes; zeros unless the status is `good`.
template <int N> struct DecodedJoints {
    BytesStatus status;
    JointMessage<N> message;
};

/// Bytes of a pose message.
constexpr std::size_t pose_bytes = 128;

/// Bytes of a message of N joints.
template <int N> constexpr std::size_t joint_bytes = 24 + 16 * static_cast<std::size_t>(N);

namespace detail {

static_assert(std::numeric_limits<double>::is_iec559 && sizeof(double) == 8);

constexpr std::array<std::uint32_t, 256> sum_table() {
    std::array<std::uint32_t, 256> table{};
    for (std::uint32_t i = 0; i < 256; ++i) {
        std::uint32_t r = i;
        for (int bit = 0; bit < 8; ++bit)
            r = (r >> 1U) ^ ((r & 1U) != 0 ? 0xedb88320U : 0U); // 04C11DB7 reflected
        table[i] = r;
    }
    return table;
}

// CRC-32 as in ISO 3309 and RFC 1952, section 8. The table is made at compile time: there is no first call.
constexpr std::uint32_t check_sum(std::span<std::byte const> bytes) {
    constexpr auto table = sum_table();
    std::uint32_t r = 0xffffffffU;
    for (std::byte const b : bytes)
        r = (r >> 8U) ^ table[(r ^ std::to_integer<std::uint32_t>(b)) & 0xffU];
    return ~r;
}

// Puts numbers into bytes one after another. The bytes must suffice.
class ByteWriter {
public:
    explicit constexpr ByteWriter(std::span<std::byte> bytes) : bytes_(bytes) {}

    constexpr void put(std::uint64_t number, std::size_t size) {
        for (std::size_t i = 0; i < size; ++i)
            bytes_[at_++] = static_cast<std::byte>((number >> (8 * i)) & 0xffU);
    }
    constexpr void put(double x) { put(std::bit_cast<std::uint64_t>(x), 8); }

private:
    std::span<std::byte> bytes_;
    std::size_t at_ = 0;
};

// Takes numbers out of bytes one after another. The bytes must suffice.
class ByteReader {
public:
    explicit constexpr ByteReader(std::span<std::byte const> bytes) : bytes_(bytes) {}

    constexpr std::uint64_t take(std::size_t size) {
        std::uint64_t number = 0;
        for (std::size_t i = 0; i < size; ++i)
            number |= std::to_integer<std::uint64_t>(bytes_[at_++]) << (8 * i);
        return number;
    }
    constexpr double take() { return std::bit_cast<double>(take(8)); }

private:
    std::span<std::byte const> bytes_;
    std::size_t at_ = 0;
};

constexpr std::size_t head_bytes = 20;

template <std::size_t Size>
constexpr ByteWriter begin_bytes(std::array<std::byte, Size>& bytes, MessageHead const& head, int joints) {
    ByteWriter to(bytes);
    to.put(0x6873, 2); // 's', 'h'
    to.put(1, 1);
    to.put(joints == 0 ? 1 : 2, 1);
    to.put(Size, 2);
    to.put(static_cast<std::uint64_t>(joints), 1);
    to.put((head.has_stamp ? 1U : 0U) | (head.has_number ? 2U : 0U) | (head.has_rates ? 4U : 0U) |
               (head.kind == SampleKind::set_point ? 8U : 0U),
           1);
    to.put(head.has_stamp ? static_cast<std::uint64_t>(head.stamp) : 0, 8);
    to.put(head.has_number ? head.number : 0, 4);
    return to;
}

template <std::size_t Size>
constexpr void end_bytes(std::array<std::byte, Size> const& bytes, ByteWriter& to) {
    to.put(check_sum(std::span(bytes).first(Size - 4)), 4);
}

constexpr BytesStatus check_bytes(std::span<std::byte const> bytes, std::size_t size, int joints) {
    if (bytes.size() < head_bytes + 4)
        return BytesStatus::wrong_length;
    ByteReader from(bytes);
    if (from.take(2) != 0x6873)
        return BytesStatus::wrong_tag;
    if (from.take(1) != 1)
        return BytesStatus::wrong_version;
    std::uint64_t const kind = from.take(1), length = from.take(2), joints_there = from.take(1);
    if (kind != (joints == 0 ? 1 : 2) || joints_there != static_cast<std::uint64_t>(joints))
        return BytesStatus::wrong_kind;
    if (length != size || bytes.size() != size)
        return BytesStatus::wrong_length;
    if (ByteReader(bytes.last(4)).take(4) != check_sum(bytes.first(size - 4)))
        return BytesStatus::wrong_sum;
    return (from.take(1) & ~std::uint64_t{15}) == 0 ? BytesStatus::good : BytesStatus::wrong_flags;
}

// The head, from the flags on; `from` must stand at its beginning.
constexpr MessageHead take_head(ByteReader& from) {
    from.take(7);
    std::uint64_t const flags = from.take(1);
    auto const stamp = static_cast<std::int64_t>(from.take(8));
    auto const number = static_cast<std::uint32_t>(from.take(4));
    bool const has_stamp = (flags & 1U) != 0, has_number = (flags & 2U) != 0;
    return {has_stamp ? stamp : 0,
            has_number ? number : 0,
            has_stamp,
            has_number,
            (flags & 4U) != 0,
            (flags & 8U) != 0 ? SampleKind::set_point : SampleKind::measured};
}

} // namespace detail

/// A pose message as bytes. Numbers that are not finite go through as they are: the intake refuses them.
constexpr std::array<std::byte, pose_bytes> encode(PoseMessage const& m) {
    std::array<std::byte, pose_bytes> bytes{};
    auto to = detail::begin_bytes(bytes, m.head, 0);
    for (double const x :
         {m.origin.x, m.origin.y, m.origin.z, m.rotation.w, m.rotation.x, m.rotation.y, m.rotation.z})
        to.put(x);
    for (double const x : {m.velocity.x, m.velocity.y, m.velocity.z, m.turning.x, m.turning.y, m.turning.z})
        to.put(m.head.has_rates ? x : 0.0);
    detail::end_bytes(bytes, to);
    return bytes;
}

/// A message of N joints as bytes.
template <int N> constexpr std::array<std::byte, joint_bytes<N>> encode(JointMessage<N> const& m) {
    static_assert(N >= 1 && N <= 255);
    std::array<std::byte, joint_bytes<N>> bytes{};
    auto to = detail::begin_bytes(bytes, m.head, N);
    for (double const x : m.joint)
        to.put(x);
    for (double const x : m.rate)
        to.put(m.head.has_rates ? x : 0.0);
    detail::end_bytes(bytes, to);
    return bytes;
}

/// A pose message from bytes, whatever they are. It does not throw, allocate or read beyond them. A good
/// status says that the bytes are what was sent, not that the numbers make sense.
constexpr DecodedPose decode_pose(std::span<std::byte const> bytes) {
    DecodedPose r{detail::check_bytes(bytes, pose_bytes, 0), {}};
    if (r.status != BytesStatus::good)
        return r;
    detail::ByteReader from(bytes);
    auto& m = r.message;
    m.head = detail::take_head(from);
    for (double* x :
         {&m.origin.x, &m.origin.y, &m.origin.z, &m.rotation.w, &m.rotation.x, &m.rotation.y, &m.rotation.z})
        *x = from.take();
    if (m.head.has_rates)
        for (double* x :
             {&m.velocity.x, &m.velocity.y, &m.velocity.z, &m.turning.x, &m.turning.y, &m.turning.z})
            *x = from.take();
    return r;
}

/// A message of N joints from bytes, whatever they are; as `decode_pose`.
template <int N> constexpr DecodedJoints<N> decode_joints(std::span<std::byte const> bytes) {
    static_assert(N >= 1 && N <= 255);
    DecodedJoints<N> r{detail::check_bytes(bytes, joint_bytes<N>, N), {}};
    if (r.status != BytesStatus::good)
        return r;
    detail::ByteReader from(bytes);
    r.message.head = detail::take_head(from);
    for (double& x : r.message.joint)
        x = from.take();
    if (r.message.head.has_rates)
        for (double& x : r.message.rate)
            x = from.take();
    return r;
}

} // namespace seamhold

#endif
