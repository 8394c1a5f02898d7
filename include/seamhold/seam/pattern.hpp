#ifndef SEAMHOLD_SEAM_PATTERN_HPP
#define SEAMHOLD_SEAM_PATTERN_HPP

#include "seamhold/seam/drawn_shape.hpp"

#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

/// The same stitch many times.
namespace seamhold {

/// The order in which a grid's rows are welded.
enum class GridOrder {
    same_way,      ///< every row from its first column
    there_and_back ///< every second row from its last column, each stitch reversed
};

/// Whether copies on a ring turn with it.
enum class OnRing {
    turning, ///< the stitch's x axis points away from the ring's center
    upright  ///< every copy lies as it was drawn
};

namespace detail {
inline void check_count(char const* what, std::size_t count) {
    if (count == 0)
        throw BadInput(std::string(what) + " needs one stitch or more");
}
inline void check_step(char const* what, FacePoint step, std::size_t count) {
    if (!is_finite(step.x) || !is_finite(step.y) || (count > 1 && step.x == 0 && step.y == 0))
        throw BadInput(std::string(what) + ": the step from stitch to stitch must be finite and not 0");
}
} // namespace detail

/// `count` copies, the first where the shape is, each a step, m, from the one before. Throws BadInput for
/// none and for a step of 0.
inline std::vector<DrawnShape> row_of(DrawnShape const& shape, std::size_t count, FacePoint step) {
    detail::check_count("a row", count);
    detail::check_step("a row", step, count);
    std::vector<DrawnShape> copies;
    for (std::size_t i = 0; i < count; ++i) {
        auto const n = static_cast<double>(i);
        copies.push_back(shape.moved(n * step.x, n * step.y));
    }
    return copies;
}

/// Copies in columns and rows, the first where the shape is, row after row. Throws BadInput for none and for
/// a step of 0.
inline std::vector<DrawnShape> grid_of(DrawnShape const& shape, std::size_t columns, std::size_t rows,
                                       FacePoint column_step, FacePoint row_step,
                                       GridOrder order = GridOrder::there_and_back) {
    detail::check_count("a grid", columns);
    detail::check_count("a grid", rows);
    detail::check_step("a grid's columns", column_step, columns);
    detail::check_step("a grid's rows", row_step, rows);
    DrawnShape const backwards = shape.reversed();
    std::vector<DrawnShape> copies;
    for (std::size_t row = 0; row < rows; ++row)
        for (std::size_t i = 0; i < columns; ++i) {
            bool const back = order == GridOrder::there_and_back && row % 2 == 1;
            auto const c = static_cast<double>(back ? columns - 1 - i : i), r = static_cast<double>(row);
            copies.push_back(
                (back ? backwards : shape)
                    .moved(c * column_step.x + r * row_step.x, c * column_step.y + r * row_step.y));
        }
    return copies;
}

/// `count` copies evenly around a circle of a diameter, m, counter-clockwise from `first_angle` (rad, from
/// the face's x axis). The shape is drawn about the origin; that goes onto the circle. Throws BadInput for
/// none and unless the diameter is above 0.
inline std::vector<DrawnShape> ring_of(DrawnShape const& shape, std::size_t count, FacePoint center,
                                       double diameter, double first_angle = 0,
                                       OnRing how = OnRing::turning) {
    detail::check_count("a ring of stitches", count);
    if (!(diameter > 0) || !is_finite(diameter) || !is_finite(center.x) || !is_finite(center.y) ||
        !is_finite(first_angle))
        throw BadInput("a ring of stitches needs a finite center and first angle and a diameter above 0; "
                       "given was " +
                       detail::text_of(diameter * 1e3) + " mm around " +
                       detail::text_of_mm({center.x, center.y}));
    std::vector<DrawnShape> copies;
    for (std::size_t i = 0; i < count; ++i) {
        double const angle =
            first_angle + 2 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(count);
        copies.push_back(shape.moved(center.x + diameter / 2 * std::cos(angle),
                                     center.y + diameter / 2 * std::sin(angle),
                                     how == OnRing::turning ? angle : 0));
    }
    return copies;
}

/// All of them turned about the face's origin and moved (see `DrawnShape::moved`).
inline std::vector<DrawnShape> moved(std::vector<DrawnShape> const& shapes, double x, double y,
                                     double angle = 0) {
    std::vector<DrawnShape> copies;
    copies.reserve(shapes.size());
    for (auto const& shape : shapes)
        copies.push_back(shape.moved(x, y, angle));
    return copies;
}

/// All of them mirrored in one line (see `DrawnShape::mirrored`).
inline std::vector<DrawnShape> mirrored(std::vector<DrawnShape> const& shapes, FacePoint point,
                                        double angle) {
    std::vector<DrawnShape> copies;
    copies.reserve(shapes.size());
    for (auto const& shape : shapes)
        copies.push_back(shape.mirrored(point, angle));
    return copies;
}

/// All of them the other way round: each reversed, the last first.
inline std::vector<DrawnShape> reversed(std::vector<DrawnShape> const& shapes) {
    std::vector<DrawnShape> copies;
    copies.reserve(shapes.size());
    for (auto shape = shapes.rbegin(); shape != shapes.rend(); ++shape)
        copies.push_back(shape->reversed());
    return copies;
}

} // namespace seamhold

#endif
