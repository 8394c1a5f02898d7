#ifndef SEAMHOLD_HEAD_CHIEF_RAY_SLOPE_HPP
#define SEAMHOLD_HEAD_CHIEF_RAY_SLOPE_HPP

#include "seamhold/curve/open_knots.hpp"
#include "seamhold/curve/spline.hpp"
#include "seamhold/head/command.hpp"
#include "seamhold/number/bad_input.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

namespace detail {

/// The largest angle in or out of a lens that a table may hold: 45°, with an allowance for how it is written,
/// rad.
inline constexpr double largest_lens_angle = 0.7854;

/// A C² spline through measured pairs that goes on straight beyond its ends.
class OpenSpline {
public:
    OpenSpline(std::vector<double> places, std::vector<double> const& values) {
        std::vector<std::array<double, 1>> rows;
        rows.reserve(values.size());
        for (double const value : values)
            rows.push_back({value});
        auto const inner = fit_spline<1>(places, rows);
        auto const straight = [](CubicPiece<1> const& p, double x) {
            double const u = x - p.start;
            auto const& c = p.coefficient;
            return CubicPiece<1>{x,
                                 {{p.at(x)[0]}, {c[1][0] + u * (2 * c[2][0] + 3 * u * c[3][0])}, {0}, {0}}};
        };
        std::vector<CubicPiece<1>> pieces{straight(inner.front(), places.front())};
        pieces.insert(pieces.end(), inner.begin(), inner.end());
        pieces.push_back(straight(inner.back(), places.back()));
        data_ = std::make_shared<Data const>(Data{Knots(std::move(places)), std::move(pieces)});
    }

    template <class T> [[gnu::always_inline]] T at(T const& x) const {
        return with_open_piece(
            data_->knots,
            x, [&](std::size_t i) __attribute__((always_inline)) { return data_->pieces[i].at(x)[0]; });
    }

    double low() const { return data_->knots.places().front(); }
    double high() const { return data_->knots.places().back(); }

private:
    struct Data {
        Knots knots;
        std::vector<CubicPiece<1>> pieces; ///< one straight piece before the first row, one behind the last
    };
    std::shared_ptr<Data const> data_;
};

} // namespace detail

/// At which angle to the axis the chief ray leaves a flat-field lens, by the angle at which it came in, in
/// one plane: in proportion, or as a measured table says.
template <class S = double> class ChiefRaySlope {
public:
    /// The angle out is κ times the angle in: 0 for a telecentric lens, 1 straight through a pupil.
    static ChiefRaySlope proportional(S const& kappa) { return ChiefRaySlope(kappa); }

    /// From two or more rows of increasing angles in, rad, with the angles out, rad, interpolated C²,
    /// straight beyond the ends. Where the table starts at 0, the other side of the axis is its mirror image.
    /// Throws BadInput, naming the rows counted from 0, for angles that are not finite or lie beyond 45°,
    /// angles in that do not increase, a table that starts above 0 or does not reach beyond it, or an angle
    /// out other than 0 on the axis of a table that is to be mirrored.
    static ChiefRaySlope from_table(std::vector<double> angles_in, std::vector<double> angles_out) {
        check(angles_in, angles_out);
        if (angles_in.front() == 0) {
            std::vector<double> in, out;
            for (std::size_t i = angles_in.size(); i-- > 1;) {
                in.push_back(-angles_in[i]);
                out.push_back(-angles_out[i]);
            }
            in.insert(in.end(), angles_in.begin(), angles_in.end());
            out.insert(out.end(), angles_out.begin(), angles_out.end());
            angles_in = std::move(in);
            angles_out = std::move(out);
        }
        ChiefRaySlope slope(number_cast<S>(0.0));
        slope.table_.emplace(std::move(angles_in), angles_out);
        return slope;
    }

    /// The angle out, rad, for an angle in, rad.
    template <class T> [[gnu::always_inline]] Common<S, T> angle(T const& angle_in) const {
        using R = Common<S, T>;
        if (table_)
            return table_->at(number_cast<R>(angle_in));
        return number_cast<R>(angle_in) * operand<R>(kappa_);
    }

    /// How far inside of the table an angle in is, as 1 in the middle, 0 at an end, negative beyond: 1 − (way
    /// from the middle / half the table)². Without a table 1.
    template <class T> Common<S, T> clearance(T const& angle_in) const {
        using R = Common<S, T>;
        R const one = number_cast<R>(1.0);
        if (!table_)
            return one;
        double const middle = 0.5 * (table_->low() + table_->high());
        double const half = 0.5 * (table_->high() - table_->low());
        return one -
               sqr((number_cast<R>(angle_in) - detail::factor<R>(middle)) * detail::factor<R>(1 / half));
    }

    /// The angles in that the slope is known for, rad: the table's, else 45° to both sides.
    Range range() const {
        return table_ ? Range{table_->low(), table_->high()}
                      : Range{-0.78539816339744831, 0.78539816339744831};
    }

    /// The same slope without what its numbers carry beside their values.
    decltype(auto) on_doubles() const {
        if constexpr (std::is_same_v<S, double>) {
            return (*this);
        } else {
            auto slope = ChiefRaySlope<double>::proportional(value_of(kappa_));
            slope.table_ = table_;
            return slope;
        }
    }

private:
    template <class> friend class ChiefRaySlope;

    explicit ChiefRaySlope(S const& kappa) : kappa_(kappa) {}

    static void check(std::span<double const> in, std::span<double const> out) {
        auto const row = [](std::size_t i) { return "row " + std::to_string(i); };
        if (in.size() != out.size() || in.size() < 2)
            throw BadInput("a table of chief-ray angles needs two rows or more, each with both angles; given "
                           "were " +
                           std::to_string(in.size()) + " angles in and " + std::to_string(out.size()) +
                           " out");
        for (std::size_t i = 0; i < in.size(); ++i) {
            if (!(std::abs(in[i]) <= detail::largest_lens_angle) ||
                !(std::abs(out[i]) <= detail::largest_lens_angle))
                throw BadInput(row(i) +
                               " of a table of chief-ray angles is not finite or beyond 45 degrees: " +
                               detail::text_of(in[i]) + " rad in, " + detail::text_of(out[i]) + " rad out");
            if (i > 0 && !(in[i] > in[i - 1]))
                throw BadInput(
                    "rows " + std::to_string(i - 1) + " and " + std::to_string(i) +
                    " of a table of chief-ray angles clash: the angle in must increase from row to "
                    "row: " +
                    detail::text_of(in[i]) + " follows " + detail::text_of(in[i - 1]));
        }
        if (in.front() > 0 || !(in.back() > 0))
            throw BadInput(
                "a table of chief-ray angles must start at 0 or below and end above; its angles in "
                "(rad) run from " +
                detail::text_of(in.front()) + " to " + detail::text_of(in.back()));
        if (in.front() == 0 && out.front() != 0)
            throw BadInput(
                "row 0 of a table of chief-ray angles lies on the axis, so its angle out must be 0; "
                "given was " +
                detail::text_of(out.front()) + " rad");
    }

    S kappa_;
    std::optional<detail::OpenSpline> table_;
};

} // namespace seamhold

#endif
