// Two places have no sum.
// expect: no match for ‘operator+’
// expect: no match for 'operator+'
// expect: invalid operands to binary expression
#include "seamhold/frame/point.hpp"

using namespace seamhold;

Point<Part> const a{1, 2, 3};
auto const between = a - a;

#ifdef WONT_COMPILE
auto const wrong = a + a;
#endif
