#ifndef SEAMHOLD_SURFACE_HPP
#define SEAMHOLD_SURFACE_HPP

#include "seamhold/surface/plane.hpp"

#endif
