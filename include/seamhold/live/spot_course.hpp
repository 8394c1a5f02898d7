#ifndef SEAMHOLD_LIVE_SPOT_COURSE_HPP
#define SEAMHOLD_LIVE_SPOT_COURSE_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/live/forecast.hpp"
#include "seamhold/live/predictor.hpp"

#include <array>
#include <cstddef>
#include <type_traits>

namespace seamhold {

/// The spot's place and where it is foretold to go, with what the one who foretells thinks of its errors.
/// Horizons are `step`, 2·`step`, … beyond the newest sample.
struct SpotCourse {
    RobotTime newest;                    ///< of what the newest sample speaks
    Point<Cell> seen;                    ///< the spot by the newest sample
    Direction<Cell> velocity;            ///< of the spot, foretold at the newest sample, m/s
    double noise[6];                     ///< second moments of `seen`: xx, yy, zz, xy, xz, yz, m²
    Point<Cell> place[SpotError::count]; ///< foretold
    double moment[SpotError::count][6];  ///< second moments of its error, by the one who foretells, m²
};

/// A point of the tool as the seven numbers of the flange's pose carry it.
struct FlangeSpot {
    Point<Flange> point; ///< m

    /// Where it is in the cell.
    Point<Cell> operator()(std::array<double, 7> const& r) const {
        Pose<Cell, Flange> const pose{rotation_of<Cell, Flange>(Quaternion<double>{r[3], r[4], r[5], r[6]}),
                                      {r[0], r[1], r[2]}};
        return pose * point;
    }
};

namespace detail {
/// Adds variance·g·gᵀ to second moments xx, yy, zz, xy, xz, yz.
inline void add_square(double (&m)[6], Direction<Cell> const& g, double variance) {
    m[0] += g.x * g.x * variance;
    m[1] += g.y * g.y * variance;
    m[2] += g.z * g.z * variance;
    m[3] += g.x * g.y * variance;
    m[4] += g.x * g.z * variance;
    m[5] += g.y * g.z * variance;
}
} // namespace detail

/// The course of the spot by a predictor's extrapolation. `spot_of` gives the spot's place from the D
/// numbers; its derivatives are taken by differences over 1e-5. The numbers' errors are taken as independent
/// of each other; where they are not, the record's factor mends it. Before a sample came it is all 0.
template <int D, class SpotOf>
SpotCourse spot_course(Predictor<D> const& predictor, SpotOf const& spot_of, double step) {
    SpotCourse course{};
    if (predictor.count() == 0)
        return course;
    auto const prediction = predictor.extrapolate();
    auto const& sample = predictor.newest();
    course.newest = sample.time;
    std::array<double, D> now;
    for (std::size_t d = 0; d < D; ++d)
        now[d] = sample.value[d];
    course.seen = spot_of(now);
    std::array<double, D> variances[SpotError::count];
    for (std::size_t k = 0; k < SpotError::count; ++k)
        variances[k] = predictor.variances(static_cast<double>(k + 1) * step);
    for (std::size_t d = 0; d < D; ++d) {
        double constexpr small = 1e-5;
        auto moved = now;
        moved[d] = now[d] + small;
        auto const after = spot_of(moved);
        moved[d] = now[d] - small;
        auto const gradient = 1 / (2 * small) * (after - spot_of(moved));
        course.velocity = course.velocity + prediction.coefficient[1][d] * gradient;
        detail::add_square(course.noise, gradient, predictor.noise_variance(static_cast<int>(d)));
        for (std::size_t k = 0; k < SpotError::count; ++k)
            detail::add_square(course.moment[k], gradient, variances[k][d]);
    }
    for (std::size_t k = 0; k < SpotError::count; ++k)
        course.place[k] = spot_of(prediction.at(course.newest.seconds + static_cast<double>(k + 1) * step));
    return course;
}

static_assert(std::is_trivially_copyable_v<SpotCourse>);

} // namespace seamhold

#endif
