#ifndef SEAMHOLD_SEAM_PATH_HPP
#define SEAMHOLD_SEAM_PATH_HPP

#include "seamhold/seam/drawn_shape.hpp"
#include "seamhold/surface/plane.hpp"
#include "seamhold/surface/sphere.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <memory>
#include <type_traits>
#include <utility>
#include <variant>
#include <vector>

/// Paths of seams in the part's frame. A path is anything with
///  - `template <class T> SurfacePoint<Common<S, T>> at(T s) const`: place and normal at arc length s, m,
///  - `at(s, across)`: the same, moved to the left of travel along the face by `across` m,
///  - `double length() const`, m; `std::vector<double> breaks() const`, where a derivative may jump, m;
///    `std::vector<Corner> corners() const`, where the tangent jumps; `int continuity() const`, the
///    derivatives by arc length up to which have no jump: 0 with a corner, 1 where the curvature jumps, 2
///    where it does not (3 for a single straight piece, arc or curve on a plane).
namespace seamhold {

/// A shape on a face that the flattened face is laid on without stretching, in closed form: arc length on the
/// face is arc length in the drawing.
template <class Flat, class Surface> struct OnFace {
    static_assert(Surface::isometric,
                  "this face stretches what is laid on it: store the path by arc length, see lay.hpp");
    Flat shape;
    Surface surface;

    /// The length, m.
    double length() const { return shape.length(); }

    /// Where a derivative may jump, m.
    std::vector<double> breaks() const {
        if constexpr (requires { shape.breaks(); })
            return shape.breaks();
        else
            return {};
    }

    /// Where the tangent jumps.
    std::vector<Corner> corners() const {
        if constexpr (requires { shape.corners(); })
            return shape.corners();
        else
            return {};
    }

    /// Up to which derivative there is no jump.
    int continuity() const {
        if constexpr (requires { shape.continuity(); })
            return shape.continuity();
        else
            return 3;
    }

    /// Place and normal at arc length s, m. Not clipped.
    template <class T> [[gnu::always_inline]] auto at(T const& s) const {
        auto const p = shape.at(s);
        return surface.at(p.x, p.y);
    }

    /// The same, `across` m to the left of travel along the face.
    template <class T> [[gnu::always_inline]] auto at(T const& s, T const& across) const {
        auto const p = shape.at(s);
        return surface.at(p.x - p.tangent_y * across, p.y + p.tangent_x * across);
    }
};

/// A path stored by arc length: place, normal, and how the face bends across the path, as polynomials of
/// degree 7. What it was laid on is not needed any more. Shared between copies; never changes. Source of the
/// step across: the circle that has the face's curvature there.
class LaidPath {
public:
    /// Components of a piece: the place (m), the unit normal, and the curvature of the face across the path
    /// (1/m, positive where the normal leans outward on both sides, as on the outside of a tube).
    static constexpr int components = 7;

    /// From pieces that begin at `starts` (one more than pieces; arc length 0 must be among them, and what
    /// lies before it and beyond `length` is overrun), and the corners. See `lay` and `through`.
    LaidPath(std::vector<double> starts, std::vector<SepticPiece<components>> pieces, double length,
             std::vector<Corner> corners)
        : data_(std::make_shared<Data const>(
              Data{Knots(std::move(starts)), std::move(pieces), length, std::move(corners)})) {}

    /// The length, m.
    double length() const { return data_->length; }

    /// Where a derivative may jump, m.
    std::vector<double> breaks() const {
        std::vector<double> inside;
        for (double const s : data_->starts.places())
            if (s > 0 && s < length())
                inside.push_back(s);
        return inside;
    }

    /// Where the tangent jumps, and by how much (rad, without a sign).
    std::vector<Corner> const& corners() const { return data_->corners; }

    /// Up to which derivative there is no jump: 0, 1 or 2.
    int continuity() const {
        if (!corners().empty())
            return 0;
        auto const places = data_->starts.places();
        auto const bend_of = [](SepticPiece<components> const& piece, double s) {
            auto const p = piece.template at<3>(Taylor<double, 1>::variable(s)).slope;
            return Direction<Part>{p[0].derivative(1), p[1].derivative(1), p[2].derivative(1)};
        };
        for (std::size_t i = 1; i < data_->pieces.size(); ++i) {
            if (!(places[i] > 0 && places[i] < length()))
                continue;
            auto const before = bend_of(data_->pieces[i - 1], places[i] - places[i - 1]);
            auto const after = bend_of(data_->pieces[i], 0);
            // Rounding of a bend over a short piece, and of nothing at an inflection.
            if (norm(after - before) > 1e-6 * norm(after) + 1e-5 / length())
                return 1;
        }
        return 2;
    }

    /// Place and normal at arc length s, m. Beyond the overrun it means nothing.
    template <class T> [[gnu::always_inline]] SurfacePoint<Common<double, T>> at(T const& s) const {
        auto const p = piece_at<6>(s).value;
        return {{p[0], p[1], p[2]}, {p[3], p[4], p[5]}};
    }

    /// The same, `across` m to the left of travel: along a circle with the face's curvature, exact on a
    /// sphere and on a cylinder across its rulings or along them; elsewhere right to the second order of
    /// across.
    template <class T>
    [[gnu::always_inline]] SurfacePoint<Common<double, T>> at(T const& s, T const& across) const {
        using R = Common<double, T>;
        auto const p = piece_at<7>(s);
        auto const& v = p.value;
        Direction<Part, R> const normal{v[3], v[4], v[5]};
        Direction<Part, R> const tangent{p.slope[0], p.slope[1], p.slope[2]};
        auto const left = cross(normal, tangent);
        R const angle = v[6] * across;
        R const q = sqr(angle);
        R const sinc = detail::even_series<1>(q);    // sin φ / φ
        R const versine = detail::even_series<2>(q); // (1 − cos φ) / φ²
        R const out = number_cast<R>(across) * sinc;
        R const in = angle * across * versine;
        R const cosine = number_cast<R>(1) - q * versine;
        return {{v[0] + out * left.x - in * normal.x, v[1] + out * left.y - in * normal.y,
                 v[2] + out * left.z - in * normal.z},
                cosine * normal + (angle * sinc) * left};
    }

    /// Bounds of the curvature, 1/m: over each stretch from `from` to `to`, m, it is `most` or less.
    template <class Use> void each_curvature_bound(Use const& use) const {
        auto const places = data_->starts.places();
        for (std::size_t i = 0; i < data_->pieces.size(); ++i)
            if (places[i] >= 0 && places[i] < length())
                use(places[i], places[i + 1], largest_bend<3>(data_->pieces[i], places[i + 1] - places[i]));
    }

private:
    struct Data {
        Knots starts;
        std::vector<SepticPiece<components>> pieces;
        double length;
        std::vector<Corner> corners;
    };

    template <int C, class T> [[gnu::always_inline]] auto piece_at(T const& s) const {
        using R = Common<double, T>;
        return data_->starts.with_piece(
            s, [&](std::size_t i) __attribute__((always_inline)) {
                return data_->pieces[i].template at<C>(
                    R(number_cast<R>(s) - detail::factor<R>(data_->starts.places()[i])));
            });
    }

    std::shared_ptr<Data const> data_;
};

/// A path chosen at run time from a closed list.
class AnyPath {
public:
    /// The list.
    using Choice = std::variant<OnFace<Straight<>, Plane<>>, OnFace<Arc<>, Plane<>>,
                                OnFace<DrawnShape, Plane<>>, OnFace<Still<>, Plane<>>, LaidPath>;

    /// From any path of the list.
    template <class P>
    requires std::constructible_from<Choice, P> AnyPath(P path) : choice_(std::move(path)) {}

    /// The length, m.
    double length() const {
        return std::visit([](auto const& path) { return path.length(); }, choice_);
    }

    /// Where a derivative may jump, m.
    std::vector<double> breaks() const {
        return std::visit([](auto const& path) { return path.breaks(); }, choice_);
    }

    /// Where the tangent jumps.
    std::vector<Corner> corners() const {
        return std::visit([](auto const& path) -> std::vector<Corner> { return path.corners(); }, choice_);
    }

    /// Up to which derivative there is no jump.
    int continuity() const {
        return std::visit([](auto const& path) { return path.continuity(); }, choice_);
    }

    /// Place and normal at arc length s, m.
    template <class T> [[gnu::always_inline]] SurfacePoint<Common<double, T>> at(T const& s) const {
        return std::visit([&](auto const& path) { return path.at(s); }, choice_);
    }

    /// The same, `across` m to the left of travel.
    template <class T>
    [[gnu::always_inline]] SurfacePoint<Common<double, T>> at(T const& s, T const& across) const {
        return std::visit([&](auto const& path) { return path.at(s, across); }, choice_);
    }

    /// The chosen path, for those who must know which.
    Choice const& choice() const { return choice_; }

private:
    Choice choice_;
};

/// Place, tangent, normal, and across = normal × tangent at one arc length: the seam's local frame.
struct PathFrame {
    Point<Part> position;
    Direction<Part> tangent; ///< along the travel
    Direction<Part> normal;  ///< towards the head
    Direction<Part> across;  ///< to the left of travel, seen from the head
    double curvature;        ///< of the path in space, 1/m
};

/// The local frame of a path at arc length s, m; exact derivatives, no differences.
template <class Path> PathFrame frame_at(Path const& path, double s) {
    auto const p = path.at(Taylor<double, 2>::variable(s));
    auto const& o = p.position;
    Direction<Part> const tangent{o.x.derivative(1), o.y.derivative(1), o.z.derivative(1)};
    Direction<Part> const bend{o.x.derivative(2), o.y.derivative(2), o.z.derivative(2)};
    auto const normal = value_of(p.normal);
    return {value_of(o), tangent, normal, cross(normal, tangent), norm(bend)};
}

} // namespace seamhold

#endif
