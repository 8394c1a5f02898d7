#ifndef SEAMHOLD_LIVE_BLOCK_PROVER_HPP
#define SEAMHOLD_LIVE_BLOCK_PROVER_HPP

#include "seamhold/follow/chain.hpp"
#include "seamhold/limit/enclose_check.hpp"
#include "seamhold/live/flange_cubic.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

/// What is proven of the chain over stretches of a seam, for all forecasts in a box.
namespace seamhold {

/// The box: how far the flange of a forecast may be from the nominal pass, and how fast the clocks may go.
/// Index k is the k-th derivative by the scanner's time; each holds for every component to both sides.
struct ForecastBox {
    double place[4];                    ///< m, m/s, m/s², m/s³
    double turn[4];                     ///< of the quaternion's components, 1, 1/s, 1/s², 1/s³
    double program_start;               ///< time of the nominal pass, s, where the seam's own time is 0
    Interval program_rate{0.95, 1.05};  ///< of the pass, by the scanner's time: its speed override
    Interval seam_rate{0.95, 1.05};     ///< of the seam's own time, by the scanner's time
    Interval robot_rate{0.999, 1.001};  ///< of the robot's time, by the scanner's time
    Interval start = Interval::whole(); ///< robot time where the seam's own time is 0, s; matters only where
                                        ///< the part moves
};

/// How finely it is looked, and what is good enough.
struct BlockOptions {
    double longest = 0.5e-3;        ///< of a block, s
    double mirror_tolerance = 1e-9; ///< no block whose bound is above it, rad
    double focus_tolerance = 1e-9;  ///< the same for the focusing lens, m
    double before = 0;              ///< blocks may begin so much before the seam, where its path runs on, s
    double stretch = 0.02;          ///< of the seam's time that is looked at in one piece at first, s
    double shortest = 0.25e-3;      ///< shorter than this no stretch becomes by halving, s
};

/// What is proven of the three axes, x mirror and y mirror in rad, focus in m, over a stretch of the seam's
/// time, for every forecast within `box`.
struct BlockStretch {
    FlangeBox box;
    std::array<double, 3>
        remainder; ///< at least the size of the coefficient N + 1 of a Taylor expansion, /s^(N+1)
    std::array<std::array<double, 3>, 3> rounding; ///< of value, first and second derivative, of the longest
                                                   ///< block and of the chain in doubles
    std::array<double, 3> by_seam;  ///< at least the size of the derivative by the seam's time, /s
    std::array<double, 3> by_robot; ///< at least the size of the derivative by the robot's time, /s
    std::array<std::array<double, 3>, 2> steep; ///< of the second and third derivative of all, /s², /s³
    bool proven = false; ///< that all this is so, and that the head reaches the seam all over it
    bool joined = false; ///< to the stretch before: no break is between them
};

namespace detail {

/// Blocks of order N expand the flange's rotation to this order: a forecast turns so slowly that the next one
/// is less than rounding in half a millisecond, and is counted as rounding.
template <int N> inline constexpr int turn_order = N < 4 ? N : 4;

/// The command for a seam with the flange's pose known: `Chain::follow` without its motion.
template <class AnyChain, class AnyOrSeam, class T, class S>
[[gnu::always_inline]] inline auto target_of(AnyChain const& chain, AnyOrSeam const& seam, T const& seam_time,
                                             T const& robot_time, Pose<Cell, Flange, S> const& cell_flange) {
    return chain.in_head(seam.at(seam_time).position, robot_time, cell_flange, AsGiven{});
}

/// By how much, m, the point that a head's command meets in doubles may be off: what an inversion by steps
/// stops at.
template <class HeadModel> double solution_slack(HeadModel const& head) {
    if constexpr (requires { head.answer([](auto const&) { return 0.0; }); })
        return head.answer([](auto const& kind) { return solution_slack(kind); });
    else if constexpr (requires(Point<Head> p) { head.solve(p); })
        return 1e-10;
    else
        return 0;
}

template <class T> std::array<T, 3> axes_of(Command<T> const& c) { return {c.x_mirror, c.y_mirror, c.focus}; }

/// Time that runs at a rate, over intervals.
template <int N> Taylor<Interval, N> running(Interval const& value, Interval const& rate) {
    Taylor<Interval, N> t(value);
    t.coefficient[1] = rate;
    return t;
}

/// Everything about one stretch of a seam.
template <int N, class AnyChain, class AnyOrSeam, class Nominal> class BlockProver {
public:
    BlockProver(AnyChain const& chain, AnyOrSeam const& seam, Nominal const& nominal, ForecastBox const& box,
                BlockOptions const& options)
        : chain_(chain), seam_(seam), nominal_(nominal), box_(box), options_(options),
          half_(up(options.longest / 2)), slack_(solution_slack(chain.head)) {}

    /// Splits a span as far as that helps; the stretches go to `ends` and `stretches`.
    struct Piece {
        double to;
        BlockStretch stretch;
    };
    std::vector<Piece> prove(TimeSpan const& span) const {
        std::vector<Piece> pieces;
        split(span, look_at(span), pieces);
        return pieces;
    }

private:
    using T = Taylor<Interval, N + 1>;
    using Rate = Taylor<Interval, 1>;

    void split(TimeSpan const& span, BlockStretch const& whole, std::vector<Piece>& pieces) const {
        double const middle = span.middle();
        if ((whole.proven && worst(whole) <= 0.5) || span.to - span.from < 2 * options_.shortest) {
            pieces.push_back({span.to, whole});
            return;
        }
        TimeSpan const first{span.from, middle}, second{middle, span.to};
        auto const a = look_at(first), b = look_at(second);
        bool const helps = !whole.proven || worst(a) < 0.9 * worst(whole) || worst(b) < 0.9 * worst(whole);
        if (!helps) {
            pieces.push_back({span.to, whole});
            return;
        }
        auto const before = pieces.size();
        split(first, a, pieces);
        split(second, b, pieces);
        // What is open everywhere is one stretch.
        bool any = false;
        for (std::size_t i = before; i < pieces.size(); ++i)
            any = any || pieces[i].stretch.proven;
        if (!any) {
            pieces.resize(before);
            pieces.push_back({span.to, whole});
        }
    }

    /// The bound of the longest block as a share of what is good enough.
    double worst(BlockStretch const& s) const {
        double const power = std::pow(half_, N + 1);
        double most = 0;
        for (std::size_t i = 0; i < 3; ++i)
            most = std::max(most, (s.remainder[i] * power + s.rounding[0][i]) /
                                      (i == 2 ? options_.focus_tolerance : options_.mirror_tolerance));
        return s.proven ? most : std::numeric_limits<double>::infinity();
    }

    FlangeCubic<Interval> box_over(Interval const& seam_times) const {
        auto const values =
            nominal_.components(running<3>(seam_times + Interval(box_.program_start), box_.program_rate));
        FlangeCubic<Interval> r;
        double factorial = 1;
        for (std::size_t k = 0; k < 4; ++k) {
            factorial *= k == 0 ? 1 : static_cast<double>(k);
            for (std::size_t d = 0; d < 7; ++d)
                r.coefficient[k][d] = values[d].coefficient[k] +
                                      Interval::about(0, (d < 3 ? box_.place[k] : box_.turn[k])) / factorial;
        }
        return r;
    }

    [[gnu::noinline]] BlockStretch look_at(TimeSpan const& span) const {
        Interval const times(span.from, span.to);
        BlockStretch r{};
        auto const flange = box_over(times);
        r.box = FlangeBox(flange);
        auto const seam_time = running<N + 1>(times, box_.seam_rate);
        auto const robot_time = running<N + 1>(times + box_.start, box_.robot_rate);
        auto const target = target_of(chain_, seam_, seam_time, robot_time, flange.template pose<N + 1>());
        auto const command = chain_.head.aim(target, seam_.focus_offset).command;
        r.proven = reached(target, command);
        auto const axes = axes_of(command);
        for (std::size_t i = 0; i < 3; ++i) {
            r.remainder[i] = number_cast<T>(axes[i]).coefficient[N + 1].magnitude();
            for (int j = 0; j < 2; ++j)
                r.steep[static_cast<std::size_t>(j)][i] =
                    number_cast<T>(axes[i]).coefficient[j + 2].magnitude() * falling(j + 2, j + 2);
            r.proven = r.proven && is_finite(r.remainder[i] + r.steep[0][i] + r.steep[1][i]);
        }
        look_at_rates(times, flange, r);
        look_at_rounding(span.middle(), flange, r);
        return r;
    }

    /// In reach for all of the values.
    template <class Target, class Told> bool reached(Target const& target, Told const& command) const {
        Point<Head, Interval> const p{values_of(target.x), values_of(target.y), values_of(target.z)};
        Command<Interval> const c{values_of(command.x_mirror), values_of(command.y_mirror),
                                  values_of(command.focus)};
        auto const clear = chain_.head.clearance(p, c);
        bool all = clear.in_front.low > 0 && clear.solved.low > 0;
        for (auto const& x : {clear.x_mirror, clear.y_mirror, clear.focus, clear.field, clear.aperture})
            all = all && x.low >= 0;
        return all;
    }

    [[gnu::noinline]] void look_at_rates(Interval const& times, FlangeCubic<Interval> const& flange,
                                         BlockStretch& r) const {
        auto const fixed = running<1>(times, 0), robot_fixed = running<1>(times + box_.start, 0);
        auto still = flange;
        for (std::size_t k = 1; k < 4; ++k)
            still.coefficient[k].fill(0);
        auto const rate = [&](Rate const& seam_time, Rate const& robot_time, auto const& moves) {
            auto const target = target_of(chain_, seam_, seam_time, robot_time, moves.template pose<1>());
            auto const axes = axes_of(chain_.head.aim(target, seam_.focus_offset).command);
            std::array<double, 3> most{};
            for (std::size_t i = 0; i < 3; ++i)
                most[i] = number_cast<Rate>(axes[i]).coefficient[1].magnitude();
            return most;
        };
        r.by_seam = rate(running<1>(times, box_.seam_rate), robot_fixed, still);
        r.by_robot = rate(fixed, running<1>(times + box_.start, box_.robot_rate), flange);
        for (std::size_t i = 0; i < 3; ++i)
            r.proven = r.proven && is_finite(r.by_seam[i]) && is_finite(r.by_robot[i]);
    }

    /// Rounding, from thin intervals in the middle of the stretch and of the box: their width holds the
    /// rounding of every operation there, for the block and for the chain; four times that is taken for the
    /// rest of the stretch. What the block leaves out of the rotation counts too. An inversion that stops at
    /// a distance from the point is a rounding of the point.
    [[gnu::noinline]] void look_at_rounding(double time, FlangeCubic<Interval> const& flange,
                                            BlockStretch& r) const {
        FlangeCubic<Interval> thin;
        for (std::size_t k = 0; k < 4; ++k) {
            double most = 0;
            for (auto const& x : flange.coefficient[k])
                most = std::max(most, x.magnitude());
            for (std::size_t d = 0; d < 7; ++d)
                thin.coefficient[k][d] = Interval::about(flange.coefficient[k][d].middle(), most * 0x1p-49);
        }
        auto pose = thin.template pose<N + 1>();
        auto const anywhere = flange.template pose<N + 1>();
        for (int i = 0; i < 3; ++i)
            for (int j = 0; j < 3; ++j)
                for (int k = turn_order<N> + 1; k <= N + 1; ++k)
                    pose.rotation.m[i][j].coefficient[k] =
                        hull(Interval(0), anywhere.rotation.m[i][j].coefficient[k]);
        double const start = box_.start.middle(); // 0 where it is not known
        auto target = target_of(chain_, seam_, running<N + 1>(time, box_.seam_rate.middle()),
                                running<N + 1>(time + start, box_.robot_rate.middle()), pose);
        auto const radii = [&](auto const& point, double times_over) {
            auto const axes = axes_of(chain_.head.aim(point, seam_.focus_offset).command);
            for (std::size_t i = 0; i < 3; ++i) {
                auto const x = number_cast<T>(axes[i]);
                for (int j = 0; j < 3; ++j) {
                    // The chain at a tick, in doubles.
                    double off = falling(j, j) * x.coefficient[j].radius();
                    // The block: its coefficients and Horner's steps.
                    double power = 1;
                    for (int k = j; k <= N; ++k) {
                        auto const& c = x.coefficient[k];
                        off += falling(k, j) * power * (c.radius() + 2 * N * 0x1p-53 * c.magnitude());
                        power *= half_;
                    }
                    r.rounding[static_cast<std::size_t>(j)][i] += times_over * off;
                }
            }
        };
        radii(target, 4);
        if (slack_ > 0) {
            Interval const off = Interval::about(0, slack_);
            target.x = target.x + off;
            target.y = target.y + off;
            target.z = target.z + off;
            radii(target, 1);
        }
        for (auto const& row : r.rounding)
            for (double const x : row)
                r.proven = r.proven && is_finite(x);
    }

    /// k! / (k − j)!
    static constexpr double falling(int k, int j) {
        double f = 1;
        for (int i = k - j + 1; i <= k; ++i)
            f *= i;
        return f;
    }

    AnyChain const& chain_;
    AnyOrSeam const& seam_;
    Nominal const& nominal_;
    ForecastBox const& box_;
    BlockOptions const& options_;
    double half_;
    double slack_;
};

} // namespace detail

} // namespace seamhold

#endif
