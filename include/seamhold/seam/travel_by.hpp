#ifndef SEAMHOLD_SEAM_TRAVEL_BY_HPP
#define SEAMHOLD_SEAM_TRAVEL_BY_HPP

#include "seamhold/seam/seam.hpp"
#include "seamhold/seam/speed_law.hpp"
#include "seamhold/seam/speed_planner.hpp"

#include <cmath>
#include <utility>
#include <variant>

namespace seamhold {

namespace detail {

/// Calls use(from, to, curvature) for stretches of a path, the curvature (of the path in space, 1/m) there at
/// most this. For shapes on planes and for stored paths.
template <class Use> void each_curvature_bound(Straight<> const& shape, Use const& use) {
    use(0.0, shape.length(), 0.0);
}
template <class Use> void each_curvature_bound(Arc<> const& shape, Use const& use) {
    use(0.0, shape.length(), 1 / shape.radius);
}
template <class Use> void each_curvature_bound(Still<> const&, Use const&) {}
template <class Use> void each_curvature_bound(CurvePiece const& piece, Use const& use) {
    use(0.0, piece.extent, largest_bend<2>(piece.polynomial, piece.extent));
}
template <class Use> void each_curvature_bound(DrawnShape const& shape, Use const& use) {
    double start = 0;
    for (auto const& piece : shape.pieces()) {
        auto const moved = [&](double from, double to, double most) { use(start + from, start + to, most); };
        std::visit([&](auto const& p) { each_curvature_bound(p, moved); }, piece);
        start += std::visit([](auto const& p) { return p.length(); }, piece);
    }
}
template <class Flat, class Use>
void each_curvature_bound(OnFace<Flat, Plane<>> const& path, Use const& use) {
    each_curvature_bound(path.shape, use);
}
template <class Use> void each_curvature_bound(LaidPath const& path, Use const& use) {
    path.each_curvature_bound(use);
}
template <class Use> void each_curvature_bound(AnyPath const& path, Use const& use) {
    std::visit([&](auto const& chosen) { each_curvature_bound(chosen, use); }, path.choice());
}

} // namespace detail

/// How a path is travelled by a speed law: close to as fast as all of its limits allow together, with
/// continuous acceleration where the jerk is limited. The lateral acceleration is speed² times the curvature
/// of the path in space, bounded from above over every stretch, and is nowhere passed; the weave is not
/// counted in. Throws BadInput for a law that is not possible, and for corners that it does not say how to
/// pass, naming where and how sharp.
template <class Path> Travel<> travel_by(SpeedLaw const& law, Path const& path) {
    detail::check(law);
    double const length = path.length();
    if (!(length > 0))
        throw BadInput("a path without length cannot be travelled");
    if (law.at_corners == AtCorner::refuse)
        detail::refuse_corners(path);
    auto const planner_with = [&](double window) {
        detail::SpeedPlanner planner(length, law, window);
        if (is_finite(law.lateral_acceleration))
            detail::each_curvature_bound(path, [&](double from, double to, double most) {
                planner.limit(from, to, most > 0 ? std::sqrt(law.lateral_acceleration / most) : law.speed);
            });
        if (law.at_corners != AtCorner::refuse)
            for (auto const& corner : path.corners())
                planner.pass(corner.arc_length, law.at_corners == AtCorner::stop ? 0 : law.corner_speed);
        return planner;
    };
    if (!is_finite(law.jerk))
        return planner_with(0).travel();
    auto planner = planner_with(law.acceleration / law.jerk);
    auto const travel = planner.travel();
    return planner.keeps_jerk() ? travel : planner_with(2 * law.acceleration / law.jerk).travel();
}

/// A seam on a path by a speed law; throws BadInput as `travel_by`, and for a weave that is not possible.
template <class Path>
Seam<Path> by_law(Path const& path, SpeedLaw const& law, SeamOptions const& options = {}) {
    auto travel = travel_by(law, path);
    detail::check_options(travel.duration(), options);
    return {path, std::move(travel), options.focus_offset, options.weave, options.power};
}

} // namespace seamhold

#endif
