#ifndef SEAMHOLD_SEAM_STORED_PIECES_HPP
#define SEAMHOLD_SEAM_STORED_PIECES_HPP

#include "seamhold/number/gradient.hpp"
#include "seamhold/seam/path.hpp"
#include "seamhold/seam/travel.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <utility>
#include <vector>

/// The polynomials that paths and travels are stored as, read back from what they answer, for those who cut
/// or turn them.
namespace seamhold::detail {

using LaidPiece = SepticPiece<LaidPath::components>;

/// Pieces of a laid path and where they begin, one place more than pieces.
struct LaidPieces {
    std::vector<double> starts; ///< m
    std::vector<LaidPiece> pieces;

    /// One piece more at the end, from where the last ends to `end`, m.
    void add(LaidPiece const& piece, double end) {
        pieces.push_back(piece);
        starts.push_back(end);
    }
};

/// So far beyond both ends, m, a path is made to go on as the piece there does, so that it has its own
/// derivatives at its ends.
inline constexpr double beyond_ends = 2e-7;

/// So near to another, m, a place at which pieces meet is the same.
inline constexpr double one_place = 1e-12;

/// The polynomial that a laid path is at s, about s: exact, because a Taylor expansion of degree 7 is all of
/// it. How the face bends across is the turn of the normal for a step to the left.
inline LaidPiece laid_piece_at(LaidPath const& path, double s) {
    using Across = Gradient<double, 1>;
    using Number = Taylor<Across, 7>;
    Number place, step;
    place.coefficient[0] = Across(s);
    place.coefficient[1] = Across(1);
    step.coefficient[0] = Across::variable(0, 0);
    SurfacePoint<Number> const p = path.at(place, step);
    std::array<Number, 6> const all{p.position.x, p.position.y, p.position.z,
                                    p.normal.x,   p.normal.y,   p.normal.z};
    LaidPiece piece;
    std::array<Taylor<double, 7>, 6> by_step;
    for (std::size_t d = 0; d < 6; ++d)
        for (std::size_t k = 0; k < 8; ++k) {
            piece.coefficient[d][k] = all[d].coefficient[k].value;
            by_step[d].coefficient[k] = all[d].coefficient[k].partial[0];
        }
    Direction<Part, Taylor<double, 7>> const left{by_step[0], by_step[1], by_step[2]};
    Direction<Part, Taylor<double, 7>> const turn{by_step[3], by_step[4], by_step[5]};
    auto const bend = dot(turn, left) / squared_norm(left);
    for (std::size_t k = 0; k < 8; ++k)
        piece.coefficient[6][k] = bend.coefficient[k];
    return piece;
}

/// The same polynomial about a place `by` further on, m.
inline LaidPiece moved_on(LaidPiece const& piece, double by) {
    LaidPiece r;
    for (std::size_t d = 0; d < LaidPath::components; ++d)
        r.coefficient[d] = expanded<7>(piece.coefficient[d], by);
    return r;
}

/// The piece that a piece becomes when its `extent`, m, is travelled the other way.
inline LaidPiece turned(LaidPiece const& piece, double extent) {
    LaidPiece r = moved_on(piece, extent);
    for (auto& c : r.coefficient)
        for (std::size_t k = 1; k < 8; k += 2)
            c[k] = -c[k];
    return r;
}

/// Makes pieces meet at s, m, which lies between their ends, and returns which begins there.
inline std::size_t meet_at(LaidPieces& all, double s) {
    auto const place = std::lower_bound(all.starts.begin(), all.starts.end(), s - one_place);
    auto const i = place - all.starts.begin();
    auto const index = static_cast<std::size_t>(i);
    if (*place > s + one_place) {
        double const before = all.starts[index - 1];
        all.starts.insert(place, s);
        all.pieces.insert(all.pieces.begin() + i, moved_on(all.pieces[index - 1], s - before));
    } else {
        all.pieces[index] = moved_on(all.pieces[index], s - all.starts[index]);
        all.starts[index] = s;
    }
    return index;
}

/// A straight line that goes on as a piece begins, with the normal and the bend it has there.
inline LaidPiece straight_on(LaidPiece const& piece) {
    LaidPiece r{};
    for (std::size_t d = 0; d < LaidPath::components; ++d) {
        r.coefficient[d][0] = piece.coefficient[d][0];
        r.coefficient[d][1] = d < 3 ? piece.coefficient[d][1] : 0;
    }
    return r;
}

/// All pieces of a laid path, with `overrun`, m, at both ends. Between the ends they are the path's own.
/// Beyond them, where a path does not tell its pieces, they are its expansions at 16 places.
inline LaidPieces pieces_of(LaidPath const& path, double overrun) {
    constexpr int steps = 16;
    double const length = path.length();
    double const step = overrun / steps;
    LaidPieces all;
    for (int k = steps; k > 0; --k) {
        all.starts.push_back(-beyond_ends - k * step);
        all.pieces.push_back(laid_piece_at(path, all.starts.back()));
    }
    all.starts.push_back(-beyond_ends);
    all.pieces.push_back(moved_on(laid_piece_at(path, 0), -beyond_ends));
    all.starts.push_back(0);
    for (double const s : path.breaks())
        if (s > one_place && s < length - one_place)
            all.add(laid_piece_at(path, all.starts.back()), s);
    auto const last = laid_piece_at(path, all.starts.back());
    all.add(last, length);
    all.add(moved_on(last, length - all.starts[all.starts.size() - 2]), length + beyond_ends);
    for (int k = 1; k <= steps; ++k)
        all.add(laid_piece_at(path, all.starts.back()), length + beyond_ends + k * step);
    return all;
}

/// The cubic that a travel is at a time, s, about that time.
inline CubicPiece<1> travel_piece_at(Travel<> const& travel, double time) {
    auto const s = travel.arc_length(Taylor<double, 3>::variable(time));
    return {time, {{s.coefficient[0]}, {s.coefficient[1]}, {s.coefficient[2]}, {s.coefficient[3]}}};
}

/// A travel of pieces, the first of which begins at 0, that runs on at both ends at the speeds there, m/s.
inline Travel<> travel_of(double speed, double duration, std::vector<CubicPiece<1>> const& pieces,
                          double start_speed, double end_speed, double length) {
    std::vector<CubicPiece<1>> all{{-duration, {{-start_speed * duration}, {start_speed}, {0}, {0}}}};
    auto const add = [&all](CubicPiece<1> const& piece) {
        if (piece.start > all.back().start)
            all.push_back(piece);
        else // of no duration
            all.back() = piece;
    };
    for (auto const& piece : pieces)
        add(piece);
    add({duration, {{length}, {end_speed}, {0}, {0}}});
    return {speed, duration, std::move(all)};
}

} // namespace seamhold::detail

#endif
