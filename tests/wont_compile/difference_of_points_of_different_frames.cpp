// Two places have a difference only in one frame.
// expect: SameFrame
#include "seamhold/frame/point.hpp"

using namespace seamhold;

Point<Part> const p{1, 2, 3};
auto const way = p - Point<Part>{1, 0, 0};

#ifdef WONT_COMPILE
auto const wrong = p - Point<Cell>{1, 0, 0};
#endif
