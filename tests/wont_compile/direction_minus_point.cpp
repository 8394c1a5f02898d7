// A place cannot be taken from a displacement.
// expect: no match for ‘operator-’
// expect: no match for 'operator-'
// expect: invalid operands to binary expression
#include "seamhold/frame/point.hpp"

using namespace seamhold;

Point<Part> const p{1, 2, 3};
Direction<Part> const d{1, 2, 3};
auto const moved = p - d;

#ifdef WONT_COMPILE
auto const wrong = d - p;
#endif
