#ifndef SEAMHOLD_CALIBRATE_PART_TOUCH_HPP
#define SEAMHOLD_CALIBRATE_PART_TOUCH_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/head/command.hpp"
#include "seamhold/number/bad_input.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <variant>

/// What is touched of a part to find where it lies: features of its drawing, and where in the cell a tip or a
/// beam met them. A ball-ended tip is given by its middle and its radius; a pointed tip has radius 0.
/// `relative_deviation` says how many times less exact one touch is than the others.
namespace seamhold {

/// A point of the drawing, met by a pointed tip or measured as the middle of something: a corner, a punch
/// mark, the middle of a bore. It holds the part in three directions.
struct PointTouch {
    Point<Part> known;   ///< m
    Point<Cell> touched; ///< m
    double relative_deviation = 1;
};

/// A flat face, met anywhere. It holds the part across the face.
struct FaceTouch {
    Point<Part> on;          ///< any point of the face, m
    Direction<Part> outward; ///< out of the material, unit
    Point<Cell> touched;     ///< the middle of the tip, m
    double tip_radius = 0;   ///< m
    double relative_deviation = 1;
};

/// A straight edge, met anywhere along it: by a pointed tip it holds the part in two directions, by a
/// ball-ended one in one, away from the ball.
struct EdgeTouch {
    Point<Part> on;        ///< any point of the edge, m
    Direction<Part> along; ///< unit
    Point<Cell> touched;   ///< the middle of the tip, m
    double tip_radius = 0; ///< m
    double relative_deviation = 1;
};

/// A round surface about an axis: a bore from within, a pin or a tube from without.
struct CylinderTouch {
    Point<Part> on;        ///< any point of the axis, m
    Direction<Part> along; ///< of the axis, unit
    double radius;         ///< of the surface, m
    bool bore;             ///< whether it is touched from within
    Point<Cell> touched;   ///< the middle of the tip, m
    double tip_radius = 0; ///< m
    double relative_deviation = 1;
};

/// A ball, met from without.
struct BallTouch {
    Point<Part> centre;    ///< m
    double radius;         ///< of the ball, m
    Point<Cell> touched;   ///< the middle of the tip, m
    double tip_radius = 0; ///< m
    double relative_deviation = 1;
};

/// A point of the drawing that a beam passes through: the spot was brought onto it. It holds the part in the
/// two directions across the beam.
struct BeamTouch {
    Point<Part> known;         ///< m
    Point<Cell> origin;        ///< of the beam, m
    Direction<Cell> direction; ///< of the beam, unit
    double relative_deviation = 1;
};

/// Any of them.
using PartTouch = std::variant<PointTouch, FaceTouch, EdgeTouch, CylinderTouch, BallTouch, BeamTouch>;

/// The touch of a calibrated head's beam: which point of the drawing the spot was brought onto, where the
/// flange stood, and what the head was told.
template <class H>
BeamTouch beam_touch(H const& head, Pose<Flange, Head> const& flange_from_head,
                     Pose<Cell, Flange> const& cell_from_flange, Command<> const& command,
                     Point<Part> const& known) {
    auto const ray = head.ray(command);
    auto const cell_from_head = cell_from_flange * flange_from_head;
    return {known, cell_from_head * ray.origin, cell_from_head * ray.direction};
}

/// The numbers by which one touch is off, m, at most three.
template <class T> struct TouchRows {
    std::array<T, 3> rows;
    std::size_t count;
};

namespace detail {

/// Two unit vectors across a unit vector and across each other.
template <class F> std::array<Direction<F>, 2> across_of(Direction<F> const& d) {
    Direction<F> const least = std::abs(d.x) < 0.6   ? Direction<F>{1, 0, 0}
                               : std::abs(d.y) < 0.6 ? Direction<F>{0, 1, 0}
                                                     : Direction<F>{0, 0, 1};
    auto const first = unit(cross(d, least));
    return {first, cross(d, first)};
}

/// The part of a vector across a unit vector.
template <class F, class T> Direction<F, T> across(Direction<F, T> const& v, Direction<F> const& along) {
    return v - dot(v, along) * along;
}

} // namespace detail

/// By how much a touch is off where the part lies at a pose, over any numbers in the pose. 0 where it fits.
/// At the very middle of a ball or an axis the derivatives are 0.
template <class T> TouchRows<T> rows_of(PointTouch const& touch, Pose<Cell, Part, T> const& cell_from_part) {
    auto const off = touch.touched - cell_from_part * touch.known;
    return {{off.x, off.y, off.z}, 3};
}
template <class T> TouchRows<T> rows_of(FaceTouch const& touch, Pose<Cell, Part, T> const& cell_from_part) {
    auto const off = inverse_times(cell_from_part, touch.touched) - touch.on;
    return {{dot(off, touch.outward) - touch.tip_radius, T(0.0), T(0.0)}, 1};
}
template <class T> TouchRows<T> rows_of(EdgeTouch const& touch, Pose<Cell, Part, T> const& cell_from_part) {
    auto const off = inverse_times(cell_from_part, touch.touched) - touch.on;
    if (touch.tip_radius > 0)
        return {{norm(detail::across(off, touch.along)) - touch.tip_radius, T(0.0), T(0.0)}, 1};
    auto const [first, second] = detail::across_of(touch.along);
    return {{dot(off, first), dot(off, second), T(0.0)}, 2};
}
template <class T>
TouchRows<T> rows_of(CylinderTouch const& touch, Pose<Cell, Part, T> const& cell_from_part) {
    auto const off = inverse_times(cell_from_part, touch.touched) - touch.on;
    double const distance = touch.radius + (touch.bore ? -touch.tip_radius : touch.tip_radius);
    return {{norm(detail::across(off, touch.along)) - distance, T(0.0), T(0.0)}, 1};
}
template <class T> TouchRows<T> rows_of(BallTouch const& touch, Pose<Cell, Part, T> const& cell_from_part) {
    auto const off = inverse_times(cell_from_part, touch.touched) - touch.centre;
    return {{norm(off) - (touch.radius + touch.tip_radius), T(0.0), T(0.0)}, 1};
}
template <class T> TouchRows<T> rows_of(BeamTouch const& touch, Pose<Cell, Part, T> const& cell_from_part) {
    auto const off = cell_from_part * touch.known - touch.origin;
    auto const [first, second] = detail::across_of(touch.direction);
    return {{dot(off, first), dot(off, second), T(0.0)}, 2};
}
template <class T> TouchRows<T> rows_of(PartTouch const& touch, Pose<Cell, Part, T> const& cell_from_part) {
    return std::visit([&](auto const& t) { return rows_of(t, cell_from_part); }, touch);
}

/// In how many directions a touch holds the part.
inline std::size_t rows_held(PartTouch const& touch) {
    return rows_of(touch, Pose<Cell, Part>::identity()).count;
}

/// What a touch is of, as messages show it.
inline std::string to_string(PartTouch const& touch) {
    static constexpr std::array<char const*, 6> names{"a point",    "a face", "an edge",
                                                      "a cylinder", "a ball", "a beam through a point"};
    return names[touch.index()];
}

/// Throws BadInput, naming the touch by its number from 1, for what is not finite, a direction whose length
/// is not one, a radius that is not above 0, a tip of negative radius or larger than its bore, and a relative
/// deviation that is not above 0.
inline void check(PartTouch const& touch, std::size_t number) {
    std::string const name = "touch " + std::to_string(number + 1) + " (" + to_string(touch) + ")";
    auto const finite = [&](auto const& v, char const* what) {
        if (!is_finite(v.x) || !is_finite(v.y) || !is_finite(v.z))
            throw BadInput(name + ": its " + what + " is not finite");
    };
    auto const one = [&](auto const& d, char const* what) {
        finite(d, what);
        if (!(std::abs(norm(d) - 1) <= 1e-6))
            throw BadInput(name + ": its " + what + " has length " + detail::text_of(norm(d)) +
                           "; it must be 1");
    };
    auto const tip = [&](double radius) {
        if (!(radius >= 0) || !is_finite(radius))
            throw BadInput(name + ": a tip of radius " + detail::text_of(radius) +
                           " m is not possible; it must be 0 or more");
    };
    auto const round = [&](double radius) {
        if (!(radius > 0) || !is_finite(radius))
            throw BadInput(name + ": a radius of " + detail::text_of(radius) +
                           " m is not possible; it must be above 0");
    };
    std::visit(
        [&](auto const& t) {
            using Touch = std::decay_t<decltype(t)>;
            if (!(t.relative_deviation > 0) || !is_finite(t.relative_deviation))
                throw BadInput(name + ": its relative deviation must be above 0; given " +
                               detail::text_of(t.relative_deviation));
            if constexpr (std::is_same_v<Touch, BeamTouch>) {
                finite(t.known, "known point");
                finite(t.origin, "beam's origin");
                one(t.direction, "beam's direction");
            } else {
                finite(t.touched, "touched place");
                if constexpr (std::is_same_v<Touch, PointTouch>)
                    finite(t.known, "known point");
                else
                    tip(t.tip_radius);
            }
            if constexpr (std::is_same_v<Touch, FaceTouch>) {
                finite(t.on, "point of the face");
                one(t.outward, "outward direction");
            }
            if constexpr (std::is_same_v<Touch, EdgeTouch> || std::is_same_v<Touch, CylinderTouch>) {
                finite(t.on, "point of the line");
                one(t.along, "direction");
            }
            if constexpr (std::is_same_v<Touch, CylinderTouch>) {
                round(t.radius);
                if (t.bore && !(t.tip_radius < t.radius))
                    throw BadInput(name + ": a tip of radius " + detail::text_of(t.tip_radius) +
                                   " m does not fit into a bore of radius " + detail::text_of(t.radius) +
                                   " m");
            }
            if constexpr (std::is_same_v<Touch, BallTouch>) {
                finite(t.centre, "centre");
                round(t.radius);
            }
        },
        touch);
}

} // namespace seamhold

#endif
