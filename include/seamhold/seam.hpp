#ifndef SEAMHOLD_SEAM_HPP
#define SEAMHOLD_SEAM_HPP

#include "seamhold/seam/drawn_shape.hpp"
#include "seamhold/seam/seam.hpp"
#include "seamhold/seam/shapes.hpp"

#endif
