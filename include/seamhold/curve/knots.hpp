#ifndef SEAMHOLD_CURVE_KNOTS_HPP
#define SEAMHOLD_CURVE_KNOTS_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/interval.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace seamhold {

/// a where the mask of lanes is true, b where it is not, number by number.
template <class Mask, class T, std::size_t D>
std::array<T, D> select(Mask const& mask, std::array<T, D> const& a, std::array<T, D> const& b) {
    std::array<T, D> r;
    for (std::size_t d = 0; d < D; ++d)
        r[d] = select(mask, a[d], b[d]);
    return r;
}

namespace detail {

/// What `use(i)` gives for the piece i that each lane lies in, `piece_of` being its number by a double: asked
/// once for all lanes that share it.
template <class V, class PieceOf, class Use>
auto with_pieces_of_lanes(V const& x, PieceOf const& piece_of, Use const& use) {
    std::array<std::size_t, V::width> piece;
    for (std::size_t i = 0; i < piece.size(); ++i)
        piece[i] = piece_of(x.lane(static_cast<int>(i)));
    auto r = use(piece[0]);
    for (std::size_t i = 1; i < piece.size(); ++i) {
        if (std::find(piece.begin(), piece.begin() + static_cast<std::ptrdiff_t>(i), piece[i]) !=
            piece.begin() + static_cast<std::ptrdiff_t>(i))
            continue;
        V here(0.0);
        for (std::size_t k = i; k < piece.size(); ++k)
            if (piece[k] == piece[i])
                here.set_lane(static_cast<int>(k), 1);
        r = select(here > V(0.0), use(piece[i]), r);
    }
    return r;
}

} // namespace detail

/// Increasing places (times, arc lengths) at which a piecewise object changes its piece, with a constant
/// look-up: a table of equal buckets says where to search. Even and nearly even knots are found in one or two
/// steps, whatever their number; at worst (one long hole) the search is a bisection. No cursor: any thread
/// may ask.
class Knots {
public:
    Knots() = default;

    /// From two or more strictly increasing finite numbers. Throws BadInput naming the first that is not.
    explicit Knots(std::vector<double> places) : places_(std::move(places)) {
        if (places_.size() < 2)
            throw BadInput("knots need two places or more; given were " + std::to_string(places_.size()));
        for (std::size_t i = 0; i < places_.size(); ++i)
            if (!is_finite(places_[i]) || (i > 0 && !(places_[i - 1] < places_[i])))
                throw BadInput("knot " + std::to_string(i) + " does not increase or is not finite");
        std::size_t const pieces = places_.size() - 1;
        per_unit_ = static_cast<double>(pieces) / (places_.back() - places_.front());
        bucket_.resize(pieces + 1);
        std::uint32_t piece = 0;
        for (std::size_t b = 0; b <= pieces; ++b) {
            while (piece + 1 < pieces && bucket_of(places_[piece + 1]) < b)
                ++piece;
            bucket_[b] = piece;
        }
    }

    /// The places themselves, increasing.
    std::span<double const> places() const { return places_; }

    /// The number of pieces between them.
    std::size_t pieces() const { return places_.empty() ? 0 : places_.size() - 1; }

    /// The piece i with places[i] ≤ x < places[i + 1]; the first or last piece outside (also for a NaN: the
    /// first).
    std::size_t locate(double x) const {
        if (!(x >= places_.front()))
            return 0;
        std::size_t const last = places_.size() - 2;
        if (x >= places_.back())
            return last;
        std::size_t const b = bucket_of(x);
        std::size_t low = bucket_[b];
        std::size_t high = b + 1 < bucket_.size() ? bucket_[b + 1] : last;
        if (high - low < 8) {
            while (low < last && places_[low + 1] <= x)
                ++low;
            return low;
        }
        high = std::min(high + 1, last + 1);
        auto const begin = places_.begin();
        auto const after = std::upper_bound(begin + static_cast<std::ptrdiff_t>(low),
                                            begin + static_cast<std::ptrdiff_t>(high) + 1, x);
        return static_cast<std::size_t>(after - begin) - 1;
    }

    /// What `use(i)` gives for the piece i of x. For a number made of intervals: what it may give in any
    /// piece that the interval reaches into, by more than a picometre or picosecond and the last bits of the
    /// places (see `detail::either`: then no Taylor remainder is left); pieces must run on that far. For a
    /// number made of packs each lane has its own piece.
    template <class T, class Use> [[gnu::always_inline]] auto with_piece(T const& x, Use const& use) const {
        if constexpr (detail::is_of_intervals<T>) {
            Interval const all = detail::values_of(x);
            double const slack =
                1e-12 + 4e-15 * std::max(std::abs(places_.front()), std::abs(places_.back()));
            std::size_t const first = locate(all.low + std::min(slack, (all.high - all.low) / 2));
            std::size_t const last = std::max(first, locate(all.high - slack));
            using detail::either;
            auto r = use(first);
            for (std::size_t i = first + 1; i <= last; ++i)
                r = either(r, use(i));
            return r;
        } else if constexpr (is_packed<T>) {
            return detail::with_pieces_of_lanes(
                value_of(x), [&](double place) { return locate(place); }, use);
        } else {
            return use(locate(value_of(x)));
        }
    }

private:
    std::size_t bucket_of(double x) const {
        return std::min(static_cast<std::size_t>((x - places_.front()) * per_unit_), bucket_.size() - 1);
    }

    std::vector<double> places_;
    std::vector<std::uint32_t> bucket_; ///< first piece that can hold a place in this bucket
    double per_unit_ = 0;
};

} // namespace seamhold

#endif
