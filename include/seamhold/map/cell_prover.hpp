#ifndef SEAMHOLD_MAP_CELL_PROVER_HPP
#define SEAMHOLD_MAP_CELL_PROVER_HPP

#include "seamhold/limit/enclose_check.hpp"
#include "seamhold/map/margin_question.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// What is proven of all candidates in a cell of a design space.
enum class CellVerdict : std::uint8_t {
    within,   ///< every candidate keeps every limit at every moment
    exceeds,  ///< no candidate does
    mixed,    ///< some do and some do not
    undecided ///< not known within the budget: treated as `exceeds`
};

/// A verdict in words.
constexpr char const* to_string(CellVerdict verdict) {
    constexpr char const* words[] = {"within", "exceeds", "mixed", "undecided"};
    return words[static_cast<std::size_t>(verdict)];
}

/// How cells are proven.
struct CellProofOptions {
    std::size_t budget = 4000;       ///< of stretches of time looked at in one part of a cell
    int splits = 4;                  ///< how often a cell may be halved where it is not decided as a whole
    std::size_t corner_samples = 20; ///< points a seam at which a cell's corners are looked at first
};

namespace detail {

/// What is known of a cell.
struct CellProof {
    CellVerdict verdict;
    double use; ///< within: at most so much of any limit is used; exceeds: at least so much of one; otherwise
                ///< what could not be shown to be less
    Limit limit;
    std::size_t seam; ///< its number, from 1
    std::size_t looked_at;
};

/// Proves set-ups for all values in a box at once. Whatever is asked is enclosed twice: by plain intervals,
/// and by the mean value theorem, f(p) ∈ f(c) + Σ ∂f/∂p_j(box)·(p_j − c_j), the same formulas over gradients
/// of intervals; the truth lies in both. The second is far narrower where a value enters more than once, as a
/// sweep speed does that also sets when a seam starts. Source: R. Moore, R. Kearfott, M. Cloud,
/// "Introduction to Interval Analysis", SIAM 2009, chapter 6 (from memory).
template <class Maker> class CellProver {
public:
    using Box = std::vector<Interval>;

    /// `axis_of` says which axis each number of a box belongs to.
    CellProver(Maker const& maker, std::vector<std::size_t> const& axis_of, SetUpValues<double> values,
               CellProofOptions const& options)
        : maker_(maker), axis_of_(axis_of), values_(std::move(values)), options_(options) {}

    CellProof prove(Box const& box, int splits) {
        Part part(*this, box);
        auto proof = part.prove();
        if (proof.verdict != CellVerdict::undecided || splits == 0)
            return proof;
        auto halves = std::pair{box, box};
        std::size_t const widest = part.widest();
        double const middle = box[widest].middle();
        halves.first[widest] = {box[widest].low, middle};
        halves.second[widest] = {middle, box[widest].high};
        auto const first = prove(halves.first, splits - 1), second = prove(halves.second, splits - 1);
        CellProof both = first.use >= second.use ? first : second;
        both.looked_at = proof.looked_at + first.looked_at + second.looked_at;
        using V = CellVerdict;
        auto const either_is = [&](V v) { return first.verdict == v || second.verdict == v; };
        if (first.verdict == second.verdict) {
            both.verdict = first.verdict;
            if (both.verdict == V::exceeds)
                both.use = std::min(first.use, second.use);
        } else if (either_is(V::mixed) || (either_is(V::within) && either_is(V::exceeds))) {
            both.verdict = V::mixed;
        } else {
            both.verdict = V::undecided;
        }
        return both;
    }

private:
    static constexpr int order = 4;
    using G = Gradient<Interval, 1>; // by one number of the box after the other: far quicker to compile than
                                     // all at once
    using T = Taylor<Interval, order>;

    template <class S, class Number> SetUpValues<S> values(Number const& number) const {
        SetUpValues<S> x{{}, values_.choices};
        for (double const v : values_.value)
            x.value.push_back(number_cast<S>(v));
        for (std::size_t j = 0; j < axis_of_.size(); ++j)
            x.value[axis_of_[j]] = number(j);
        return x;
    }

    /// One box of values.
    class Part {
    public:
        Part(CellProver const& prover, Box const& box)
            : options_(prover.options_), thin_(prover.maker_(prover.template values<Interval>(
                                             [&](std::size_t j) { return Interval(box[j].middle()); }))),
              blame_(box.size()) {
            for (std::size_t by = 0; by < box.size(); ++by) {
                wide_.push_back(prover.maker_(prover.template values<G>([&](std::size_t j) {
                    G x(box[j]);
                    x.partial[0] = Interval(j == by ? 1.0 : 0.0);
                    return x;
                })));
                off_.push_back(box[by] - Interval(box[by].middle()));
            }
        }

        CellProof prove() {
            for (std::size_t i = 0; i < thin_.seams.size() && !exceeds_; ++i)
                look_at_seam(i);
            proof_.verdict = exceeds_ ? CellVerdict::exceeds
                             : open_  ? CellVerdict::undecided
                                      : CellVerdict::within;
            return proof_;
        }

        /// The number of the box that leaves most open.
        std::size_t widest() const {
            return static_cast<std::size_t>(std::max_element(blame_.begin(), blame_.end()) - blame_.begin());
        }

    private:
        struct Stretch {
            TimeSpan span;
            std::vector<bool> open; ///< by check; the last says whether reach is
        };

        /// What lies in both enclosures; `over_box(j)` is over the box, with its derivative by number j.
        template <class OverBox> Interval common(Interval const& at_middle, OverBox const& over_box) const {
            Interval by_mean = at_middle;
            for (std::size_t j = 0; j < off_.size(); ++j)
                by_mean = by_mean + over_box(j).partial[0] * off_[j];
            return intersection(by_mean, over_box(0).value);
        }
        static Interval intersection(Interval const& a, Interval const& b) {
            if (!is_finite(a) || !is_finite(b))
                return is_finite(a) ? a : b;
            return {greater(a.low, b.low), lesser(a.high, b.high)};
        }

        struct Demanded {
            Demand<T> common;
            std::vector<Demand<Taylor<G, order>>> wide; ///< by number of the box
        };

        Demanded demanded(std::size_t seam, Interval const& time, Wanted const& wanted) {
            ++proof_.looked_at;
            auto const thin = demand_of(thin_, thin_.seams[seam], T::variable(time), wanted);
            Demanded d;
            for (auto const& set_up : wide_)
                d.wide.push_back(
                    demand_of(set_up, set_up.seams[seam], Taylor<G, order>::variable(G(time)), wanted));
            for (std::size_t m = 0; m < measure_count; ++m)
                for (int k = 0; k <= order; ++k)
                    d.common.measures[m].coefficient[k] =
                        common(thin.measures[m].coefficient[k], [&](std::size_t j) -> G const& {
                            return d.wide[j].measures[m].coefficient[k];
                        });
            return d;
        }

        void look_at_seam(std::size_t number) {
            auto const& scheduled = thin_.seams[number];
            auto const checks = checks_of(thin_, scheduled);
            std::vector<double> breaks; // of the power alone: seams that have others are refused
            if (auto const& power = scheduled.seam.power)
                breaks = {power->ramps().rise, scheduled.seam.duration() - power->ramps().fall};
            auto const ends =
                stretch_ends(std::move(breaks), scheduled.seam.duration(), longest_stretch(scheduled, 0.05));
            std::vector<Stretch> waiting;
            for (std::size_t i = 0; i + 1 < ends.size(); ++i)
                waiting.push_back({{ends[i], ends[i + 1]}, std::vector<bool>(checks.size() + 1, true)});
            Interval x_squares(0.0), y_squares(0.0);
            bool const rms = is_finite(thin_.dynamics.mirror_rms_acceleration);
            while (!waiting.empty() && !exceeds_) {
                auto stretch = std::move(waiting.back());
                waiting.pop_back();
                if (proof_.looked_at > options_.budget) {
                    open_ = true;
                    return;
                }
                if (look_at(number, checks, stretch, rms ? &x_squares : nullptr, &y_squares))
                    continue;
                if (exceeds_ || open_)
                    return;
                double const middle = stretch.span.middle();
                waiting.push_back({{middle, stretch.span.to}, stretch.open});
                waiting.push_back({{stretch.span.from, middle}, std::move(stretch.open)});
            }
            if (exceeds_)
                return;
            if (rms)
                for (auto const& [squares, limit] : {std::pair{x_squares, Limit::x_rms_acceleration},
                                                     std::pair{y_squares, Limit::y_rms_acceleration}})
                    decide(sqrt(squares / Interval(scheduled.seam.duration())) /
                               Interval(thin_.dynamics.mirror_rms_acceleration),
                           limit, number);
            if (number > 0 && !exceeds_)
                look_at_air_move(number);
        }

        /// What is used of a limit that belongs to no instant.
        void decide(Interval const& use, Limit limit, std::size_t seam) {
            if (use.low > 1 + equal_share)
                exceed(use.low, limit, seam);
            else
                note(use.high, limit, seam);
            if (!(use.high <= 1 + equal_share))
                open_ = true;
        }

        /// Whether all is decided over a stretch; otherwise its time is to be halved, unless the box is what
        /// leaves it open.
        bool look_at(std::size_t number, std::vector<Check> const& checks, Stretch& stretch,
                     Interval* x_squares, Interval* y_squares) {
            auto const& scheduled = thin_.seams[number];
            auto const& span = stretch.span;
            Wanted wanted;
            for (std::size_t c = 0; c < checks.size(); ++c)
                if (stretch.open[c])
                    wanted[checks[c].measure] = true;
            auto const over = demanded(number, Interval(span.from, span.to), wanted);
            auto const middle = demanded(number, Interval(span.middle()), wanted);
            bool const welds = welds_over(scheduled, span);
            bool done = true, by_value = false;
            auto const& in_front = over.common[Measure::in_front].coefficient[0];
            auto const& solved = over.common[Measure::solved].coefficient[0];
            if (in_front.high <= 0) {
                exceed(hopeless, Limit::reach, number);
                return false;
            }
            if (stretch.open.back()) {
                stretch.open.back() = !(in_front.low > 0 && solved.low > 0);
                if (stretch.open.back()) {
                    done = false;
                    blame([&](std::size_t j) -> G const& {
                        return middle.wide[j][Measure::in_front].coefficient[0];
                    });
                    by_value = !(span.to - span.from > 1e-4);
                }
            }
            double worst = 0;
            for (std::size_t c = 0; c < checks.size(); ++c) {
                auto const& check = checks[c];
                if (!stretch.open[c])
                    continue;
                if (check.welds && !welds) {
                    stretch.open[c] = false;
                    continue;
                }
                Best best;
                auto const& m = middle.common[check.measure];
                auto const found = checked_over(check, m, over.common[check.measure], span,
                                                std::numeric_limits<double>::infinity(), best);
                if (best.low > 1 + equal_share) {
                    exceed(best.low, check.limit, number);
                    return false;
                }
                if (found.high <= 1 + equal_share) {
                    note(found.high, check.limit, number);
                    stretch.open[c] = false;
                    continue;
                }
                done = false;
                if (found.high > worst) {
                    worst = found.high;
                    // What is not known even at one instant comes from the box.
                    auto const at_once = check.utilisation(check.read(m.derivative(check.derivative)));
                    by_value = !(at_once.high - at_once.low < 0.5 * (found.all.high - found.all.low)) ||
                               !(span.to - span.from > 1e-5);
                    note(found.high, check.limit, number);
                    blame([&](std::size_t j) -> G const& {
                        return middle.wide[j][check.measure].coefficient[check.derivative];
                    });
                }
            }
            if (!done && by_value)
                open_ = true;
            if (done && x_squares != nullptr) {
                // The mean is taken over stretches that are enclosed anyway.
                Wanted axes;
                axes[Measure::x] = axes[Measure::y] = true;
                auto const a = demanded(number, Interval(span.from, span.to), axes);
                auto const b = demanded(number, Interval(span.middle()), axes);
                auto const square = [&](Measure m) {
                    return enclosed<2>(b.common[m], a.common[m], span).integral_of_square() *
                           Interval(span.half_width());
                };
                *x_squares = *x_squares + square(Measure::x);
                *y_squares = *y_squares + square(Measure::y);
            }
            return done;
        }

        /// The time since the seam before against the least in which the mirrors turn between the two.
        void look_at_air_move(std::size_t number) {
            auto const thin = air_move_of<Interval>(thin_, number);
            std::vector<AirMoveTimes<G>> wide;
            for (auto const& set_up : wide_)
                wide.push_back(air_move_of<G>(set_up, number));
            Interval const gap = common(thin.gap, [&](std::size_t j) -> G const& { return wide[j].gap; });
            Interval const needed =
                common(thin.needed, [&](std::size_t j) -> G const& { return wide[j].needed; });
            if (gap.high <= 0) {
                exceed(hopeless, Limit::air_move, number);
                return;
            }
            bool const before = open_;
            if (gap.low > 0)
                decide(needed / gap, Limit::air_move, number);
            else
                open_ = true;
            if (open_ && !before)
                blame([&](std::size_t j) -> G const& { return wide[j].gap; });
        }

        template <class S> struct AirMoveTimes { S gap, needed; };
        template <class S, class SetUpType>
        static AirMoveTimes<S> air_move_of(SetUpType const& set_up, std::size_t number) {
            auto const& before = set_up.seams[number - 1];
            auto const& seam = set_up.seams[number];
            auto const& d = set_up.dynamics;
            auto const at = [&](auto const& scheduled, double seam_time) {
                auto const target = set_up.chain.in_head(
                    scheduled.seam.at(number_cast<S>(seam_time)).position, S(scheduled.start + seam_time));
                return set_up.chain.head.command(target, scheduled.seam.focus_offset);
            };
            auto const from = at(before, before.seam.duration()), to = at(seam, 0.0);
            S const x =
                least_turn_time_of(S(to.x_mirror - from.x_mirror), d.mirror_velocity, d.mirror_acceleration);
            S const y =
                least_turn_time_of(S(to.y_mirror - from.y_mirror), d.mirror_velocity, d.mirror_acceleration);
            return {S(seam.start - before.end()), S(select(x > y, x, y) + d.settling)};
        }

        void exceed(double use, Limit limit, std::size_t seam) {
            exceeds_ = true;
            proof_.use = use;
            proof_.limit = limit;
            proof_.seam = seam + 1;
        }
        void note(double use, Limit limit, std::size_t seam) {
            if (use > proof_.use) {
                proof_.use = use;
                proof_.limit = limit;
                proof_.seam = seam + 1;
            }
        }
        /// The numbers of the box whose width leaves something open, by its derivatives.
        template <class OverBox> void blame(OverBox const& over_box) {
            for (std::size_t j = 0; j < off_.size(); ++j) {
                double const width = over_box(j).partial[0].magnitude() * off_[j].magnitude();
                blame_[j] += is_finite(width) ? width : 1e9 * off_[j].magnitude();
            }
        }

        CellProofOptions const& options_;
        decltype(std::declval<Maker const&>()(std::declval<SetUpValues<Interval> const&>())) thin_;
        std::vector<decltype(std::declval<Maker const&>()(std::declval<SetUpValues<G> const&>()))> wide_;
        std::vector<Interval> off_; ///< of each number from its middle
        std::vector<double> blame_;
        CellProof proof_{CellVerdict::undecided, 0, Limit::reach, 0, 0};
        bool exceeds_ = false;
        bool open_ = false;
    };

    Maker const& maker_;
    std::vector<std::size_t> const& axis_of_;
    SetUpValues<double> values_;
    CellProofOptions const& options_;
};

} // namespace detail

} // namespace seamhold

#endif
