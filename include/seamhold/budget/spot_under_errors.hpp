#ifndef SEAMHOLD_BUDGET_SPOT_UNDER_ERRORS_HPP
#define SEAMHOLD_BUDGET_SPOT_UNDER_ERRORS_HPP

#include "seamhold/budget/error_numbers.hpp"
#include "seamhold/follow/chain.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <type_traits>

/// Where the spot really is when something is off. The command stays what it was believed to do; the true
/// beam goes forwards through the head as it is, the mount, the flange and the part as they are, to the true
/// face. Nothing is inverted but poses.
namespace seamhold {

/// A spot against the one wanted, on the tangent plane of the face at the wanted spot.
template <class T = double> struct SpotOffset {
    T along;   ///< along the seam, m
    T across;  ///< to the left of travel, m
    T defocus; ///< how much farther beyond the face the focus lies along the beam than wanted, m
};

/// How a spot answers to each error number: m, per rad, m, s or share.
struct SpotSensitivities {
    std::array<double, error_numbers> along;
    std::array<double, error_numbers> across;
    std::array<double, error_numbers> defocus;
};

namespace detail {

/// A beam in frame F.
template <class F, class T> struct Beam {
    Point<F, T> origin;
    Direction<F, T> direction;
};

template <class To, class From, class S, class T>
constexpr auto operator*(Pose<To, From, S> const& pose, Beam<From, T> const& beam) {
    return Beam<To, Common<S, T>>{pose * beam.origin, pose * beam.direction};
}
template <class To, class From, class S, class T>
constexpr auto inverse_times(Pose<To, From, S> const& pose, Beam<To, T> const& beam) {
    return Beam<From, Common<S, T>>{inverse_times(pose, beam.origin), inverse_times(pose, beam.direction)};
}

/// The small pose of a step of six numbers: pose * small_pose(step) is moved_by(pose, step).
template <class F, class T> constexpr Pose<F, F, T> small_pose(std::array<T, 6> const& step) {
    T const half = factor<T>(0.5);
    return {
        rotation_of<F, F>(Quaternion<T>{number_cast<T>(1), half * step[0], half * step[1], half * step[2]}),
        {step[3], step[4], step[5]}};
}

/// The error numbers by where they act, each place over a number of its own: so sensitivities to one place
/// are gradients from there on, and plain numbers before.
template <class InHead, class OnHead, class OnFlange, class InClocks, class OnPart> struct ErrorsByPlace {
    std::array<InHead, 8> in_head;     ///< mirror angles, gains, lens, beam, focus
    std::array<OnHead, 6> on_head;     ///< turn, shift
    std::array<OnFlange, 6> on_flange; ///< turn, shift
    std::array<InClocks, 2> in_clocks; ///< of flange and part
    std::array<OnPart, 8> on_part;     ///< turn, shift, and on the face
};

/// A stretch of numbers.
template <std::size_t First, std::size_t Count, class T, std::size_t N>
constexpr std::array<T, Count> stretch(std::array<T, N> const& numbers) {
    std::array<T, Count> part{};
    for (std::size_t i = 0; i < Count; ++i)
        part[i] = numbers[First + i];
    return part;
}

/// Of its places.
template <class A, class B, class C, class D, class E>
constexpr ErrorsByPlace<A, B, C, D, E>
by_place(std::array<A, 8> const& in_head, std::array<B, 6> const& on_head, std::array<C, 6> const& on_flange,
         std::array<D, 2> const& in_clocks, std::array<E, 8> const& on_part) {
    return {in_head, on_head, on_flange, in_clocks, on_part};
}

/// The error numbers of one type by their places.
template <class T> constexpr ErrorsByPlace<T, T, T, T, T> by_place(ErrorNumbers<T> const& e) {
    return {stretch<0, 8>(e), stretch<error_on_head.first, 6>(e), stretch<error_on_flange.first, 6>(e),
            stretch<error_in_clocks.first, 2>(e), stretch<error_on_part.first, 8>(e)};
}

/// Zeros, each the variable number `k` of a gradient.
template <std::size_t Count> std::array<Gradient<double, static_cast<int>(Count)>, Count> variables() {
    std::array<Gradient<double, static_cast<int>(Count)>, Count> all;
    for (std::size_t i = 0; i < Count; ++i)
        all[i] = Gradient<double, static_cast<int>(Count)>::variable(0.0, static_cast<int>(i));
    return all;
}

/// A Taylor number in time, a small time later; other numbers do not change.
template <class R, class S, class D> constexpr R later(S const& x, D const& delay) {
    if constexpr (requires { x.coefficient; })
        return R(x.coefficient[0]) + R(x.coefficient[1]) * delay;
    else
        return number_cast<R>(x);
}

/// What `use` makes of a motion's pose a small time `delay` after t: a beam. On doubles the pose is that of
/// the later time; for gradients the pose and its exact rate are lifted, which is right in the first
/// derivative.
template <class F, class T, class Motion, class D, class Use>
Beam<F, Common<T, D>> at_later(Motion const& motion, double t, D const& delay, Use const& use) {
    if constexpr (BuiltIn<D>) {
        return with_pose(motion, t + delay, [&](auto const& pose) -> Beam<F, T> { return use(pose); });
    } else {
        using R = Common<T, D>;
        auto const now = Taylor<double, 1>::variable(t);
        return with_pose(motion, now, [&](auto const& pose) -> Beam<F, R> {
            auto const b = use(pose);
            return {{later<R>(b.origin.x, delay), later<R>(b.origin.y, delay), later<R>(b.origin.z, delay)},
                    {later<R>(b.direction.x, delay), later<R>(b.direction.y, delay),
                     later<R>(b.direction.z, delay)}};
        });
    }
}

} // namespace detail

/// One moment of a seam as it is believed: the command, and the face where the spot is wanted. `at` says
/// where the spot is when the error numbers are not 0: one formula, over doubles for a trial, over gradients
/// for all sensitivities at once. It refers to the chain, which must live as long. Immutable.
template <class ChainType> class SpotUnderErrors {
public:
    /// The moment `seam_time` s after the start of a seam, at t, s, of the robot's clock. Throws BadInput,
    /// saying when and why, where the chain's status is not `ok` (no data, out of reach …), and
    /// where the beam does not come from in front of the face (within 0.06° of grazing).
    template <class SeamType>
    SpotUnderErrors(ChainType const& chain, SeamType const& seam, double seam_time, double t)
        : chain_(&chain), t_(t), arc_length_(value_of(seam.arc_length(seam_time))),
          focus_offset_(value_of(seam.focus_offset)) {
        auto const followed = chain.follow(seam, seam_time, t);
        if (followed.status != Status::ok)
            throw BadInput(place_of() + ": " + to_string(followed.status));
        command_ = followed.aim.command;
        auto const place = seam.at(seam_time);
        position_ = place.position;
        normal_ = unit(place.normal);
        // To the left of travel by the path itself, which a point that is held has too.
        auto const beside = seam.path.at(Taylor<double, 1>(arc_length_), Taylor<double, 1>::variable(0));
        Direction<Part> const left{beside.position.x.derivative(1), beside.position.y.derivative(1),
                                   beside.position.z.derivative(1)};
        along_ = unit(cross(left, normal_));
        across_ = cross(normal_, along_);
        double const cosine = -dot(beam(detail::by_place(ErrorNumbers<>{})).line.direction, normal_);
        incidence_ = std::acos(std::clamp(cosine, -1.0, 1.0));
        if (!(cosine > 1e-3))
            throw BadInput(place_of() + ": the beam meets the face at " +
                           detail::text_of(incidence_ * 180 / std::numbers::pi) +
                           " degrees from its normal; from 90 on it comes along the face or from behind");
    }

    /// The arc length along the seam, m.
    double arc_length() const { return arc_length_; }

    /// The moment by the robot's clock, s.
    double time() const { return t_; }

    /// The incidence, rad: 0 is perpendicular.
    double incidence() const { return incidence_; }

    /// Where the spot is, and how far out of focus, for these errors. All 0 gives 0 to the accuracy of the
    /// head's `aim` (1e-10 m for a real head).
    SpotOffset<> at(ErrorNumbers<> const& e) const { return spot(detail::by_place(e)); }

    /// How the spot answers to each error number, from where all are 0: exact derivatives of `at`.
    SpotSensitivities sensitivities() const {
        std::array<double, 8> const none{};
        auto const six = detail::stretch<0, 6>(none);
        auto const two = detail::stretch<0, 2>(none);
        SpotSensitivities all{};
        auto const note = [&all](auto const& by, std::size_t first, std::size_t count) {
            for (std::size_t i = 0; i < count; ++i) {
                all.along[first + i] = by.along.partial[i];
                all.across[first + i] = by.across.partial[i];
                all.defocus[first + i] = by.defocus.partial[i];
            }
        };
        note(spot(detail::by_place(detail::variables<8>(), six, six, two, none)), 0, 8);
        note(spot(detail::by_place(none, detail::variables<6>(), six, two, none)), error_on_head.first, 6);
        note(spot(detail::by_place(none, six, detail::variables<6>(), two, none)), error_on_flange.first, 6);
        note(spot(detail::by_place(none, six, six, detail::variables<2>(), none)), error_in_clocks.first, 2);
        note(spot(detail::by_place(none, six, six, two, detail::variables<8>())), error_on_part.first, 8);
        return all;
    }

private:
    std::string place_of() const {
        return "no budget at " + detail::text_of(t_) + " s, " + detail::text_of(1e3 * arc_length_) +
               " mm from the seam's start";
    }

    /// The true beam in the frame of the true part, and how far along it the focus lies, m.
    template <class T, class U> struct TrueBeam {
        detail::Beam<Part, T> line;
        U way_to_focus;
    };

    template <class A, class B, class C, class D, class E>
    auto beam(detail::ErrorsByPlace<A, B, C, D, E> const& e) const {
        A const one = number_cast<A>(1);
        auto const ray = chain_->head.ray(Command<A>{command_.x_mirror * (one + e.in_head[2]) + e.in_head[0],
                                                     command_.y_mirror * (one + e.in_head[3]) + e.in_head[1],
                                                     command_.focus + e.in_head[4]});
        detail::Beam<Head, A> const leaving{
            {ray.origin.x + e.in_head[5], ray.origin.y + e.in_head[6], ray.origin.z}, ray.direction};
        auto const in_flange =
            detail::small_pose<Flange>(e.on_flange) *
            (value_of(chain_->flange_from_head) * (detail::small_pose<Head>(e.on_head) * leaving));
        using InFlange = std::decay_t<decltype(in_flange.origin.x)>;
        auto const in_cell = detail::at_later<Cell, InFlange>(
            chain_->cell_from_flange, t_, e.in_clocks[0],
            [&](auto const& cell_flange) { return cell_flange * in_flange; });
        using InCell = std::decay_t<decltype(in_cell.origin.x)>;
        auto const in_part = detail::at_later<Part, InCell>(
            chain_->cell_from_part, t_, e.in_clocks[1],
            [&](auto const& cell_part) { return inverse_times(cell_part, in_cell); });
        auto const in_true_part =
            inverse_times(detail::small_pose<Part>(detail::stretch<0, 6>(e.on_part)), in_part);
        A const way_to_focus = ray.focus_path - ray.path + e.in_head[7];
        return TrueBeam<std::decay_t<decltype(in_true_part.origin.x)>, A>{in_true_part, way_to_focus};
    }

    template <class A, class B, class C, class D, class E>
    auto spot(detail::ErrorsByPlace<A, B, C, D, E> const& e) const {
        auto const true_beam = beam(e);
        auto const& line = true_beam.line;
        using T = std::decay_t<decltype(line.origin.x)>;
        T const way = dot(normal_, position_ - line.origin) / dot(normal_, line.direction);
        auto const off = line.origin + way * line.direction - position_;
        return SpotOffset<T>{dot(along_, off) + e.on_part[6], dot(across_, off) + e.on_part[7],
                             true_beam.way_to_focus - way - focus_offset_};
    }

    ChainType const* chain_;
    double t_;
    double arc_length_;
    double focus_offset_;
    Command<> command_;
    Point<Part> position_;
    Direction<Part> normal_;
    Direction<Part> along_;
    Direction<Part> across_;
    double incidence_;
};

} // namespace seamhold

#endif
