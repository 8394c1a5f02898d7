#ifndef SEAMHOLD_BEAM_HPP
#define SEAMHOLD_BEAM_HPP

#include "seamhold/beam/caustic.hpp"
#include "seamhold/beam/caustic_fit.hpp"
#include "seamhold/beam/energy.hpp"
#include "seamhold/beam/optics.hpp"
#include "seamhold/beam/quality.hpp"
#include "seamhold/beam/spot.hpp"

#endif
