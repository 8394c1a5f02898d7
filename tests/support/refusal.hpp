#ifndef SEAMHOLD_TESTS_SUPPORT_REFUSAL_HPP
#define SEAMHOLD_TESTS_SUPPORT_REFUSAL_HPP

#include "seamhold/number/bad_input.hpp"

#include <string>

// What set-up says when it refuses.

namespace seamhold::test {

/// The message of the BadInput that a call throws; "" where it throws none.
template <class Call> std::string refusal_of(Call const& call) {
    try {
        (void)call();
    } catch (BadInput const& error) {
        return error.what();
    }
    return "";
}

/// Whether a text has a part.
inline bool has(std::string const& text, std::string const& part) {
    return text.find(part) != std::string::npos;
}

} // namespace seamhold::test

#endif
