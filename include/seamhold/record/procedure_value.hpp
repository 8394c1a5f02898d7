#ifndef SEAMHOLD_RECORD_PROCEDURE_VALUE_HPP
#define SEAMHOLD_RECORD_PROCEDURE_VALUE_HPP

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

} // namespace seamhold

#endif
