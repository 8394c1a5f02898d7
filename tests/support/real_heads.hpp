#ifndef SEAMHOLD_TESTS_SUPPORT_REAL_HEADS_HPP
#define SEAMHOLD_TESTS_SUPPORT_REAL_HEADS_HPP

#include "seamhold/head/flat_field_lens.hpp"
#include "seamhold/head/real_head.hpp"
#include "support/real_mirrors.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <utility>
#include <vector>

// Real heads as plain numbers, what becomes of a command in them by formulas of this file alone, and the same
// heads as the library takes them. All numbers are invented; sizes are ordinary ones.

namespace seamhold::test {

/// A flat-field lens: the image height is f·θ, the chief ray leaves under κ times the angle in, in x and in
/// y.
struct PlainLens {
    double focal_length, exit_z, working_distance, kappa_x, kappa_y, axis_x, axis_y;
};

/// True mirror angles, a cubic polynomial of the commanded ones: 1, x, y, x², xy, y², x³, x²y, xy², y³.
struct PlainMap {
    std::array<double, 10> x, y;

    template <class Real> std::array<Real, 2> at(Real const& a, Real const& b) const {
        std::array<Real, 10> const power{
            Real(1),         a,         b,         Real(a * a),    Real(a * b), Real(b * b),
            Real(a * a * a), a * a * b, a * b * b, Real(b * b * b)};
        std::array<Real, 2> sum{a, b};
        for (std::size_t i = 0; i < power.size(); ++i) {
            sum[0] += Real(x[i]) * power[i];
            sum[1] += Real(y[i]) * power[i];
        }
        return sum;
    }
};

/// A whole head, with one number for its focus axis.
struct PlainHead {
    PlainMirrors mirrors;
    std::optional<PlainLens> lens;
    std::optional<PlainMap> map;
    double zero_setting; ///< optical path to the focus at lens 0; behind a flat-field lens z from its exit, m
    double ratio;
    double mirror_range; ///< rad to both sides
    double lens_range;   ///< m to both sides
};

/// A beam at the work.
template <class Real> struct PlainBeam {
    Line<Real> line;
    Real path;     ///< to the line's point: from the entry, or 0 in a flat-field lens's exit plane
    bool forwards; ///< it ran forwards all the way between the mirrors
};

/// The beam of two commanded angles.
template <class Real> PlainBeam<Real> beam_of(PlainHead const& head, Real const& x, Real const& y) {
    using std::atan2;
    using std::sqrt;
    using std::tan;
    auto const angles = head.map ? head.map->at(x, y) : std::array<Real, 2>{x, y};
    auto const way = traced(head.mirrors, angles[0], angles[1]);
    bool const forwards = way.apart > 0;
    if (!head.lens)
        return {way.leaving, Real(way.before + way.apart), forwards};
    auto const& lens = *head.lens;
    auto const& d = way.leaving.direction;
    Real const across = sqrt(d.x * d.x + d.y * d.y);
    Real const scale = across > 0 ? Real(atan2(across, d.z) / across) : Real(1); // θ / sin θ
    Real const in_x = scale * d.x, in_y = scale * d.y;
    Real const slope_x = tan(Real(lens.kappa_x) * in_x), slope_y = tan(Real(lens.kappa_y) * in_y);
    Vector<Real> const slope{slope_x, slope_y, Real(1)};
    Vector<Real> const focus{Real(lens.axis_x) + Real(lens.focal_length) * in_x,
                             Real(lens.axis_y) + Real(lens.focal_length) * in_y,
                             Real(lens.exit_z) + Real(lens.working_distance)};
    return {{focus - times(Real(lens.working_distance), slope), times(Real(1 / length(slope)), slope)},
            Real(0),
            forwards};
}

/// What the focusing lens must be told to put the focus `way` metres along the beam from its point, m.
template <class Real> Real lens_for(PlainHead const& head, PlainBeam<Real> const& beam, Real const& way) {
    Real const setting = head.lens ? Real(way * beam.line.direction.z) : Real(beam.path + way);
    return Real((setting - Real(head.zero_setting)) / Real(head.ratio));
}

/// Where the focus is, along the beam from its point, m, with the focusing lens where it was told to be.
inline double way_to_focus(PlainHead const& head, PlainBeam<double> const& beam, double lens) {
    double const setting = head.zero_setting + head.ratio * lens;
    return head.lens ? setting / beam.line.direction.z : setting - beam.path;
}

/// The angles of the beam that passes through p, by Newton steps with plain differences, from a start nearby.
template <class Real>
std::array<Real, 2> aimed(PlainHead const& head, Vector<Real> const& p, std::array<Real, 2> u,
                          Real const& step, int steps) {
    auto const miss = [&](Real const& x, Real const& y) {
        auto const line = beam_of(head, x, y).line;
        Real const way = (p.z - line.point.z) / line.direction.z;
        return std::array<Real, 2>{line.point.x + way * line.direction.x - p.x,
                                   line.point.y + way * line.direction.y - p.y};
    };
    for (int i = 0; i < steps; ++i) {
        auto const here = miss(u[0], u[1]), by_x = miss(u[0] + step, u[1]), by_y = miss(u[0], u[1] + step);
        Real const a = (by_x[0] - here[0]) / step, b = (by_y[0] - here[0]) / step;
        Real const c = (by_x[1] - here[1]) / step, d = (by_y[1] - here[1]) / step;
        Real const determinant = a * d - b * c;
        u[0] -= (d * here[0] - b * here[1]) / determinant;
        u[1] -= (a * here[1] - c * here[0]) / determinant;
    }
    return u;
}

/// A head without a lens: tilts to 2°, places off by up to 3 mm, angles off by up to 1 %, any direction of
/// turning; ±10° of the mirrors, ±0.3 m of the focus.
inline PlainHead random_open_head(Random& random) {
    double const separation = random.uniform(0.02, 0.06), work = random.uniform(0.3, 0.8);
    return {random_mirrors(random, separation, degrees(2), millimetres(3), 0.01),
            {},
            {},
            separation + work,
            10,
            degrees(10),
            millimetres(30)};
}

/// A head with a flat-field lens, misaligned alike; ±0.05 m of the focus.
inline PlainHead random_lens_head(Random& random) {
    PlainLens const lens{random.uniform(0.15, 0.4),    random.uniform(0.06, 0.1),
                         random.uniform(0.2, 0.5),     random.uniform(0, 0.5),
                         random.uniform(0, 0.5),       random.uniform(-0.003, 0.003),
                         random.uniform(-0.003, 0.003)};
    return {random_mirrors(random, random.uniform(0.02, 0.06), degrees(2), millimetres(3), 0.01),
            lens,
            {},
            lens.working_distance,
            10,
            degrees(10),
            millimetres(5)};
}

/// A map that moves angles of up to 0.19 rad by up to 10 mrad.
inline PlainMap random_map(Random& random) {
    PlainMap map{};
    for (auto* of : {&map.x, &map.y})
        for (std::size_t i = 0; i < 10; ++i)
            (*of)[i] = random.uniform(-1, 1) * (i == 0 ? 0.001 : i < 3 ? 0.01 : i < 6 ? 0.03 : 0.1);
    return map;
}

/// The marks of a map, 9 by 9, from −0.19 to 0.19 rad.
inline std::vector<FieldMark> marks_of(PlainMap const& map) {
    std::vector<FieldMark> marks;
    for (int i = -4; i <= 4; ++i)
        for (int k = -4; k <= 4; ++k) {
            double const x = 0.19 * i / 4, y = 0.19 * k / 4;
            marks.push_back({marks.size() + 1, {x, y}, map.at(x, y)});
        }
    return marks;
}

inline AxisRanges ranges_of(PlainHead const& head) {
    return {{-head.mirror_range, head.mirror_range},
            {-head.mirror_range, head.mirror_range},
            {-head.lens_range, head.lens_range}};
}

/// The parts of a head that ends in `objective`, as the library takes them.
template <class Objective> HeadParts<Objective> parts_of(PlainHead const& head, Objective objective) {
    HeadParts<Objective> parts{mirrors_of(head.mirrors), std::move(objective),
                               LinearFocus<>{head.zero_setting, head.ratio}, ranges_of(head)};
    if (head.map)
        parts.map = fit_field_map(marks_of(*head.map));
    return parts;
}

inline FlatFieldLens<> lens_of(PlainLens const& lens) {
    return checked(FlatFieldLens<>{lens.focal_length, lens.exit_z, lens.working_distance,
                                   std::numeric_limits<double>::infinity(),
                                   ChiefRaySlope<>::proportional(lens.kappa_x),
                                   ChiefRaySlope<>::proportional(lens.kappa_y), lens.axis_x, lens.axis_y});
}

inline RealHead<OpenBeam> open_head_of(PlainHead const& head) {
    return real_head(parts_of(head, OpenBeam{}));
}
inline RealHead<FlatFieldLens<>> lens_head_of(PlainHead const& head) {
    return real_head(parts_of(head, lens_of(*head.lens)));
}

} // namespace seamhold::test

#endif
