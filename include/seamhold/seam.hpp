#ifndef SEAMHOLD_SEAM_HPP
#define SEAMHOLD_SEAM_HPP

#include "seamhold/seam/curves.hpp"
#include "seamhold/seam/drawn_shape.hpp"
#include "seamhold/seam/extent.hpp"
#include "seamhold/seam/lettering.hpp"
#include "seamhold/seam/pattern.hpp"
#include "seamhold/seam/seam.hpp"
#include "seamhold/seam/shapes.hpp"
#include "seamhold/seam/stitches.hpp"

#endif
