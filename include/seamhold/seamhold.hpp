#ifndef SEAMHOLD_SEAMHOLD_HPP
#define SEAMHOLD_SEAMHOLD_HPP

/// The whole library but for the optional part that reads and writes files, `seamhold/file.hpp`.
#include "seamhold/arm.hpp"
#include "seamhold/beam.hpp"
#include "seamhold/budget.hpp"
#include "seamhold/calibrate.hpp"
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
#include "seamhold/statistics.hpp"
#include "seamhold/surface.hpp"

#endif
