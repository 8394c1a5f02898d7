#ifndef SEAMHOLD_NUMBER_BAD_INPUT_HPP
#define SEAMHOLD_NUMBER_BAD_INPUT_HPP

#include <cstdio>
#include <stdexcept>
#include <string>

namespace seamhold {

/// What set-up and loading throw. The message says what was given, what is allowed, and where.
/// Nothing on the tick path throws; there a status travels with each result.
class BadInput : public std::invalid_argument {
public:
    using std::invalid_argument::invalid_argument;
};

namespace detail {
/// A number as a message shows it: up to nine digits that count, so that neither 1e-9 nor 1.0000012 is lost.
inline std::string text_of(double x) {
    char text[32];
    std::snprintf(text, sizeof text, "%.9g", x);
    return text;
}
} // namespace detail

} // namespace seamhold

#endif
