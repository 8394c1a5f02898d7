#ifndef SEAMHOLD_BUDGET_ERROR_NUMBERS_HPP
#define SEAMHOLD_BUDGET_ERROR_NUMBERS_HPP

#include <array>
#include <cstddef>
#include <string>

/// What can be off between the command and the spot, as small numbers at fixed places of the chain.
namespace seamhold {

/// How many numbers can be off.
inline constexpr std::size_t error_numbers = 30;

/// All that is off at one moment, in the order of the light: head, mount, flange, part, face. 0 is as
/// believed.
template <class T = double> using ErrorNumbers = std::array<T, error_numbers>;

/// A stretch of the error numbers: where in the chain a source acts.
struct ErrorPlace {
    std::size_t first; ///< the first of its numbers
    std::size_t count; ///< how many
};

/// The mechanical angles of the x and the y mirror, rad.
inline constexpr ErrorPlace error_in_mirror_angles{0, 2};
/// The gains of the x and the y mirror: the angle is off by this share of what is commanded.
inline constexpr ErrorPlace error_in_mirror_gains{2, 2};
/// Angles and gains of both mirrors.
inline constexpr ErrorPlace error_in_mirrors{0, 4};
/// The displacement of the focusing lens, m.
inline constexpr ErrorPlace error_in_lens{4, 1};
/// The beam as a whole, shifted along the head's x and y, m.
inline constexpr ErrorPlace error_in_beam{5, 2};
/// The focus along the beam, at the work, m: positive farther from the head.
inline constexpr ErrorPlace error_in_focus{7, 1};
/// The head on the flange: turn (x, y, z), rad, then shift, m, in the head's own axes.
inline constexpr ErrorPlace error_on_head{8, 6};
/// The flange in the cell: turn, rad, then shift, m, in the flange's axes.
inline constexpr ErrorPlace error_on_flange{14, 6};
/// The flange's and the part's time, s: they are where they were believed to be this much later.
inline constexpr ErrorPlace error_in_clocks{20, 2};
/// The part in the cell: turn, rad, then shift, m, in the part's axes.
inline constexpr ErrorPlace error_on_part{22, 6};
/// The spot on the face, along and across the seam, m.
inline constexpr ErrorPlace error_on_face{28, 2};

/// An error number in words, "the turn of the flange about its x axis"; "" where there is none such.
inline std::string error_number_name(std::size_t number) {
    static constexpr std::array<char const*, error_numbers> names = {
        "the x mirror's angle",
        "the y mirror's angle",
        "the x mirror's gain",
        "the y mirror's gain",
        "the lens's displacement",
        "the beam's shift along the head's x axis",
        "the beam's shift along the head's y axis",
        "the focus along the beam",
        "the turn of the head about its x axis",
        "the turn of the head about its y axis",
        "the turn of the head about its z axis",
        "the shift of the head along its x axis",
        "the shift of the head along its y axis",
        "the shift of the head along its z axis",
        "the turn of the flange about its x axis",
        "the turn of the flange about its y axis",
        "the turn of the flange about its z axis",
        "the shift of the flange along its x axis",
        "the shift of the flange along its y axis",
        "the shift of the flange along its z axis",
        "the flange's time",
        "the part's time",
        "the turn of the part about its x axis",
        "the turn of the part about its y axis",
        "the turn of the part about its z axis",
        "the shift of the part along its x axis",
        "the shift of the part along its y axis",
        "the shift of the part along its z axis",
        "the spot's shift along the seam",
        "the spot's shift across the seam"};
    return number < error_numbers ? names[number] : "";
}

/// The unit of an error number: rad, m, s, or none for a gain.
constexpr char const* error_number_unit(std::size_t number) {
    auto const within = [number](ErrorPlace const& place) {
        return number >= place.first && number < place.first + place.count;
    };
    auto const turns = [number](ErrorPlace const& place) {
        return number >= place.first && number < place.first + 3;
    };
    if (within(error_in_clocks))
        return "s";
    if (within(error_in_mirror_gains))
        return "";
    return within(error_in_mirror_angles) || turns(error_on_head) || turns(error_on_flange) ||
                   turns(error_on_part)
               ? "rad"
               : "m";
}

} // namespace seamhold

#endif
