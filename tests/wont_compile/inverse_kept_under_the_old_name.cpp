// The inverse of a_from_b is b_from_a, and nothing else.
// expect: conversion from
// expect: no viable conversion from 'Pose<seamhold::Flange
#include "seamhold/frame/pose.hpp"

using namespace seamhold;

Pose<Cell, Flange> const cell_from_flange = Pose<Cell, Flange>::identity();
Pose<Flange, Head> const flange_from_head = Pose<Flange, Head>::identity();
Pose<Flange, Cell> const flange_from_cell = inverse(cell_from_flange);

#ifdef WONT_COMPILE
Pose<Cell, Flange> const wrong = inverse(cell_from_flange);
#endif
