// Free vectors have a difference only in one frame.
// expect: SameFrame
#include "seamhold/frame/point.hpp"

using namespace seamhold;

Direction<Part> const d{1, 2, 3};
auto const both = d - Direction<Part>{1, 0, 0};

#ifdef WONT_COMPILE
auto const wrong = d - Direction<Cell>{1, 0, 0};
#endif
