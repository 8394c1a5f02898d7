// A pose that ends in the cell cannot be followed by one that starts at the flange.
// expect: SameFrame
#include "seamhold/frame/pose.hpp"

using namespace seamhold;

Pose<Cell, Flange> const cell_from_flange = Pose<Cell, Flange>::identity();
Pose<Flange, Head> const flange_from_head = Pose<Flange, Head>::identity();
auto const cell_from_head = cell_from_flange * flange_from_head;

#ifdef WONT_COMPILE
auto const wrong = cell_from_flange * cell_from_flange;
#endif
