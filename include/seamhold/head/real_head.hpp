#ifndef SEAMHOLD_HEAD_REAL_HEAD_HPP
#define SEAMHOLD_HEAD_REAL_HEAD_HPP

#include "seamhold/beam/optics.hpp"
#include "seamhold/head/head_parts.hpp"
#include "seamhold/head/lanes.hpp"
#include "seamhold/head/open_beam.hpp"
#include "seamhold/head/start_fit.hpp"
#include "seamhold/head/traced_mirrors.hpp"
#include "seamhold/number/lift.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <vector>

namespace seamhold {

/// A head as it is: traced mirrors, an objective, a focus axis with its table, and a measured field map.
/// `ray` goes through the parts in the order of the light. `aim` inverts the whole of it by Newton's method
/// on doubles, with the exact Jacobian and a bound of eight steps, from a start that was fitted when the head
/// was made, and lifts the result to other numbers order by order. `ray(aim(p))` passes within 1e-10 m of
/// every p whose status is `ok`; what Newton cannot reach has a `solved` clearance below 0 and the status
/// `no_solution`. Immutable; evaluation neither allocates nor throws.
template <class Objective, class S = double> class RealHead {
public:
    /// From parts that were checked; see `real_head`.
    explicit RealHead(HeadParts<Objective, S> parts)
        : parts_(std::move(parts)), plain_(plain(parts_.mirrors)),
          plain_objective_(parts_.objective.on_doubles()), separation_(plain_.separation()),
          working_distance_(plain_objective_.focal_plane(parts_.focus.path(0.0), separation_)) {
        fit_start();
    }

    /// The parts.
    HeadParts<Objective, S> const& parts() const { return parts_; }

    /// The ranges of the axes.
    AxisRanges ranges() const { return parts_.ranges; }

    /// Where the focus lies at command 0 without deflection: z in the head frame, m.
    double working_distance() const { return working_distance_; }

    /// The command that puts the beam through p with the focus `focus_offset` metres beyond p along the beam.
    /// Finite for any p of up to 1e150 m; where no command was found the last attempt, see `clearance`.
    template <class P, class O = double>
    Command<Common<S, Common<P, O>>> command(Point<Head, P> const& p, O const& focus_offset = 0) const {
        return aim(p, focus_offset).command;
    }

    /// How far a point and a command that aims at it are from what the head can reach. The command's beam is
    /// traced: `solved` is 1e-10 m less the distance at which it passes p. Over intervals the command must be
    /// what `command` gives for p: it is finite only where it is proven to pass p.
    template <class P, class C>
    Clearance<Common<S, Common<P, C>>> clearance(Point<Head, P> const& p, Command<C> const& command) const {
        using T = Common<S, Common<P, C>>;
        auto const at = number_cast<T>(p);
        if constexpr (is_packed<T>) {
            Command<T> const all{number_cast<T>(command.x_mirror), number_cast<T>(command.y_mirror),
                                 number_cast<T>(command.focus)};
            return detail::by_lanes<Clearance<T>, lanes_of<T>>(
                [&](int i) { return clearance(detail::lane_of_point(at, i), lane_of(all, i)); });
        } else {
            Command<T> const told{number_cast<T>(command.x_mirror), number_cast<T>(command.y_mirror),
                                  number_cast<T>(command.focus)};
            auto const way = trace(parts_.mirrors, told.x_mirror, told.y_mirror);
            return clearance_of(parts_.mirrors, parts_.objective, at, told, way, parts_.objective.beam(way));
        }
    }

    /// The command for p and its clearances at plain numbers; for their derivatives see `clearance`.
    template <class P, class O = double>
    Aim<Common<S, Common<P, O>>, ValueOf<Common<P, O>>> aim(Point<Head, P> const& p,
                                                            O const& focus_offset = 0) const {
        using T = Common<S, Common<P, O>>;
        if constexpr (is_packed<T>) {
            auto const at = number_cast<T>(p);
            auto const offset = number_cast<T>(focus_offset);
            return detail::by_lanes<Aim<T, ValueOf<T>>, lanes_of<T>>(
                [&](int i) { return aim(detail::lane_of_point(at, i), lane_of(offset, i)); });
        } else {
            using G = Gradient<double, 2>;
            std::array<T, 4> const given{number_cast<T>(p.x), number_cast<T>(p.y), number_cast<T>(p.z),
                                         number_cast<T>(focus_offset)};
            auto const point = value_of(p);
            double const offset = value_of(given[3]);
            auto const angles = solve(point).angles;
            double const x = angles[0];
            double const y = angles[1];

            // Once more at the solution: the proof that it is one, and the Jacobian there.
            auto const way = [&] {
                if constexpr (BuiltIn<T>)
                    return trace(plain_, x, y);
                else
                    return trace(plain_, G::variable(x, 0), G::variable(y, 1));
            }();
            auto const beam = plain_objective_.beam(way);
            auto const there = miss_of(plain_objective_, beam, point, offset);
            std::array<double, 3> const root{x, y, value_of(there.setting)};
            std::array<std::array<double, 3>, 3> inverse{};
            if constexpr (!BuiltIn<T>) {
                // The focus setting is a third unknown, with the residual: its value for the angles less
                // itself.
                auto const j = inverse_of(there);
                auto const& by = there.setting.partial;
                inverse = {{{j[0][0], j[0][1], 0},
                            {j[1][0], j[1][1], 0},
                            {by[0] * j[0][0] + by[1] * j[1][0], by[0] * j[0][1] + by[1] * j[1][1], -1}}};
            }
            auto const plain_beam = value_of(beam);
            auto const u = lift(
                root, inverse, given,
                [&](auto const& data) {
                    using U = std::decay_t<decltype(data[0])>;
                    auto const m = miss_of(plain_objective_, plain_beam,
                                           Point<Head, U>{data[0], data[1], data[2]}, data[3]);
                    return std::array<U, 3>{m.x, m.y, m.setting};
                },
                [&](auto const& unknown, auto const& data) {
                    using U = std::decay_t<decltype(unknown[0])>;
                    auto const m =
                        miss_of(parts_.objective,
                                parts_.objective.beam(trace(parts_.mirrors, unknown[0], unknown[1])),
                                Point<Head, U>{data[0], data[1], data[2]}, data[3]);
                    return std::array<U, 3>{m.x, m.y, m.setting - unknown[2]};
                });
            T told = u[2] - operand<T>(parts_.focus_shift);
            if (parts_.focus_surface)
                told = told + parts_.focus_surface->shift(u[0], u[1]);
            Aim<T, double> result{{u[0], u[1], parts_.focus.lens(told)}, {}};
            result.clearance = clearance_of(plain_, plain_objective_, point, value_of(result.command),
                                            value_of(way), plain_beam);
            // Intervals: nothing is proven of points that doubles do not solve.
            if constexpr (detail::is_of_intervals<T>)
                if (!(result.clearance.solved > 0) ||
                    !(detail::values_of(u[0]).magnitude() < largest_angle) ||
                    !(detail::values_of(u[1]).magnitude() < largest_angle))
                    result.command = {detail::anything<T>(), detail::anything<T>(), detail::anything<T>()};
            return result;
        }
    }

    /// How much of the field is used: 0 in its deepest place, 1 at its edge; for a circle r / radius.
    double field_utilisation(Point<Head> const& p, Command<> const& command) const {
        return std::sqrt(value_of(squared_field_utilisation(p, command)));
    }

    /// The square of it at any number. It is that of the greatest of several; where another takes the lead
    /// the derivatives jump.
    template <class P, class C>
    Common<S, C> squared_field_utilisation(Point<Head, P> const& /*p*/, Command<C> const& command) const {
        using T = Common<S, C>;
        T const x = number_cast<T>(command.x_mirror), y = number_cast<T>(command.y_mirror);
        if constexpr (is_packed<T>) {
            Command<T> const all{x, y, number_cast<T>(command.focus)};
            auto const unused = Point<Head>{0, 0, 0};
            return detail::by_lanes<T, lanes_of<T>>(
                [&](int i) { return squared_field_utilisation(unused, lane_of(all, i)); });
        } else {
            auto const way = trace(parts_.mirrors, x, y);
            T const one = number_cast<T>(1);
            auto const at = in_field(parts_.objective.beam(way), x, y);
            auto const greatest = [](T const& a, T const& b) { return select(a < b, b, a); };
            T use = greatest(parts_.outline.squared_utilisation(at[0], at[1]),
                             sqr(T(one - parts_.objective.angle_clearance(way.leaving))));
            if (parts_.map)
                use = greatest(use, parts_.map->hull().squared_utilisation(x, y));
            if (parts_.focus_surface)
                use = greatest(use, sqr(T(one - parts_.focus_surface->share(x, y))));
            return use;
        }
    }

    /// The beam that a command makes. Finite for any finite command that stays inside the head's ranges.
    template <class C> Ray<Common<S, C>> ray(Command<C> const& command) const {
        using T = Common<S, C>;
        T const x = number_cast<T>(command.x_mirror);
        T const y = number_cast<T>(command.y_mirror);
        if constexpr (is_packed<T>) {
            Command<T> const all{x, y, number_cast<T>(command.focus)};
            return detail::by_lanes<Ray<T>, lanes_of<T>>([&](int i) { return ray(lane_of(all, i)); });
        } else {
            auto beam = parts_.objective.beam(trace(parts_.mirrors, x, y));
            T told = parts_.focus.path(number_cast<T>(command.focus)) + operand<T>(parts_.focus_shift);
            if (parts_.focus_surface)
                told = told - parts_.focus_surface->shift(x, y);
            beam.focus_path = parts_.objective.focus_path(beam, told);
            return beam;
        }
    }

    /// What Newton's method did for a point.
    struct Solved {
        std::array<double, 2> angles; ///< commanded mirror angles, rad
        int steps;                    ///< how many were taken
        double last_step;             ///< the larger angle of the last, rad
        std::array<double, 2> start;  ///< where it started, rad
    };

    /// The mirror angles for a point on doubles, and how they were found.
    Solved solve(Point<Head> const& p) const {
        using G = Gradient<double, 2>;
        auto u = start_.at(plain_objective_.start_numbers(p, separation_));
        for (auto& angle : u)
            angle = std::clamp(angle, -largest_angle, largest_angle);
        if (parts_.map)
            u = parts_.map->start(u[0], u[1]);
        Solved solved{u, 0, 0, u};
        for (int step = 1; step <= most_steps; ++step) {
            auto const m = miss_of(
                plain_objective_,
                plain_objective_.beam(trace(plain_, G::variable(u[0], 0), G::variable(u[1], 1))), p, 0.0);
            auto const j = inverse_of(m);
            std::array<double, 2> const change{j[0][0] * m.x.value + j[0][1] * m.y.value,
                                               j[1][0] * m.x.value + j[1][1] * m.y.value};
            for (std::size_t i = 0; i < 2; ++i)
                u[i] = std::clamp(u[i] - std::clamp(change[i], -longest_step, longest_step), -largest_angle,
                                  largest_angle);
            solved.steps = step;
            solved.last_step = std::max(std::abs(change[0]), std::abs(change[1]));
            // Newton's method squares the error: after a step this small about 1e-12 rad is left.
            if (solved.last_step <= small_step)
                break;
        }
        solved.angles = u;
        return solved;
    }

private:
    static constexpr int most_steps = 8;
    static constexpr double small_step = 1e-6;   ///< rad
    static constexpr double longest_step = 0.3;  ///< rad
    static constexpr double largest_angle = 0.7; ///< rad; beyond, no mirror range goes

    /// By how much the beam of two commanded angles misses p, in the plane through p across z, times the
    /// beam's z; and the focus setting for p.
    template <class T> struct Miss { T x, y, setting; };

    template <class Mirrors, class T>
    [[gnu::always_inline]] auto trace(Mirrors const& mirrors, T const& x, T const& y) const {
        T true_x = x;
        T true_y = y;
        if (parts_.map) {
            auto const angles = parts_.map->forward(x, y);
            true_x = angles[0];
            true_y = angles[1];
        }
        return mirrors.trace(true_x, true_y);
    }

    template <class Lens, class T, class P, class O>
    [[gnu::always_inline]] Miss<Common<T, P>> miss_of(Lens const& objective, Ray<T> const& beam,
                                                      Point<Head, P> const& p, O const& focus_offset) const {
        auto const off = beam.origin - p;
        auto const& d = beam.direction;
        return {off.x * d.z - off.z * d.x, off.y * d.z - off.z * d.y,
                objective.focus_setting(beam, beam.path - dot(off, d) + focus_offset)};
    }

    template <class Mirrors, class Lens, class T>
    Clearance<T> clearance_of(Mirrors const& mirrors, Lens const& objective, Point<Head, T> const& p,
                              Command<T> const& command, MirrorTrace<T> const& way,
                              Ray<T> const& beam) const {
        auto const to_point = p - beam.origin;
        T const along = dot(to_point, beam.direction);
        T const passes = distance_passed(command, to_point - along * beam.direction);
        Clearance<T> c;
        c.in_front = objective.in_front(p) - detail::factor<T>(1e-9);
        c.solved = least(least(detail::factor<T>(tolerance<T>()) - passes, along),
                         least(way.first_cosine, way.last_cosine) - detail::factor<T>(1e-3));
        c.x_mirror = parts_.ranges.x_mirror.clearance(command.x_mirror);
        c.y_mirror = parts_.ranges.y_mirror.clearance(command.y_mirror);
        c.focus = least(
            least(parts_.ranges.focus.clearance(command.focus), parts_.focus.lens_clearance(command.focus)),
            objective.depth_clearance(p));
        c.field = least(objective.angle_clearance(way.leaving),
                        field_share(beam, command.x_mirror, command.y_mirror));
        c.aperture = number_cast<T>(1);
        if (parts_.apertures) {
            auto const& a = *parts_.apertures;
            c.aperture = least(a.first.share(mirrors.first(), way.on_first,
                                             number_cast<T>(mirrors.incoming()), way.first, way.first_cosine,
                                             a.radius_at(T(way.path - way.between_length))),
                               a.last.share(mirrors.last(), way.on_last, way.between, way.last,
                                            way.last_cosine, a.radius_at(way.path)));
        }
        return c;
    }

    /// By how much a command's beam misses its point. A command over intervals is finite where it was proven
    /// that its beam passes the point; the distance itself could not tell, since it knows no more which beam
    /// of the box belongs to which point.
    template <class T> static T distance_passed(Command<T> const& command, Direction<Head, T> const& off) {
        if constexpr (detail::is_of_intervals<T>) {
            return is_finite(detail::values_of(command.x_mirror)) &&
                           is_finite(detail::values_of(command.y_mirror))
                       ? number_cast<T>(0)
                       : detail::anything<T>();
        } else {
            return norm(off);
        }
    }

    static std::array<std::array<double, 2>, 2> inverse_of(Miss<Gradient<double, 2>> const& m) {
        double const a = m.x.partial[0], b = m.x.partial[1], c = m.y.partial[0], d = m.y.partial[1];
        double const determinant = a * d - b * c;
        double const inverse = determinant != 0 ? 1 / determinant : 0;
        return {{{d * inverse, -b * inverse}, {-c * inverse, a * inverse}}};
    }

    template <class T> static T least(T const& a, T const& b) { return select(a < b, a, b); }

    template <class T> static constexpr double tolerance() {
        return std::is_same_v<typename detail::BottomOf<T>::type, float> ? 1e-5 : 1e-10;
    }

    /// Where the field's outline is looked at: the angles, or where the beam crosses the focal plane.
    template <class T> std::array<T, 2> in_field(Ray<T> const& beam, T const& x, T const& y) const {
        if (parts_.outline.in() == OutlineIn::mirror_angles)
            return {x, y};
        T const across = (detail::factor<T>(working_distance_) - beam.origin.z) /
                         select(beam.direction.z > 1e-3, beam.direction.z, number_cast<T>(1e-3));
        return {beam.origin.x + across * beam.direction.x, beam.origin.y + across * beam.direction.y};
    }

    template <class T> T field_share(Ray<T> const& beam, T const& x, T const& y) const {
        T share = number_cast<T>(1);
        if (!parts_.outline.unlimited()) {
            auto const at = in_field(beam, x, y);
            share = parts_.outline.share(at[0], at[1]);
        }
        if (parts_.map)
            share = least(share, parts_.map->share(x, y));
        if (parts_.focus_surface)
            share = least(share, parts_.focus_surface->share(x, y));
        return share;
    }

    static TracedMirrors<> plain(TracedMirrors<S> const& m) {
        auto const mirror = [](TurningMirror<S> const& t) {
            return TurningMirror<>{value_of(t.pivot), value_of(t.axis), value_of(t.normal),
                                   value_of(t.offset), value_of(t.turn)};
        };
        return {value_of(m.entry()), value_of(m.incoming()), mirror(m.first()), mirror(m.last())};
    }

    /// Traces true mirror angles on a grid of Chebyshev nodes over the ranges, at the focus of several lens
    /// positions, and fits the start to them.
    void fit_start() {
        auto const& r = parts_.ranges;
        auto const node = [](Range const& range, int i, int n) {
            double const at = -std::cos(3.14159265358979323846 * (i + 0.5) / n);
            return (range.low + range.high) / 2 + at * (range.high - range.low) / 2;
        };
        constexpr int across = 9, deep = 6;
        std::vector<StartFit::Sample> samples;
        for (int i = 0; i < across; ++i)
            for (int k = 0; k < across; ++k)
                for (int f = 0; f < deep; ++f) {
                    double const x = node(r.x_mirror, i, across);
                    double const y = node(r.y_mirror, k, across);
                    auto const beam = plain_objective_.beam(plain_.trace(x, y));
                    double const told = parts_.focus.path(node(r.focus, f, deep));
                    double const path = plain_objective_.focus_path(beam, told) - beam.path;
                    auto const p = beam.origin + path * beam.direction;
                    if (path > 0 && p.z > 0)
                        samples.push_back({plain_objective_.start_numbers(p, separation_), {x, y}});
                }
        if (samples.size() > 100)
            start_ = StartFit(samples);
    }

    HeadParts<Objective, S> parts_;
    TracedMirrors<> plain_; ///< mirrors and objective on doubles, for the solution
    decltype(std::declval<Objective>().on_doubles()) plain_objective_;
    double separation_;
    double working_distance_;
    StartFit start_;
};

/// A head from parts, checked. Throws BadInput, naming what is wrong, for a range without extent or beyond
/// 45° of a mirror, a beam that misses a mirror or its aperture at command 0, and a beam that meets a
/// mirror's back or does not leave towards the work at a corner of the mirrors' ranges. Mirrors, lens, focus
/// law, outline and map have makers of their own that check them.
template <class Objective> RealHead<Objective> real_head(HeadParts<Objective> parts) {
    detail::check_parts(parts);
    RealHead<Objective> head(std::move(parts));
    if (head.parts().apertures) {
        auto const beam = head.ray(Command<>{0, 0, 0});
        auto const p = beam.origin + (beam.focus_path - beam.path) * beam.direction;
        double const share = head.clearance(p, Command<>{0, 0, 0}).aperture;
        if (!(share > 0))
            throw BadInput("a head's beam misses a mirror: at command 0 its footprint reaches beyond the "
                           "mirror's aperture by " +
                           std::to_string(-share) + " of it");
    }
    return head;
}

} // namespace seamhold

#endif
