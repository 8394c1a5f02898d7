#ifndef SEAMHOLD_LIMIT_WINDOW_HPP
#define SEAMHOLD_LIMIT_WINDOW_HPP

#include "seamhold/limit/sweep_margin.hpp"
#include "seamhold/limit/window_proof.hpp"

#include <boost/math/tools/minima.hpp>
#include <boost/math/tools/toms748_solve.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

/// Windows: between which values of a start time, a sweep speed, a standoff or a tilt every limit of a seam
/// holds.
namespace seamhold {

/// How windows are sought.
struct WindowOptions {
    double tolerance = 1e-6;     ///< of the ends, in units of what is varied: s, a factor, m, rad
    std::size_t steps = 100;     ///< of the search range, between which the margin is looked at first
    std::size_t budget = 100000; ///< of boxes looked at to prove one window
    Change change = {};          ///< the box that is covered, and all that is not varied
};

/// An interval of values for which every limit of a seam holds.
struct Window {
    double low;                      ///< every value from `low` to `high` is proven to hold; nothing is
    double high;                     ///< where low is above high
    double low_root;                 ///< where the margin is 0, found in doubles, or the search range ends
    double high_root;                ///< likewise
    std::optional<Limit> low_limit;  ///< that binds at the low end; nothing where the search range ends
    std::optional<Limit> high_limit; ///< at the high end
    double best;                     ///< the value with the largest margin that was looked at
    double margin;                   ///< with it, as `sweep_margin`
    bool proven;                     ///< whether low and high are within the tolerance of the roots
};

namespace detail {

/// Finds where the margin changes its sign over a range of values.
template <class Margin> class WindowSearch {
public:
    /// One value that was looked at.
    struct Place {
        double value;
        double margin;
    };

    WindowSearch(Margin const& margin, Range const& search, WindowOptions const& options)
        : margin_(margin), options_(options) {
        auto const steps = static_cast<double>(options.steps);
        for (double k = 0; k <= steps; ++k)
            look(k == steps ? search.high : search.low + (search.high - search.low) * k / steps);
        look_between();
    }

    /// The windows, without their proofs.
    std::vector<Window> windows() const {
        std::vector<Window> found;
        for (std::size_t i = 0; i < places_.size();) {
            if (!(places_[i].margin >= 0)) {
                ++i;
                continue;
            }
            std::size_t last = i;
            while (last + 1 < places_.size() && places_[last + 1].margin >= 0)
                ++last;
            Place const best = best_of(i, last);
            Window w{0, 0, places_[i].value, places_[last].value, {}, {}, best.value, best.margin, false};
            if (i > 0)
                w.low_limit = end(places_[i - 1], places_[i], w.low_root);
            if (last + 1 < places_.size())
                w.high_limit = end(places_[last + 1], places_[last], w.high_root);
            found.push_back(w);
            i = last + 1;
        }
        return found;
    }

private:
    double look(double value) {
        places_.push_back({value, margin_.at(value).margin});
        return places_.back().margin;
    }

    /// The place with the largest margin; of equal ones the one in the middle.
    Place best_of(std::size_t first, std::size_t last) const {
        double const middle = places_[first].value + (places_[last].value - places_[first].value) / 2;
        Place best = places_[first];
        for (std::size_t i = first + 1; i <= last; ++i) {
            double const more = places_[i].margin - best.margin;
            bool const nearer = std::abs(places_[i].value - middle) < std::abs(best.value - middle);
            if (more > equal_share || (more >= -equal_share && nearer))
                best = places_[i];
        }
        return best;
    }

    /// Where the margin has a top below 0, or a bottom above it, that may reach it between two places.
    void look_between() {
        std::size_t const count = places_.size();
        for (std::size_t i = 0; i < count; ++i) {
            auto const here = places_[i];
            auto const before = places_[i == 0 ? 0 : i - 1], after = places_[i + 1 == count ? i : i + 1];
            double const sign = here.margin < 0 ? 1 : -1;
            double const rise = sign * (here.margin - before.margin),
                         fall = sign * (here.margin - after.margin);
            if (!(rise >= 0) || !(fall >= 0) || !(std::max(rise, fall) * 2 >= sign * -here.margin) ||
                rise + fall == 0)
                continue;
            std::uintmax_t evaluations = 60;
            auto const top = boost::math::tools::brent_find_minima(
                [&](double value) { return -sign * margin_.at(value).margin; }, before.value, after.value, 30,
                evaluations);
            if (-top.second * sign >= 0 || sign < 0)
                look(top.first);
        }
        std::sort(places_.begin(), places_.end(),
                  [](Place const& a, Place const& b) { return a.value < b.value; });
    }

    /// The place where the margin is 0 between one outside and one inside, on the inner side, and what binds.
    Limit end(Place const& outside, Place const& inside, double& root) const {
        double from = outside.value, to = inside.value;
        if (inside.margin > 0) {
            std::uintmax_t evaluations = 100;
            double const near = options_.tolerance / 64;
            bool const up = from < to;
            auto const bracket = boost::math::tools::toms748_solve(
                [&](double value) { return margin_.at(value).margin; }, up ? from : to, up ? to : from,
                up ? outside.margin : inside.margin, up ? inside.margin : outside.margin,
                [&](double a, double b) { return b - a <= near; }, evaluations);
            from = up ? bracket.first : bracket.second;
            to = up ? bracket.second : bracket.first;
        }
        root = to;
        return margin_.at(from).limit;
    }

    Margin const& margin_;
    WindowOptions const& options_;
    std::vector<Place> places_;
};

inline void check_search(Vary vary, Range const& search, WindowOptions const& options) {
    std::string const of = std::string("a window of ") + to_string(vary);
    if (!(search.low < search.high) || !is_finite(search.high - search.low))
        throw BadInput(of + " is looked for from " + text_of(search.low) + " to " + text_of(search.high) +
                       ": the range must be finite, its high end above its low one");
    if (vary == Vary::speed && !(search.low >= 0))
        throw BadInput(of + " is looked for from " + text_of(search.low) + ": a factor must not be below 0");
    if (!(options.tolerance > 0) || options.steps < 1)
        throw BadInput(of + " needs a tolerance above 0 and one step or more; given were " +
                       text_of(options.tolerance) + " and " + std::to_string(options.steps));
}

} // namespace detail

/// The windows of a seam: the values in `search` of what is varied for which every limit holds over the whole
/// seam, in increasing order. The margin is looked at in steps, in between where it may touch 0, and each end
/// is found by bracketing (Alefeld, Potra and Shi, "Algorithm 748", ACM TOMS 21, 1995) in doubles; then all
/// values between the ends, half the tolerance left out on either side, are proven at once, for every pose in
/// the box of `options.change`. Where that fails, low and high are as far as it was proven, and the limit is
/// the one that stopped it. A window that lies between two steps is found where the margin rises towards it
/// at both steps; one that does not show at all there is missed. Limits that belong to no instant (RMS
/// accelerations, heating, air moves) and line of sight are not looked at: `prove` with a value does that.
/// Throws BadInput for a search range that is empty, not finite, or of speeds below 0, and for a tolerance or
/// steps that are not above 0.
template <class AnyJob, class Scheduled>
std::vector<Window> windows(AnyJob const& job, Scheduled const& seam, Vary vary, Range const& search,
                            WindowOptions const& options = {}) {
    detail::need_rounding_to_nearest();
    detail::check_search(vary, search, options);
    detail::MarginSearch<AnyJob, Scheduled> const margin(job, seam, vary, options.change);
    auto found = detail::WindowSearch(margin, search, options).windows();
    detail::WindowProver<AnyJob, Scheduled> prover(job, seam, vary, options.change, margin.checks(),
                                                   margin.motion_breaks(), options.budget,
                                                   options.tolerance / 64);
    for (auto& w : found) {
        double const inset = options.tolerance / 2;
        double const low = w.low_root + (w.low_limit ? inset : 0);
        double const high = w.high_root - (w.high_limit ? inset : 0);
        w.low = w.high_root;
        w.high = w.low_root;
        if (!(low < high))
            continue;
        double const seed = std::clamp(w.best, low, high);
        auto const down = prover.reach(seed, low);
        auto const up = prover.reach(seed, high);
        if (down.value == seed && up.value == seed)
            continue; // nothing
        w.low = down.value;
        w.high = up.value;
        if (down.stopped_by)
            w.low_limit = down.stopped_by;
        if (up.stopped_by)
            w.high_limit = up.stopped_by;
        w.proven = w.low - w.low_root <= options.tolerance && w.high_root - w.high <= options.tolerance;
    }
    return found;
}

/// How fast the motion may sweep.
struct FastestSweep {
    double factor;              ///< of the given motion's speed, proven with all down to `down_to`
    double down_to;             ///< the least factor of the same window
    double root;                ///< where the margin is 0, found in doubles
    std::optional<Limit> limit; ///< that binds there; nothing where the search range ends
    double flange_speed;        ///< of the flange's origin in the cell at the seam's middle with it, m/s
};

/// The largest factor in `search` by which the motion may be sped up or slowed down about the middle of the
/// seam, which is welded in the same time, with every limit kept; nothing where none is. Throws as `windows`.
template <class AnyJob, class Scheduled>
std::optional<FastestSweep> fastest_sweep(AnyJob const& job, Scheduled const& seam,
                                          Range const& search = {0.1, 10},
                                          WindowOptions const& options = {}) {
    auto const all = windows(job, seam, Vary::speed, search, options);
    for (auto w = all.rbegin(); w != all.rend(); ++w) {
        if (!(w->low <= w->high))
            continue;
        double const middle = options.change.time(seam.start, seam.seam.duration(), seam.seam.duration() / 2);
        auto const origin = job.chain.cell_from_flange.at(Taylor<double, 1>::variable(middle)).origin;
        double const speed =
            std::hypot(origin.x.coefficient[1], origin.y.coefficient[1], origin.z.coefficient[1]);
        return FastestSweep{w->high, w->low, w->high_root, w->high_limit, speed * w->high};
    }
    return std::nullopt;
}

} // namespace seamhold

#endif
