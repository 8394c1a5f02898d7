// A matrix becomes a rotation only by from_matrix or fit_to_matrix.
// expect: conversion from
// expect: no viable conversion from
#include "seamhold/frame/eigen.hpp"

using namespace seamhold;

Rotation<Cell, Flange> const r = from_matrix<Cell, Flange>(Eigen::Matrix3d::Identity());

#ifdef WONT_COMPILE
Rotation<Cell, Flange> const wrong = Eigen::Matrix3d::Identity();
#endif
