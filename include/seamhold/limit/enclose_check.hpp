#ifndef SEAMHOLD_LIMIT_ENCLOSE_CHECK_HPP
#define SEAMHOLD_LIMIT_ENCLOSE_CHECK_HPP

#include "seamhold/limit/check.hpp"
#include "seamhold/number/enclose.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

/// What proofs and windows of limits share: into which stretches a seam's time is cut, and what a check makes
/// of an enclosure over one of them.
namespace seamhold {

/// So much of a limit, as a share, counts as nothing: a limit met with equality is kept.
inline constexpr double equal_share = 1e-9;

namespace detail {

/// When something of the seam itself may break, s since its start, in no order.
template <class Scheduled> std::vector<double> seam_breaks(Scheduled const& scheduled) {
    auto const& seam = scheduled.seam;
    std::vector<double> times = seam.breaks();
    if (seam.power) {
        times.push_back(seam.power->ramps().rise);
        times.push_back(seam.duration() - seam.power->ramps().fall);
    }
    return times;
}

/// No more of a seam's time than this, s, may be looked at in one piece at first: a third of a weave's
/// period.
template <class Scheduled> double longest_stretch(Scheduled const& scheduled, double without_weave) {
    auto const& weave = scheduled.seam.weave;
    if (!weave.moves())
        return without_weave;
    double const quickest = weave.highest_frequency(scheduled.seam.duration());
    return std::min(without_weave, 0.35 / std::max(quickest, 1e-3));
}

/// The ends of stretches from 0 to `duration` without one of these breaks inside, none longer than `longest`.
inline std::vector<double> stretch_ends(std::vector<double> breaks, double duration, double longest) {
    breaks.push_back(duration);
    std::sort(breaks.begin(), breaks.end());
    std::vector<double> ends{0};
    for (double const t : breaks) {
        double const from = ends.back();
        if (!(t > from + 1e-12) || !(t <= duration))
            continue;
        auto const parts = std::max(1.0, std::ceil((t - from) / longest));
        for (double k = 1; k < parts; ++k)
            ends.push_back(from + (t - from) * k / parts);
        ends.push_back(t);
    }
    if (ends.size() == 1) // a picosecond or less
        ends.push_back(duration);
    ends.back() = duration;
    return ends;
}

/// Whether a chain, which may break at these times, has data at every time of an interval, but for a
/// picosecond and the last bits at its ends.
template <class AnyChain>
bool has_data_throughout(AnyChain const& chain, std::vector<double> const& breaks, Interval const& times) {
    double const slack = std::min(1e-12 + 4e-15 * times.magnitude(), (times.high - times.low) / 2);
    double from = times.low + slack;
    double const last = times.high - slack;
    if (!chain.covers(from) || !chain.covers(last))
        return false;
    // Between two breaks there are data everywhere or nowhere.
    for (auto t = std::upper_bound(breaks.begin(), breaks.end(), from); t != breaks.end() && *t < last; ++t) {
        if (!chain.covers(from + (*t - from) / 2))
            return false;
        from = *t;
    }
    return chain.covers(from + (last - from) / 2);
}

/// Whether what is held only where a seam's power is all there is held over a stretch without a break.
template <class Scheduled> bool welds_over(Scheduled const& scheduled, TimeSpan const& span) {
    auto const& power = scheduled.seam.power;
    return !power || power->full(span.middle(), scheduled.seam.duration());
}

/// The highest utilisation that is known to be reached, and when.
struct Best {
    double low = -1;
    double time = 0;
};

/// The largest utilisation that may be, refined by halving the polynomial as far as that helps: until it is
/// known to `tolerance` and decided. What is known to be reached is noted in `best`.
template <int N>
double highest(Enclosure<N> const& e, TimeSpan const& span, Check const& check, double tolerance, Best& best,
               int depth) {
    auto const use = [&](Interval const& x) { return check.utilisation(check.read(x)); };
    auto const learn = [&](Interval const& x, double time) {
        double const low = use(x).low;
        if (low > best.low)
            best = {low, time};
    };
    learn(e.at_start(), span.from);
    learn(e.at_end(), span.to);
    double const high = use(e.range()).high;
    if (depth == 0 || high <= best.low + tolerance / 4)
        if (depth == 0 || high <= 1 || best.low > 1)
            return high;
    auto const halves = e.halves();
    double const middle = span.middle();
    double const first = highest(halves.first, {span.from, middle}, check, tolerance, best, depth - 1);
    return std::max(first, highest(halves.second, {middle, span.to}, check, tolerance, best, depth - 1));
}

/// What a check makes of a measure over a stretch: the most that may be used, and all that may.
struct CheckedOver {
    double high;
    Interval all;
};

/// From an expansion of the check's measure about the middle of a stretch, and over all of it.
template <int N>
CheckedOver checked_over(Check const& check, Taylor<Interval, N> const& middle,
                         Taylor<Interval, N> const& over, TimeSpan const& span, double tolerance,
                         Best& best) {
    auto const of = [&](auto const& e) {
        return CheckedOver{highest(e, span, check, tolerance, best, 4),
                           check.utilisation(check.read(e.range()))};
    };
    switch (check.derivative) {
    case 1:
        return of(enclosed<1>(middle, over, span));
    case 2:
        return of(enclosed<2>(middle, over, span));
    case 3:
        return of(enclosed<3>(middle, over, span));
    default:
        break;
    }
    auto const m = check.measure;
    if (m == Measure::energy || m == Measure::speed || m == Measure::turning || m == Measure::area)
        return of(enclosed<0>(to_order<N - 1>(middle), to_order<N - 1>(over), span)); // loses an order
    return of(enclosed<0>(middle, over, span));
}

} // namespace detail
} // namespace seamhold

#endif
