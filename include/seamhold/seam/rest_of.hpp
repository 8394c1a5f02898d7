#ifndef SEAMHOLD_SEAM_REST_OF_HPP
#define SEAMHOLD_SEAM_REST_OF_HPP

#include "seamhold/seam/seam.hpp"
#include "seamhold/seam/stitches.hpp"
#include "seamhold/seam/stored_pieces.hpp"

#include <algorithm>
#include <cstddef>
#include <type_traits>
#include <utility>
#include <variant>
#include <vector>

/// Parts of seams: what is left of one that stopped.
namespace seamhold {

namespace detail {
/// Throws BadInput, with the place in mm, unless a part of a path begins and ends on it.
inline void check_part(double from, double to, double length) {
    double const slack = 1e-12 * length;
    if (!(from >= -slack && to <= length + slack && to - from > slack))
        throw BadInput("a part of a path from " + text_of(from * 1e3) + " to " + text_of(to * 1e3) +
                       " mm: the path runs from 0 to " + text_of(length * 1e3) + " mm");
}
} // namespace detail

/// The part of a stored path from one arc length to another, m, to rounding. Beyond its ends it runs on along
/// the path that it was cut from, up to the path's own overrun (`overrun`, m, of which are kept, as by
/// `reversed`); where a corner comes first it runs on straight from there. Throws BadInput unless 0 ≤ from <
/// to ≤ length, with a slack of 1e-12 of the length.
inline LaidPath part_of(LaidPath const& path, double from, double to, double overrun = 2e-3) {
    detail::check_part(from, to, path.length());
    from = std::max(from, 0.0);
    to = std::min(to, path.length());
    auto all = detail::pieces_of(path, overrun);
    std::vector<Corner> corners;
    double low = all.starts.front(), high = all.starts.back(); // the path is kept between these
    for (auto const& corner : path.corners()) {
        double const s = corner.arc_length;
        if (s <= from + detail::one_place)
            low = std::min(s, from);
        else if (s < to - detail::one_place)
            corners.push_back({s - from, corner.angle});
        else
            high = std::min(high, std::max(s, to));
    }
    if (high < all.starts.back()) {
        auto const kept = detail::meet_at(all, high);
        all.starts.resize(kept + 1);
        all.pieces.resize(kept);
        auto const end = detail::moved_on(all.pieces.back(), high - all.starts[kept - 1]);
        all.add(detail::straight_on(end), high + overrun);
    }
    if (low > all.starts.front()) {
        auto const gone = static_cast<std::ptrdiff_t>(detail::meet_at(all, low));
        all.starts.erase(all.starts.begin(), all.starts.begin() + gone);
        all.pieces.erase(all.pieces.begin(), all.pieces.begin() + gone);
        auto const straight = detail::straight_on(all.pieces.front());
        all.starts.insert(all.starts.begin(), low - overrun);
        all.pieces.insert(all.pieces.begin(), detail::moved_on(straight, -overrun));
    }
    detail::meet_at(all, from);
    auto const last = detail::meet_at(all, to);
    detail::meet_at(all, to + detail::beyond_ends);
    all.pieces[last] = detail::moved_on(all.pieces[last - 1], to - all.starts[last - 1]);
    for (double& s : all.starts)
        s -= from;
    return LaidPath(std::move(all.starts), std::move(all.pieces), to - from, std::move(corners));
}

/// The part of a path from one arc length to another, m, to rounding; beyond its ends a straight line and an
/// arc run on, a drawn curve runs on straight, a stored path as above. Throws BadInput unless 0 ≤ from < to ≤
/// length, with a slack of 1e-12 of the length, and so for every part of a held point.
inline AnyPath part_of(AnyPath const& path, double from, double to, double overrun = 2e-3) {
    return std::visit(
        [from, to, overrun](auto const& chosen) -> AnyPath {
            using Chosen = std::decay_t<decltype(chosen)>;
            if constexpr (std::is_same_v<Chosen, LaidPath>) {
                return part_of(chosen, from, to, overrun);
            } else {
                detail::check_part(from, to, chosen.length());
                if constexpr (std::is_same_v<Chosen, OnFace<Still<>, Plane<>>>)
                    return chosen; // never: it has no parts
                else if constexpr (std::is_same_v<Chosen, OnFace<DrawnShape, Plane<>>>)
                    return Chosen{part_of(chosen.shape, from, to), chosen.surface};
                else
                    return Chosen{detail::cut(chosen.shape, from, to), chosen.surface};
            }
        },
        path.choice());
}

/// What is left of a seam from an arc length on, m, as for a weld that stopped there; an overlap is the
/// caller's to take off. Every place from there on is passed as fast as before: a profile of the speed is not
/// made anew, so the rest starts at the speed that the seam has there (`feed(0)` of the result; 0 within a
/// stop), and runs on at it before its start. The weave has the frequency and the amplitude it had there, and
/// its phase is 0 at the new start. The law of power stays: it ramps up again at the new start. From 0 the
/// seam is returned as it is; of a held point there is no other rest. Throws BadInput for an arc length below
/// 0 or not below the length, and where less than 1 nm would be left.
inline AnySeam rest_of(AnySeam const& seam, double from_arc_length, double overrun = 2e-3) {
    double const from = from_arc_length;
    double const length = seam.length();
    if (from == 0)
        return seam;
    if (!(from > 0 && length - from >= 1e-9))
        throw BadInput("what is left of a seam must begin at 0 or more and below its length of " +
                       detail::text_of(length * 1e3) + " mm; given was " + detail::text_of(from * 1e3) +
                       " mm");
    auto const path = part_of(seam.path, from, length, overrun);
    double const start = seam.travel.time_at(from);
    Weave weave = seam.weave;
    weave.frequency = std::max(0.0, weave.frequency + weave.frequency_growth * start);
    weave.amplitude = std::max(0.0, weave.amplitude + weave.amplitude_growth * start);
    if (seam.travel.is_constant())
        return {path,
                {seam.travel.speed(), path.length() / seam.travel.speed()},
                seam.focus_offset,
                weave,
                seam.power};
    double const end = seam.duration();
    std::vector<double> times{start};
    for (double const time : seam.travel.breaks())
        if (time > start)
            times.push_back(time);
    std::vector<CubicPiece<1>> pieces;
    for (double const time : times) {
        auto piece = detail::travel_piece_at(seam.travel, time);
        piece.start = time - start;
        piece.coefficient[0][0] -= from;
        pieces.push_back(piece);
    }
    return {path,
            detail::travel_of(seam.travel.speed(), end - start, pieces, pieces.front().coefficient[1][0],
                              seam.feed(end), path.length()),
            seam.focus_offset, weave, seam.power};
}

} // namespace seamhold

#endif
