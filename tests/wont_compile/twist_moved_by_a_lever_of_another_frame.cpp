// A twist is moved by a lever in its own axes.
// expect: no matching function for call
#include "seamhold/frame/twist.hpp"

using namespace seamhold;

Twist<Base> const twist{{0, 0, 1}, {0, 0, 0}};
auto const moved = moved_by(twist, Direction<Base>{1, 0, 0});

#ifdef WONT_COMPILE
auto const wrong = moved_by(twist, Direction<Flange>{1, 0, 0});
#endif
