#ifndef SEAMHOLD_RECORD_KEPT_WELD_HPP
#define SEAMHOLD_RECORD_KEPT_WELD_HPP

#include "seamhold/record/procedure_value.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/verdict.hpp"

#include <optional>
#include <vector>

namespace seamhold {

/// What is kept of one weld of one part.
struct KeptWeld {
    SeamVerdict verdict;
    std::optional<SeamTrace> trace = {}; ///< of the same weld
    std::vector<ProcedureValue> values = {};
};

} // namespace seamhold

#endif
