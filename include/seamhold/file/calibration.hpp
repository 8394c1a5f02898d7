#ifndef SEAMHOLD_FILE_CALIBRATION_HPP
#define SEAMHOLD_FILE_CALIBRATION_HPP

/// Notebooks, records and reports of calibrations and budgets. Not part of `seamhold/file.hpp`: who only
/// reads jobs and logs does not compile the solvers.
#include "seamhold/file/budget_report.hpp"
#include "seamhold/file/calibration_report.hpp"
#include "seamhold/file/cell_data.hpp"
#include "seamhold/file/commissioning.hpp"
#include "seamhold/file/mount_data.hpp"
#include "seamhold/file/part_data.hpp"

#endif
