#ifndef SEAMHOLD_NUMBER_HPP
#define SEAMHOLD_NUMBER_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/elementary.hpp"
#include "seamhold/number/enclose.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/lift.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/number/polynomial.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"

#endif
