#ifndef SEAMHOLD_SEAM_EXTENT_HPP
#define SEAMHOLD_SEAM_EXTENT_HPP

#include "seamhold/seam/drawn_shape.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <vector>

namespace seamhold {

/// The box around shapes in the flattened face, m.
struct FaceExtent {
    double low_x = std::numeric_limits<double>::infinity();
    double low_y = std::numeric_limits<double>::infinity();
    double high_x = -std::numeric_limits<double>::infinity();
    double high_y = -std::numeric_limits<double>::infinity();

    /// The width of the box along the face's x axis, m.
    double width() const { return high_x - low_x; }
    /// The height of the box along the face's y axis, m.
    double height() const { return high_y - low_y; }

    /// Widens the box so that it holds a place.
    void take(double x, double y) {
        low_x = std::min(low_x, x);
        low_y = std::min(low_y, y);
        high_x = std::max(high_x, x);
        high_y = std::max(high_y, y);
    }
    /// Widens the box so that it holds another.
    void take(FaceExtent const& other) {
        take(other.low_x, other.low_y);
        take(other.high_x, other.high_y);
    }
};

namespace detail {
inline FaceExtent extent_of(Straight<> const& piece) {
    FaceExtent box;
    box.take(piece.start_x, piece.start_y);
    auto const end = piece.at(piece.extent);
    box.take(end.x, end.y);
    return box;
}

inline FaceExtent extent_of(Arc<> const& piece) {
    FaceExtent box;
    for (double const s : {0.0, piece.length()}) {
        auto const p = piece.at(s);
        box.take(p.x, p.y);
    }
    double const low = std::min(piece.start_angle, piece.start_angle + piece.turn);
    double const high = std::max(piece.start_angle, piece.start_angle + piece.turn);
    double const quarter = std::numbers::pi / 2;
    double const first = std::ceil(low / quarter); // whole quarters at which the circle is widest
    for (double k = first; k * quarter <= high && k < first + 4; ++k) {
        int const side = static_cast<int>(std::fmod(std::fmod(k, 4) + 4, 4));
        if (side % 2 == 0)
            box.take(piece.center_x + (side == 0 ? piece.radius : -piece.radius), piece.at(0.0).y);
        else
            box.take(piece.at(0.0).x, piece.center_y + (side == 1 ? piece.radius : -piece.radius));
    }
    return box;
}

inline FaceExtent extent_of(CurvePiece const& piece) {
    FaceExtent box;
    constexpr int parts = 16;
    auto const slope = [&](std::size_t d, double s) { return piece.polynomial.at(s).slope[d]; };
    for (int i = 0; i <= parts; ++i) {
        double const s = piece.extent * i / parts;
        auto const p = piece.at(s);
        box.take(p.x, p.y);
        for (std::size_t d = 0; d < 2 && i < parts; ++d) {
            double low = s, high = piece.extent * (i + 1) / parts;
            bool const rises = slope(d, low) > 0;
            if (rises == (slope(d, high) > 0))
                continue;
            for (int k = 0; k < 40; ++k) // the value's error is the square of the place's
                (rises == (slope(d, (low + high) / 2) > 0) ? low : high) = (low + high) / 2;
            auto const turn = piece.at(low);
            box.take(turn.x, turn.y);
        }
    }
    return box;
}
} // namespace detail

/// The box around a shape, m; exact to rounding.
inline FaceExtent extent_of(DrawnShape const& shape) {
    FaceExtent box;
    for (auto const& piece : shape.pieces())
        std::visit([&box](auto const& p) { box.take(detail::extent_of(p)); }, piece);
    return box;
}

/// The box around all of them, m. Of none: width and height are minus infinity.
inline FaceExtent extent_of(std::vector<DrawnShape> const& shapes) {
    FaceExtent box;
    for (auto const& shape : shapes)
        box.take(extent_of(shape));
    return box;
}

/// The length of all of them together, m.
inline double length_of(std::vector<DrawnShape> const& shapes) {
    double sum = 0;
    for (auto const& shape : shapes)
        sum += shape.length();
    return sum;
}

} // namespace seamhold

#endif
