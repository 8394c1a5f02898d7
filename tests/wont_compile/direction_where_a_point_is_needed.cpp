// A displacement is no place.
// expect: invalid initialization of reference
// expect: no matching function for call
#include "seamhold/frame/point.hpp"

using namespace seamhold;

double height(Point<Part> const& p) { return p.z; }
double const h = height(Point<Part>{1, 2, 3});

#ifdef WONT_COMPILE
double const wrong = height(Direction<Part>{1, 2, 3});
#endif
