#ifndef SEAMHOLD_LIVE_FINGERPRINT_MIXER_HPP
#define SEAMHOLD_LIVE_FINGERPRINT_MIXER_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/head/scan_head.hpp"
#include "seamhold/live/fingerprint.hpp"
#include "seamhold/number/number.hpp"

#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace seamhold {

namespace detail {
/// The hash FNV-1a with 64 bits, byte by byte. Source: G. Fowler, L. C. Noll, K.-P. Vo, D. Eastlake, *The FNV
/// Non-Cryptographic Hash Algorithm* (from memory; its published test values are in the test).
struct ByteHash {
    std::uint64_t state = 0xcbf29ce484222325U;

    constexpr void add(std::uint8_t byte) { state = (state ^ byte) * 0x100000001b3U; }
};
} // namespace detail

/// Mixes what something is made of to 64 bits, in the order in which it is put in. Numbers count as the cell
/// of a grid in which they lie, so that the last bits of another compiler do not matter: where n numbers with
/// a resolution r differ by d each, the chance that any falls into another cell is about n·d/r (1e-9 for the
/// 12 numbers of a pose and d = 1e-17 m). Numbers that people write do not lie at a cell's edge. What differs
/// by less than a cell may go unseen, the less likely the more numbers show it. For set-up.
class FingerprintMixer {
public:
    /// A number to an absolute resolution above 0, in its own unit.
    FingerprintMixer& absolute(double x, double resolution) {
        check(resolution);
        return cell(x / resolution, 'a');
    }

    /// A number to a relative resolution above 0; its sign counts, all numbers below 1e-300 are one.
    FingerprintMixer& relative(double x, double resolution) {
        check(resolution);
        if (!is_finite(x))
            return cell(x, 'r');
        double const size = std::abs(x);
        if (!(size >= 1e-300))
            return byte('z');
        return byte(x < 0 ? '-' : '+').cell(std::log(size) / resolution, 'r');
    }

    /// A whole number.
    FingerprintMixer& count(std::uint64_t n) {
        byte('n');
        return bits(n);
    }

    /// A text, byte by byte, with its length.
    FingerprintMixer& text(std::string_view characters) {
        count(characters.size());
        for (char const c : characters)
            byte(static_cast<std::uint8_t>(c));
        return *this;
    }

    /// A pose, its origin to 1e-7 m and its axes to 1e-7.
    template <class To, class From> FingerprintMixer& pose(Pose<To, From> const& to_from_from) {
        constexpr double resolution = 1e-7;
        for (auto const& row : to_from_from.rotation.m)
            for (double const x : row)
                absolute(x, resolution);
        return point(to_from_from.origin, resolution);
    }

    /// A head, by what it answers: its ranges and its working distance, and on a grid of 9 × 9 × 3 commands
    /// the beam, the command back to the beam's focus and the clearances there, each to 1e-6 m, rad or 1.
    /// Maps, tables and separations are in it without being asked for; what shows between these places only
    /// is not.
    template <ScanHead HeadModel> FingerprintMixer& head(HeadModel const& head) {
        auto const ranges = head.ranges();
        for (auto const& range : {ranges.x_mirror, ranges.y_mirror, ranges.focus})
            relative(range.low, 1e-9).relative(range.high, 1e-9);
        relative(value_of(head.working_distance()), 1e-9);
        // Less than the whole range: at its ends a status may hang on a last bit.
        auto const place = [](Range const& range, int i, int last) {
            return (range.low + range.high) / 2 + 0.93 * (range.high - range.low) * (i / double(last) - 0.5);
        };
        for (int i = 0; i <= 8; ++i)
            for (int k = 0; k <= 8; ++k)
                for (int f = 0; f <= 2; ++f)
                    probe(head, Command<>{place(ranges.x_mirror, i, 8), place(ranges.y_mirror, k, 8),
                                          place(ranges.focus, f, 2)});
        return *this;
    }

    /// A seam, by what it answers: its duration, and at 65 times place, normal, arc length and power, each to
    /// 1e-6 in SI units, the power relatively; its focus offset.
    template <class AnyOrSeam> FingerprintMixer& seam(AnyOrSeam const& seam) {
        constexpr double resolution = 1e-6;
        double const duration = seam.duration();
        absolute(duration, resolution).absolute(seam.focus_offset, resolution);
        for (int i = 0; i <= 64; ++i) {
            // The ends, and between them no regular steps, which a weave could be in time with.
            double const share = i * 0.61803398875;
            double const time = duration * (i == 64 ? 1 : share - std::floor(share));
            auto const spot = seam.at(time);
            point(spot.position, resolution).point(spot.normal, resolution);
            absolute(seam.arc_length(time), resolution).relative(seam.power_at(time, 0), resolution);
        }
        return *this;
    }

    /// What was mixed so far; never 0, which stands for nothing.
    std::uint64_t value() const { return hash_.state == 0 ? 1 : hash_.state; }

private:
    static void check(double resolution) {
        if (!is_finite(resolution) || !(resolution > 0))
            throw BadInput("a fingerprint's resolution must be above 0; given was " +
                           detail::text_of(resolution));
    }

    FingerprintMixer& byte(std::uint8_t b) {
        hash_.add(b);
        return *this;
    }

    FingerprintMixer& bits(std::uint64_t b) {
        for (int i = 0; i < 8; ++i)
            byte(static_cast<std::uint8_t>(b >> (8 * i) & 0xffU));
        return *this;
    }

    /// The number of the cell that holds x; x itself where it is so large that cells are no wider than its
    /// last bits; one mark for all that is not finite.
    FingerprintMixer& cell(double x, std::uint8_t kind) {
        byte(kind);
        if (!is_finite(x))
            return byte('?');
        if (std::abs(x) >= 0x1p52)
            return bits(std::bit_cast<std::uint64_t>(x));
        // Whole numbers, halves, fifths and their kin lie well within.
        constexpr double offset = 0.38196601125;
        return bits(static_cast<std::uint64_t>(static_cast<std::int64_t>(std::floor(x + offset))));
    }

    template <class P> FingerprintMixer& point(P const& p, double resolution) {
        return absolute(p.x, resolution).absolute(p.y, resolution).absolute(p.z, resolution);
    }

    template <class HeadModel> void probe(HeadModel const& head, Command<> const& command) {
        constexpr double resolution = 1e-6;
        auto const beam = value_of(head.ray(command));
        point(beam.origin, resolution).point(beam.direction, resolution);
        absolute(beam.path, resolution).absolute(beam.focus_path, resolution);
        auto const aim = head.aim(beam.origin + (beam.focus_path - beam.path) * beam.direction, 0.0);
        auto const status = status_of(aim);
        count(static_cast<std::uint64_t>(status));
        if (status != Status::ok)
            return;
        auto const back = value_of(aim.command);
        absolute(back.x_mirror, resolution)
            .absolute(back.y_mirror, resolution)
            .absolute(back.focus, resolution);
        absolute(value_of(aim.clearance.field), resolution)
            .absolute(value_of(aim.clearance.aperture), resolution);
    }

    detail::ByteHash hash_;
};

/// The fingerprint of a pose: of a mount, or of where a part stands.
template <class To, class From> std::uint64_t fingerprint_of(Pose<To, From> const& to_from_from) {
    return FingerprintMixer().pose(to_from_from).value();
}

/// The fingerprint of a head.
template <ScanHead HeadModel> std::uint64_t fingerprint_of(HeadModel const& head) {
    return FingerprintMixer().head(head).value();
}

} // namespace seamhold

#endif
