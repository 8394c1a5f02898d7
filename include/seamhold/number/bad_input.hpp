#ifndef SEAMHOLD_NUMBER_BAD_INPUT_HPP
#define SEAMHOLD_NUMBER_BAD_INPUT_HPP

#include <stdexcept>

namespace seamhold {

/// What set-up and loading throw. The message says what was given, what is allowed, and where.
/// Nothing on the tick path throws; there a status travels with each result.
class BadInput : public std::invalid_argument {
public:
    using std::invalid_argument::invalid_argument;
};

} // namespace seamhold

#endif
