#ifndef SEAMHOLD_SEAM_REVERSED_HPP
#define SEAMHOLD_SEAM_REVERSED_HPP

#include "seamhold/seam/seam.hpp"
#include "seamhold/seam/stored_pieces.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <type_traits>
#include <utility>
#include <variant>
#include <vector>

/// Seams travelled the other way.
namespace seamhold {

/// The same stored path from its end to its start: the place at s is that at length − s, to rounding; breaks
/// and corners are mirrored, the normal and the face's bend stay, and left of travel is the other side. Up to
/// `overrun`, m, beyond the ends it follows the path's own overrun within the accuracy of its storing (3e-13
/// m; where a face folds its overrun more sharply than 0.5 mm, less).
inline LaidPath reversed(LaidPath const& path, double overrun = 2e-3) {
    double const length = path.length();
    auto const all = detail::pieces_of(path, overrun);
    detail::LaidPieces turned;
    std::size_t const count = all.pieces.size();
    turned.starts.push_back(length - all.starts[count]);
    for (std::size_t i = count; i-- > 0;)
        turned.add(detail::turned(all.pieces[i], all.starts[i + 1] - all.starts[i]), length - all.starts[i]);
    std::vector<Corner> corners;
    for (auto const& corner : path.corners())
        corners.insert(corners.begin(), {length - corner.arc_length, corner.angle});
    return LaidPath(std::move(turned.starts), std::move(turned.pieces), length, std::move(corners));
}

/// The same path from its end to its start; breaks and corners are mirrored. The face stays, and with it the
/// normal; left of travel is the other side. A held point stays as it is, and so does its left.
inline AnyPath reversed(AnyPath const& path, double overrun = 2e-3) {
    return std::visit(
        [overrun](auto const& chosen) -> AnyPath {
            using Chosen = std::decay_t<decltype(chosen)>;
            if constexpr (std::is_same_v<Chosen, LaidPath>) {
                return reversed(chosen, overrun);
            } else if constexpr (std::is_same_v<Chosen, OnFace<Still<>, Plane<>>>) {
                return chosen;
            } else {
                auto const turned = DrawnShape(chosen.shape).reversed();
                if constexpr (std::is_same_v<Chosen, OnFace<DrawnShape, Plane<>>>)
                    return Chosen{turned, chosen.surface};
                else // one piece, of the kind it was
                    return Chosen{std::get<decltype(chosen.shape)>(turned.pieces().front()), chosen.surface};
            }
        },
        path.choice());
}

namespace detail {

/// The way back: s at τ is the length less what it was at duration − τ.
inline Travel<> reversed(Travel<> const& travel) {
    if (travel.is_constant())
        return travel;
    double const duration = travel.duration();
    double const length = travel.arc_length(duration);
    std::vector<double> times{0};
    for (double const time : travel.breaks())
        times.push_back(time);
    times.push_back(duration);
    std::vector<CubicPiece<1>> pieces;
    for (std::size_t i = times.size() - 1; i-- > 0;) {
        auto const piece = travel_piece_at(travel, times[i]);
        std::array<double, 4> c;
        for (std::size_t k = 0; k < 4; ++k)
            c[k] = piece.coefficient[k][0];
        c = expanded<3>(c, times[i + 1] - times[i]);
        pieces.push_back({duration - times[i + 1], {{length - c[0]}, {c[1]}, {-c[2]}, {c[3]}}});
    }
    return travel_of(travel.speed(), duration, pieces, travel.feed(duration), travel.feed(0), length);
}

/// Frequency and amplitude at every place as they were there; they are not below 0.
inline Weave reversed(Weave const& weave, double duration) {
    Weave r = weave;
    r.frequency = std::max(0.0, weave.frequency + weave.frequency_growth * duration);
    r.amplitude = std::max(0.0, weave.amplitude + weave.amplitude_growth * duration);
    r.frequency_growth = -weave.frequency_growth;
    r.amplitude_growth = -weave.amplitude_growth;
    return r;
}

} // namespace detail

/// The same seam welded the other way. Without a weave the spot at τ is where it was at duration − τ, to
/// rounding. In particular:
///  - The travel is mirrored in time, so that every place is passed as fast as before: a seam that started
///    from rest now ends at rest. Beyond its ends it runs on at the speeds it has there.
///  - The weave has at every place the frequency and the amplitude that it had there, and covers the same
///    band. Its phase is 0 at the new start, and its left is the other side. A sine, a triangle and a figure
///    of eight that swing a whole number of periods draw the same line back; others one that is shifted. A
///    circle goes round in the same sense as before, seen from the head.
///  - The focus offset stays. The law of power stays: what ramps up at the start does so at the new start,
///    what ramps down at the end at the new end.
inline AnySeam reversed(AnySeam const& seam, double overrun = 2e-3) {
    return {reversed(seam.path, overrun), detail::reversed(seam.travel), seam.focus_offset,
            detail::reversed(seam.weave, seam.duration()), seam.power};
}

} // namespace seamhold

#endif
