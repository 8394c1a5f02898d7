#ifndef SEAMHOLD_CALIBRATE_CLOCK_MATCH_HPP
#define SEAMHOLD_CALIBRATE_CLOCK_MATCH_HPP

#include "seamhold/calibrate/correlated_rows.hpp"
#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/pose_scatter.hpp"
#include "seamhold/live/clock_map.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/least_squares.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace seamhold {

/// How two logs of one motion, each stamped by its own clock, are laid over each other.
struct ClockMatchOptions {
    Bounds search = {-0.1, 0.1}; ///< between these the robot's clock less the scanner's is looked for, s
    bool rate = true;            ///< whether the clocks may run at different rates
    bool gains = false;          ///< whether recorded values may be larger or smaller than predicted ones by
                                 ///< a factor of their own, as from a mount that is known roughly
};

/// How two clocks stand to each other as two logs of one motion tell it.
struct ClockMatch {
    ScannerTime scanner; ///< the middle of the samples, where offset and rate do not depend on each other
    Estimate offset;     ///< what the robot's clock shows less what the scanner's shows at that moment, s
    Estimate rate;       ///< seconds of the robot's clock a second of the scanner's, less 1
    std::vector<Estimate> zero; ///< recorded less predicted, a constant for each channel, in its unit
    std::vector<Estimate> gain; ///< recorded by predicted, for each channel; 1 where not asked for
    double motion;              ///< root mean square of what is predicted about its mean
    double residual;          ///< of what remains, per sample and channel; with `motion` the signal and noise
    double autocorrelation;   ///< of the residuals of samples that follow each other, −1 to 1
    std::size_t samples;      ///< that counted
    double effective_samples; ///< independent ones that would give as sure an offset
    std::vector<bool> outlier; ///< samples that lie apart and did not count

    /// What the robot's clock shows, as the live loop takes it, where the logs tell how the clocks themselves
    /// stand (see `clock_from_wiggle` for when they do not). A rate that is not told from none counts as
    /// none: it would be carried on for hours.
    ClockMap map() const {
        bool const told = !rate.bounds(0.999).contains(0);
        return {scanner, {scanner.seconds + offset.value}, told ? 1 + rate.value : 1.0};
    }
};

namespace detail {

/// What a channel of D recorded at a time of the scanner's clock.
template <std::size_t D> struct MatchSample {
    double time;
    std::array<double, D> value;
};

/// How recorded channels may have been mistaken: swapped, or with turned signs.
template <std::size_t D> struct Channels {
    std::array<std::size_t, D> from;
    std::array<double, D> sign;

    std::array<double, D> of(std::array<double, D> const& recorded) const {
        std::array<double, D> r{};
        for (std::size_t d = 0; d < D; ++d)
            r[d] = sign[d] * recorded[from[d]];
        return r;
    }
};

/// Sums of products of two series, about their means.
struct Products {
    double count = 0, x = 0, y = 0, xx = 0, yy = 0, xy = 0; // means, and sums about them

    void add(double by_x, double by_y) {
        ++count;
        double const dx = by_x - x, dy = by_y - y;
        x += dx / count;
        y += dy / count;
        xx += dx * (by_x - x);
        yy += dy * (by_y - y);
        xy += dx * (by_y - y);
    }
};

/// What remains of recorded channels when a prediction, shifted in time, is taken off. `Predicted` answers
/// (scanner's time, robot's time as a number) with D channels, `Covers` whether a time of the robot's clock
/// has data.
template <std::size_t D, class Predicted, class Covers> class ClockMatcher {
public:
    ClockMatcher(Predicted const& predicted, Covers const& covers, std::vector<MatchSample<D>> const& samples,
                 ClockMatchOptions const& options, std::string const& unit, Eigen::Index difference = 0,
                 Eigen::MatrixXd axes = {})
        : predicted_(predicted), covers_(covers), samples_(samples), options_(options), unit_(unit),
          difference_(difference), axes_(std::move(axes)), counts_(samples.size(), true) {
        check();
        scale();
    }

    ClockMatch match() {
        auto const candidates = candidates_of(straight);
        refuse_mistaken(candidates.front());
        auto const some = every(std::max<std::size_t>(1, samples_.size() / 2000));
        std::vector<Fit> fits;
        for (auto const& candidate : candidates)
            fits.push_back(fit(candidate.offset, some));
        Fit best = fits.front();
        for (auto const& other : fits)
            if (other.near && (!best.near || other.mean_square < best.mean_square))
                best = other;
        if (!best.near)
            throw BadInput(
                "the logs agree nowhere: no offset from " + text_of(options_.search.low) + " s to " +
                text_of(options_.search.high) +
                " s makes the recorded motion the predicted one; the motion may be too small against "
                "the noise, or mount and target are wrong");
        Fit full = fit(best.offset, every(1));
        bool cleaned = false;
        for (int round = 0; round < 3 && leave_out(full); ++round) {
            full = fit(full.offset, every(1));
            cleaned = true;
        }
        auto const result = described(full);
        refuse_weak(full, result);
        if (std::abs(result.rate.value) > 1e-3)
            throw BadInput(
                "the clocks would run " + text_of(1e6 * result.rate.value) +
                " ppm apart, which no clocks do: the logs tell no rate (match without one, over a longer "
                "time, or with less noise), or their stamps are wrong");
        if (cleaned) {
            for (auto& other : fits)
                other = fit(other.offset, some);
            best = fit(full.offset, some);
        }
        for (auto const& other : fits)
            if (other.near && std::abs(other.offset - full.offset) > step_)
                refuse_equal(full, result, other.mean_square - best.mean_square, other.offset);
        return result;
    }

private:
    using Rate = Taylor<double, 1>;
    static constexpr std::size_t fewest = 20;

    struct Candidate {
        double offset, share;
        std::array<double, D> gain, part; // recorded by predicted, and the channel's part of the motion
    };
    struct Fit {
        double offset, mean_square;
        bool near; // it ended within a step of where it began
        std::vector<std::size_t> rows;
        LeastSquaresFit<Eigen::VectorXd> squares;
    };

    static constexpr Channels<D> as_given() {
        Channels<D> c{};
        for (std::size_t d = 0; d < D; ++d) {
            c.from[d] = d;
            c.sign[d] = 1;
        }
        return c;
    }
    static constexpr Channels<D> straight = as_given();

    void check() {
        if (!(options_.search.low < options_.search.high) ||
            !is_finite(options_.search.high - options_.search.low))
            throw BadInput("the range searched for a clock's offset must have a length; given was " +
                           text_of(options_.search.low) + " s to " + text_of(options_.search.high) + " s");
        if (samples_.size() < fewest)
            throw BadInput("two clocks are compared by " + std::to_string(fewest) +
                           " samples or more; given " + std::to_string(samples_.size()));
        for (std::size_t i = 0; i < samples_.size(); ++i) {
            double sum = samples_[i].time;
            for (double const x : samples_[i].value)
                sum += x;
            if (!is_finite(sum))
                throw BadInput("sample " + std::to_string(i + 1) + " holds a number that is not finite");
            if (i > 0 && !(samples_[i].time > samples_[i - 1].time))
                throw BadInput("sample " + std::to_string(i + 1) +
                               " is not later than the one before: " + text_of(samples_[i].time) + " s");
        }
    }

    /// How quickly the motion changes, from which follows how finely offsets are looked at; and recorded
    /// values far outside of anything predicted no longer count.
    void scale() {
        double rates = 0;
        Products middle{};
        std::array<Products, D> motion{};
        std::array<std::vector<double>, D> predicted{};
        std::size_t const stride = std::max<std::size_t>(1, samples_.size() / 2000);
        for (int k = 0; k <= 8; ++k) {
            double const offset = options_.search.low + k * (options_.search.high - options_.search.low) / 8;
            for (auto const i : every(stride)) {
                double const t = samples_[i].time + offset;
                if (!covers_(t))
                    continue;
                auto const p = predicted_(samples_[i].time, Rate::variable(t));
                middle.add(samples_[i].time - samples_.front().time, 0);
                for (std::size_t d = 0; d < D; ++d) {
                    motion[d].add(p[d].value(), 0);
                    rates += sqr(p[d].derivative(1));
                    predicted[d].push_back(p[d].value());
                }
            }
        }
        if (motion[0].count < 9 * 4)
            throw BadInput("the logs do not overlap: hardly a sample from " + text_of(samples_.front().time) +
                           " s to " + text_of(samples_.back().time) +
                           " s of the scanner's clock falls into the robot's log with an offset from " +
                           text_of(options_.search.low) + " s to " + text_of(options_.search.high) +
                           " s; see from which epochs both clocks count");
        centre_ = samples_.front().time + middle.x;
        double squares = 0;
        for (auto const& m : motion)
            squares += m.xx;
        if (!(rates > 0) || !(squares > 0) || !is_finite(rates))
            throw BadInput("the robot's log holds no motion that the other log could answer");
        frequency_ = std::sqrt(rates / squares);
        step_ = std::min(0.25 / frequency_, (options_.search.high - options_.search.low) / 16);
        if ((options_.search.high - options_.search.low) / step_ > 50000)
            throw BadInput("the range searched, " + text_of(options_.search.high - options_.search.low) +
                           " s, is too wide for a motion that changes within " + text_of(1 / frequency_) +
                           " s: lay the logs roughly over each other first");

        // Gross outliers: beyond three times the range predicted. If that is many, the scale is wrong, which
        // is found out later.
        std::vector<bool> inside(samples_.size(), true);
        std::size_t out = 0;
        for (std::size_t d = 0; d < D; ++d) {
            std::vector<double> recorded;
            for (auto const& s : samples_)
                recorded.push_back(s.value[d]);
            double const middle_recorded = middle_of(recorded);
            double const middle_predicted = middle_of(predicted[d]);
            double reach = 0;
            for (double const p : predicted[d])
                reach = std::max(reach, std::abs(p - middle_predicted));
            for (std::size_t i = 0; i < samples_.size(); ++i)
                if (std::abs(recorded[i] - middle_recorded) >
                    3 * reach + 3 * std::sqrt(squares / motion[0].count))
                    inside[i] = false;
        }
        out = static_cast<std::size_t>(std::count(inside.begin(), inside.end(), false));
        if (4 * out < samples_.size())
            counts_ = inside;
    }

    /// One of so many samples, unevenly, so that no period of the motion is met.
    std::vector<std::size_t> every(std::size_t stride) const {
        std::vector<std::size_t> chosen;
        for (std::size_t k = 0; k * stride < samples_.size(); ++k) {
            double const part = 0.6180339887498949 * static_cast<double>(k);
            auto const i = k * stride +
                           static_cast<std::size_t>((part - std::floor(part)) * static_cast<double>(stride));
            if (i < samples_.size() && counts_[i])
                chosen.push_back(i);
        }
        return chosen;
    }

    /// The share of the recorded squares that the prediction explains at an offset, gains above 0 being free.
    Candidate correlated(double offset, std::vector<std::size_t> const& rows, Channels<D> const& channels,
                         double& count) const {
        std::array<Products, D> sums{};
        for (auto const i : rows) {
            double const t = samples_[i].time + offset;
            if (!covers_(t))
                continue;
            auto const p = predicted_(samples_[i].time, t);
            auto const value = channels.of(samples_[i].value);
            for (std::size_t d = 0; d < D; ++d)
                sums[d].add(p[d], value[d]);
        }
        count = sums[0].count;
        double explained = 0, recorded = 0, motion = 0;
        for (auto const& s : sums)
            motion += s.xx;
        Candidate c{offset, 0, {}, {}};
        for (std::size_t d = 0; d < D; ++d) {
            recorded += sums[d].yy;
            if (!(sums[d].xx > 1e-12 * motion) || !(motion > 0))
                continue;
            c.gain[d] = sums[d].xy / sums[d].xx;
            c.part[d] = sums[d].xx / motion;
            if (sums[d].xy > 0)
                explained += sqr(sums[d].xy) / sums[d].xx;
        }
        c.share = recorded > 0 ? explained / recorded : 0;
        return c;
    }

    /// The offsets about which the logs agree best, the best first.
    std::vector<Candidate> candidates_of(Channels<D> const& channels) const {
        auto const number =
            static_cast<std::size_t>(std::ceil((options_.search.high - options_.search.low) / step_));
        // A million predictions take about a second.
        auto const most = std::max<std::size_t>(200, 1000000 / (number + 1));
        auto const rows = every(std::max<std::size_t>(1, samples_.size() / most));
        std::vector<Candidate> all;
        std::vector<double> counts;
        double largest = 0;
        for (std::size_t k = 0; k <= number; ++k) {
            double const share = static_cast<double>(k) / static_cast<double>(number);
            double count = 0;
            all.push_back(
                correlated(options_.search.low + share * (options_.search.high - options_.search.low), rows,
                           channels, count));
            counts.push_back(count);
            largest = std::max(largest, count);
        }
        for (std::size_t k = 0; k <= number; ++k)
            if (counts[k] < 0.5 * largest || counts[k] < static_cast<double>(fewest))
                all[k].share = -1;
        std::vector<Candidate> peaks;
        for (std::size_t k = 0; k <= number; ++k)
            if (all[k].share >= 0 && (k == 0 || all[k - 1].share <= all[k].share) &&
                (k == number || all[k + 1].share < all[k].share))
                peaks.push_back(all[k]);
        if (peaks.empty())
            throw BadInput("the logs overlap by fewer than " + std::to_string(fewest) + " samples");
        std::sort(peaks.begin(), peaks.end(),
                  [](Candidate const& a, Candidate const& b) { return a.share > b.share; });
        if (peaks.size() > 8)
            peaks.resize(8);
        return peaks;
    }

    /// Throws where the logs agree only with another unit, turned signs or swapped columns.
    void refuse_mistaken(Candidate const& best) const {
        if constexpr (D == 2) {
            for (int pattern = 1; pattern < 8 && best.share < 0.9; ++pattern) {
                Channels<D> channels = straight;
                if (pattern >= 4)
                    std::swap(channels.from[0], channels.from[1]);
                channels.sign[0] = (pattern & 1) != 0 ? -1 : 1;
                channels.sign[1] = (pattern & 2) != 0 ? -1 : 1;
                auto const other = candidates_of(channels).front();
                if (other.share > 0.9 && 1 - other.share < (1 - best.share) / 5)
                    throw BadInput(std::string("the mirrors' log fits the robot's only with ") +
                                   (pattern >= 4 ? "x and y swapped" : "") + (pattern > 4 ? " and " : "") +
                                   ((pattern & 3) == 3   ? "both signs turned"
                                    : (pattern & 1) != 0 ? "the sign of x turned"
                                    : (pattern & 2) != 0 ? "the sign of y turned"
                                                         : "") +
                                   ": see the columns of the log and the head's signs");
            }
        }
        if (best.share < 0.5 || options_.gains)
            return;
        double gain = 0, least = std::numeric_limits<double>::infinity(), most = 0;
        for (std::size_t d = 0; d < D; ++d)
            if (best.part[d] > 0.05) {
                gain += best.part[d] * best.gain[d];
                least = std::min(least, best.gain[d]);
                most = std::max(most, best.gain[d]);
            }
        if (least > 1 / 1.5 && most < 1.5)
            return;
        struct Slip {
            double factor;
            char const* name;
        };
        for (auto const& slip :
             {Slip{57.29577951308232, "degrees given as radians"},
              Slip{1 / 57.29577951308232, "radians turned to radians from degrees twice"},
              Slip{2, "optical angles given as mechanical ones"}, Slip{0.5, "half the mechanical angles"},
              Slip{2 * 57.29577951308232, "optical angles in degrees given as radians"},
              Slip{1e3, "thousandths given as whole units"}, Slip{1e-3, "whole units given as thousandths"}})
            if (std::abs(std::log(gain / slip.factor)) < 0.1)
                throw BadInput("the recorded values are " + text_of(gain) +
                               " times those predicted: they look like " + slip.name);
        throw BadInput("the recorded values are " + text_of(least) + " to " + text_of(most) +
                       " times those predicted: see units, mount and target, or ask for gains");
    }

    std::size_t unknowns() const { return 1 + (options_.rate ? 1 : 0) + D + (options_.gains ? D : 0); }

    /// Least squares from an offset on, over the rows that stay covered near it.
    Fit fit(double offset, std::vector<std::size_t> const& from) const {
        Fit result{offset, 0, true, {}, {}};
        for (auto const i : from) {
            double const t = samples_[i].time + offset;
            if (counts_[i] && covers_(t) && covers_(t - step_) && covers_(t + step_))
                result.rows.push_back(i);
        }
        auto const& rows = result.rows;
        auto const n = static_cast<Eigen::Index>(rows.size() * D);
        auto const m = static_cast<Eigen::Index>(unknowns());
        if (rows.size() < fewest)
            return {offset, std::numeric_limits<double>::infinity(), false, {}, {}};
        Eigen::VectorXd start = Eigen::VectorXd::Zero(m);
        if (options_.gains)
            start.tail(D).setOnes();
        start(0) = offset;
        auto const linearised = [&](Eigen::VectorXd const& state) {
            Linearised l{Eigen::VectorXd(n), Eigen::MatrixXd::Zero(n, m)};
            double const rate = options_.rate ? state(1) : 0.0;
            Eigen::Index const zeros = options_.rate ? 2 : 1;
            Eigen::Index row = 0;
            for (auto const i : rows) {
                auto const& s = samples_[i];
                double const after = s.time - centre_;
                auto const p = predicted_(s.time, Rate::variable(s.time + (state(0) + rate * after)));
                for (std::size_t d = 0; d < D; ++d, ++row) {
                    auto const k = static_cast<Eigen::Index>(d);
                    auto const gains = zeros + static_cast<Eigen::Index>(D) + k;
                    double const gain = options_.gains ? state(gains) : 1.0;
                    l.residuals(row) = s.value[d] - (gain * p[d].value() + state(zeros + k));
                    l.jacobian(row, 0) = -gain * p[d].derivative(1);
                    if (options_.rate)
                        l.jacobian(row, 1) = -gain * p[d].derivative(1) * after;
                    l.jacobian(row, zeros + k) = -1;
                    if (options_.gains)
                        l.jacobian(row, gains) = -p[d].value();
                }
            }
            return l;
        };
        result.squares =
            least_squares(start, linearised, [](Eigen::VectorXd const& x, Eigen::VectorXd const& by) {
                return Eigen::VectorXd(x + by);
            });
        result.offset = result.squares.state(0);
        result.mean_square = result.squares.sum_of_squares / static_cast<double>(n);
        result.near = std::abs(result.offset - offset) <= 1.01 * step_;
        return result;
    }

    /// Samples more than eight standard deviations off no longer count; whether there were new ones. The
    /// deviation is taken from the median.
    bool leave_out(Fit const& f) {
        std::vector<double> sizes;
        for (std::size_t i = 0; i < f.rows.size(); ++i)
            sizes.push_back(
                f.squares.residuals.segment(static_cast<Eigen::Index>(i * D), static_cast<Eigen::Index>(D))
                    .norm());
        double const median = middle_of(sizes);
        double const bound = 8 * median / std::sqrt(chi_squared_quantile(0.5, static_cast<double>(D)));
        double const rounding = 1e-12 * std::sqrt(f.squares.jacobian.col(0).squaredNorm()) / frequency_;
        bool any = false;
        for (std::size_t i = 0; i < f.rows.size(); ++i)
            if (sizes[i] > std::max(bound, rounding)) {
                counts_[f.rows[i]] = false;
                any = true;
            }
        return any;
    }

    ClockMatch described(Fit const& f) const {
        auto const& q = f.squares;
        auto const d = static_cast<Eigen::Index>(D);
        // All samples from the first to the last that counts, so that neighbours stay neighbours.
        std::size_t const first = f.rows.front(), end = f.rows.back() + 1;
        auto const all = static_cast<Eigen::Index>(end - first);
        CorrelatedRows rows{Eigen::VectorXd::Zero(all * d),
                            Eigen::MatrixXd::Zero(all * d, q.jacobian.cols()),
                            q.unit_covariance,
                            d,
                            std::vector<bool>(end - first, false),
                            difference_,
                            {}};
        for (std::size_t i = 0; i < f.rows.size(); ++i) {
            auto const from = static_cast<Eigen::Index>(i) * d;
            auto const to = static_cast<Eigen::Index>(f.rows[i] - first) * d;
            rows.residuals.segment(to, d) = q.residuals.segment(from, d);
            rows.jacobian.middleRows(to, d) = q.jacobian.middleRows(from, d);
            rows.counts[f.rows[i] - first] = true;
        }
        if (difference_ > 0)
            rows.axes = axes_.middleCols(static_cast<Eigen::Index>(first), all);
        auto const spread = spread_of_correlated(rows);
        ClockMatch r{};
        r.scanner = {centre_};
        auto const& c = spread.covariance;
        auto const estimate = [&](Eigen::Index k) {
            return Estimate{q.state(k), std::sqrt(c(k, k)), spread.degrees_of_freedom};
        };
        r.offset = estimate(0);
        r.rate = options_.rate ? estimate(1) : Estimate{0};
        if (options_.rate && c(1, 1) > 0) { // to the moment at which the offset is surest
            double const later = -c(0, 1) / c(1, 1);
            r.scanner.seconds += later;
            r.offset.value += later * r.rate.value;
            r.offset.deviation = std::sqrt(std::max(0.0, c(0, 0) - sqr(c(0, 1)) / c(1, 1)));
        }
        Eigen::Index const zeros = options_.rate ? 2 : 1;
        std::array<Products, D> motion{};
        for (Eigen::Index k = 0; k < d; ++k) {
            r.zero.push_back(estimate(zeros + k));
            r.gain.push_back(options_.gains ? estimate(zeros + d + k) : Estimate{1});
        }
        for (std::size_t i = 0; i < f.rows.size(); ++i) {
            double const t = samples_[f.rows[i]].time;
            auto const p = predicted_(t, r.map().robot_at({t}).seconds);
            for (std::size_t k = 0; k < D; ++k)
                motion[k].add(p[k], 0);
        }
        double squares = 0;
        for (auto const& m : motion)
            squares += m.xx / m.count;
        r.motion = std::sqrt(squares / static_cast<double>(D));
        r.residual = std::sqrt(f.mean_square);
        r.autocorrelation = spread.autocorrelation;
        r.samples = f.rows.size();
        r.effective_samples = static_cast<double>(f.rows.size()) / spread.inflation;
        for (bool const counted : counts_)
            r.outlier.push_back(!counted);
        return r;
    }

    /// By how many standard deviations, squared, a mean square is worse, for residuals that are correlated.
    double worse_by(Fit const& f, ClockMatch const& r, double mean_square) const {
        double const floor = 1e-18 * sqr(r.motion);
        return r.effective_samples * static_cast<double>(D) * mean_square / std::max(f.mean_square, floor);
    }

    void refuse_weak(Fit const& f, ClockMatch const& r) const {
        double recorded = 0;
        std::array<Products, D> sums{};
        for (auto const i : f.rows)
            for (std::size_t d = 0; d < D; ++d)
                sums[d].add(samples_[i].value[d], 0);
        for (auto const& s : sums)
            recorded += s.xx / static_cast<double>(f.rows.size() * D);
        if (worse_by(f, r, recorded - f.mean_square) < least_gain ||
            !(r.offset.deviation * frequency_ < 0.25))
            throw BadInput("the motion is too small against what else is in the log: predicted " +
                           text_of(r.motion) + " " + unit_ + ", unexplained " + text_of(r.residual) + " " +
                           unit_ + " (root mean squares); move more, quicker or for longer");
        if (f.offset < options_.search.low + 0.5 * step_ || f.offset > options_.search.high - 0.5 * step_)
            throw BadInput("the logs agree best at the end of the range searched, " + text_of(f.offset) +
                           " s: widen it");
    }

    void refuse_equal(Fit const& f, ClockMatch const& r, double mean_square, double other) const {
        if (worse_by(f, r, mean_square) < least_gain || mean_square < 1e-6 * sqr(r.motion))
            throw BadInput("the logs agree as well at an offset of " + text_of(other) + " s as at " +
                           text_of(f.offset) + " s: the motion repeats after " +
                           text_of(std::abs(other - f.offset)) +
                           " s, which is within the range searched; move without a period, or narrow the "
                           "range");
    }

    /// Squared standard deviations by which an agreement must be better than none, or than another: chance
    /// makes so much once in 10⁷.
    static constexpr double least_gain = 30;

    Predicted const& predicted_;
    Covers const& covers_;
    std::vector<MatchSample<D>> const& samples_;
    ClockMatchOptions options_;
    std::string unit_;
    Eigen::Index difference_;
    Eigen::MatrixXd axes_;
    std::vector<bool> counts_;
    double centre_ = 0;
    double frequency_ = 0;
    double step_ = 0;
};

} // namespace detail

} // namespace seamhold

#endif
