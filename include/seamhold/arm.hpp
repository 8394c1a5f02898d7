#ifndef SEAMHOLD_ARM_HPP
#define SEAMHOLD_ARM_HPP

#include "seamhold/arm/arm_branch.hpp"
#include "seamhold/arm/joint_limits.hpp"
#include "seamhold/arm/serial_arm.hpp"
#include "seamhold/arm/wrist_geometry.hpp"
#include "seamhold/arm/wrist_inverse.hpp"

#endif
