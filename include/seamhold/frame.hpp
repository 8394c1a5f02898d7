#ifndef SEAMHOLD_FRAME_HPP
#define SEAMHOLD_FRAME_HPP

#include "seamhold/frame/angles.hpp"
#include "seamhold/frame/point.hpp"
#include "seamhold/frame/pose.hpp"
#include "seamhold/frame/pose_step.hpp"
#include "seamhold/frame/rotation.hpp"
#include "seamhold/frame/twist.hpp"

#endif
