#ifndef SEAMHOLD_LIMIT_HPP
#define SEAMHOLD_LIMIT_HPP

#include "seamhold/limit/limit.hpp"
#include "seamhold/limit/report.hpp"

#endif
