#ifndef SEAMHOLD_LIMIT_SEAM_PROVER_HPP
#define SEAMHOLD_LIMIT_SEAM_PROVER_HPP

#include "seamhold/limit/enclose_check.hpp"
#include "seamhold/limit/heating.hpp"
#include "seamhold/limit/seam_proof.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <memory>
#include <utility>
#include <vector>

namespace seamhold {

namespace detail {

/// Encloses and splits until every limit of one seam is decided.
template <class AnyJob, class Scheduled> class SeamProver {
public:
    SeamProver(AnyJob const& job, Scheduled const& scheduled, ProofOptions const& options)
        : job_(job), scheduled_(scheduled), options_(options) {
        proof_.name = scheduled.name;
        proof_.start = scheduled.start;
        proof_.duration = scheduled.seam.duration();
        proof_.length = scheduled.seam.length();
        proof_.box = options.change.box;
        proof_.checks = checks_of(job, scheduled);
        wanted_ = wanted_by(proof_.checks);
        best_.assign(proof_.checks.size(), {});
        motion_breaks_ = job.chain.breaks();
    }

    SeamProof prove() {
        need_rounding_to_nearest();
        auto const times = breaks();
        for (std::size_t i = 0; i + 1 < times.size(); ++i)
            look_at({times[i], times[i + 1]}, nullptr);
        if (options_.everywhere)
            for (auto& leaf : leaves_)
                refine(leaf);
        split_until_decided();
        settle_means();
        look_at_jumps();
        finish();
        return std::move(proof_);
    }

private:
    static constexpr int order = 6;
    using T = Taylor<Interval, order>;

    struct Leaf {
        ProvenStretch stretch;
        std::vector<double> high; ///< of each check
        int stalled = 0;          ///< how often splitting did not help
        bool reached = true;      ///< known to be in front of the head, with a command, and backed by data
        std::shared_ptr<Demand<T> const>
            over; ///< what plain interval arithmetic says, where no more is known
    };

    /// Where anything may break, from 0 to the duration, no two further apart than a reasonable start.
    std::vector<double> breaks() const {
        double const duration = proof_.duration;
        auto inner = seam_breaks(scheduled_);
        // The motions' own times, mapped back; where they are changed over a range, stretches cross them.
        auto const& change = options_.change;
        double const speed = change.speed.middle();
        for (double const t : motion_breaks_)
            inner.push_back(duration / 2 +
                            (t - scheduled_.start - change.start.middle() - duration / 2) / speed);
        return stretch_ends(std::move(inner), duration, longest_stretch(scheduled_, 0.02));
    }

    Demand<T> demand(Interval const& seam_time) const {
        auto const t = T::variable(seam_time);
        auto const& c = options_.change;
        bool const as_given = !c.box.any() && c.start.low == 0 && c.start.high == 0 && c.speed.low == 1 &&
                              c.speed.high == 1 && c.standoff.low == 0 && c.standoff.high == 0 &&
                              c.tilt_x.low == 0 && c.tilt_x.high == 0 && c.tilt_y.low == 0 &&
                              c.tilt_y.high == 0;
        return as_given ? demand_of(job_, scheduled_, t, wanted_)
                        : demand_of(job_, scheduled_, t, wanted_, c);
    }

    bool open(std::size_t check, double high) const {
        double const low = best_[check].low;
        return high > low + options_.tolerance || (high > 1 + equal_share && !(low > 1 + equal_share));
    }
    /// Whether a smaller bound is worth having.
    bool helps(std::size_t check, double before, double high) const {
        return open(check, before) && before - high > 0.02 * (before - best_[check].low);
    }
    bool open(Leaf const& leaf) const {
        if (!leaf.reached)
            return true;
        for (std::size_t c = 0; c < leaf.high.size(); ++c)
            if (open(c, leaf.high[c]))
                return true;
        return false;
    }

    /// A new leaf, known by plain interval arithmetic.
    void look_at(TimeSpan const& span, Leaf const* parent) {
        ++proof_.looked_at;
        Leaf leaf;
        leaf.stretch.time = span;
        leaf.stalled = parent == nullptr ? 0 : parent->stalled;
        leaf.over = std::make_shared<Demand<T> const>(demand(Interval(span.from, span.to)));
        auto const& over = *leaf.over;
        leaf.reached = has_data_throughout(job_.chain, motion_breaks_,
                                           options_.change.time(proof_.start, proof_.duration,
                                                                Interval(span.from, span.to))) &&
                       over[Measure::in_front].coefficient[0].low > 0 &&
                       over[Measure::solved].coefficient[0].low > 0;
        if (!leaf.reached)
            note_status(span.middle());
        auto const& checks = proof_.checks;
        bool const full = welds_over(scheduled_, span);
        leaf.high.assign(checks.size(), 0);
        leaf.stretch.utilisation.assign(checks.size(), Interval(0));
        for (std::size_t c = 0; c < checks.size(); ++c) {
            auto const& check = checks[c];
            if (check.welds && !full)
                continue;
            auto const use = check.utilisation(check.read(over[check.measure].derivative(check.derivative)));
            leaf.stretch.utilisation[c] = use;
            leaf.high[c] = parent == nullptr ? use.high : std::min(use.high, parent->high[c]);
            if (parent != nullptr && helps(c, parent->high[c], leaf.high[c]))
                leaf.stalled = 0;
        }
        auto const natural = [](T const& x) {
            return Enclosure<4>{{}, std::numeric_limits<double>::infinity(), x.derivative(2)};
        };
        leaf.stretch.x_acceleration = natural(over[Measure::x]);
        leaf.stretch.y_acceleration = natural(over[Measure::y]);
        leaves_.push_back(std::move(leaf));
    }

    /// The same leaf, known by its Taylor expansion too.
    void refine(Leaf& leaf) {
        auto const& checks = proof_.checks;
        auto const& span = leaf.stretch.time;
        auto const over = std::move(leaf.over);
        auto const middle = demand(Interval(span.middle()));
        bool const full = welds_over(scheduled_, span);
        bool helped = false;
        for (std::size_t c = 0; c < checks.size(); ++c) {
            auto const& check = checks[c];
            if (check.welds && !full)
                continue;
            auto const f = checked_over(check, middle[check.measure], (*over)[check.measure], span,
                                        options_.tolerance, best_[c]);
            double const before = leaf.high[c];
            leaf.high[c] = std::min(f.high, before);
            leaf.stretch.utilisation[c] = f.all;
            helped = helped || helps(c, before, leaf.high[c]);
        }
        leaf.stalled = helped ? 0 : leaf.stalled + 1;
        leaf.stretch.x_acceleration = enclosed<2>(middle[Measure::x], (*over)[Measure::x], span);
        leaf.stretch.y_acceleration = enclosed<2>(middle[Measure::y], (*over)[Measure::y], span);
    }

    /// Splits the leaves that leave something open, the worst first, until none does or the budget is spent.
    void split_until_decided() {
        std::vector<Leaf> waiting = std::move(leaves_), done;
        leaves_.clear();
        auto const urgency = [&](Leaf const& leaf) {
            double most = leaf.reached ? 0 : 1e9;
            for (std::size_t c = 0; c < leaf.high.size(); ++c)
                most = std::max(most, std::min(leaf.high[c] - best_[c].low, 1e8));
            return most;
        };
        auto const less = [](auto const& a, auto const& b) { return a.first < b.first; };
        std::vector<std::pair<double, Leaf>> heap;
        heap.reserve(waiting.size());
        for (auto& leaf : waiting)
            heap.emplace_back(urgency(leaf), std::move(leaf));
        std::make_heap(heap.begin(), heap.end(), less);
        while (!heap.empty()) {
            std::pop_heap(heap.begin(), heap.end(), less);
            Leaf leaf = std::move(heap.back().second);
            heap.pop_back();
            auto const span = leaf.stretch.time;
            double const middle = span.middle();
            if (open(leaf) && leaf.over != nullptr) {
                refine(leaf);
                heap.emplace_back(urgency(leaf), std::move(leaf));
                std::push_heap(heap.begin(), heap.end(), less);
                continue;
            }
            if (!open(leaf) || leaf.stalled > 4 || proof_.looked_at >= options_.budget ||
                !(middle - span.from > 1e-9)) {
                done.push_back(std::move(leaf));
                continue;
            }
            look_at({span.from, middle}, &leaf);
            look_at({middle, span.to}, &leaf);
            for (auto& half : leaves_) {
                heap.emplace_back(urgency(half), std::move(half));
                std::push_heap(heap.begin(), heap.end(), less);
            }
            leaves_.clear();
        }
        leaves_ = std::move(done);
        std::sort(leaves_.begin(), leaves_.end(),
                  [](Leaf const& a, Leaf const& b) { return a.stretch.time.from < b.stretch.time.from; });
    }

    /// Splits further until the largest RMS accelerations are known to the tolerance.
    void settle_means() {
        double const allowed = job_.dynamics.mirror_rms_acceleration;
        if (!is_finite(allowed) || leaves_.empty())
            return;
        for (int round = 0; round < 16; ++round) {
            bool settled = true;
            for (std::size_t i = 0; i < 2; ++i) {
                auto const acceleration =
                    i == 0 ? &ProvenStretch::x_acceleration : &ProvenStretch::y_acceleration;
                // Steps as short as the tolerance needs them.
                double share = 0.25;
                do {
                    means_[i] = mean_of(acceleration, share);
                    share /= 4;
                } while (!is_settled(means_[i], allowed) && share > options_.tolerance / 16);
                settled = settled && is_settled(means_[i], allowed);
            }
            if (settled || proof_.looked_at >= options_.budget)
                return;
            // The stretches that leave more open than their share of the time.
            auto const open_of = [](Leaf const& leaf) {
                auto const& t = leaf.stretch;
                auto const x = t.x_acceleration.integral_of_square(),
                           y = t.y_acceleration.integral_of_square();
                return std::max(x.high - x.low, y.high - y.low);
            };
            double all = 0;
            for (auto const& leaf : leaves_)
                all += open_of(leaf) * (leaf.stretch.time.to - leaf.stretch.time.from);
            std::vector<Leaf> before = std::move(leaves_);
            leaves_.clear();
            bool split = false;
            for (auto& leaf : before) {
                auto const time = leaf.stretch.time;
                bool const much = open_of(leaf) * proof_.duration > 0.5 * all;
                if (much && leaf.over == nullptr && time.to - time.from > 1e-7) {
                    split = true;
                    look_at({time.from, time.middle()}, &leaf);
                    look_at({time.middle(), time.to}, &leaf);
                    refine(leaves_.end()[-2]);
                    refine(leaves_.back());
                } else {
                    if (much && leaf.over != nullptr) {
                        split = true;
                        refine(leaf);
                    }
                    leaves_.push_back(std::move(leaf));
                }
            }
            if (!split)
                return;
        }
    }

    bool is_settled(LargestMean const& mean, double allowed) const {
        Interval const use = mean.root / Interval(allowed);
        return use.high - use.low <= options_.tolerance &&
               (use.high <= 1 + equal_share || use.low > 1 + equal_share);
    }

    /// By steps of at most a share of the window.
    LargestMean mean_of(Enclosure<4> ProvenStretch::*acceleration, double share) const {
        double const window = job_.dynamics.rms_window;
        bool const slides = window > 0 && window < proof_.duration;
        std::vector<SquareStep> steps;
        for (auto const& leaf : leaves_)
            add_square_steps(steps, leaf.stretch.*acceleration, leaf.stretch.time,
                             slides ? window * share : proof_.duration);
        return largest_mean(steps, window);
    }

    /// Whether the motions have data all over a span: it has no row of a recording inside, unless the box or
    /// the change lets its times wander.
    bool has_data(TimeSpan const& span) const {
        auto const& c = options_.change;
        auto const& chain = job_.chain;
        bool const wanders = c.box.delay != 0 || c.start.high != c.start.low || c.speed.high != c.speed.low;
        auto const all = c.time(proof_.start, proof_.duration, Interval(span.from, span.to));
        return chain.covers(motion_time(span.middle())) &&
               (!wanders || (chain.covers(all.low) && chain.covers(all.high)));
    }

    double motion_time(double seam_time) const {
        return options_.change.time(proof_.start, proof_.duration, Interval(seam_time)).middle();
    }

    void note_status(double seam_time) {
        if (unusable_)
            return;
        double const t = motion_time(seam_time);
        auto const status = job_.chain.follow(scheduled_.seam, seam_time, t).status;
        if (status > Status::out_of_reach) {
            unusable_ = true;
            unusable_time_ = seam_time;
        }
    }

    /// What a corner of the path, a jump of its curvature or of the travel's acceleration asks: the rate
    /// below a limited one jumps there, and the head, told tick by tick, must make up for it within a tick.
    /// Beside that a derivative that stays within its limit cannot change the one below by more (the mean
    /// value theorem), so that without a tick no jump is within. In a box, jumps are held against half of the
    /// limit.
    void look_at_jumps() {
        auto const& seam = scheduled_.seam;
        auto const& checks = proof_.checks;
        jumps_.assign(checks.size(), {});
        Change as_changed = options_.change;
        as_changed.box = {};
        double const tick = std::max(options_.tick, 2 * beside_break);
        double const in_box = options_.change.box.any() ? 2 : 1;
        for (double const t :
             seam.path.continuity() >= 2 && !seam.weave.moves() ? seam.travel.breaks() : seam.breaks()) {
            if (!(t > beside_break && t < proof_.duration - beside_break))
                continue;
            auto const at = [&](double time) {
                return demand_of(job_, scheduled_, T::variable(Interval(time)), wanted_, as_changed);
            };
            auto const before = at(t - beside_break), after = at(t + beside_break);
            for (std::size_t c = 0; c < checks.size(); ++c) {
                auto const& check = checks[c];
                if (check.derivative == 0 || check.bound != Bound::magnitude)
                    continue;
                int const below = check.derivative - 1;
                Interval const jump =
                    after[check.measure].derivative(below) - before[check.measure].derivative(below);
                Interval const use = check.utilisation(jump) / Interval(tick);
                jumps_[c].high = std::max(jumps_[c].high, use.high * in_box);
                if (use.low / in_box > jumps_[c].best.low)
                    jumps_[c].best = {use.low / in_box, t};
            }
        }
    }

    /// The rate by which a derivative rises over a jump, if spread over a tick; in doubles.
    double rate_of_jump(Check const& check, double time) const {
        auto const at = [&](double t) {
            return demand_of(job_, scheduled_, Taylor<double, 3>::variable(t), wanted_,
                             options_.change)[check.measure]
                .derivative(check.derivative - 1);
        };
        return (at(time + beside_break) - at(time - beside_break)) /
               std::max(options_.tick, 2 * beside_break);
    }

    void finish() {
        bool reached = true;
        for (auto const& leaf : leaves_)
            reached = reached && leaf.reached;
        if (!reached)
            proof_.limits.push_back({Limit::reach,
                                     unusable_ ? Verdict::exceeds : Verdict::undecided,
                                     {0, std::numeric_limits<double>::infinity()},
                                     0,
                                     0,
                                     motion_time(unusable_time_),
                                     scheduled_.seam.arc_length(unusable_time_)});
        for (std::size_t c = 0; c < proof_.checks.size(); ++c) {
            auto const& check = proof_.checks[c];
            double high = 0;
            for (auto const& leaf : leaves_)
                high = std::max(high, leaf.high[c]);
            bool const jumps = jumps_[c].best.low > best_[c].low;
            auto const& best = jumps ? jumps_[c].best : best_[c];
            high = std::max(high, jumps_[c].high);
            // The value in doubles, at the time that was found.
            auto const d =
                demand_of(job_, scheduled_, Taylor<double, 3>::variable(best.time), wanted_, options_.change);
            double const value = jumps ? rate_of_jump(check, best.time)
                                       : check.read(d[check.measure].derivative(check.derivative));
            auto verdict = verdict_of(Interval(std::min(best.low, high), high), reached);
            // A witness must hold in doubles too: for the sweep as it is changed, without the box.
            if (verdict == Verdict::exceeds && !(check.utilisation(value) > 1))
                verdict = Verdict::undecided;
            proof_.limits.push_back({check.limit, verdict,
                                     Interval(std::max(best.low, 0.0), std::max(high, 0.0)), value,
                                     check.allowed_for(value), motion_time(best.time),
                                     scheduled_.seam.arc_length(best.time), check.joint()});
        }
        double const allowed = job_.dynamics.mirror_rms_acceleration;
        if (is_finite(allowed))
            for (std::size_t i = 0; i < 2; ++i) {
                auto const& mean = means_[i];
                Interval const use = mean.root / Interval(allowed);
                double const time = std::min(mean.end_time, proof_.duration);
                proof_.limits.push_back({i == 0 ? Limit::x_rms_acceleration : Limit::y_rms_acceleration,
                                         verdict_of(use, reached), use, mean.root.middle(), allowed,
                                         motion_time(time), scheduled_.seam.arc_length(time)});
            }
        for (auto& leaf : leaves_)
            proof_.stretches.push_back(std::move(leaf.stretch));
    }

    static Verdict verdict_of(Interval const& use, bool reached) {
        return use.high <= 1 + equal_share && reached ? Verdict::within
               : use.low > 1 + equal_share            ? Verdict::exceeds
                                                      : Verdict::undecided;
    }

    /// So far to either side of a break, s, a jump is looked at.
    static constexpr double beside_break = 1e-9;

    /// What is known of a check at breaks.
    struct Jump {
        double high = 0;
        Best best = {};
    };

    AnyJob const& job_;
    Scheduled const& scheduled_;
    ProofOptions const& options_;
    SeamProof proof_{};
    Wanted wanted_;
    std::vector<Best> best_;  ///< by check
    std::vector<Jump> jumps_; ///< by check
    std::vector<Leaf> leaves_;
    std::vector<double> motion_breaks_; ///< s of the robot's clock
    std::array<LargestMean, 2> means_{};
    bool unusable_ = false;
    double unusable_time_ = 0;
};

} // namespace detail

} // namespace seamhold

#endif
