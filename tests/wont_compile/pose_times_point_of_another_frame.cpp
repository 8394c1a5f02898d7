// A pose moves only points of the frame that it maps from.
// expect: SameFrame
#include "seamhold/frame/pose.hpp"

using namespace seamhold;

Pose<Cell, Flange> const cell_from_flange = Pose<Cell, Flange>::identity();
Pose<Flange, Head> const flange_from_head = Pose<Flange, Head>::identity();
auto const in_flange = flange_from_head * Point<Head>{0, 0, 0.5};

#ifdef WONT_COMPILE
auto const wrong = cell_from_flange * Point<Head>{0, 0, 0.5};
#endif
