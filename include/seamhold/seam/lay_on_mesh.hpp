#ifndef SEAMHOLD_SEAM_LAY_ON_MESH_HPP
#define SEAMHOLD_SEAM_LAY_ON_MESH_HPP

#include "seamhold/curve/spline_field.hpp"
#include "seamhold/seam/extent.hpp"
#include "seamhold/seam/lay.hpp"
#include "seamhold/surface/mesh_face.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <vector>

/// Seams laid on a mesh: once, at set-up. No mesh stands in the chain.
namespace seamhold {

namespace detail {

/// A stretch of a mesh under a seam as a smooth surface: place and normal as a field of splines over the
/// flattened face.
struct MeshChart {
    static constexpr bool isometric = false;
    SplineField<6> field;

    template <class T> SurfacePoint<T> at(T const& x, T const& y) const {
        auto const v = field.at(x, y);
        return {{v[0], v[1], v[2]}, unit(Direction<Part, T>{v[3], v[4], v[5]})};
    }
};

/// The same as of any surface, from the field's own derivatives.
inline FaceAlong face_along(MeshChart const& chart, ShapePoint<Taylor<double, 4>> const& p) {
    auto const at = chart.field.along(p.x, p.y);
    auto const three = [](auto const& v, std::size_t from) {
        return TaylorDirection<3>{to_order<3>(v[from]), to_order<3>(v[from + 1]), to_order<3>(v[from + 2])};
    };
    auto const normal = three(at.value, 3);
    // What scales the normal's derivatives; what they have along the normal is of no use.
    auto const scale = 1.0 / norm(normal);
    return {{at.value[0], at.value[1], at.value[2]},
            scale * normal,
            {three(at.by_u, 0), three(at.by_v, 0)},
            {scale * three(at.by_u, 3), scale * three(at.by_v, 3)}};
}

/// Makes the chart under a shape.
template <class OnMesh> class MeshChartMaker {
public:
    MeshChartMaker(DrawnShape const& shape, OnMesh const& face, double overrun)
        : shape_(shape), face_(face), overrun_(overrun) {
        edge_ = mean_edge();
        under_the_seam();
    }

    SplineField<6> field() {
        auto const grid = cells();
        mark_band(grid);
        double const step_x = width(grid.low_u, grid.high_u, grid.cells_u);
        double const step_y = width(grid.low_v, grid.high_v, grid.cells_v);
        for (std::size_t i = 0; i < columns_; ++i)
            for (std::size_t k = 0; k < rows_; ++k)
                if (marked_[i * rows_ + k])
                    take(grid.low_u + static_cast<double>(i) * step_x / per_cell,
                         grid.low_v + static_cast<double>(k) * step_y / per_cell);
        return fit_spline_field<6>(grid, places_, values_);
    }

private:
    static constexpr std::size_t per_cell = 2;    ///< samples on a side of a cell
    static constexpr std::size_t most_cells = 64; ///< on a side; the fit grows with the cube
    static constexpr double reach = 1.5;          ///< of the band beside the seam, cells

    static double width(double low, double high, std::size_t cells) {
        return (high - low) / static_cast<double>(cells);
    }

    /// The mean edge of the triangles under the seam.
    double mean_edge() const {
        constexpr int count = 32;
        double sum = 0;
        for (int i = 0; i <= count; ++i) {
            auto const p = shape_.at(shape_.length() * i / count);
            auto const t = face_.at(p.x, p.y).place.triangle;
            auto const& mesh = face_.mesh();
            sum += std::sqrt(
                norm(cross(mesh.corner(t, 1) - mesh.corner(t, 0), mesh.corner(t, 2) - mesh.corner(t, 0))));
        }
        return sum / (count + 1);
    }

    /// Points on the seam itself, close enough that no triangle is passed over: here a fault is one.
    void under_the_seam() {
        auto const count =
            static_cast<std::size_t>(std::ceil(std::max(8.0, 2 * shape_.length() / edge_))) + 1;
        for (std::size_t i = 0; i < count; ++i) {
            auto const p =
                shape_.at(shape_.length() * static_cast<double>(i) / static_cast<double>(count - 1));
            keep({p.x, p.y}, face_.at(p.x, p.y));
            line_.push_back({p.x, p.y});
        }
        for (double s = edge_ / 2; s < overrun_ + edge_ / 2; s += edge_ / 2)
            for (double const at : {-std::min(s, overrun_), shape_.length() + std::min(s, overrun_)}) {
                auto const p = shape_.at(at);
                line_.push_back({p.x, p.y});
            }
    }

    /// Cells of about an edge over all that the seam needs.
    SplineGrid cells() const {
        SplineGrid grid{line_[0].x, line_[0].x, line_[0].y, line_[0].y, 1, 1};
        for (auto const& p : line_) {
            grid.low_u = std::min(grid.low_u, p.x);
            grid.high_u = std::max(grid.high_u, p.x);
            grid.low_v = std::min(grid.low_v, p.y);
            grid.high_v = std::max(grid.high_v, p.y);
        }
        double const larger = std::max(grid.high_u - grid.low_u, grid.high_v - grid.low_v);
        double const cell = std::max(edge_, larger / static_cast<double>(most_cells - 4));
        auto const fit = [&](double& low, double& high, std::size_t& count) {
            count = static_cast<std::size_t>(std::ceil((high - low) / cell)) + 4;
            double const middle = (low + high) / 2;
            low = middle - static_cast<double>(count) * cell / 2;
            high = middle + static_cast<double>(count) * cell / 2;
        };
        fit(grid.low_u, grid.high_u, grid.cells_u);
        fit(grid.low_v, grid.high_v, grid.cells_v);
        return grid;
    }

    /// Which samples lie close to the seam.
    void mark_band(SplineGrid const& grid) {
        columns_ = grid.cells_u * per_cell + 1;
        rows_ = grid.cells_v * per_cell + 1;
        marked_.assign(columns_ * rows_, false);
        double const step = width(grid.low_u, grid.high_u, grid.cells_u) / per_cell;
        auto const range = [&](double place, double low, std::size_t count) {
            double const near = (place - low) / step;
            auto const clamped = [&](double x) {
                return static_cast<std::size_t>(std::clamp(x, 0.0, static_cast<double>(count - 1)));
            };
            return std::array{clamped(std::ceil(near - reach * per_cell)),
                              clamped(std::floor(near + reach * per_cell))};
        };
        for (auto const& p : line_) {
            auto const x = range(p.x, grid.low_u, columns_);
            auto const y = range(p.y, grid.low_v, rows_);
            for (std::size_t i = x[0]; i <= x[1]; ++i)
                for (std::size_t k = y[0]; k <= y[1]; ++k)
                    marked_[i * rows_ + k] = true;
        }
    }

    /// A sample beside the seam; none where the mesh has a fault on the way.
    void take(double x, double y) {
        try {
            keep({x, y}, face_.at(x, y));
        } catch (BadInput const&) {
        }
    }

    void keep(FacePoint place, MeshPoint const& point) {
        places_.push_back({place.x, place.y});
        auto const& p = point.position;
        auto const& n = point.normal;
        values_.push_back({p.x, p.y, p.z, n.x, n.y, n.z});
    }

    DrawnShape const& shape_;
    OnMesh const& face_;
    double overrun_;
    double edge_ = 0;
    std::vector<FacePoint> line_;
    std::size_t columns_ = 0, rows_ = 0;
    std::vector<bool> marked_;
    std::vector<std::array<double, 2>> places_;
    std::vector<std::array<double, 6>> values_;
};

} // namespace detail

/// A shape laid on a mesh by straight lines over its triangles, smoothed and stored by arc length. Under the
/// seam, and a triangle or two beside it, the mesh is replaced by a field of splines of degree 4 (C³) through
/// points on its curved patches, in cells of about a triangle's edge (at most 60 along the seam's longer
/// side); no corner of a triangle is left in the rates. On a smooth face the error of places and normals
/// falls as the square of the edge. Throws BadInput, naming place and triangle, where the seam or a line from
/// the face's origin to it meets a hole, a flipped triangle, a crease, or an edge of three triangles.
template <std::same_as<MeshFace> OnMesh> // a template, so that who lays nothing compiles nothing of it
Laid lay(DrawnShape const& shape, OnMesh const& face, double overrun = 2e-3) {
    if (!(overrun > 0) || !is_finite(overrun))
        throw BadInput("a path's overrun must be above 0; given was " + detail::text_of(overrun) + " m");
    detail::MeshChart const chart{detail::MeshChartMaker<OnMesh>(shape, face, overrun).field()};
    return lay(shape, chart, overrun);
}

} // namespace seamhold

#endif
