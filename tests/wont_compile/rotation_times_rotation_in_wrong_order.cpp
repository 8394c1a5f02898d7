// Rotations compose only where the inner frames agree.
// expect: SameFrame
#include "seamhold/frame/rotation.hpp"

using namespace seamhold;

Rotation<Cell, Flange> const cell_from_flange = Rotation<Cell, Flange>::identity();
Rotation<Flange, Head> const flange_from_head = Rotation<Flange, Head>::identity();
auto const cell_from_head = cell_from_flange * flange_from_head;

#ifdef WONT_COMPILE
auto const wrong = flange_from_head * cell_from_flange;
#endif
