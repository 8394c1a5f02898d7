#ifndef SEAMHOLD_SEAM_SEAM_HPP
#define SEAMHOLD_SEAM_SEAM_HPP

#include "seamhold/seam/shapes.hpp"
#include "seamhold/surface/plane.hpp"

#include <numbers>
#include <variant>

namespace seamhold {

/// A swing across the seam: amplitude · sin(2π · frequency · time since the seam's start).
struct Weave {
    double frequency = 0; ///< Hz
    double amplitude = 0; ///< m, to each side
};

/// A seam: a shape laid on a surface, travelled at constant speed along the shape's arc length (the weave
/// comes on top), with the focus held at a signed offset along the beam, positive beyond the surface.
template <class Shape, class Surface, class S = double> struct Seam {
    Shape shape;
    Surface surface;
    S speed;               ///< along the shape, m/s; 0 for a point
    double duration;       ///< s
    S focus_offset = S(0); ///< m
    Weave weave = {};

    /// The seam's length along the shape, without the weave, m.
    double length() const { return shape.length(); }

    /// Arc length along the shape at `time` seconds after the seam's start, m.
    template <class T> Common<S, T> arc_length(T const& time) const { return time * operand<T>(speed); }

    /// Where the spot belongs `time` seconds after the seam's start, with the surface's normal, in the part
    /// frame. Not clipped: before 0 and after the duration the shape runs on.
    template <class T> [[gnu::always_inline]] SurfacePoint<Common<S, T>> at(T const& time) const {
        auto p = shape.at(arc_length(time));
        if (weave.amplitude != 0) {
            auto const angle = time * detail::factor<T>(2 * std::numbers::pi * weave.frequency);
            auto const swing = sin_cos(angle).sin * detail::factor<T>(weave.amplitude);
            p.x = p.x - p.tangent_y * swing;
            p.y = p.y + p.tangent_x * swing;
        }
        return surface.at(p.x, p.y);
    }
};

/// A shape on a surface at constant speed, m/s. Throws BadInput unless the speed is above 0.
template <class Shape, class Surface>
Seam<Shape, Surface> at_speed(Shape const& shape, Surface const& surface, double speed,
                              Weave const& weave = {}, double focus_offset = 0) {
    if (!(speed > 0) || !is_finite(speed))
        throw BadInput("a seam's speed must be above 0; given was " + std::to_string(speed) + " m/s");
    return {shape, surface, speed, shape.length() / speed, focus_offset, weave};
}

/// The spot held on one place of a surface for a time, s. Throws BadInput unless the time is above 0.
template <class Surface>
Seam<Still<>, Surface> held(FacePoint place, Surface const& surface, double time, Weave const& weave = {},
                            double focus_offset = 0) {
    if (!(time > 0) || !is_finite(time))
        throw BadInput("a point must be held for a time above 0; given was " + std::to_string(time) + " s");
    return {{place.x, place.y}, surface, 0, time, focus_offset, weave};
}

/// A seam chosen at run time from the closed list of those a job file can name.
class AnySeam {
public:
    /// The list.
    using Choice = std::variant<Seam<Straight<>, Plane<>>, Seam<Arc<>, Plane<>>, Seam<Still<>, Plane<>>>;

    /// From any seam of the list.
    template <class Shape, class Surface>
    AnySeam(Seam<Shape, Surface> const& seam)
        : choice_(seam), length_(seam.length()), speed_(seam.speed), duration_(seam.duration),
          focus_offset_(seam.focus_offset) {}

    /// As in `Seam`.
    template <class T> SurfacePoint<Common<double, T>> at(T const& time) const {
        return std::visit([&time](auto const& seam) { return seam.at(time); }, choice_);
    }

    /// As in `Seam`, m.
    template <class T> Common<double, T> arc_length(T const& time) const { return time * speed_; }

    /// Length along the shape, m.
    double length() const { return length_; }

    /// Duration, s.
    double duration() const { return duration_; }

    /// The focus offset, m.
    double focus_offset() const { return focus_offset_; }

private:
    Choice choice_;
    double length_; ///< what all seams have, kept where it needs no switch
    double speed_;
    double duration_;
    double focus_offset_;
};

/// The focus offset of any seam, m: a member variable where the type is known, a function where it is chosen
/// late.
template <class AnyOrSeam> auto focus_offset_of(AnyOrSeam const& seam) {
    if constexpr (requires { seam.focus_offset(); })
        return seam.focus_offset();
    else
        return seam.focus_offset;
}

/// The duration of any seam, s.
template <class AnyOrSeam> double duration_of(AnyOrSeam const& seam) {
    if constexpr (requires { seam.duration(); })
        return seam.duration();
    else
        return seam.duration;
}

} // namespace seamhold

#endif
