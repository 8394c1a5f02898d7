// A place cannot be made longer.
// expect: no match for ‘operator*’
// expect: no match for 'operator*'
// expect: invalid operands to binary expression
#include "seamhold/frame/point.hpp"

using namespace seamhold;

Point<Part> const p{1, 2, 3};
Direction<Part> const d{1, 2, 3};
auto const longer = 2.0 * d;

#ifdef WONT_COMPILE
auto const wrong = 2.0 * p;
#endif
