#ifndef SEAMHOLD_CALIBRATE_WINDOW_LOSS_HPP
#define SEAMHOLD_CALIBRATE_WINDOW_LOSS_HPP

#include "seamhold/calibrate/trend.hpp"

#include <string>
#include <vector>

namespace seamhold {

/// Which share of the power is lost on the way since commissioning, most often to a dirty protective window
/// (common practice, no source).
struct WindowLoss {
    Estimate share;    ///< 1 − now / then; 0.03 is three hundredths lost
    Bounds bounds;     ///< of the share, by Fieller
    double level;      ///< of the bounds
    std::string words; ///< the same for a reader
};

/// The share lost: `now` and `at_commissioning` are the powers found at the work for one command, W, or the
/// slopes of two power lines. Throws BadInput for powers that are not above 0, and where their ratio is near
/// a thousand or a thousandth (kilowatts beside watts).
inline WindowLoss window_loss(Estimate const& now, Estimate const& at_commissioning, double level = 0.95) {
    using detail::text_of;
    detail::check_estimate("the power now", now);
    detail::check_estimate("the power at commissioning", at_commissioning);
    if (!(now.value > 0) || !(at_commissioning.value > 0))
        throw BadInput("a loss needs powers above 0; given " + text_of(now.value) + " now and " +
                       text_of(at_commissioning.value) + " at commissioning");
    auto const kept = ratio_of(now, at_commissioning, level);
    for (double const slip : {1000.0, 0.001})
        if (kept.ratio.value > slip / 2 && kept.ratio.value < slip * 2)
            throw BadInput("the power now is " + text_of(kept.ratio.value) +
                           " times that at commissioning: one of them looks like kilowatts given as watts");
    WindowLoss loss{{1 - kept.ratio.value, kept.ratio.deviation, kept.ratio.degrees_of_freedom},
                    {1 - kept.bounds.high, 1 - kept.bounds.low},
                    level,
                    ""};
    std::string const range = " % of the power of commissioning (" + text_of(100 * loss.bounds.low) + " to " +
                              text_of(100 * loss.bounds.high) + " % at " + text_of(100 * level) + " %)";
    if (loss.bounds.low > 0)
        loss.words = "lost on the way: " + text_of(100 * loss.share.value) + range +
                     "; look at the protective window first";
    else if (loss.bounds.high < 0)
        loss.words = "gained: " + text_of(-100 * loss.share.value) +
                     " % of the power of commissioning: the meter, its place or the laser has changed";
    else
        loss.words = "no loss is told from none: " + text_of(100 * loss.share.value) + range;
    return loss;
}

/// When a window should be cleaned or changed, if its loss goes on as it did.
struct WindowForecast {
    Trend trend;       ///< of the share that still comes through, 1 at commissioning
    Leaving leaving;   ///< when it falls below what is allowed
    std::string words; ///< a maintenance forecast for a reader
};

/// From the shares of the commissioning's power found on dates since the window was last cleaned or changed,
/// and the least share that is allowed. A forecast is no permission: a window may be spoilt by one spatter
/// within one part. Throws BadInput for shares that are not above 0 or look like per cent, a least share
/// outside of (0, 1), and for what `trend_of` and `leaving` refuse.
inline WindowForecast window_forecast(std::vector<DatedValue> const& shares, double least_share, double today,
                                      double level = 0.95) {
    using detail::text_of;
    if (!(least_share > 0) || !(least_share < 1))
        throw BadInput("the least share that is allowed must be between 0 and 1; given " +
                       text_of(least_share));
    for (std::size_t i = 0; i < shares.size(); ++i)
        if (!(shares[i].value > 0) || shares[i].value > 2)
            throw BadInput("a share of " + text_of(shares[i].value) + " in row " + std::to_string(i + 1) +
                           " of a window's forecast must be above 0 and about 1" +
                           (shares[i].value > 2 ? "; is it in per cent?" : ""));
    // No gain counts as a fault of the window; only the lower limit can be met.
    auto trend = trend_of(shares, {least_share, std::numeric_limits<double>::infinity()});
    WindowForecast forecast{trend, trend.leaving(today, level), ""};
    auto const& leaving = forecast.leaving;
    std::string const note = "; a forecast, no permission: look at the window before that too";
    if (leaving.outside_now)
        forecast.words = "clean or change the window now: " + text_of(trend.line.at(today)) +
                         " of the power comes through, below " + text_of(least_share);
    else if (leaving.dates && leaving.bounded)
        forecast.words = "clean or change the window before " + text_of(leaving.dates->low) +
                         " (expected on " + text_of(trend.line.crossing(least_share, level).place) + ", " +
                         text_of(100 * level) + " % between " + text_of(leaving.dates->low) + " and " +
                         text_of(leaving.dates->high) + ")" + note;
    else if (leaving.dates)
        forecast.words = "no date can be given for the window yet, but it may be due from " +
                         text_of(leaving.dates->low) + " on" + note;
    else
        forecast.words = "the power that comes through does not fall towards " + text_of(least_share) + note;
    return forecast;
}

} // namespace seamhold

#endif
