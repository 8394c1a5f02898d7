// Expansions of different order do not mix.
// expect: no match for ‘operator*’
// expect: no match for 'operator*'
// expect: invalid operands to binary expression
#include "seamhold/number/taylor.hpp"

using namespace seamhold;

Taylor<double, 2> const x = 3.0;
Taylor<double, 3> const y = 3.0;
auto const square = x * x;

#ifdef WONT_COMPILE
auto const wrong = x * y;
#endif
