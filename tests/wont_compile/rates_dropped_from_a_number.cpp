// Rates are not dropped without saying so: value_of(x).
// expect: cannot convert
// expect: no viable conversion from
#include "seamhold/number/taylor.hpp"

using namespace seamhold;

Taylor<double, 2> const x = 3.0;
double const now = value_of(x);

#ifdef WONT_COMPILE
double const wrong = x;
#endif
