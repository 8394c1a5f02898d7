// How a weave swings about a seam.
#ifndef TRAY_WEAVE_HPP
#define TRAY_WEAVE_HPP

#include "space.hpp"

#include <cmath>

namespace tray {

/// Metres from the seam's own point, along the travel and to its left.
struct Offset {
    double along, across;
};

enum class Swing { across, circle, eight, teeth };

/// A swing that starts towards the left when the seam starts. Frequency and amplitude run evenly in time from
/// their start to their end. Teeth: the slope of asin at their tips is 1 / tip.
struct Weave {
    double frequency, amplitude_mm; // Hz, millimetres to each side
    Swing swing = Swing::across;
    double end_frequency = frequency, end_amplitude_mm = amplitude_mm;
    double tip = 0.1;
};

/// Where a weave is some time after the start of a seam of a duration.
inline Offset offset(Weave const& weave, double since, double duration) {
    double const share = since / duration;
    // The turns so far: the mean of the frequency so far, times the time.
    double const turns = since * (weave.frequency + share / 2 * (weave.end_frequency - weave.frequency));
    double const phase = 2 * pi * turns;
    double const size = 0.001 * (weave.amplitude_mm + share * (weave.end_amplitude_mm - weave.amplitude_mm));
    switch (weave.swing) {
    case Swing::circle:
        return {-size * std::cos(phase), size * std::sin(phase)};
    case Swing::eight:
        return {size / 2 * std::sin(2 * phase), size * std::sin(phase)};
    case Swing::teeth: {
        double const k = std::sqrt(1 - weave.tip * weave.tip);
        return {0, size * std::asin(k * std::sin(phase)) / std::asin(k)};
    }
    case Swing::across:
        break;
    }
    return {0, size * std::sin(phase)};
}

} // namespace tray

#endif
