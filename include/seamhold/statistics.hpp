#ifndef SEAMHOLD_STATISTICS_HPP
#define SEAMHOLD_STATISTICS_HPP

#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/capability.hpp"
#include "seamhold/statistics/crossing.hpp"
#include "seamhold/statistics/distribution_free.hpp"
#include "seamhold/statistics/least_squares.hpp"
#include "seamhold/statistics/line_fit.hpp"
#include "seamhold/statistics/linear_model.hpp"
#include "seamhold/statistics/outlier_test.hpp"
#include "seamhold/statistics/quantiles.hpp"
#include "seamhold/statistics/random_numbers.hpp"
#include "seamhold/statistics/robust_fit.hpp"
#include "seamhold/statistics/robust_line.hpp"
#include "seamhold/statistics/sample.hpp"
#include "seamhold/statistics/share_bounds.hpp"
#include "seamhold/statistics/tolerance_factor.hpp"

#endif
