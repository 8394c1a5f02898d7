#ifndef SEAMHOLD_MOTION_HPP
#define SEAMHOLD_MOTION_HPP

#include "seamhold/motion/any_motion.hpp"
#include "seamhold/motion/compose.hpp"
#include "seamhold/motion/joint_log.hpp"
#include "seamhold/motion/joint_move.hpp"
#include "seamhold/motion/motion.hpp"
#include "seamhold/motion/paced.hpp"
#include "seamhold/motion/pose_log.hpp"
#include "seamhold/motion/recorded.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/motion/straight_move.hpp"
#include "seamhold/motion/time_law.hpp"
#include "seamhold/motion/turntable.hpp"

#endif
