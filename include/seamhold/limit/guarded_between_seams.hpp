#ifndef SEAMHOLD_LIMIT_GUARDED_BETWEEN_SEAMS_HPP
#define SEAMHOLD_LIMIT_GUARDED_BETWEEN_SEAMS_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/limit/guarded_directions.hpp"

#include <algorithm>
#include <array>
#include <cstddef>

namespace seamhold {

/// All commands between two: where the mirrors and the lens may be on the way from the one to the other, in
/// whichever order they move.
inline Command<Interval> commands_between(Command<> const& a, Command<> const& b) {
    auto const between = [](double x, double y) { return hull(Interval(x), Interval(y)); };
    return {between(a.x_mirror, b.x_mirror), between(a.y_mirror, b.y_mirror), between(a.focus, b.focus)};
}

namespace detail {

/// A moment and a command, each between two ends.
using Freedom = std::array<Interval, 4>;

template <class T> Command<T> command_of(std::array<T, 4> const& moment) {
    return {moment[1], moment[2], moment[3]};
}

inline double width_of(Direction<Cell, Interval> const& d) {
    return std::max({d.x.high - d.x.low, d.y.high - d.y.low, d.z.high - d.z.low});
}

} // namespace detail

/// Whether the beam, should it come on while it is meant to be off, stays in the guarded directions: at every
/// moment from `first` to `last`, s, with mirrors and lens at any of the commands `anywhere`
/// (`commands_between` the end of one seam and the start of the next). `at(double)` gives where the head
/// stands at a moment as `Pose<Cell, Head>`, `enclose(Interval)` gives, as `Pose<Cell, Head, Interval>`,
/// numbers that contain it at every moment of a stretch; the head answers `ray` at commands of doubles and
/// of intervals. `within` is proven: every moment with every command lies in a piece all of which one cone
/// holds. Throws BadInput unless first ≤ last, and for commands that are not finite.
template <class HeadModel, class At, class Enclose>
Guarded guarded_between_seams(GuardedDirections const& directions, HeadModel const& head,
                              Command<Interval> const& anywhere, double first, double last, At const& at,
                              Enclose const& enclose, HalvingBudget const& budget = {}) {
    detail::check_stretch(first, last);
    if (!is_finite(anywhere.x_mirror) || !is_finite(anywhere.y_mirror) || !is_finite(anywhere.focus))
        throw BadInput("the commands between two seams must be finite");
    Guarded result{Verdict::within, first, {0, 0, 0}, {0, 0, 0}, 0, 0, 0};
    auto const enclosed = [&](detail::Freedom const& piece) -> Direction<Cell, Interval> {
        return enclose(piece[0]) * head.ray(detail::command_of(piece)).direction;
    };
    auto const middle = [](Interval const& x) { return TimeSpan{x.low, x.high}.middle(); };
    /// The middle of a piece, or one of its eight corners in time and mirrors: where it leaves first.
    auto const seen = [&](detail::Freedom const& piece, unsigned corner) {
        std::array<double, 4> moment{};
        for (std::size_t i = 0; i < 4; ++i)
            moment[i] = corner == 8 || i == 3     ? middle(piece[i])
                        : (corner >> i & 1U) != 0 ? piece[i].high
                                                  : piece[i].low;
        auto const command = detail::command_of(moment);
        Direction<Cell> const direction = at(moment[0]) * head.ray(command).direction;
        auto const nearest = directions.nearest(direction);
        return Guarded{Verdict::undecided, moment[0], command, direction, nearest.cone, nearest.outside, 0};
    };
    auto const prove = [&](detail::Freedom const& piece) {
        auto const inside = seen(piece, 8);
        if (detail::one_holds(directions.cones(), inside.cone, enclosed(piece),
                              {piece[0].low, piece[0].high}))
            return detail::Outcome::proven;
        result = inside;
        for (unsigned corner = 0; corner < 8; ++corner) {
            auto const there = seen(piece, corner);
            if (there.outside > result.outside)
                result = there;
        }
        return result.outside > 0 && is_finite(result.outside) ? detail::Outcome::refuted
                                                               : detail::Outcome::open;
    };
    /// Halves the one that alone makes the widest difference.
    auto const halve = [&](detail::Freedom& piece, detail::Freedom& second) {
        std::size_t widest = 4;
        double most = 0;
        for (std::size_t i = 0; i < 4; ++i) {
            double const width = piece[i].high - piece[i].low;
            double const cut = middle(piece[i]);
            if (!(width > (i == 0 ? budget.shortest : 1e-9)) || !(cut > piece[i].low) ||
                !(cut < piece[i].high))
                continue;
            detail::Freedom alone{};
            for (std::size_t k = 0; k < 4; ++k)
                alone[k] = k == i ? piece[k] : Interval(middle(piece[k]));
            double const difference = detail::width_of(enclosed(alone));
            if (difference > most) {
                most = difference;
                widest = i;
            }
        }
        if (widest == 4)
            return false;
        double const cut = middle(piece[widest]);
        piece[widest].high = second[widest].low = cut;
        return true;
    };
    auto const halving = detail::by_halves(
        detail::Freedom{Interval(first, last), anywhere.x_mirror, anywhere.y_mirror, anywhere.focus},
        budget.pieces, prove, halve);
    return detail::judged(result, halving);
}

} // namespace seamhold

#endif
