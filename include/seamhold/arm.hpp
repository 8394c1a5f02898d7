#ifndef SEAMHOLD_ARM_HPP
#define SEAMHOLD_ARM_HPP

#include "seamhold/arm/serial_arm.hpp"

#endif
