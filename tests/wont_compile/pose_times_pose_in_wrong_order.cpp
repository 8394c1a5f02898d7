// Poses compose only where the inner frames agree.
// expect: SameFrame
#include "seamhold/frame/pose.hpp"

using namespace seamhold;

Pose<Cell, Flange> const cell_from_flange = Pose<Cell, Flange>::identity();
Pose<Flange, Head> const flange_from_head = Pose<Flange, Head>::identity();
Pose<Cell, Head> const cell_from_head = cell_from_flange * flange_from_head;

#ifdef WONT_COMPILE
auto const wrong = flange_from_head * cell_from_flange;
#endif
