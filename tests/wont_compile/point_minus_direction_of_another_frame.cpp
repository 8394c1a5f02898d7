// A point is moved back by a displacement of its own frame only.
// expect: SameFrame
#include "seamhold/frame/point.hpp"

using namespace seamhold;

Point<Part> const p{1, 2, 3};
auto const moved = p - Direction<Part>{1, 0, 0};

#ifdef WONT_COMPILE
auto const wrong = p - Direction<Cell>{1, 0, 0};
#endif
