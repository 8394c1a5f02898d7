#ifndef SEAMHOLD_MAP_HPP
#define SEAMHOLD_MAP_HPP

#include "seamhold/map/answer_table.hpp"
#include "seamhold/map/axis.hpp"
#include "seamhold/map/candidates.hpp"
#include "seamhold/map/cell_grid.hpp"
#include "seamhold/map/cell_prover.hpp"
#include "seamhold/map/certified_question.hpp"
#include "seamhold/map/design_space.hpp"
#include "seamhold/map/estimate.hpp"
#include "seamhold/map/margin_question.hpp"
#include "seamhold/map/question.hpp"
#include "seamhold/map/refine_edge.hpp"
#include "seamhold/map/run_map.hpp"
#include "seamhold/map/sample.hpp"
#include "seamhold/map/set_up.hpp"

#endif
