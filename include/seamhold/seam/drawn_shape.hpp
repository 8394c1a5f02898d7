#ifndef SEAMHOLD_SEAM_DRAWN_SHAPE_HPP
#define SEAMHOLD_SEAM_DRAWN_SHAPE_HPP

#include "seamhold/curve/knots.hpp"
#include "seamhold/curve/septic.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/seam/shapes.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace seamhold {

/// A place where a shape's or a path's tangent jumps.
struct Corner {
    double arc_length; ///< m
    double angle;      ///< turned through, rad; in a shape positive to the left of travel
};

/// A curve of no simple form, by arc length: one of the polynomials that `by_arc_length` makes.
struct CurvePiece {
    SepticPiece<2> polynomial;
    double extent; ///< its length, m

    /// The length, m.
    double length() const { return extent; }

    /// The point at arc length s from its start, m. Not clipped, but far outside it means nothing.
    template <class T> [[gnu::always_inline]] ShapePoint<T> at(T const& s) const {
        auto const p = polynomial.at(s);
        return {p.value[0], p.value[1], p.slope[0], p.slope[1]};
    }
};

/// A shape put together at run time from straight pieces, arcs and curves, one after the other, by arc
/// length. The pieces are shared between copies and never change. Not clipped: before the start the first
/// piece runs on, after the end the last.
class DrawnShape {
public:
    /// One piece.
    using Piece = std::variant<Straight<>, Arc<>, CurvePiece>;

    /// From one piece or more, each starting where the one before ends. Throws BadInput, naming the piece
    /// (from 0) and the gap, where it does not, within a millionth of the shorter piece, and for a piece
    /// without length.
    explicit DrawnShape(std::vector<Piece> pieces) {
        if (pieces.empty())
            throw BadInput("a shape needs one piece or more");
        std::vector<double> starts{0};
        double lost = 0; // W. Kahan's summation
        for (std::size_t i = 0; i < pieces.size(); ++i) {
            double const length = length_of(pieces[i]);
            if (!(length > 0) || !is_finite(length))
                throw BadInput("piece " + std::to_string(i) + " of a shape has no length");
            if (i > 0)
                check_joint(pieces, i);
            double const added = length - lost;
            starts.push_back(starts.back() + added);
            lost = (starts.back() - starts[i]) - added;
        }
        Data data{Knots(std::move(starts)), std::move(pieces), {}, {}};
        if (std::holds_alternative<CurvePiece>(data.pieces.front()))
            data.before = straight_on(start_of(data.pieces.front()));
        if (std::holds_alternative<CurvePiece>(data.pieces.back()))
            data.after = straight_on(end_of(data.pieces.back()));
        data_ = std::make_shared<Data const>(std::move(data));
    }

    /// From one straight piece.
    DrawnShape(Straight<> const& straight) : DrawnShape(std::vector<Piece>{straight}) {}

    /// From one arc.
    DrawnShape(Arc<> const& arc) : DrawnShape(std::vector<Piece>{arc}) {}

    /// The length, m.
    double length() const { return data_->starts.places().back(); }

    /// The point and tangent at arc length s, m; at a joint those of the piece that begins there.
    template <class T> [[gnu::always_inline]] ShapePoint<Common<double, T>> at(T const& s) const {
        using R = Common<double, T>;
        auto const in_piece = [&](std::size_t i) __attribute__((always_inline)) {
            R const local = number_cast<R>(s) - detail::factor<R>(data_->starts.places()[i]);
            Piece const& piece = data_->pieces[i];
            if (auto const* straight = std::get_if<Straight<>>(&piece))
                return straight->at(local);
            if (auto const* arc = std::get_if<Arc<>>(&piece))
                return arc->at(local);
            return std::get_if<CurvePiece>(&piece)->at(local);
        };
        auto const early = [&] { return data_->before->at(number_cast<R>(s)); };
        auto const late = [&] {
            return data_->after->at(R(number_cast<R>(s) - detail::factor<R>(length())));
        };
        if constexpr (detail::is_of_intervals<R>) {
            Interval const places = detail::values_of(number_cast<R>(s));
            bool const begins_before = data_->before && places.low < -start_of_curve;
            bool const ends_after = data_->after && places.high > length() + end_of_curve;
            if (begins_before && places.high <= start_of_curve)
                return early();
            if (ends_after && places.low >= length() + end_of_curve)
                return late();
            auto r = data_->starts.with_piece(s, in_piece);
            if (begins_before)
                r = either(r, early());
            if (ends_after)
                r = either(r, late());
            return r;
        } else if constexpr (is_packed<R>) {
            auto r = data_->starts.with_piece(s, in_piece);
            auto const places = value_of(s);
            using V = decltype(places);
            if (data_->before)
                r = select(places < V(0.0), early(), r);
            if (data_->after)
                r = select(places > V(length() + end_of_curve), late(), r);
            return r;
        } else {
            double const place = value_of(s);
            if (data_->before && place < 0)
                return early();
            if (data_->after && place > length() + end_of_curve)
                return late();
            return in_piece(data_->pieces.size() == 1 ? 0 : data_->starts.locate(place));
        }
    }

    /// The pieces.
    std::vector<Piece> const& pieces() const { return data_->pieces; }

    /// What runs on before the start: at(s) for s below 0.
    Piece before() const { return data_->before ? Piece(*data_->before) : data_->pieces.front(); }

    /// What runs on after the end: at(s) for s above 0, counted from the end.
    Piece after() const {
        if (data_->after)
            return *data_->after;
        Piece const& last = data_->pieces.back();
        if (auto const* arc = std::get_if<Arc<>>(&last))
            return Arc<>{arc->center_x, arc->center_y, arc->radius, arc->start_angle + arc->turn, arc->turn};
        return straight_on(end_of(last));
    }

    /// Where pieces meet, m, without both ends, increasing: where a derivative may jump.
    std::vector<double> breaks() const {
        auto const places = data_->starts.places();
        return {places.begin() + 1, places.end() - 1};
    }

    /// Where the tangent jumps by more than `least` rad, and by how much. Ends are no corners.
    std::vector<Corner> corners(double least = 1e-7) const {
        std::vector<Corner> found;
        for (std::size_t i = 1; i < data_->pieces.size(); ++i) {
            auto const a = end_of(data_->pieces[i - 1]);
            auto const b = start_of(data_->pieces[i]);
            double const angle = std::atan2(a.tangent_x * b.tangent_y - a.tangent_y * b.tangent_x,
                                            a.tangent_x * b.tangent_x + a.tangent_y * b.tangent_y);
            if (std::abs(angle) > least)
                found.push_back({data_->starts.places()[i], angle});
        }
        return found;
    }

    /// The derivatives by arc length up to this order have no jump: 0 with a corner, 1 where the curvature
    /// jumps, 2 where it does not; 3 for a shape of one piece.
    int continuity() const {
        if (data_->pieces.size() == 1)
            return 3;
        if (!corners().empty())
            return 0;
        for (std::size_t i = 1; i < data_->pieces.size(); ++i) {
            double const a = curvature(data_->pieces[i - 1], length_of(data_->pieces[i - 1]));
            double const b = curvature(data_->pieces[i], 0);
            // Where the curvature is 0, rounding remains: a share of what bends the shorter piece by 1 rad.
            double const shorter = std::min(length_of(data_->pieces[i - 1]), length_of(data_->pieces[i]));
            if (std::abs(a - b) > 1e-6 * std::max(std::abs(a), std::abs(b)) + 1e-9 / shorter)
                return 1;
        }
        return 2;
    }

    /// The signed curvature at arc length s, 1/m; positive to the left of travel.
    double curvature(double s) const {
        std::size_t const i = data_->starts.locate(s);
        return curvature(data_->pieces[i], s - data_->starts.places()[i]);
    }

    /// The same line travelled the other way.
    DrawnShape reversed() const {
        std::vector<Piece> turned;
        for (auto piece = data_->pieces.rbegin(); piece != data_->pieces.rend(); ++piece)
            turned.push_back(std::visit([](auto const& p) { return Piece(reversed(p)); }, *piece));
        return DrawnShape(std::move(turned));
    }

    /// Turned by `angle` rad about the face's origin, counter-clockwise seen from the head, then moved by
    /// (x, y) m.
    DrawnShape moved(double x, double y, double angle = 0) const {
        return mapped({x, y, std::cos(angle), std::sin(angle), angle, 1});
    }

    /// Mirrored in the line through `point` at `angle` rad to the face's x axis.
    DrawnShape mirrored(FacePoint point, double angle) const {
        double const c = std::cos(2 * angle), s = std::sin(2 * angle);
        return mapped({point.x - (c * point.x + s * point.y), point.y - (s * point.x - c * point.y), c, s,
                       2 * angle, -1});
    }

    /// This shape with another joined to its end. Throws BadInput where the other does not start there.
    DrawnShape joined(DrawnShape const& next) const {
        auto all = data_->pieces;
        all.insert(all.end(), next.data_->pieces.begin(), next.data_->pieces.end());
        return DrawnShape(std::move(all));
    }

private:
    struct Data {
        Knots starts;
        std::vector<Piece> pieces;
        std::optional<Straight<>> before; ///< how a curve runs on
        std::optional<Straight<>> after;
    };

    /// So far beyond its end, m, a curve is still itself, so that it has its own derivatives there.
    static constexpr double end_of_curve = 1e-9;

    /// So far before its start, m, an interval does not count as reaching out of a curve.
    static constexpr double start_of_curve = 1e-12;

    static Straight<> straight_on(ShapePoint<double> const& p) {
        return {p.x, p.y, p.tangent_x, p.tangent_y, 1};
    }

    /// (x, y) → shift + turn · (x, side · y).
    struct Map {
        double x, y;
        double cosine, sine, angle;
        double side; ///< −1 where left becomes right

        FacePoint direction(double dx, double dy) const {
            return {cosine * dx - sine * side * dy, sine * dx + cosine * side * dy};
        }
        FacePoint place(double px, double py) const {
            auto const d = direction(px, py);
            return {d.x + x, d.y + y};
        }
    };

    static double length_of(Piece const& piece) {
        return std::visit([](auto const& p) { return p.length(); }, piece);
    }
    template <class T> static ShapePoint<T> piece_at(Piece const& piece, T const& s) {
        return std::visit([&](auto const& p) { return p.at(s); }, piece);
    }
    static ShapePoint<double> start_of(Piece const& piece) { return piece_at(piece, 0.0); }
    static ShapePoint<double> end_of(Piece const& piece) { return piece_at(piece, length_of(piece)); }

    static double curvature(Piece const& piece, double s) {
        auto const p = piece_at(piece, Taylor<double, 1>::variable(s));
        return p.tangent_x.value() * p.tangent_y.derivative(1) -
               p.tangent_y.value() * p.tangent_x.derivative(1);
    }

    static void check_joint(std::vector<Piece> const& pieces, std::size_t i) {
        auto const a = end_of(pieces[i - 1]);
        auto const b = start_of(pieces[i]);
        double const gap = std::hypot(b.x - a.x, b.y - a.y);
        double const shorter = std::min(length_of(pieces[i - 1]), length_of(pieces[i]));
        double const rounding = 1e-14 * (std::abs(a.x) + std::abs(a.y));
        if (!(gap <= 1e-6 * shorter + rounding))
            throw BadInput("piece " + std::to_string(i) + " of a shape starts at " +
                           detail::text_of_mm({b.x, b.y}) + ", " + detail::text_of(gap * 1e3) +
                           " mm from the end of the piece before");
    }

    static Straight<> reversed(Straight<> const& p) {
        auto const end = p.at(p.extent);
        return {end.x, end.y, -p.direction_x, -p.direction_y, p.extent};
    }
    static Arc<> reversed(Arc<> const& p) {
        return {p.center_x, p.center_y, p.radius, p.start_angle + p.turn, -p.turn};
    }
    static CurvePiece reversed(CurvePiece const& p) {
        CurvePiece r{{}, p.extent};
        for (std::size_t d = 0; d < 2; ++d) {
            r.polynomial.coefficient[d] = detail::expanded<7>(p.polynomial.coefficient[d], p.extent);
            for (std::size_t k = 1; k < 8; k += 2)
                r.polynomial.coefficient[d][k] = -r.polynomial.coefficient[d][k];
        }
        return r;
    }

    static Straight<> mapped(Straight<> const& p, Map const& map) {
        auto const start = map.place(p.start_x, p.start_y);
        auto const direction = map.direction(p.direction_x, p.direction_y);
        return {start.x, start.y, direction.x, direction.y, p.extent};
    }
    static Arc<> mapped(Arc<> const& p, Map const& map) {
        auto const center = map.place(p.center_x, p.center_y);
        return {center.x, center.y, p.radius, map.angle + map.side * p.start_angle, map.side * p.turn};
    }
    static CurvePiece mapped(CurvePiece const& p, Map const& map) {
        CurvePiece r = p;
        for (std::size_t k = 0; k < 8; ++k) {
            double const x = p.polynomial.coefficient[0][k], y = p.polynomial.coefficient[1][k];
            auto const c = k == 0 ? map.place(x, y) : map.direction(x, y);
            r.polynomial.coefficient[0][k] = c.x;
            r.polynomial.coefficient[1][k] = c.y;
        }
        return r;
    }
    DrawnShape mapped(Map const& map) const {
        std::vector<Piece> all;
        for (auto const& piece : data_->pieces)
            all.push_back(std::visit([&](auto const& p) { return Piece(mapped(p, map)); }, piece));
        return DrawnShape(std::move(all));
    }

    std::shared_ptr<Data const> data_;
};

} // namespace seamhold

#endif
