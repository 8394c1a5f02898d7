// The way back starts in the frame that the pose maps to.
// expect: SameFrame
#include "seamhold/frame/pose.hpp"

using namespace seamhold;

Pose<Cell, Flange> const cell_from_flange = Pose<Cell, Flange>::identity();
Pose<Flange, Head> const flange_from_head = Pose<Flange, Head>::identity();
auto const in_flange = inverse_times(cell_from_flange, Direction<Cell>{1, 0, 0});

#ifdef WONT_COMPILE
auto const wrong = inverse_times(cell_from_flange, Direction<Flange>{1, 0, 0});
#endif
