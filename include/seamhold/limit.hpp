#ifndef SEAMHOLD_LIMIT_HPP
#define SEAMHOLD_LIMIT_HPP

#include "seamhold/limit/beam_cone.hpp"
#include "seamhold/limit/check.hpp"
#include "seamhold/limit/demand.hpp"
#include "seamhold/limit/enclose_check.hpp"
#include "seamhold/limit/guarded_between_seams.hpp"
#include "seamhold/limit/guarded_directions.hpp"
#include "seamhold/limit/halving.hpp"
#include "seamhold/limit/heating.hpp"
#include "seamhold/limit/job_proof.hpp"
#include "seamhold/limit/limit.hpp"
#include "seamhold/limit/line_of_sight.hpp"
#include "seamhold/limit/proof.hpp"
#include "seamhold/limit/report.hpp"
#include "seamhold/limit/seam_proof.hpp"
#include "seamhold/limit/seam_prover.hpp"
#include "seamhold/limit/surroundings.hpp"
#include "seamhold/limit/sweep_margin.hpp"
#include "seamhold/limit/verdict.hpp"
#include "seamhold/limit/window.hpp"
#include "seamhold/limit/window_proof.hpp"

#endif
