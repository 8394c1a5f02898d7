#ifndef SEAMHOLD_STATISTICS_HPP
#define SEAMHOLD_STATISTICS_HPP

#include "seamhold/statistics/least_squares.hpp"

#endif
