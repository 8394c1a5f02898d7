// A rotation alone does not say where a point goes.
// expect: no match for 'operator*'
// expect: no match for ‘operator*’
// expect: invalid operands to binary expression
#include "seamhold/frame/rotation.hpp"

using namespace seamhold;

Rotation<Cell, Flange> const cell_from_flange = Rotation<Cell, Flange>::identity();
auto const in_cell = cell_from_flange * Direction<Flange>{0, 0, 1};

#ifdef WONT_COMPILE
auto const wrong = cell_from_flange * Point<Flange>{0, 0, 1};
#endif
