#ifndef SEAMHOLD_FILE_HPP
#define SEAMHOLD_FILE_HPP

/// Reading of logs and job files, writing of commands and reports: the component `seamhold::file`, which
/// needs toml++ and stays out of `seamhold/seamhold.hpp`. For calibrations see
/// `seamhold/file/calibration.hpp`, for weld records `seamhold/file/record.hpp`.
#include "seamhold/file/commands.hpp"
#include "seamhold/file/csv.hpp"
#include "seamhold/file/digits.hpp"
#include "seamhold/file/field_map.hpp"
#include "seamhold/file/focus_table.hpp"
#include "seamhold/file/head_report.hpp"
#include "seamhold/file/job.hpp"
#include "seamhold/file/log.hpp"
#include "seamhold/file/log_declaration.hpp"
#include "seamhold/file/log_report.hpp"
#include "seamhold/file/placing_report.hpp"
#include "seamhold/file/plan_report.hpp"
#include "seamhold/file/proof_csv.hpp"
#include "seamhold/file/proof_report.hpp"
#include "seamhold/file/read.hpp"
#include "seamhold/file/report.hpp"
#include "seamhold/file/report_csv.hpp"
#include "seamhold/file/stl.hpp"
#include "seamhold/file/trace_csv.hpp"
#include "seamhold/file/write.hpp"

#endif
