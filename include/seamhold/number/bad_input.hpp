#ifndef SEAMHOLD_NUMBER_BAD_INPUT_HPP
#define SEAMHOLD_NUMBER_BAD_INPUT_HPP

#include <cmath>
#include <cstdio>
#include <initializer_list>
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

/// A place as a message shows it, its coordinates in m: "(10, 0, -2.5) mm", to 0.1 µm.
inline std::string text_of_mm(std::initializer_list<double> coordinates) {
    std::string text;
    for (double const x : coordinates) {
        text += text.empty() ? "(" : ", ";
        text += text_of(std::round(1e7 * x) / 1e4 + 0.0); // never -0
    }
    return text += ") mm";
}
} // namespace detail

} // namespace seamhold

#endif
