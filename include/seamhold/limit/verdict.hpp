#ifndef SEAMHOLD_LIMIT_VERDICT_HPP
#define SEAMHOLD_LIMIT_VERDICT_HPP

#include <cstdint>

namespace seamhold {

/// What was found of a limit. `undecided` is to be treated as `exceeds`.
enum class Verdict : std::uint8_t {
    within,   ///< proven for every moment
    exceeds,  ///< seen to be passed at a moment that is named
    undecided ///< neither, within the budget
};

/// A verdict in words.
constexpr char const* to_string(Verdict verdict) {
    switch (verdict) {
    case Verdict::within:
        return "within";
    case Verdict::exceeds:
        return "exceeds";
    case Verdict::undecided:
        return "undecided";
    }
    return "";
}

/// The worse of two: exceeds, then undecided.
constexpr Verdict worse(Verdict a, Verdict b) {
    return a == Verdict::exceeds || b == Verdict::within ? a : b;
}

} // namespace seamhold

#endif
