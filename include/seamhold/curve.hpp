#ifndef SEAMHOLD_CURVE_HPP
#define SEAMHOLD_CURVE_HPP

#include "seamhold/curve/arc_length.hpp"
#include "seamhold/curve/axis_move.hpp"
#include "seamhold/curve/extremal_run.hpp"
#include "seamhold/curve/knots.hpp"
#include "seamhold/curve/minimum_time.hpp"
#include "seamhold/curve/monotone.hpp"
#include "seamhold/curve/open_knots.hpp"
#include "seamhold/curve/profile.hpp"
#include "seamhold/curve/quartic.hpp"
#include "seamhold/curve/septic.hpp"
#include "seamhold/curve/spline.hpp"
#include "seamhold/curve/spline_field.hpp"

#endif
