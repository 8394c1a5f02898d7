#ifndef SEAMHOLD_CURVE_MONOTONE_HPP
#define SEAMHOLD_CURVE_MONOTONE_HPP

#include "seamhold/curve/open_knots.hpp"
#include "seamhold/curve/spline.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/lift.hpp"
#include "seamhold/number/polynomial.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace seamhold {

namespace detail {

/// Two rows of a table that cannot both be right, counted from 0, and why.
struct RowClash {
    std::size_t row;
    std::size_t other;
    std::string what;
};

/// The first two rows whose places do not increase or whose values turn back; nothing where there are none.
inline std::optional<RowClash> first_clash(std::span<double const> places, std::span<double const> values) {
    bool const falls = values.size() > 1 && values.back() < values.front();
    for (std::size_t i = 1; i < places.size(); ++i) {
        if (!(places[i] > places[i - 1]))
            return RowClash{i - 1, i,
                            "the place must increase from row to row: " + text_of(places[i]) + " follows " +
                                text_of(places[i - 1])};
        if (falls ? !(values[i] < values[i - 1]) : !(values[i] > values[i - 1]))
            return RowClash{i - 1, i,
                            std::string("the values ") + (falls ? "fall" : "rise") +
                                " on the whole and must do so from row to row: " + text_of(values[i]) +
                                " follows " + text_of(values[i - 1])};
    }
    return std::nullopt;
}

/// The derivative of a quintic over a step h is a quartic in Bernstein form: c0 … c4 from the slopes d and
/// second derivatives s at both ends and the mean slope.
inline std::array<double, 5> slope_coefficients(double h, double mean, double d0, double s0, double d1,
                                                double s1) {
    double const c1 = d0 + h * s0 / 4;
    double const c3 = d1 - h * s1 / 4;
    return {d0, c1, 5 * mean - d0 - c1 - c3 - d1, c3, d1};
}

/// Slope and second derivative at each row of a table whose values rise, such that the quintic of every piece
/// rises: those of the C² spline, limited only beside a piece that would not. See `MonotoneTable`.
struct RisingSlopes {
    std::vector<double> first;
    std::vector<double> second;
    std::size_t limited; ///< rows that the spline's own slopes were not kept at

    RisingSlopes(std::span<double const> x, std::span<double const> y)
        : first(x.size()), second(x.size()), limited(0) {
        std::size_t const n = x.size();
        std::vector<std::array<double, 1>> values(n);
        for (std::size_t i = 0; i < n; ++i)
            values[i] = {y[i]};
        auto const pieces = fit_spline<1>(x, values);
        for (std::size_t i = 0; i < n; ++i) {
            auto const& c = pieces[std::min(i, n - 2)].coefficient;
            double const u = i == n - 1 ? x[n - 1] - x[n - 2] : 0;
            first[i] = c[1][0] + u * (2 * c[2][0] + 3 * u * c[3][0]);
            second[i] = 2 * c[2][0] + 6 * u * c[3][0];
        }
        std::vector<double> mean(n - 1), least(n);
        for (std::size_t i = 0; i + 1 < n; ++i)
            mean[i] = (y[i + 1] - y[i]) / (x[i + 1] - x[i]);
        for (std::size_t i = 0; i < n; ++i)
            least[i] = std::min(mean[i == 0 ? 0 : i - 1], mean[i == n - 1 ? n - 2 : i]);

        // Each row goes at most through these stages: as the spline has it; slope clamped; second derivative
        // halved again and again; second derivative 0. With both rows of a piece at the last stage its
        // coefficients are at least 0.1 of the least neighbouring slope and 0.2 of its own, so the loop ends.
        constexpr int last_stage = 8;
        std::vector<int> stage(n, 0);
        auto const limit = [&](std::size_t i) {
            if (stage[i] == 0) {
                ++limited;
                first[i] = std::clamp(first[i], 0.1 * least[i], 1.2 * least[i]);
            } else {
                second[i] = stage[i] + 1 < last_stage ? second[i] / 2 : 0;
            }
            stage[i] = std::min(stage[i] + 1, last_stage);
        };
        for (bool changed = true; changed;) {
            changed = false;
            for (std::size_t i = 0; i + 1 < n; ++i) {
                auto const c = slope_coefficients(x[i + 1] - x[i], mean[i], first[i], second[i], first[i + 1],
                                                  second[i + 1]);
                double const low = 0.05 * least[i];
                double const high = 0.05 * least[i + 1];
                bool const rises =
                    c[0] >= low && c[1] >= low && c[2] >= 0.05 * mean[i] && c[3] >= high && c[4] >= high;
                if (rises || (stage[i] == last_stage && stage[i + 1] == last_stage))
                    continue;
                limit(i);
                limit(i + 1);
                changed = true;
            }
        }
    }
};

} // namespace detail

/// A strictly monotone function through measured pairs at strictly increasing, possibly uneven places, C²
/// between its ends, with its inverse. Pieces are quintic, with the slopes and second derivatives of the C²
/// not-a-knot spline at the rows. Where the Bernstein coefficients of a piece's derivative would not all stay
/// above a twentieth of the neighbouring slopes, the slopes beside it are clamped to 0.1 … 1.2 of the smaller
/// neighbouring mean slope and the second derivatives scaled down until they do; so the function never turns
/// back, whatever the data. For smooth data nothing is limited and the error falls as h⁴. Beyond the ends it
/// goes on straight, with the slope of the end: ask `covers` or compare with `low` and `high`. The table is
/// shared between copies and never changes. Source: R. Dougherty, A. Edelman, J. Hyman, "Nonnegativity-,
/// monotonicity-, or convexity-preserving cubic and quintic Hermite interpolation", Mathematics of
/// Computation 52 (1989), 471–494 (from memory; the conditions here are the Bernstein ones).
class MonotoneTable {
public:
    /// Continuity between the ends: derivatives up to this order have no jump. At the ends the second
    /// derivative jumps to 0.
    static constexpr int continuity = 2;

    /// From two or more rows. Throws BadInput, naming the row (counted from 0) or the two rows that clash,
    /// for a number that is not finite, a place that does not increase, or values that do not all rise or all
    /// fall.
    MonotoneTable(std::vector<double> places, std::vector<double> values) {
        if (places.size() != values.size())
            throw BadInput("a table of " + std::to_string(places.size()) + " places has " +
                           std::to_string(values.size()) + " values");
        if (places.size() < 2)
            throw BadInput("a table needs two rows or more; given were " + std::to_string(places.size()));
        for (std::size_t i = 0; i < places.size(); ++i)
            if (!is_finite(places[i]) || !is_finite(values[i]))
                throw BadInput("row " + std::to_string(i) + " of a table holds a number that is not finite");
        if (auto const clash = detail::first_clash(places, values))
            throw BadInput("rows " + std::to_string(clash->row) + " and " + std::to_string(clash->other) +
                           " of a table clash: " + clash->what);

        double const sign = values.back() < values.front() ? -1 : 1;
        std::vector<double> rising = values;
        for (double& value : rising)
            value *= sign;
        detail::RisingSlopes const slopes(places, rising);
        std::size_t const n = places.size();
        std::vector<Piece> pieces;
        pieces.push_back({places[0], 1, 1, {values[0], sign * slopes.first[0]}});
        for (std::size_t i = 0; i + 1 < n; ++i) {
            double const h = places[i + 1] - places[i];
            double const d0 = sign * h * slopes.first[i], d1 = sign * h * slopes.first[i + 1];
            double const s0 = sign * h * h * slopes.second[i], s1 = sign * h * h * slopes.second[i + 1];
            double const rise = values[i + 1] - values[i] - d0 - s0 / 2;
            double const turn = d1 - d0 - s0;
            double const bend = s1 - s0;
            pieces.push_back({places[i],
                              h,
                              1 / h,
                              {values[i], d0, s0 / 2, 10 * rise - 4 * turn + bend / 2,
                               -15 * rise + 7 * turn - bend, 6 * rise - 3 * turn + bend / 2}});
        }
        pieces.push_back({places[n - 1], 1, 1, {values[n - 1], sign * slopes.first[n - 1]}});
        data_ =
            std::make_shared<Data const>(Data{Knots(std::move(places)), Knots(std::move(rising)),
                                              std::move(pieces), std::move(values), sign, slopes.limited});
    }

    /// The value at x, with x's derivatives; straight beyond the ends. At a row it is the row's
    /// value, but for the last bits.
    template <class T> [[gnu::always_inline]] T at(T const& x) const {
        return detail::with_open_piece(
            data_->knots, x, [&](std::size_t i) __attribute__((always_inline)) {
                auto const& piece = data_->pieces[i];
                return T(polynomial_at(piece.coefficient, piece.local(x)));
            });
    }

    /// The first derivative by x, at x, with x's derivatives; constant beyond the ends. It has the sign of
    /// the whole table and is never 0.
    template <class T> T slope_at(T const& x) const {
        return detail::with_open_piece(data_->knots, x, [&](std::size_t i) {
            auto const& piece = data_->pieces[i];
            std::array<double, 5> rate{};
            for (std::size_t k = 1; k < 6; ++k)
                rate[k - 1] = static_cast<double>(k) * piece.coefficient[k] * piece.per_width;
            return T(polynomial_at(rate, piece.local(x)));
        });
    }

    /// The place whose value is y, with y's derivatives; straight beyond the ends. Solved on doubles by
    /// bracketed Newton steps, at most 64 and usually three or four, to a few units in the last place of the
    /// place or of the value over the slope, whichever is more; other numbers are lifted. Intervals reach
    /// from the place of one end to that of the other, each widened until the table proves it.
    template <class T> T inverse(T const& y) const {
        double const root = place_of(value_of(y));
        auto const residual = [&](std::array<T, 1> const& x) { return std::array<T, 1>{this->at(x[0]) - y}; };
        std::array<std::array<double, 1>, 1> const per_slope{{{1 / slope_at(root)}}};
        if constexpr (BuiltIn<T>) {
            return static_cast<T>(root);
        } else if constexpr (detail::is_of_intervals<T>) {
            Interval const all = detail::values_of(y);
            if (!is_finite(all))
                return detail::anything<T>();
            Interval const places = hull(around_place_of(all.low), around_place_of(all.high));
            std::array<T, 1> x{T(places)};
            detail::enclose_orders(x, per_slope, {{{slope_at(places) * per_slope[0][0]}}}, residual);
            return x[0];
        } else {
            return lift<T>(std::array{root}, per_slope, residual)[0];
        }
    }

    /// Whether x lies between the ends, both included.
    bool covers(double x) const { return x >= low() && x <= high(); }

    /// The first place.
    double low() const { return places().front(); }

    /// The last place.
    double high() const { return places().back(); }

    /// The least value of a row.
    double lowest_value() const { return std::min(values().front(), values().back()); }

    /// The greatest value of a row.
    double highest_value() const { return std::max(values().front(), values().back()); }

    /// Whether values rise with the places.
    bool rises() const { return data_->sign > 0; }

    /// How many rows have a slope or second derivative other than the spline's, so that no piece turns back;
    /// 0 for smooth data.
    std::size_t limited() const { return data_->limited; }

    /// The places of the rows, increasing; the third derivative jumps there.
    std::span<double const> places() const { return data_->knots.places(); }

    /// The values of the rows.
    std::span<double const> values() const { return data_->values; }

private:
    /// A quintic in (x − start)/width.
    struct Piece {
        double start;
        double width;
        double per_width;
        std::array<double, 6> coefficient;

        template <class T> T local(T const& x) const {
            return number_cast<T>(x - start) * detail::factor<T>(per_width);
        }
    };

    struct Data {
        Knots knots;
        Knots value_knots;         ///< of the values times `sign`
        std::vector<Piece> pieces; ///< one straight piece before the first row and one behind the last
        std::vector<double> values;
        double sign;
        std::size_t limited;
    };

    /// Places on both sides of that of y, proven by their values; all where rounding is not so small.
    Interval around_place_of(double y) const {
        double const place = place_of(y), sign = data_->sign;
        for (double way = 1e-15 * (std::abs(place) + high() - low()); way < high() - low(); way *= 4) {
            Interval const around(place - way, place + way);
            Interval const before = at(Interval(around.low)) * sign,
                           behind = at(Interval(around.high)) * sign;
            if (before.high <= sign * y && behind.low >= sign * y)
                return around;
        }
        return Interval::whole();
    }

    double place_of(double y) const {
        double const sign = data_->sign;
        auto const ends = data_->value_knots.places();
        auto const& pieces = data_->pieces;
        if (sign * y < ends.front() || sign * y > ends.back()) {
            auto const& beyond = sign * y < ends.front() ? pieces.front() : pieces.back();
            return beyond.start + (y - beyond.coefficient[0]) / beyond.coefficient[1];
        }
        auto const& piece = pieces[data_->value_knots.locate(sign * y) + 1];
        auto from_y = piece.coefficient; // the piece less y, so that a large offset costs no digits
        from_y[0] -= y;
        double const span = std::abs(polynomial_at(from_y, 1.0) - from_y[0]);
        double low = 0, high = 1, last_step = 1;
        double t = std::min(std::abs(from_y[0]) / span, 1.0);
        for (int i = 0; i < 64; ++i) {
            auto const about = detail::expanded<1>(from_y, t);
            (sign * about[0] > 0 ? high : low) = t;
            double const newton = t - about[0] / about[1];
            double const step = std::abs(newton - t);
            bool const inside = newton >= low && newton <= high;
            // Newton's method squares the error, so a step this small leaves rounding only. A step out of the
            // bracket, or one that does not halve the last: bisect.
            if (step <= 1e-10) {
                t = std::clamp(newton, 0.0, 1.0);
                break;
            }
            double const next = inside && step <= 0.5 * last_step ? newton : low + 0.5 * (high - low);
            last_step = std::abs(next - t);
            t = next;
        }
        return piece.start + t * piece.width;
    }

    std::shared_ptr<Data const> data_;
};

} // namespace seamhold

#endif
