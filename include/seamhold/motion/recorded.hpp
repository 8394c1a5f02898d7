#ifndef SEAMHOLD_MOTION_RECORDED_HPP
#define SEAMHOLD_MOTION_RECORDED_HPP

#include "seamhold/curve/knots.hpp"
#include "seamhold/curve/spline.hpp"

#include <array>
#include <cstdint>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace seamhold {

/// D recorded quantities over time, interpolated C² by a not-a-knot cubic spline, piece by piece between
/// holes. A hole is a step in time longer than `max_gap`; it carries no data, and the splines on its two
/// sides know nothing of each other. The rows are shared between copies and never change.
template <int D> class Recorded {
public:
    /// Continuity in time, between holes: derivatives up to this order have no jump.
    static constexpr int continuity = 2;

    /// From strictly increasing times, s, and as many rows. Throws BadInput when there are fewer than two
    /// rows, a number is not finite, time does not increase, every row stands alone between holes, or max_gap
    /// is not above 0.
    Recorded(std::vector<double> times, std::span<std::array<double, D> const> rows,
             double max_gap = std::numeric_limits<double>::infinity()) {
        if (!(max_gap > 0))
            throw BadInput("a recording's longest gap must be above 0 s; given was " +
                           detail::text_of(max_gap));
        if (times.size() != rows.size())
            throw BadInput("a recording of " + std::to_string(times.size()) + " times has " +
                           std::to_string(rows.size()) + " rows");
        for (std::size_t i = 0; i < rows.size(); ++i)
            for (double x : rows[i])
                if (!is_finite(x))
                    throw BadInput("row " + std::to_string(i) +
                                   " of a recording holds a number that is not finite");
        auto data = std::make_shared<Data>(Data{Knots(std::move(times)), {}, {}});
        auto const places = data->knots.places();
        double const slack =
            4 * std::numeric_limits<double>::epsilon() * std::max(std::abs(places.back()), 1e-3);
        first_ = places.front() - slack;
        last_ = places.back() + slack;
        data->pieces.reserve(rows.size() - 1);
        std::size_t begin = 0;
        bool any = false;
        for (std::size_t i = 1; i <= rows.size(); ++i) {
            bool const ends = i == rows.size() || places[i] - places[i - 1] > max_gap;
            if (!ends)
                continue;
            if (i - begin >= 2) {
                auto const fitted =
                    fit_spline<D>(places.subspan(begin, i - begin), rows.subspan(begin, i - begin));
                data->pieces.insert(data->pieces.end(), fitted.begin(), fitted.end());
                any = true;
            }
            if (i < rows.size()) {
                data->holes.push_back(static_cast<std::uint32_t>(i - 1));
                // The piece before runs on, so that the last row before a hole has the rates of its data.
                CubicPiece<D> on{places[i - 1], {}};
                for (std::size_t d = 0; d < D; ++d)
                    on.coefficient[0][d] = rows[i - 1][d];
                if (i - begin >= 2)
                    on = data->pieces.back();
                data->pieces.push_back(on);
            }
            begin = i;
        }
        if (!any)
            throw BadInput(
                "every row of the recording stands alone: all steps in time are longer than the longest "
                "gap allowed, " +
                detail::text_of(max_gap) + " s");
        data_ = std::move(data);
    }

    /// The quantities at time t, with t's derivatives. Outside the recording and in holes finite but
    /// meaningless.
    template <class T> [[gnu::always_inline]] std::array<T, D> at(T const& t) const {
        return data_->knots.with_piece(
            t, [&](std::size_t i) __attribute__((always_inline)) { return data_->pieces[i].at(t); });
    }

    /// Whether t lies within the recording and in no hole. Both ends belong to it, with the last bit's
    /// allowance, and so do the rows beside a hole; a row alone between two holes does not, for it says no
    /// rates.
    bool covers(double t) const {
        if (!(t >= first_ && t <= last_))
            return false;
        if (data_->holes.empty())
            return true;
        std::size_t const piece = data_->knots.locate(t);
        return !is_hole(piece) || (t == times()[piece] && piece > 0 && !is_hole(piece - 1));
    }

    /// The times of all rows, s, increasing: third derivatives jump there.
    std::span<double const> times() const { return data_->knots.places(); }

private:
    bool is_hole(std::size_t piece) const {
        return std::binary_search(data_->holes.begin(), data_->holes.end(),
                                  static_cast<std::uint32_t>(piece));
    }

    struct Data {
        Knots knots;
        std::vector<CubicPiece<D>> pieces;
        std::vector<std::uint32_t> holes; ///< pieces without data, increasing
    };

    std::shared_ptr<Data const> data_;
    double first_; ///< both with the last bit's allowance
    double last_;
};

} // namespace seamhold

#endif
