#ifndef SEAMHOLD_SEAMHOLD_HPP
#define SEAMHOLD_SEAMHOLD_HPP

/// What runs, plans and proves a cell. Apart stand `seamhold/file.hpp`, the optional part that reads and
/// writes files, and what is used before production: `seamhold/calibrate.hpp`, `seamhold/budget.hpp` and
/// `seamhold/statistics.hpp`, whose solvers would double the time that every other program compiles.
#include "seamhold/arm.hpp"
#include "seamhold/beam.hpp"
#include "seamhold/curve.hpp"
#include "seamhold/follow.hpp"
#include "seamhold/frame.hpp"
#include "seamhold/frame/eigen.hpp"
#include "seamhold/frame/fit.hpp"
#include "seamhold/head.hpp"
#include "seamhold/limit.hpp"
#include "seamhold/live.hpp"
#include "seamhold/motion.hpp"
#include "seamhold/number.hpp"
#include "seamhold/plan.hpp"
#include "seamhold/seam.hpp"
#include "seamhold/surface.hpp"

#endif
