// A pose at a plain time does not say how it moves.
// expect: no matching function for call
#include "seamhold/frame/twist.hpp"

using namespace seamhold;

Pose<Cell, Flange, Taylor<double, 1>> const moving = Pose<Cell, Flange, Taylor<double, 1>>::identity();
auto const twist = twist_of(moving);

#ifdef WONT_COMPILE
auto const wrong = twist_of(Pose<Cell, Flange>::identity());
#endif
