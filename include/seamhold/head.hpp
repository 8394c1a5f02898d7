#ifndef SEAMHOLD_HEAD_HPP
#define SEAMHOLD_HEAD_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/head/mirror_pair.hpp"

#endif
