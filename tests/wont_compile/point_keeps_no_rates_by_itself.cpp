// Rates are not dropped without saying so: value_of(point).
// expect: conversion from
// expect: no viable conversion from 'const Point<seamhold::Cell, Taylor<double, 2>>'
// expect: no viable conversion from
#include "seamhold/frame/point.hpp"
#include "seamhold/number/taylor.hpp"

using namespace seamhold;

Point<Cell, Taylor<double, 2>> const moving{1.0, 2.0, 3.0};
Point<Cell> const now = value_of(moving);

#ifdef WONT_COMPILE
Point<Cell> const wrong = moving;
#endif
