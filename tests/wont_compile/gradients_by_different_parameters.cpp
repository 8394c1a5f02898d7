// Gradients by different numbers of parameters do not mix.
// expect: no match for ‘operator*’
// expect: no match for 'operator*'
// expect: invalid operands to binary expression
#include "seamhold/number/gradient.hpp"

using namespace seamhold;

Gradient<double, 2> const x = 3.0;
Gradient<double, 3> const y = 3.0;
auto const square = x * x;

#ifdef WONT_COMPILE
auto const wrong = x * y;
#endif
