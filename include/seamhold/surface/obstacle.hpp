#ifndef SEAMHOLD_SURFACE_OBSTACLE_HPP
#define SEAMHOLD_SURFACE_OBSTACLE_HPP

#include "seamhold/surface/convex.hpp"
#include "seamhold/surface/mesh.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <memory>
#include <numeric>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// Something that stands in the way of light, such as a clamp: named, made of convex shapes, in frame F
/// (`Part` for what goes with the part, `Cell` for what is bolted to the cell's floor). Over the shapes
/// stands a binary tree of boxes, so that of a mesh of thousands of triangles only a few are looked at.
/// Shared between copies; never changes.
template <class F> class Obstacle {
public:
    /// From shapes, which may overlap. Throws BadInput, with the obstacle's name, where the name is empty, no
    /// shape is given, or one is not as `checked` wants it.
    Obstacle(std::string const& name, std::vector<ConvexShape<F>> const& shapes) {
        Data data;
        data.name = name;
        check_count(data.name, shapes.size());
        data.shape.reserve(shapes.size());
        for (auto const& shape : shapes)
            data.add(shape.points, shape.radius);
        plant(std::move(data));
    }

    /// From the triangles of a mesh, each grown by a radius, m, in any order and wound either way: a skin
    /// that light is not to reach, whatever is behind it. `frame_from_drawing` says where the triangles'
    /// frame stands. Throws BadInput, with the obstacle's name and the triangle's number counted from 1, as
    /// above.
    Obstacle(std::string const& name, std::vector<Facet> const& facets,
             Pose<F, Part> const& frame_from_drawing, double radius = 0) {
        Data data;
        data.name = name;
        check_count(data.name, facets.size());
        data.shape.reserve(facets.size());
        data.point.reserve(3 * facets.size());
        for (auto const& facet : facets)
            data.add({frame_from_drawing * facet.corner[0], frame_from_drawing * facet.corner[1],
                      frame_from_drawing * facet.corner[2]},
                     radius);
        plant(std::move(data));
    }

    /// What it is called.
    std::string const& name() const { return data_->name; }

    /// How many shapes it has.
    std::size_t size() const { return data_->shape.size(); }

    /// One of its shapes, counted from 0 in the order given.
    ConvexView<F> shape(std::size_t i) const { return data_->view(i); }

    /// The knots of the tree, counted from 0, the root. A knot's box holds all shapes below it.
    BoundingBox<F> const& box(std::size_t knot) const { return data_->knot[knot].box; }

    /// Whether a knot has one shape and no knots below it.
    bool is_leaf(std::size_t knot) const { return data_->knot[knot].second == 0; }

    /// One of the two knots below a knot that is no leaf.
    std::size_t first_below(std::size_t knot) const { return knot + 1; }
    /// The other one.
    std::size_t second_below(std::size_t knot) const { return data_->knot[knot].second; }

    /// The number of the shape of a leaf.
    std::size_t shape_at(std::size_t leaf) const { return data_->knot[leaf].shape; }

private:
    struct Knot {
        BoundingBox<F> box;
        std::uint32_t second; ///< 0: a leaf. The first knot below follows its parent
        std::uint32_t shape;
    };
    struct Stored {
        std::size_t begin, count;
        double radius;
    };
    struct Data {
        std::string name;
        std::vector<Point<F>> point;
        std::vector<Stored> shape;
        std::vector<Knot> knot;

        ConvexView<F> view(std::size_t i) const {
            return {{point.data() + shape[i].begin, shape[i].count}, shape[i].radius};
        }

        void add(std::vector<Point<F>> const& points, double radius) {
            try {
                (void)checked(ConvexShape<F>{points, radius});
            } catch (BadInput const& error) {
                throw BadInput("obstacle \"" + name + "\", shape " + std::to_string(shape.size() + 1) + ": " +
                               error.what());
            }
            shape.push_back({point.size(), points.size(), radius});
            point.insert(point.end(), points.begin(), points.end());
        }
    };

    static void check_count(std::string const& name, std::size_t count) {
        if (name.empty())
            throw BadInput("an obstacle needs a name");
        if (count == 0)
            throw BadInput("obstacle \"" + name + "\" has no shape");
        if (count > std::numeric_limits<std::uint32_t>::max() / 4)
            throw BadInput("obstacle \"" + name + "\" has too many shapes: " + std::to_string(count));
    }

    /// Halves the shapes by the middles of their boxes along the longest side, again and again.
    void plant(Data data) {
        std::vector<std::uint32_t> order(data.shape.size());
        std::iota(order.begin(), order.end(), 0U);
        std::vector<BoundingBox<F>> boxes;
        boxes.reserve(order.size());
        for (std::size_t i = 0; i < order.size(); ++i)
            boxes.push_back(bounding_box(data.view(i)));
        data.knot.reserve(2 * order.size() - 1);
        grow(data.knot, boxes, order, 0, order.size());
        data_ = std::make_shared<Data const>(std::move(data));
    }

    static void grow(std::vector<Knot>& knots, std::vector<BoundingBox<F>> const& boxes,
                     std::vector<std::uint32_t>& order, std::size_t begin, std::size_t end) {
        auto const place = knots.size();
        knots.push_back({boxes[order[begin]], 0, order[begin]});
        for (std::size_t i = begin; i < end; ++i)
            knots[place].box = hull(knots[place].box, boxes[order[i]]);
        if (end - begin == 1)
            return;
        auto const size = knots[place].box.high - knots[place].box.low;
        auto const along = [&](std::uint32_t shape) {
            auto const m = boxes[shape].middle();
            return size.x >= size.y && size.x >= size.z ? m.x : size.y >= size.z ? m.y : m.z;
        };
        auto const half = begin + (end - begin) / 2;
        auto const at = [&](std::size_t i) { return order.begin() + static_cast<std::ptrdiff_t>(i); };
        // Equal middles by number: the same tree with every library.
        std::nth_element(at(begin), at(half), at(end), [&](std::uint32_t a, std::uint32_t b) {
            double const x = along(a), y = along(b);
            return x != y ? x < y : a < b;
        });
        grow(knots, boxes, order, begin, half);
        knots[place].second = static_cast<std::uint32_t>(knots.size());
        grow(knots, boxes, order, half, end);
    }

    std::shared_ptr<Data const> data_;
};

/// A mesh as an obstacle that goes with the part; see the constructor from triangles.
inline Obstacle<Part> obstacle_from_mesh(std::string const& name, Mesh const& mesh, double radius = 0) {
    std::vector<Facet> facets;
    facets.reserve(mesh.size());
    for (std::uint32_t t = 0; t < mesh.size(); ++t)
        facets.push_back({{mesh.corner(t, 0), mesh.corner(t, 1), mesh.corner(t, 2)}});
    return {name, facets, Pose<Part, Part>::identity(), radius};
}

} // namespace seamhold

#endif
