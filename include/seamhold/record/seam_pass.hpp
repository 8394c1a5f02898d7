#ifndef SEAMHOLD_RECORD_SEAM_PASS_HPP
#define SEAMHOLD_RECORD_SEAM_PASS_HPP

#include "seamhold/live/clock_map.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/seam_key.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// Where the spot was at a moment, and whether there is light from then until the next knot.
struct PassKnot {
    ScannerTime time;  ///< of the spot itself, not of the tick that told it to be there
    double arc_length; ///< along the seam's path, the weave aside, m
    bool light;        ///< of the last knot of no meaning
};

/// One way of the spot over a seam, in the scanner's time: knots with straight lines between them. Made by
/// `planned_pass` or `passes_of`. Places are along the path: a weave that swings along the path too moves the
/// spot about them by its amplitude.
struct SeamPass {
    SeamKey key;
    double length;               ///< of the seam along its path, m
    std::vector<PassKnot> knots; ///< in order of time, two or more

    /// Where the spot was at a moment, m along the path; none before the first knot, after the last, and
    /// where there was no light.
    std::optional<double> lit_place(ScannerTime t) const {
        auto const next = std::upper_bound(knots.begin(), knots.end(), t,
                                           [](ScannerTime x, PassKnot const& k) { return x < k.time; });
        if (next == knots.begin() || !(t <= knots.back().time))
            return std::nullopt;
        auto const b = next == knots.end() ? next - 1 : next;
        auto const a = b - 1;
        if (!a->light)
            return std::nullopt;
        return a->arc_length + (b->arc_length - a->arc_length) * ((t - a->time) / (b->time - a->time));
    }
};

/// Throws BadInput, naming the seam, for a pass without length, with less than two knots, with a number that
/// is not finite, or whose knots do not follow each other in time.
inline void check_pass(SeamPass const& pass) {
    using detail::text_of;
    auto const refuse = [&](std::string const& what) {
        throw BadInput("the pass over seam " + pass.key.seam + " " + what);
    };
    if (!(pass.length > 0) || !is_finite(pass.length))
        refuse("must have a length above 0; given was " + text_of(pass.length) +
               " m. A spot that is held on one place has no arc length to record by");
    if (pass.knots.size() < 2)
        refuse("needs two knots or more; given were " + std::to_string(pass.knots.size()));
    for (std::size_t i = 0; i < pass.knots.size(); ++i) {
        auto const& k = pass.knots[i];
        if (!is_finite(k.time.seconds) || !is_finite(k.arc_length))
            refuse("has a knot that is not finite: number " + std::to_string(i + 1));
        if (i > 0 && !(k.time > pass.knots[i - 1].time))
            refuse("goes back in time: knot number " + std::to_string(i + 1) + " is at " +
                   text_of(k.time.seconds) + " s, the one before at " +
                   text_of(pass.knots[i - 1].time.seconds) + " s");
    }
}

namespace detail {
/// The knots without those that lie within `error` m of the straight lines that remain, so that no place
/// moves by more. Where the light changes, and the ends, stay.
inline std::vector<PassKnot> thinned(std::vector<PassKnot> const& knots, double error) {
    if (knots.size() < 3)
        return knots;
    std::vector<PassKnot> kept{knots.front()};
    // From the last that was kept: slopes with which a straight line passes all knots since within the error.
    double low = -HUGE_VAL, high = HUGE_VAL;
    for (std::size_t i = 1; i + 1 < knots.size(); ++i) {
        auto const& from = kept.back();
        double const way = knots[i].arc_length - from.arc_length, time = knots[i].time - from.time;
        low = std::max(low, (way - error) / time);
        high = std::min(high, (way + error) / time);
        double const next = (knots[i + 1].arc_length - from.arc_length) / (knots[i + 1].time - from.time);
        if (knots[i].light == from.light && low <= next && next <= high)
            continue;
        kept.push_back(knots[i]);
        low = -HUGE_VAL;
        high = HUGE_VAL;
    }
    kept.push_back(knots.back());
    return kept;
}
} // namespace detail

namespace detail {
/// Moments of a travel, s since its start, between which the way is straight to `error` m: the ends, the
/// breaks, and in between as many as it takes.
template <class Travel>
std::vector<double> straight_moments(Travel const& travel, double duration, double error,
                                     std::string const& seam) {
    constexpr double shortest = 1e-9; // s; the way over a shorter piece is some nanometres
    constexpr double most_knots = 1e6;
    auto times = travel.breaks();
    times.push_back(duration);
    std::vector<double> moments{0.0};
    double least_error = 0, from = 0;
    for (double const to : times) {
        if (to - from < shortest) // what the planner's rounding leaves; its bend is rounding, too
            continue;
        // Within a piece the way is a cubic of time: a chord over h s is off by 1/8 h² of its largest second
        // derivative at most, which stands at one of the piece's ends.
        double const inside = (to - from) * 1e-3;
        auto const bend = [&](double t) {
            return std::abs(travel.feed(t + inside) - travel.feed(t - inside)) / (2 * inside);
        };
        double const most = std::max(bend(from + 2 * inside), bend(to - 2 * inside)) * 1.02;
        double const pieces = std::ceil((to - from) * std::sqrt(most / (8 * error)));
        if (pieces > most_knots)
            least_error = std::max(least_error, most / 8 * std::pow((to - from) / most_knots, 2));
        auto const count = static_cast<std::size_t>(std::clamp(pieces, 1.0, most_knots));
        for (std::size_t m = 1; m < count; ++m)
            moments.push_back(from + (to - from) * (static_cast<double>(m) / static_cast<double>(count)));
        moments.push_back(to);
        from = to;
    }
    if (least_error > 0)
        throw BadInput("the pass over seam " + seam + " would need more than a million knots within one " +
                       "piece of its travel for places to " + text_of(error) + " m; possible are " +
                       text_of(least_error * 1.01) + " m or more");
    if (duration > moments.back())
        moments.push_back(duration);
    return moments;
}
} // namespace detail

/// The pass over seam `i` of a job as it is planned, with light from its start to its end. `clock` says what
/// the robot's clock, by which the job's seams start, shows at the scanner's moments; its rate counts an
/// override in where that is held over the seam. Places are those of the seam's travel to `largest_error` m.
/// Throws BadInput for a seam that the job does not have, an error or a clock's rate that is not above 0, an
/// error that is so small that a piece of the travel would take more than a million knots (it names one that
/// is possible), and what `check_pass` refuses.
template <class AnyJob>
SeamPass planned_pass(AnyJob const& job, std::size_t i, SeamKey key, ClockMap const& clock,
                      double largest_error = 1e-6) {
    using detail::text_of;
    if (i >= job.seams.size())
        throw BadInput("the job has " + std::to_string(job.seams.size()) + " seams; asked was for number " +
                       std::to_string(i) + ", counted from 0");
    if (!(largest_error > 0) || !is_finite(largest_error))
        throw BadInput("the largest error of a place must be above 0; given was " + text_of(largest_error) +
                       " m");
    if (!(clock.rate > 0) || !is_finite(clock.rate))
        throw BadInput("the robot's clock must run on; given was a rate of " + text_of(clock.rate));
    auto const& scheduled = job.seams[i];
    auto const& seam = scheduled.seam;
    SeamPass pass{std::move(key), seam.length(), {}};
    for (double const t :
         detail::straight_moments(seam.travel, seam.duration(), largest_error, pass.key.seam)) {
        PassKnot const knot{clock.scanner_at({scheduled.start + t}), value_of(seam.arc_length(t)), true};
        // Far from the clock's zero two moments may be one and the same number: the place is that of the
        // later one, so that the end is the seam's.
        if (!pass.knots.empty() && knot.time <= pass.knots.back().time)
            pass.knots.back().arc_length = knot.arc_length;
        else
            pass.knots.push_back(knot);
    }
    check_pass(pass);
    return pass;
}

} // namespace seamhold

#endif
