// A pose gets other frames only by as<To, From>().
// expect: conversion from
// expect: no viable conversion from 'const Pose<seamhold::Cell
#include "seamhold/frame/pose.hpp"

using namespace seamhold;

Pose<Cell, Flange> const cell_from_flange = Pose<Cell, Flange>::identity();
Pose<Flange, Head> const flange_from_head = Pose<Flange, Head>::identity();
Pose<Cell, Head> const renamed = as<Cell, Head>(cell_from_flange);

#ifdef WONT_COMPILE
Pose<Cell, Head> const wrong = cell_from_flange;
#endif
