#ifndef SEAMHOLD_TESTS_SUPPORT_MESHES_HPP
#define SEAMHOLD_TESTS_SUPPORT_MESHES_HPP

#include "seamhold/surface/mesh.hpp"
#include "support/random.hpp"

#include <cstddef>
#include <vector>

namespace seamhold::test {

/// A square of ± `half` of a face as n × n squares of two triangles each. With `uneven` their corners are
/// moved at random by up to that share of an edge, and cut now one way, now the other.
template <class Face>
std::vector<Facet> triangles_of(Face const& face, int n, double half, double uneven, Random& random) {
    auto const side = static_cast<std::size_t>(n + 1);
    std::vector<Point<Part>> p;
    double const h = 2 * half / n;
    for (int i = 0; i <= n; ++i)
        for (int k = 0; k <= n; ++k) {
            double const x = i + random.uniform(-uneven, uneven), y = k + random.uniform(-uneven, uneven);
            p.push_back(face.at(-half + h * x, -half + h * y).position);
        }
    std::vector<Facet> all;
    for (std::size_t i = 0; i + 1 < side; ++i)
        for (std::size_t k = 0; k + 1 < side; ++k) {
            auto const &a = p[i * side + k], &b = p[(i + 1) * side + k], &c = p[(i + 1) * side + k + 1],
                       &d = p[i * side + k + 1];
            if (uneven > 0 && (i + k) % 2 == 0) {
                all.push_back({{a, b, d}});
                all.push_back({{b, c, d}});
            } else {
                all.push_back({{a, b, c}});
                all.push_back({{a, c, d}});
            }
        }
    return all;
}

} // namespace seamhold::test

#endif
