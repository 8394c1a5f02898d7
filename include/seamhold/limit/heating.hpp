#ifndef SEAMHOLD_LIMIT_HEATING_HPP
#define SEAMHOLD_LIMIT_HEATING_HPP

#include "seamhold/number/enclose.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

/// What mirrors' motors take on as heat: means of squared accelerations, between bounds.
namespace seamhold {

/// The squared acceleration of a mirror over a step of time: ∫ θ″² dt, rad²/s³, between bounds.
struct SquareStep {
    double from; ///< s
    double to;   ///< s
    Interval square;
};

namespace detail {

/// Adds an enclosed acceleration over a stretch as steps that are no longer than `longest`, s.
template <int N>
void add_square_steps(std::vector<SquareStep>& steps, Enclosure<N> const& acceleration, TimeSpan const& time,
                      double longest, int depth = 12) {
    if (depth > 0 && time.to - time.from > longest) {
        auto const halves = acceleration.halves();
        double const middle = time.middle();
        add_square_steps(steps, halves.first, {time.from, middle}, longest, depth - 1);
        add_square_steps(steps, halves.second, {middle, time.to}, longest, depth - 1);
        return;
    }
    // Halves begin and end at rounded times: a few units in their last place.
    Interval const off = Interval::about(0, 1e-15 * (std::abs(time.from) + std::abs(time.to)));
    Interval const half = (Interval(time.to) - Interval(time.from) + off) * 0.5;
    Interval const square = acceleration.integral_of_square() * half;
    steps.push_back({time.from, time.to, {greater(square.low, 0), square.high}});
}

} // namespace detail

/// The largest root mean square over a window.
struct LargestMean {
    Interval root;   ///< rad/s²
    double end_time; ///< of the window that has the lower bound, s
};

/// The largest root mean square over any window of a length, s, between the first step's start and the last
/// one's end, between bounds; over all of it where the window is 0 or longer. Steps follow each other without
/// gaps. The bounds lie apart by what the steps' own bounds do, and by two steps' share of the window.
inline LargestMean largest_mean(std::vector<SquareStep> const& steps, double window) {
    if (steps.empty())
        return {0, 0};
    double const all = steps.back().to - steps.front().from;
    double const length = window > 0 && window < all ? window : all;
    // Sums from the start; differences of them are off by rounding of the whole.
    std::vector<double> most{0}, least{0};
    for (auto const& step : steps) {
        most.push_back(most.back() + step.square.high);
        least.push_back(least.back() + step.square.low);
    }
    double const slack = 4 * static_cast<double>(steps.size()) * detail::half_unit * most.back();
    double high = 0, low = 0, end_time = steps.back().to;
    std::size_t first = 0, inside = 0; // the steps that hold the window's start; the first wholly inside
    for (std::size_t end = 1; end <= steps.size(); ++end) {
        // Windows that end in step end − 1 start no earlier than this one's start less the length.
        while (first + 1 < end && steps[first].to <= steps[end - 1].from - length)
            ++first;
        high = std::max(high, most[end] - most[first]);
        double const begin = steps[end - 1].to - length;
        while (inside < end && steps[inside].from < begin - 1e-12 * length)
            ++inside;
        double const sum = least[end] - least[inside];
        if (begin >= steps.front().from - 1e-9 * length && sum > low) {
            low = sum;
            end_time = steps[end - 1].to;
        }
    }
    Interval const mean = Interval(std::max(0.0, low - slack), high + slack) / Interval(length);
    return {sqrt(mean), end_time};
}

/// A first-order model of a motor's heat: its excess θ, in units of the squared acceleration that would hold
/// it, follows θ′ = (θ″² − θ) / time constant. Common practice, no source.
class MotorHeat {
public:
    /// With a time constant, s, above 0, from an excess, rad²/s⁴.
    MotorHeat(double time_constant, Interval const& start) : time_constant_(time_constant), excess_(start) {}

    /// Takes a step: how much has come in is known, when within it is not. The largest excess within it is
    /// remembered.
    void add(SquareStep const& step) { add(Interval(step.to) - Interval(step.from), step.square); }

    /// The same by its length, s, and its ∫ θ″² dt, rad²/s³.
    void add(Interval const& length, Interval const& square) {
        Interval const left = exp(-(length / Interval(time_constant_)));
        Interval const in = square / Interval(time_constant_);
        peak_ = hull(peak_, Interval(peak_.low, detail::greater(peak_.high, (excess_ + in).high)));
        excess_ = excess_ * left + in * hull(left, Interval(1));
        peak_.low = detail::greater(peak_.low, excess_.low);
        peak_.high = detail::greater(peak_.high, peak_.low);
    }

    /// The excess now, rad²/s⁴.
    Interval const& excess() const { return excess_; }

    /// The largest since the last `forget_peak`, rad²/s⁴.
    Interval const& peak() const { return peak_; }

    /// From now on the peak is sought anew.
    void forget_peak() { peak_ = excess_; }

private:
    double time_constant_;
    Interval excess_;
    Interval peak_ = 0;
};

/// ∫ θ″² dt of the quickest turn from rest to rest through an angle, rad, at full acceleration and braking,
/// rad²/s³; at most that of full acceleration for all of a time, s.
inline double quickest_turn_square(double angle, double velocity, double acceleration, double time) {
    double const way = std::abs(angle);
    double const accelerating = way * acceleration < velocity * velocity ? 2 * std::sqrt(way / acceleration)
                                                                         : 2 * velocity / acceleration;
    return acceleration * acceleration * std::min(accelerating, std::max(0.0, time));
}

} // namespace seamhold

#endif
