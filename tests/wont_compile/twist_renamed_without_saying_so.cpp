// A twist in base axes is no twist in cell axes.
// expect: conversion from
// expect: no viable conversion from
#include "seamhold/frame/twist.hpp"

using namespace seamhold;

Twist<Base> const twist{{0, 0, 1}, {0, 0, 0}};
Twist<Base> const same = twist;

#ifdef WONT_COMPILE
Twist<Cell> const wrong = twist;
#endif
