#ifndef SEAMHOLD_FOLLOW_HPP
#define SEAMHOLD_FOLLOW_HPP

#include "seamhold/follow/air_move.hpp"
#include "seamhold/follow/air_way.hpp"
#include "seamhold/follow/axes_state.hpp"
#include "seamhold/follow/chain.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/follow/teach.hpp"
#include "seamhold/follow/ticks.hpp"

#endif
