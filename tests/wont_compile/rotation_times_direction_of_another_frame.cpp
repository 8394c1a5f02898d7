// A rotation turns only directions of the frame that it maps from.
// expect: SameFrame
#include "seamhold/frame/rotation.hpp"

using namespace seamhold;

Rotation<Cell, Flange> const cell_from_flange = Rotation<Cell, Flange>::identity();
auto const in_cell = cell_from_flange * Direction<Flange>{0, 0, 1};

#ifdef WONT_COMPILE
auto const wrong = cell_from_flange * Direction<Cell>{0, 0, 1};
#endif
