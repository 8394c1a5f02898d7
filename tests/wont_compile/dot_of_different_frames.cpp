// Free vectors have a scalar product only in one frame.
// expect: SameFrame
#include "seamhold/frame/point.hpp"

using namespace seamhold;

Direction<Part> const d{1, 2, 3};
auto const product = dot(d, Direction<Part>{1, 0, 0});

#ifdef WONT_COMPILE
auto const wrong = dot(d, Direction<Cell>{1, 0, 0});
#endif
