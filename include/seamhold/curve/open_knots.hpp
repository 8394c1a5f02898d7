#ifndef SEAMHOLD_CURVE_OPEN_KNOTS_HPP
#define SEAMHOLD_CURVE_OPEN_KNOTS_HPP

#include "seamhold/curve/knots.hpp"
#include "seamhold/number/lift.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace seamhold::detail {

/// What `use(i)` gives for the piece i of x, where a piece 0 stands before the first knot and the last one
/// behind the last knot. For a number made of intervals as `Knots::with_piece`: what it may give in any piece
/// that the interval reaches into, by more than a picometre or picoradian and the last bits of the places.
template <class T, class Use>
[[gnu::always_inline]] inline auto with_open_piece(Knots const& knots, T const& x, Use const& use) {
    auto const index = [&knots](double place) __attribute__((always_inline)) {
        return place < knots.places().front()  ? 0
               : place > knots.places().back() ? knots.pieces() + 1
                                               : knots.locate(place) + 1;
    };
    if constexpr (is_of_intervals<T>) {
        Interval const all = values_of(x);
        double const slack =
            1e-12 + 4e-15 * std::max(std::abs(knots.places().front()), std::abs(knots.places().back()));
        std::size_t const first = index(all.low + std::min(slack, (all.high - all.low) / 2));
        std::size_t const last = std::max(first, index(all.high - slack));
        auto r = use(first);
        for (std::size_t i = first + 1; i <= last; ++i)
            r = either(r, use(i));
        return r;
    } else if constexpr (is_packed<T>) {
        return with_pieces_of_lanes(value_of(x), index, use);
    } else {
        return use(index(value_of(x)));
    }
}

} // namespace seamhold::detail

#endif
