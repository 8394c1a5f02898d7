#ifndef SEAMHOLD_SEAM_HPP
#define SEAMHOLD_SEAM_HPP

#include "seamhold/seam/any_face.hpp"
#include "seamhold/seam/curves.hpp"
#include "seamhold/seam/drawn_shape.hpp"
#include "seamhold/seam/extent.hpp"
#include "seamhold/seam/lay.hpp"
#include "seamhold/seam/lay_on_mesh.hpp"
#include "seamhold/seam/lettering.hpp"
#include "seamhold/seam/moved.hpp"
#include "seamhold/seam/path.hpp"
#include "seamhold/seam/pattern.hpp"
#include "seamhold/seam/power.hpp"
#include "seamhold/seam/rest_of.hpp"
#include "seamhold/seam/reversed.hpp"
#include "seamhold/seam/seam.hpp"
#include "seamhold/seam/shapes.hpp"
#include "seamhold/seam/speed_law.hpp"
#include "seamhold/seam/speed_planner.hpp"
#include "seamhold/seam/stitches.hpp"
#include "seamhold/seam/stored_pieces.hpp"
#include "seamhold/seam/taught.hpp"
#include "seamhold/seam/travel.hpp"
#include "seamhold/seam/travel_by.hpp"
#include "seamhold/seam/weave.hpp"

#endif
