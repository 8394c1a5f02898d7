#ifndef SEAMHOLD_LIMIT_DEMAND_HPP
#define SEAMHOLD_LIMIT_DEMAND_HPP

#include "seamhold/beam/energy.hpp"
#include "seamhold/beam/spot.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/number/lift.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <variant>

/// What a seam demands at one instant, written once for every type of number: a sampled check puts in Taylor
/// numbers of doubles, a proof Taylor numbers of intervals.
namespace seamhold {

/// What limits are held against. All are smooth within a stretch of time without a break.
enum class Measure : std::uint8_t {
    x,          ///< mechanical angle of the first mirror, rad
    y,          ///< mechanical angle of the last mirror, rad
    focus,      ///< displacement of the lens, m
    focus_left, ///< of what the focus axis, its table and the lens reach, m
    in_front,   ///< see `Clearance`
    solved,     ///< see `Clearance`
    field,      ///< squared share of the field that is used
    aperture,   ///< see `Clearance`
    incidence,  ///< squared tangent of the angle of incidence
    along,      ///< part of the incidence along the travel, rad
    across,     ///< part of the incidence across it, rad
    spot,       ///< half the long axis of the spot, m
    defocus,    ///< of the face from the waist, Rayleigh lengths
    area,       ///< of the spot for each watt, m²/W
    energy,     ///< per length of seam, J/m; its highest order is not known
    speed,      ///< squared speed of the spot on the part, (m/s)²; its highest order is not known
    turning,    ///< of that what comes from the head's turning, (m/s)²; its highest order is not known
    joint_1,    ///< rad; the others follow
    joint_2,
    joint_3,
    joint_4,
    joint_5,
    joint_6,
    shoulder, ///< see `ArmClearance`
    elbow,    ///< see `ArmClearance`
    wrist     ///< see `ArmClearance`
};

/// The number of measures.
inline constexpr std::size_t measure_count = 26;

/// Which measures are wanted, and all of them at one instant. What was not wanted is 0.
template <class T> struct Demand {
    std::array<T, measure_count> measures{};
    StatusOf<T> status{}; ///< of doubles: whether the rest means anything, of packs by lane; intervals have
                          ///< `in_front`

    /// One of them.
    T const& operator[](Measure m) const { return measures[static_cast<std::size_t>(m)]; }
    T& operator[](Measure m) { return measures[static_cast<std::size_t>(m)]; }
};

/// A choice of measures.
struct Wanted {
    std::array<bool, measure_count> choice{};

    /// Whether a measure is wanted.
    bool operator[](Measure m) const { return choice[static_cast<std::size_t>(m)]; }
    bool& operator[](Measure m) { return choice[static_cast<std::size_t>(m)]; }

    /// Whether any of these is.
    template <class... M> bool any(M... m) const { return ((*this)[m] || ...); }
};

namespace detail {

/// The derivative by time of a Taylor number. The highest coefficient is not known: it is the whole line for
/// intervals and 0 for others.
template <class S, int N> Taylor<S, N> rate_of(Taylor<S, N> const& x) {
    Taylor<S, N> r;
    unroll<0, N>([&](auto k) { r.coefficient[k] = x.coefficient[k + 1] * factor<S>(k + 1); });
    if constexpr (is_of_intervals<S>)
        r.coefficient[N] = anything<S>();
    return r;
}
template <class F, class T> Direction<F, T> rate_of(Direction<F, T> const& d) {
    return {rate_of(d.x), rate_of(d.y), rate_of(d.z)};
}
template <class F, class T> Direction<F, T> rate_of(Point<F, T> const& p) {
    return {rate_of(p.x), rate_of(p.y), rate_of(p.z)};
}

/// The squared share of a head's field that is used; for doubles without derivatives.
template <class HeadModel, class T>
T squared_field_use(HeadModel const& head, Point<Head, T> const& target, Command<T> const& command) {
    if constexpr (!requires { head.squared_field_utilisation(target, command); })
        return number_cast<T>(1) - number_cast<T>(head.clearance(target, command).field);
    else if constexpr (is_of_intervals<T>)
        return head.squared_field_utilisation(target, command);
    else
        return T(value_of(head.squared_field_utilisation(value_of(target), value_of(command))));
}

/// The recorded joints of a motion that has six, at time t; nothing for others.
template <class M, class T> std::optional<std::array<T, 6>> recorded_joints(M const& motion, T const& t) {
    if constexpr (requires { std::array<T, 6>(motion.joints_at(t)); }) {
        return motion.joints_at(t);
    } else if constexpr (requires { motion.path_time(t); }) {
        return recorded_joints(motion.motion(), motion.path_time(t));
    } else if constexpr (requires { std::get_if<JointLog<6>>(&motion.choice()); }) {
        if (auto const* log = std::get_if<JointLog<6>>(&motion.choice()))
            return log->joints_at(t);
    }
    return std::nullopt;
}

/// The joints that an arm needs to have its flange where it is in the cell at time t, with the box of the
/// path and the head held as `change` says. Recorded joints are as they were recorded.
template <class AnyChain, class T, class Flanged, class Changed>
void demand_of_joints(JobArm const& arm, AnyChain const& chain, T const& t, Flanged const& cell_from_flange,
                      Changed const& change, Demand<T>& d) {
    auto const note = [&](std::array<T, 6> const& joints) {
        for (std::size_t i = 0; i < 6; ++i)
            d.measures[static_cast<std::size_t>(Measure::joint_1) + i] = joints[i];
    };
    if (auto const joints = recorded_joints(chain.cell_from_flange, t)) {
        note(*joints);
    } else if (arm.inverse) {
        auto pose = number_cast<T>(cell_from_flange);
        if constexpr (!std::is_same_v<Changed, AsGiven>) {
            // Whatever hangs on the changed flange, through the changed head to where it was given.
            auto const in_cell = [&](auto const& v) {
                return chain.head_in_cell(inverse_times(chain.flange_from_head, v), cell_from_flange, change);
            };
            T const zero = number_cast<T>(0), one = number_cast<T>(1);
            Direction<Cell, T> const columns[3] = {in_cell(Direction<Flange, T>{one, zero, zero}),
                                                   in_cell(Direction<Flange, T>{zero, one, zero}),
                                                   in_cell(Direction<Flange, T>{zero, zero, one})};
            pose.origin = in_cell(Point<Flange, T>{zero, zero, zero});
            for (int k = 0; k < 3; ++k) {
                pose.rotation.m[0][k] = columns[k].x;
                pose.rotation.m[1][k] = columns[k].y;
                pose.rotation.m[2][k] = columns[k].z;
            }
        }
        auto const solution = arm.inverse->at(inverse(arm.cell_from_base) * pose, arm.branch, arm.near);
        note(solution.joints);
        d[Measure::shoulder] = solution.clearance.shoulder;
        d[Measure::elbow] = solution.clearance.elbow;
        d[Measure::wrist] = solution.clearance.wrist;
    }
}

/// x, but not below what a division can take.
template <class T> T at_least(T const& x, double least) {
    T const bound = number_cast<T>(least);
    return select(x > bound, x, bound);
}

} // namespace detail

/// What a seam demands `seam_time` s after its start, a Taylor number with the time's own derivatives; with
/// the robot, the part and the head as `change` says. Of a job's limits only what is wanted is worked out.
/// Spot, defocus and area need the job's process. Never throws; where the target is not in front of the head,
/// numbers are finite for doubles and mean nothing: check `in_front` first. A job is anything with the
/// members of `Job`, a scheduled seam anything with those of `ScheduledSeam`.
template <class AnyJob, class Scheduled, class T, class Changed = AsGiven>
Demand<T> demand_of(AnyJob const& job, Scheduled const& scheduled, T const& seam_time, Wanted const& wanted,
                    Changed const& change = {}) {
    using M = Measure;
    auto const& chain = job.chain;
    auto const& seam = scheduled.seam;
    T const t = change.time(scheduled.start, seam.duration(), seam_time);
    auto const place = seam.at(seam_time);
    auto const on_part = number_cast<T>(place.position);
    auto const cell_from_flange = chain.cell_from_flange.at(t); // once for all that is to be seen
    auto const in_head = [&](auto const& in_part) {
        return chain.in_head(in_part, t, cell_from_flange, change);
    };
    auto const target = in_head(on_part);
    Demand<T> d;

    Command<T> command;
    if constexpr (detail::is_of_intervals<T>) {
        command = chain.head.command(target, seam.focus_offset);
        auto const clearance = chain.head.clearance(target, command);
        d[M::in_front] = clearance.in_front;
        d[M::solved] = clearance.solved;
        d[M::aperture] = clearance.aperture;
        d[M::focus_left] = clearance.focus;
    } else {
        auto const aim = chain.head.aim(target, seam.focus_offset);
        command = aim.command;
        d[M::in_front] = T(aim.clearance.in_front);
        d[M::solved] = T(aim.clearance.solved);
        d.status = chain.with_data(status_of(aim), t);
        d[M::aperture] = T(aim.clearance.aperture);
        d[M::focus_left] = T(aim.clearance.focus);
    }
    if (wanted[M::field])
        d[M::field] = detail::squared_field_use(chain.head, target, command);
    d[M::x] = command.x_mirror;
    d[M::y] = command.y_mirror;
    d[M::focus] = command.focus;

    bool const lights = wanted.any(M::spot, M::defocus, M::area) && job.process;
    if (lights || wanted.any(M::incidence, M::along, M::across)) {
        auto const ray = chain.head.ray(command);
        auto const normal = in_head(number_cast<T>(place.normal));
        auto const& beam = ray.direction;
        T const cosine = -dot(beam, normal);
        T const divisor = detail::at_least(cosine, 1e-6);
        if (wanted[M::incidence])
            d[M::incidence] = squared_norm(beam + divisor * normal) / sqr(divisor);
        if (wanted.any(M::along, M::across)) {
            // The path's tangent: the derivative by arc length, carried beside that by time.
            auto const s = Taylor<T, 1>::variable(number_cast<T>(seam.arc_length(seam_time)));
            auto const ahead = seam.path.at(s).position;
            Direction<Part, T> const along{ahead.x.coefficient[1], ahead.y.coefficient[1],
                                           ahead.z.coefficient[1]};
            auto const tangent = in_head(along);
            d[M::along] = atan_ratio(T(-dot(beam, tangent)), divisor);
            d[M::across] = atan_ratio(T(-dot(beam, cross(normal, tangent))), divisor);
        }
        if (lights) {
            T shift = number_cast<T>(0);
            if (std::holds_alternative<FlatFieldBeam<>>(job.process->beam))
                shift = ray.focus_path -
                        chain.head.ray(Command<T>{command.x_mirror, command.y_mirror, number_cast<T>(0)})
                            .focus_path;
            auto const spot = spot_on(ray, job.process->caustic(ray.focus_path, shift), target, normal);
            d[M::spot] = spot.semi_major;
            d[M::defocus] = spot.defocus;
            d[M::area] = spot.area();
        }
    }
    if (wanted.any(M::area, M::energy) && job.process) {
        T const feed = detail::rate_of(number_cast<T>(seam.arc_length(seam_time)));
        // What is neither constant nor known: a law that goes by the feed loses its highest order.
        T const power = seam.power && !seam.power->is_constant()
                            ? seam.power->at_feed(feed)
                            : number_cast<T>(seam.power ? seam.power->at_feed(0.0) : job.process->power);
        d[M::area] = d[M::area] / detail::at_least(power, 1e-9);
        d[M::energy] = line_energy(power, feed);
    }
    if (wanted[M::speed])
        d[M::speed] = squared_norm(detail::rate_of(on_part));
    if (wanted[M::turning]) {
        // With the axes of the part seen from the head as columns, the rate of the head's turning against the
        // part, applied to the target, is the sum of what each column's rate makes of it.
        T const one = number_cast<T>(1), zero = number_cast<T>(0);
        Direction<Part, T> const axes[3] = {{one, zero, zero}, {zero, one, zero}, {zero, zero, one}};
        Direction<Head, T> const lever{target.x, target.y, target.z};
        for (auto const& axis : axes)
            d[M::turning] = d[M::turning] + sqr(T(dot(detail::rate_of(in_head(axis)), lever)));
    }
    if constexpr (requires { job.arm->near; })
        if (job.arm && wanted.any(M::joint_1, M::joint_2, M::joint_3, M::joint_4, M::joint_5, M::joint_6,
                                  M::shoulder, M::elbow, M::wrist))
            detail::demand_of_joints(*job.arm, chain, t, cell_from_flange, change, d);
    return d;
}

} // namespace seamhold

#endif
