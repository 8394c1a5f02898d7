#ifndef SEAMHOLD_LIVE_FINGERPRINT_HPP
#define SEAMHOLD_LIVE_FINGERPRINT_HPP

#include "seamhold/number/bad_input.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <type_traits>

namespace seamhold {

/// What a plan is made for.
enum class FingerprintPart : std::uint8_t {
    head,       ///< the scan head: how it aims, and what it can reach
    mount,      ///< where it sits on the flange
    part,       ///< where the part stands, and its seams
    calibration ///< what was measured in the cell
};

/// The number of parts of a fingerprint.
inline constexpr std::size_t fingerprint_part_count = 4;

/// A part of a fingerprint in words.
constexpr char const* to_string(FingerprintPart part) {
    constexpr char const* names[fingerprint_part_count] = {"head", "mount", "part", "calibration"};
    return names[static_cast<std::size_t>(part)];
}

/// Tells one head, mount, part and calibration from another, 64 bits each, made by `FingerprintMixer`. It
/// guards against mistakes, not against forgery. 0 where nothing was mixed.
struct Fingerprint {
    std::array<std::uint64_t, fingerprint_part_count> part = {}; ///< in the order of FingerprintPart

    /// The bits of one part.
    constexpr std::uint64_t& operator[](FingerprintPart which) {
        return part[static_cast<std::size_t>(which)];
    }
    constexpr std::uint64_t operator[](FingerprintPart which) const {
        return part[static_cast<std::size_t>(which)];
    }
};

static_assert(std::is_trivially_copyable_v<Fingerprint>);

/// The first part in which two fingerprints differ; none where they are the same. For the tick path too.
constexpr std::optional<FingerprintPart> first_difference(Fingerprint const& a, Fingerprint const& b) {
    for (std::size_t i = 0; i < fingerprint_part_count; ++i)
        if (a.part[i] != b.part[i])
            return static_cast<FingerprintPart>(i);
    return std::nullopt;
}

/// Refuses a plan at set-up: throws BadInput, naming the first part that differs and both prints of it,
/// where a plan was made for something else than what is loaded.
inline void check_fingerprint(Fingerprint const& plan, Fingerprint const& loaded) {
    auto const different = first_difference(plan, loaded);
    if (!different)
        return;
    auto const shown = [](std::uint64_t bits) {
        constexpr char digits[] = "0123456789abcdef";
        std::string text(16, '0');
        for (std::size_t i = 0; i < 16; ++i)
            text[15 - i] = digits[(bits >> (4 * i)) & 15U];
        return text;
    };
    throw BadInput(std::string("the plan was made for another ") + to_string(*different) +
                   ": its fingerprint is " + shown(plan[*different]) + ", that of what is loaded is " +
                   shown(loaded[*different]) + "; plan anew, or load what it was made for");
}

} // namespace seamhold

#endif
