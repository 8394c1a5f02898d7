#ifndef SEAMHOLD_HEAD_AXIS_RESPONSE_HPP
#define SEAMHOLD_HEAD_AXIS_RESPONSE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/taylor.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

namespace seamhold {

/// How an axis answers a steady wave of one frequency.
struct FrequencyPoint {
    double frequency; ///< Hz
    double gain;      ///< amplitude answered over amplitude commanded
    double phase;     ///< of the answer against the command, rad; negative is late. Whole turns do not count
};

/// How an axis (a mirror, the focus) answers its command: with a delay and as a system of second order whose
/// gain at rest is 1, H(s) = e^(−s·delay) / (1 + first·s + second·s²). For a natural frequency ω and a
/// damping ζ, first = 2ζ/ω and second = 1/ω². All zero: it answers at once.
struct AxisResponse {
    double delay;  ///< s; holding a command until the next adds half a tick
    double first;  ///< s
    double second; ///< s²

    /// An axis that answers late by so many s and is otherwise exact. Throws BadInput for a delay that is
    /// negative or not finite.
    static AxisResponse pure_delay(double delay) {
        if (!(delay >= 0) || !is_finite(delay))
            throw BadInput("an axis's delay (s) of " + detail::text_of(delay) +
                           " is not possible: it must be 0 or above and finite");
        return {delay, 0, 0};
    }

    /// From the natural frequency without damping, Hz, the damping ratio ζ, and a delay, s. Throws BadInput
    /// for a frequency that is not above 0, a negative damping or delay, and what is not finite.
    static AxisResponse second_order(double natural_frequency, double damping, double delay) {
        if (!(natural_frequency > 0) || !is_finite(natural_frequency))
            throw BadInput("an axis's natural frequency (Hz) of " + detail::text_of(natural_frequency) +
                           " is not possible: it must be above 0 and finite");
        if (!(damping >= 0) || !is_finite(damping))
            throw BadInput("an axis's damping ratio of " + detail::text_of(damping) +
                           " is not possible: it must be 0 or above and finite");
        double const omega = 2 * std::numbers::pi * natural_frequency;
        return {pure_delay(delay).delay, 2 * damping / omega, 1 / sqr(omega)};
    }

    /// The command, in the axis's unit, that makes the axis answer y: u(t) = y(t + delay) + first·y′(t +
    /// delay)
    /// + second·y″(t + delay). Give y as it shall be `delay` s after the command goes out, with its
    /// derivatives by time; two orders are used up. For y with just two the result is a plain number.
    template <class S, int N>
    requires(N >= 2) [[gnu::always_inline]] constexpr auto commanded(Taylor<S, N> const& y) const {
        Taylor<S, N - 2> u;
        detail::unroll<0, N - 1>([&](auto k) {
            u.coefficient[k] = y.coefficient[k] + y.coefficient[k + 1] * detail::factor<S>((k + 1) * first) +
                               y.coefficient[k + 2] * detail::factor<S>((k + 2) * (k + 1) * second);
        });
        if constexpr (N == 2)
            return u.coefficient[0];
        else
            return u;
    }

    /// Gain and phase at a frequency, Hz; the phase from −π to π. At an undamped natural frequency the gain
    /// is infinite.
    FrequencyPoint at(double frequency) const {
        double const omega = 2 * std::numbers::pi * frequency;
        std::complex<double> const inverse(1 - second * sqr(omega), first * omega);
        double const turn = -omega * delay - std::arg(inverse);
        return {frequency, 1 / std::abs(inverse), std::remainder(turn, 2 * std::numbers::pi)};
    }
};

static_assert(std::is_trivially_copyable_v<AxisResponse>);

/// A response fitted to measured points, and how well it fits.
struct AxisResponseFit {
    AxisResponse response;
    double worst_gain;            ///< the largest of |fitted / measured gain − 1|
    double worst_gain_frequency;  ///< where that is, Hz
    double worst_phase;           ///< the largest difference of phase, rad
    double worst_phase_frequency; ///< where that is, Hz
    double lowest;                ///< the band that was measured, Hz: outside it the fit is a guess
    double highest;
};

namespace detail {

/// first, second and the sum of squares that is left, for a delay that is given. With z = e^(−iω·delay)/H ≈
/// 1 + iω·first − ω²·second the real part gives `second` and the imaginary part `first`, each alone; no
/// axis that holds still has either below 0. Every point counts by its own share: errors of 1/H are weighed
/// by |H|.
struct DelayFit {
    AxisResponse response;
    double squares;

    DelayFit(std::span<FrequencyPoint const> points, double delay) : response{delay, 0, 0}, squares(0) {
        double by_first = 0, by_second = 0, first = 0, second = 0;
        for (auto const& p : points) {
            double const omega = 2 * std::numbers::pi * p.frequency, turn = -p.phase - omega * delay;
            first += p.gain * omega * std::sin(turn);
            by_first += sqr(p.gain * omega);
            second += p.gain * sqr(omega) * (p.gain - std::cos(turn));
            by_second += sqr(p.gain * sqr(omega));
        }
        response.first = std::max(0.0, first / by_first);
        response.second = std::max(0.0, second / by_second);
        for (auto const& p : points) {
            double const omega = 2 * std::numbers::pi * p.frequency, turn = -p.phase - omega * delay;
            squares += sqr(std::cos(turn) - p.gain * (1 - sqr(omega) * response.second)) +
                       sqr(std::sin(turn) - p.gain * omega * response.first);
        }
    }
};

/// The delay between low and high with the least sum of squares: golden section.
inline double best_delay(std::span<FrequencyPoint const> points, double low, double high) {
    double const golden = (std::sqrt(5.0) - 1) / 2;
    double a = high - golden * (high - low), b = low + golden * (high - low);
    double at_a = DelayFit(points, a).squares, at_b = DelayFit(points, b).squares;
    for (int i = 0; i < 60; ++i)
        if (at_a < at_b) {
            high = b;
            b = a;
            at_b = at_a;
            a = high - golden * (high - low);
            at_a = DelayFit(points, a).squares;
        } else {
            low = a;
            a = b;
            at_a = at_b;
            b = low + golden * (high - low);
            at_b = DelayFit(points, b).squares;
        }
    return (low + high) / 2;
}

inline void check_points(std::span<FrequencyPoint const> points, double longest_delay) {
    std::vector<double> frequencies;
    for (std::size_t i = 0; i < points.size(); ++i) {
        auto const refuse = [i](std::string const& what, double given, std::string const& allowed) {
            std::string text = "row ";
            text += std::to_string(i);
            text += " of a measured response: a ";
            text += what;
            text += " of ";
            text += text_of(given);
            text += " is not possible: it must be ";
            text += allowed;
            throw BadInput(text);
        };
        if (!(points[i].frequency > 0) || !is_finite(points[i].frequency))
            refuse("frequency (Hz)", points[i].frequency, "above 0 and finite");
        if (!(points[i].gain > 0) || !is_finite(points[i].gain))
            refuse("gain", points[i].gain, "above 0 and finite");
        if (!is_finite(points[i].phase))
            refuse("phase (rad)", points[i].phase, "finite");
        frequencies.push_back(points[i].frequency);
    }
    std::sort(frequencies.begin(), frequencies.end());
    frequencies.erase(std::unique(frequencies.begin(), frequencies.end()), frequencies.end());
    if (frequencies.size() < 3)
        throw BadInput("a measured response of " + std::to_string(frequencies.size()) +
                       " different frequencies does not determine delay and second order: 3 are needed");
    if (!(longest_delay > 0) || !(longest_delay * frequencies.back() <= 1000))
        throw BadInput(
            "a longest delay (s) of " + text_of(longest_delay) +
            " cannot be searched: it must be above 0, and 1000 periods of the highest frequency at "
            "most");
}

} // namespace detail

/// The response that fits measured points best: weighted least squares of 1/H, each point by its own share;
/// the delay by a search from 0 to `longest_delay`, s, for each delay first and second in closed form. Points
/// may stand in any order. Throws BadInput, naming the row (counted from 0), for numbers that cannot be; for
/// fewer than three different frequencies; and where the points do not determine the delay: two delays fit
/// alike (frequencies too far apart), the best is the longest allowed, or so low a band that delay and
/// `first` look the same. What does not fit is in the result: look at `worst_gain` and `worst_phase`. Points
/// without errors are met to some 1e-8.
inline AxisResponseFit fitted_to(std::span<FrequencyPoint const> points, double longest_delay = 0.005) {
    using detail::DelayFit;
    detail::check_points(points, longest_delay);
    auto const [lowest, highest] = std::minmax_element(
        points.begin(), points.end(), [](auto const& a, auto const& b) { return a.frequency < b.frequency; });
    double const step = std::min(1 / (16 * highest->frequency), longest_delay / 16);
    auto const steps = static_cast<std::size_t>(std::ceil(longest_delay / step));
    std::vector<double> squares;
    for (std::size_t i = 0; i <= steps; ++i)
        squares.push_back(DelayFit(points, step * static_cast<double>(i)).squares);
    // All valleys: the best, and the best of the others.
    double best = 0, other = 0, least = std::numeric_limits<double>::infinity(), next = least;
    for (std::size_t i = 0; i <= steps; ++i) {
        if ((i > 0 && squares[i - 1] < squares[i]) || (i < steps && squares[i + 1] <= squares[i]))
            continue;
        double const at = step * static_cast<double>(i);
        double const delay = detail::best_delay(points, std::max(0.0, at - step), at + step);
        double const left = DelayFit(points, delay).squares;
        if (left < next) {
            next = left;
            other = delay;
        }
        if (next < least) {
            std::swap(next, least);
            std::swap(other, best);
        }
    }
    auto const count = static_cast<double>(points.size());
    // Sums of squares of n terms scatter by some √(2/n) of themselves; errors below 1e-6 are none.
    if (next < 2 * least + 1e-12 * count)
        throw BadInput("the measured points do not determine the delay: " + detail::text_of(best) +
                       " s and " + detail::text_of(other) +
                       " s fit alike; measure at more frequencies, closer together, or allow less");
    if (best > longest_delay - step)
        throw BadInput("the measured points ask for a delay of more than the longest allowed, " +
                       detail::text_of(longest_delay) + " s");
    // How much worse the fit gets when the delay is off by a hundredth of the shortest period and the rest
    // makes up for it: it must show above what is left.
    double const off = 0.01 / highest->frequency;
    if (DelayFit(points, best + off).squares - least < least / count + 1e-16 * count)
        throw BadInput("the measured points do not determine the delay: a fit that leaves " +
                       detail::text_of(std::sqrt(least / count)) +
                       " of the gain cannot tell it from a damping; measure at higher frequencies or more "
                       "exactly, and look whether the gain at rest is 1");
    AxisResponseFit fit{DelayFit(points, best).response, 0, 0, 0, 0, lowest->frequency, highest->frequency};
    for (auto const& p : points) {
        auto const fitted = fit.response.at(p.frequency);
        double const gain = std::abs(fitted.gain / p.gain - 1);
        double const phase = std::abs(std::remainder(fitted.phase - p.phase, 2 * std::numbers::pi));
        if (gain >= fit.worst_gain) {
            fit.worst_gain = gain;
            fit.worst_gain_frequency = p.frequency;
        }
        if (phase >= fit.worst_phase) {
            fit.worst_phase = phase;
            fit.worst_phase_frequency = p.frequency;
        }
    }
    return fit;
}

} // namespace seamhold

#endif
