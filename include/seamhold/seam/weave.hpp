#ifndef SEAMHOLD_SEAM_WEAVE_HPP
#define SEAMHOLD_SEAM_WEAVE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <cmath>
#include <cstdint>
#include <numbers>
#include <string>

namespace seamhold {

/// How a weave moves about the seam. With phase φ and amplitude A (across is to the left of travel):
enum class WeaveForm : std::uint8_t {
    sine,         ///< across A sin φ
    circle,       ///< across A sin φ, along −A cos φ: against the travel to the left's end, then with it
    figure_eight, ///< across A sin φ, along A/2 sin 2φ
    triangle      ///< across A asin(k sin φ) / asin k: straight flanks, rounded tips
};

/// Where a weave is, from the seam's own point: along the travel and across it, to the left, m.
template <class T> struct Swing {
    T along;
    T across;
};

/// A swing about the seam on top of its travel. Frequency and amplitude may grow (or fall) evenly with time;
/// the phase is 2π(f t + growth/2 · t²), 0 at the seam's start.
struct Weave {
    double frequency = 0;             ///< at the start, Hz
    double amplitude = 0;             ///< at the start, to each side, m
    WeaveForm form = WeaveForm::sine; ///< which way it goes
    double frequency_growth = 0;      ///< Hz/s
    double amplitude_growth = 0;      ///< m/s
    double tip = 0.1; ///< of the triangle: 0 would be a corner, 1 is a sine; above 0, 1 at most

    /// Whether there is any.
    constexpr bool moves() const { return amplitude != 0 || amplitude_growth != 0; }

    /// Whether it also swings along the travel.
    constexpr bool runs_along() const {
        return moves() && (form == WeaveForm::circle || form == WeaveForm::figure_eight);
    }

    /// The highest frequency between the start and `duration` s after it, Hz.
    double highest_frequency(double duration) const {
        return std::max(frequency, frequency + frequency_growth * duration);
    }

    /// The largest amplitude between the start and `duration` s after it, m.
    double largest_amplitude(double duration) const {
        return std::max(std::abs(amplitude), std::abs(amplitude + amplitude_growth * duration));
    }

    /// Where the weave is `time` s after the seam's start.
    template <class T> [[gnu::always_inline]] Swing<T> at(T const& time) const {
        auto const constant = [](double x) { return detail::factor<T>(x); };
        constexpr double turn = 2 * std::numbers::pi;
        T phase = time * constant(turn * frequency);
        if (frequency_growth != 0)
            phase = phase + sqr(time) * constant(std::numbers::pi * frequency_growth);
        T size = number_cast<T>(amplitude);
        if (amplitude_growth != 0)
            size = size + time * constant(amplitude_growth);
        auto const both = sin_cos(phase);
        switch (form) {
        case WeaveForm::circle:
            return {-(both.cos * size), both.sin * size};
        case WeaveForm::figure_eight:
            return {both.sin * both.cos * size, both.sin * size};
        case WeaveForm::triangle: {
            using std::sqrt;
            double const k2 = 1 - tip * tip; // k², so that asin's slope at a tip is 1 / tip
            if (k2 > 0) {
                double const k = std::sqrt(k2);
                T const root = sqrt(sqr(both.cos) * constant(k2) + constant(tip * tip));
                return {number_cast<T>(0),
                        atan_ratio(both.sin * constant(k), root) * size * constant(1 / std::asin(k))};
            }
            break;
        }
        case WeaveForm::sine:
            break;
        }
        return {number_cast<T>(0), both.sin * size};
    }
};

/// A weave as given, checked for a seam of a duration, s. Throws BadInput for numbers that are not finite, a
/// frequency or amplitude below 0 at the start or the end, a tip that is not above 0 and at most 1.
inline Weave checked(Weave const& weave, double duration) {
    auto const refuse = [](std::string const& name, double given, std::string const& allowed) {
        throw BadInput("a weave's " + name + " of " + detail::text_of(given) +
                       " is not possible: it must be " + allowed);
    };
    double const end_frequency = weave.frequency + weave.frequency_growth * duration;
    double const end_amplitude = weave.amplitude + weave.amplitude_growth * duration;
    if (!(weave.frequency >= 0) || !is_finite(weave.frequency))
        refuse("frequency (Hz)", weave.frequency, "0 or more");
    if (!(end_frequency >= 0) || !is_finite(end_frequency))
        refuse("frequency (Hz) at the end", end_frequency, "0 or more");
    if (!(weave.amplitude >= 0) || !is_finite(weave.amplitude))
        refuse("amplitude (m)", weave.amplitude, "0 or more");
    // A last bit below 0 is a weave that dies out.
    if (!(end_amplitude >= -1e-12 * weave.amplitude) || !is_finite(end_amplitude))
        refuse("amplitude (m) at the end", end_amplitude, "0 or more");
    if (!(weave.tip > 0 && weave.tip <= 1))
        refuse("tip", weave.tip, "above 0 and 1 at most");
    return weave;
}

} // namespace seamhold

#endif
