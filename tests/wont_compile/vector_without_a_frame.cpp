// An Eigen vector says no frame: point_from<Frame> does.
// expect: conversion from
// expect: no viable conversion from
#include "seamhold/frame/eigen.hpp"

using namespace seamhold;

Eigen::Vector3d const v(1, 2, 3);
Point<Cell> const p = point_from<Cell>(v);

#ifdef WONT_COMPILE
Point<Cell> const wrong = v;
#endif
