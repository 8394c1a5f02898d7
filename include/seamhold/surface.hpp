#ifndef SEAMHOLD_SURFACE_HPP
#define SEAMHOLD_SURFACE_HPP

#include "seamhold/surface/closest_point.hpp"
#include "seamhold/surface/cone.hpp"
#include "seamhold/surface/convex.hpp"
#include "seamhold/surface/cylinder.hpp"
#include "seamhold/surface/mesh.hpp"
#include "seamhold/surface/mesh_face.hpp"
#include "seamhold/surface/obstacle.hpp"
#include "seamhold/surface/parametric.hpp"
#include "seamhold/surface/plane.hpp"
#include "seamhold/surface/sphere.hpp"
#include "seamhold/surface/surface.hpp"
#include "seamhold/surface/torus.hpp"

#endif
