#ifndef SEAMHOLD_FOLLOW_AIR_MOVES_HPP
#define SEAMHOLD_FOLLOW_AIR_MOVES_HPP

#include "seamhold/follow/air_move.hpp"

#include <cstddef>
#include <optional>
#include <vector>

namespace seamhold {

/// The move from the end of seam number i to the next one, which it meets one settling time before its first
/// light, on its own path run on before the start; nothing where no move within the limits arrives just then.
inline std::optional<AirMove> air_move_after(Job const& job, std::size_t i, AirLimits const& limits) {
    auto const &from = job.seams[i], &to = job.seams[i + 1];
    double const arrives = to.start - limits.settling;
    if (!(arrives > from.end()))
        return std::nullopt;
    return air_move_at(axes_at(job.chain, from.seam, from.seam.duration(), from.end()), from.end(),
                       axes_at(job.chain, to.seam, -limits.settling, arrives), arrives, limits);
}

/// The moves between the seams of a job, one for each seam but the last: see `air_move_after`. A move takes
/// all the time there is, so it is gentler than the quickest one where there is more. Throws BadInput for
/// limits of the head that are not above 0.
inline std::vector<std::optional<AirMove>> air_moves(Job const& job, double share = 1) {
    auto const limits = air_limits(job.dynamics, share);
    std::vector<std::optional<AirMove>> moves;
    for (std::size_t i = 0; i + 1 < job.seams.size(); ++i)
        moves.push_back(air_move_after(job, i, limits));
    return moves;
}

} // namespace seamhold

#endif
