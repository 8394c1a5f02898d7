#ifndef SEAMHOLD_SEAM_POWER_HPP
#define SEAMHOLD_SEAM_POWER_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/interval.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace seamhold {

/// One row of a table of power by feed.
struct FeedPower {
    double feed;  ///< along the seam, m/s
    double power; ///< at the work, W
};

/// How a seam's power begins and ends.
struct PowerRamps {
    double rise = 0;        ///< from the seam's start, s
    double fall = 0;        ///< up to its end, s
    double start_share = 0; ///< of the power at the start
    double end_share = 0;   ///< of the power at the end
};

/// The laser power of a seam: by its feed, straight between the rows of a table and constant beyond its ends,
/// never below a floor under which the keyhole is lost; times ramps at both ends, which do go below the
/// floor.
class PowerLaw {
public:
    /// One power, W, at every feed.
    explicit PowerLaw(double power, PowerRamps const& ramps = {}) : PowerLaw({{0, power}}, 0, ramps) {}

    /// From one row or more with increasing feeds, a floor, W (0 for none), and ramps. Throws BadInput,
    /// naming the row (from 0), for feeds that do not increase, powers below 0, and ramps that are not
    /// possible.
    PowerLaw(std::vector<FeedPower> rows, double floor, PowerRamps const& ramps = {})
        : rows_(std::move(rows)), floor_(floor), ramps_(ramps) {
        if (rows_.empty())
            throw BadInput("a table of power by feed needs one row or more");
        for (std::size_t i = 0; i < rows_.size(); ++i) {
            auto const& row = rows_[i];
            if (!(row.feed >= 0) || !(row.power >= 0) || !is_finite(row.feed) || !is_finite(row.power))
                throw BadInput("row " + std::to_string(i) + " of a table of power by feed holds " +
                               detail::text_of(row.feed) + " m/s and " + detail::text_of(row.power) +
                               " W; both must be 0 or more");
            if (i > 0 && !(rows_[i - 1].feed < row.feed))
                throw BadInput(
                    "row " + std::to_string(i) +
                    " of a table of power by feed does not increase in feed: " + detail::text_of(row.feed) +
                    " m/s follows " + detail::text_of(rows_[i - 1].feed) + " m/s");
        }
        if (!(floor >= 0) || !is_finite(floor))
            throw BadInput("a floor of " + detail::text_of(floor) +
                           " W is not possible: it must be 0 or more");
        for (double const time : {ramps.rise, ramps.fall})
            if (!(time >= 0) || !is_finite(time))
                throw BadInput("a power ramp of " + detail::text_of(time) +
                               " s is not possible: it must be 0 or more");
        for (double const share : {ramps.start_share, ramps.end_share})
            if (!(share >= 0 && share <= 1))
                throw BadInput("a power ramp from " + detail::text_of(share) +
                               " of the power is not possible: it must be 0 to 1");
    }

    /// The power at a feed, m/s, without ramps, W.
    template <class F> Common<double, F> at_feed(F const& at) const {
        using T = Common<double, F>;
        T const feed = number_cast<T>(at);
        T power = number_cast<T>(rows_.front().power);
        for (std::size_t i = 0; i + 1 < rows_.size(); ++i) {
            auto const& from = rows_[i];
            auto const& to = rows_[i + 1];
            T const share = (feed - detail::factor<T>(from.feed)) / detail::factor<T>(to.feed - from.feed);
            T const between =
                share * detail::factor<T>(to.power - from.power) + detail::factor<T>(from.power);
            power = select(feed > from.feed, between, power);
            power = select(feed > to.feed, number_cast<T>(to.power), power);
        }
        return select(power < floor_, number_cast<T>(floor_), power);
    }

    /// Whether the power is the same at every feed.
    bool is_constant() const { return rows_.size() == 1; }

    /// The share of it that the ramps leave `time` s after the start of a seam of a duration, s.
    double ramp(double time, double duration) const {
        auto const part = [](double passed, double ramp, double share) {
            return passed >= ramp ? 1 : share + (1 - share) * std::max(0.0, passed / ramp);
        };
        return std::min(part(time, ramps_.rise, ramps_.start_share),
                        part(duration - time, ramps_.fall, ramps_.end_share));
    }

    /// Whether the ramps leave all of the power at that time.
    bool full(double time, double duration) const {
        return time >= ramps_.rise && duration - time >= ramps_.fall;
    }

    /// The floor, W.
    double floor() const { return floor_; }

    /// The ramps.
    PowerRamps const& ramps() const { return ramps_; }

private:
    std::vector<FeedPower> rows_;
    double floor_;
    PowerRamps ramps_;
};

} // namespace seamhold

#endif
