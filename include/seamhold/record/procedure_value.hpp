#ifndef SEAMHOLD_RECORD_PROCEDURE_VALUE_HPP
#define SEAMHOLD_RECORD_PROCEDURE_VALUE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <bit>
#include <cstddef>
#include <cstdint>
#include <string>

namespace seamhold {

/// Where a value of a weld comes from.
enum class ValueOrigin : std::uint8_t {
    commanded, ///< what the plan told the machine to do
    measured,  ///< measured while it was welded, or at a check
    stated,    ///< said by a person, or by a paper that came with the material
    open       ///< not known: a blank that a person fills in
};

/// The same in words.
constexpr char const* to_string(ValueOrigin origin) {
    constexpr char const* names[] = {"commanded", "measured", "stated", "open"};
    return names[static_cast<std::size_t>(origin)];
}

/// One value of a weld that a welding procedure asks for: over the seam from `least` to `greatest`, or in
/// words.
struct ProcedureValue {
    std::string name;  ///< "power at the work"
    std::string unit;  ///< in which a person reads it: "W", "mm"; "" for words
    double least;      ///< over the seam; not a number where it is in words, or open
    double greatest;   ///< likewise
    std::string words; ///< "argon, 15 l/min", or what is to be said about the number
    ValueOrigin origin;
};

/// Throws BadInput, naming the value, for one that says nothing or half of something: without a name or with
/// an origin that was never set, with only one end of its range, an end that is infinite or ends in the wrong
/// order, and neither number nor words where it is not open.
inline void check_procedure_value(ProcedureValue const& value) {
    if (value.name.empty())
        throw BadInput("a value of a weld needs a name");
    auto const refuse = [&](std::string const& why) {
        throw BadInput("the value \"" + value.name + "\" of a weld " + why);
    };
    if (static_cast<std::size_t>(value.origin) > static_cast<std::size_t>(ValueOrigin::open))
        refuse("has an origin that was never set");
    auto const none = [](double x) { // by its bits, also where the compiler knows no NaN
        return !is_finite(x) && (std::bit_cast<std::uint64_t>(x) << 12U) != 0;
    };
    if (none(value.least) && none(value.greatest)) {
        if (value.words.empty() && value.origin != ValueOrigin::open)
            refuse(std::string("is ") + to_string(value.origin) + " and has neither number nor words");
    } else if (!is_finite(value.least) || !is_finite(value.greatest) || !(value.least <= value.greatest)) {
        refuse("must have two finite numbers, the least first, or none; given were " +
               detail::text_of(value.least) + " and " + detail::text_of(value.greatest));
    }
}

} // namespace seamhold

#endif
