#ifndef SEAMHOLD_LIVE_BLOCK_HPP
#define SEAMHOLD_LIVE_BLOCK_HPP

#include "seamhold/live/block_bound.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <type_traits>

/// Commands for the next ticks at once: one evaluation of the chain with its derivatives in the middle, and a
/// polynomial from there.
namespace seamhold {

/// Whether there is a block, and if not, why. Whatever the reason, the chain itself can be asked tick by
/// tick.
enum class BlockStatus : std::uint8_t {
    ok,
    too_long,     ///< longer than was asked for when the bounds were proven, or of no length
    outside_seam, ///< it begins before the seam or ends after it
    across_break, ///< a break of the seam lies inside, or a row of the recorded pass or its end
    no_data,      ///< the part's motion has no data there
    not_proven,   ///< nothing was proven of that stretch of the seam
    outside_box,  ///< the forecast or a rate lies outside of the box for which it was
    too_wide,     ///< the bound is above the tolerance
    not_finite    ///< a number that went in was not finite
};

/// A status in words.
constexpr char const* to_string(BlockStatus status) {
    switch (status) {
    case BlockStatus::ok:
        return "ok";
    case BlockStatus::too_long:
        return "too long";
    case BlockStatus::outside_seam:
        return "outside the seam";
    case BlockStatus::across_break:
        return "across a break";
    case BlockStatus::no_data:
        return "no data";
    case BlockStatus::not_proven:
        return "not proven";
    case BlockStatus::outside_box:
        return "outside the box";
    case BlockStatus::too_wide:
        return "bound too wide";
    case BlockStatus::not_finite:
        return "not finite";
    }
    return "";
}

/// One moment by the three clocks, and how fast two of them go on by the scanner's.
struct BlockMoment {
    ScannerTime scanner;
    RobotTime robot;   ///< what the robot's clock shows
    double robot_rate; ///< robot seconds a second of the scanner's
    double seam;       ///< the seam's own time, s since its start
    double seam_rate;  ///< its seconds a second of the scanner's

    /// The moment `by` s of the scanner's clock later.
    constexpr BlockMoment operator+(double by) const {
        return {scanner + by, robot + robot_rate * by, robot_rate, seam + seam_rate * by, seam_rate};
    }
};

/// The moment at which an answer is wanted, for a seam that starts at a time of the program, s, and goes on
/// as the program does.
inline BlockMoment moment_in(Forecast<7> const& forecast, double seam_start, ScannerTime answer) {
    auto const robot = forecast.clock.robot_at(answer);
    return {answer, robot, forecast.clock.rate, forecast.program_at(robot.seconds) - seam_start,
            forecast.clock.rate * forecast.program_rate};
}

/// Commands over a short time as polynomials of order N about its middle, with a bound on how far they are
/// from the chain. Trivially copyable.
template <int N> struct Block {
    BlockStatus status; ///< the rest means something only if `ok`
    ScannerTime middle; ///< where the polynomials have their zero
    double half;        ///< to both sides of it, s
    double reach;       ///< the same and what the clocks' last bits may add, s
    /// Row k is of (t − middle)ᵏ: x mirror and y mirror, rad, focus, m, and a spare lane.
    double coefficient[N + 1][4];
    std::array<double, 3> bound;     ///< |block − chain| in x, y, focus, in every tick of the block
    std::array<double, 3> remainder; ///< at least the size of the coefficient N + 1, for `compensated`
    std::array<std::array<double, 3>, 2> rounding; ///< in the first and second derivative, for `compensated`

    /// The command τ s after the middle, with τ's derivatives. Means nothing beyond `half`.
    template <class T> [[gnu::always_inline]] Command<T> after_middle(T const& tau) const {
        T r[4];
        for (std::size_t i = 0; i < 4; ++i)
            r[i] = number_cast<T>(coefficient[N][i]);
        detail::unroll<0, N>([&](auto k) {
            for (std::size_t i = 0; i < 4; ++i)
                r[i] = r[i] * tau + coefficient[N - 1 - k][i];
        });
        return {r[0], r[1], r[2]};
    }

    /// The command at a moment of the scanner's clock.
    Command<> at(ScannerTime t) const { return after_middle(t - middle); }
};

namespace detail {
template <int N> constexpr Block<N> no_block(BlockStatus status) {
    Block<N> b{};
    b.status = status;
    return b;
}

template <int N> bool good_enough(Block<N> const& b, BlockOptions const& options) {
    return b.bound[0] <= options.mirror_tolerance && b.bound[1] <= options.mirror_tolerance &&
           b.bound[2] <= options.focus_tolerance;
}

/// The command about a moment with its derivatives by the scanner's time.
template <int N, class AnyChain, class AnyOrSeam>
[[gnu::noinline]] auto expanded_command(AnyChain const& chain, AnyOrSeam const& seam,
                                        BlockMoment const& middle, FlangeCubic<> const& cubic) {
    Taylor<double, N> seam_time(middle.seam), robot_time(middle.robot.seconds);
    seam_time.coefficient[1] = middle.seam_rate;
    robot_time.coefficient[1] = middle.robot_rate;
    auto const target =
        target_of(chain, seam, seam_time, robot_time, cubic.template pose<N, turn_order<N>>());
    return chain.head.aim(target, seam.focus_offset).command;
}
} // namespace detail

/// The block of commands for a seam from `half` s before to `half` s after a moment, as the chain with its
/// forecast has them. `chain.cell_from_flange` is a ForecastFlange; the bounds were proven for this chain and
/// seam. One evaluation of the chain with Taylor<double, N>; neither throws nor allocates where the chain's
/// parts do not.
template <int N, class AnyChain, class AnyOrSeam>
Block<N> block_of(AnyChain const& chain, AnyOrSeam const& seam, BlockBounds<N> const& bounds,
                  BlockMoment const& middle, double half) {
    auto const fail = [](BlockStatus status) { return detail::no_block<N>(status); };
    auto const& options = bounds.options();
    auto const& box = bounds.box();
    ForecastFlange const& flange = chain.cell_from_flange;

    auto const from = middle + -half, to = middle + half;
    if (!is_finite(from.scanner.seconds + to.scanner.seconds) ||
        !is_finite(from.robot.seconds + to.robot.seconds) || !is_finite(from.seam + to.seam))
        return fail(BlockStatus::not_finite);
    if (!(half > 0) || !(2 * half <= options.longest * (1 + 1e-9)))
        return fail(BlockStatus::too_long);
    if (!box.seam_rate.contains(middle.seam_rate) || !box.robot_rate.contains(middle.robot_rate))
        return fail(BlockStatus::outside_box);
    auto const touched = bounds.touched(std::min(from.seam, to.seam), std::max(from.seam, to.seam));
    if (touched.to == touched.from)
        return fail(BlockStatus::outside_seam);
    if (is_finite(box.start.high - box.start.low) && (!box.start.contains(from.robot.seconds - from.seam) ||
                                                      !box.start.contains(to.robot.seconds - to.seam)))
        return fail(BlockStatus::outside_box);
    if (passes_row(flange, from.robot, to.robot))
        return fail(BlockStatus::across_break);
    if (!has_data(chain.cell_from_part, from.robot.seconds) ||
        !has_data(chain.cell_from_part, to.robot.seconds))
        return fail(BlockStatus::no_data);

    auto const stretches = bounds.stretches();
    auto const cubic = stretches[touched.from].box.towards(cubic_of(flange, middle.robot, middle.robot_rate));
    std::array<double, 3> remainder{};
    std::array<std::array<double, 3>, 3> rounding{};
    // A moment that is computed by any of the clocks may be off by some units in the last place of each.
    double const late = 0x1p-51 * (std::abs(middle.scanner.seconds) + std::abs(middle.robot.seconds) +
                                   std::abs(middle.seam) + std::abs(box.program_start) + half);
    double const reach = half + late;
    for (std::size_t s = touched.from; s < touched.to; ++s) {
        auto const& stretch = stretches[s];
        if (s > touched.from && !stretch.joined)
            return fail(BlockStatus::across_break);
        if (!stretch.proven)
            return fail(BlockStatus::not_proven);
        if (!stretch.box.holds(cubic, reach))
            return fail(BlockStatus::outside_box);
        for (std::size_t i = 0; i < 3; ++i) {
            remainder[i] = detail::greater(remainder[i], stretch.remainder[i]);
            double const by_time[3] = {stretch.by_seam[i] + stretch.by_robot[i], stretch.steep[0][i],
                                       stretch.steep[1][i]};
            for (std::size_t j = 0; j < 3; ++j)
                rounding[j][i] = detail::greater(rounding[j][i], stretch.rounding[j][i] + late * by_time[j]);
        }
    }

    auto const told = detail::axes_of(detail::expanded_command<N>(chain, seam, middle, cubic));

    Block<N> r;
    r.status = BlockStatus::ok;
    r.middle = middle.scanner;
    r.half = half;
    r.reach = reach;
    r.remainder = remainder;
    r.rounding = {rounding[1], rounding[2]};
    double power = 1 + 1e-12; // of the reach, rounded up
    for (int k = 0; k <= N; ++k)
        power *= reach;
    double all = 0;
    for (std::size_t i = 0; i < 3; ++i) {
        auto const axis = number_cast<Taylor<double, N>>(told[i]);
        for (std::size_t k = 0; k <= N; ++k) {
            r.coefficient[k][i] = axis.coefficient[k];
            all += std::abs(axis.coefficient[k]);
        }
        r.bound[i] = remainder[i] * power + rounding[0][i];
    }
    for (std::size_t k = 0; k <= N; ++k)
        r.coefficient[k][3] = 0;
    if (!is_finite(all))
        return fail(BlockStatus::not_finite);
    if (!detail::good_enough(r, options))
        r.status = BlockStatus::too_wide;
    return r;
}

static_assert(std::is_trivially_copyable_v<Block<7>>);

} // namespace seamhold

#endif
