// A place is no displacement: it has no length.
// expect: no matching function for call
#include "seamhold/frame/point.hpp"

using namespace seamhold;

double const length = norm(Direction<Part>{1, 2, 3});

#ifdef WONT_COMPILE
double const wrong = norm(Point<Part>{1, 2, 3});
#endif
