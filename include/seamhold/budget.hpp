#ifndef SEAMHOLD_BUDGET_HPP
#define SEAMHOLD_BUDGET_HPP

#include "seamhold/budget/budget_point.hpp"
#include "seamhold/budget/error_numbers.hpp"
#include "seamhold/budget/error_source.hpp"
#include "seamhold/budget/job_budget.hpp"
#include "seamhold/budget/monte_carlo.hpp"
#include "seamhold/budget/required.hpp"
#include "seamhold/budget/seam_budget.hpp"
#include "seamhold/budget/source_root.hpp"
#include "seamhold/budget/sources.hpp"
#include "seamhold/budget/sources_from.hpp"
#include "seamhold/budget/spot_under_errors.hpp"
#include "seamhold/budget/surface_covariance.hpp"

#endif
