// A point gets another frame only by as<Frame>().
// expect: conversion from
// expect: no viable conversion from 'const Point<seamhold::Cell
#include "seamhold/frame/point.hpp"

using namespace seamhold;

Point<Cell> const p{1, 2, 3};
Point<Base> const renamed = as<Base>(p);

#ifdef WONT_COMPILE
Point<Base> const wrong = p;
#endif
