#ifndef SEAMHOLD_BEAM_ENERGY_HPP
#define SEAMHOLD_BEAM_ENERGY_HPP

#include "seamhold/beam/quality.hpp"

#include <string>
#include <vector>

namespace seamhold {

namespace detail {
/// A speed, or the least speed, 1 nm/s, that a division is asked for.
template <class T> T moving(T const& speed) {
    T const least = number_cast<T>(1e-9);
    return select(speed > least, speed, least);
}
} // namespace detail

/// Energy per length of seam, J/m: power, W, over the spot's speed on the seam, m/s. At a speed of 1 nm/s or
/// less, that of 1 nm/s: finite, and far beyond any limit.
template <class P, class V> Common<P, V> line_energy(P const& power, V const& speed) {
    using T = Common<P, V>;
    return number_cast<T>(power) / detail::moving(number_cast<T>(speed));
}

/// The power, W, that gives this line energy, J/m, at this speed, m/s.
template <class E, class V> Common<E, V> power_for_line_energy(E const& line_energy, V const& speed) {
    using T = Common<E, V>;
    return number_cast<T>(line_energy) * operand<T>(speed);
}

/// The speed, m/s, at which this power, W, gives this line energy, J/m, which must be above 0.
template <class P, class E> Common<P, E> speed_for_line_energy(P const& power, E const& line_energy) {
    using T = Common<P, E>;
    return number_cast<T>(power) / operand<T>(line_energy);
}

/// How long the spot covers a place of the seam, s: its extent along the seam, m, over its speed, m/s. At a
/// speed of 1 nm/s or less, as at 1 nm/s.
template <class D, class V> Common<D, V> interaction_time(D const& extent_along, V const& speed) {
    using T = Common<D, V>;
    return number_cast<T>(extent_along) / detail::moving(number_cast<T>(speed));
}

/// What a part of the beam's way takes from it.
struct Loss {
    std::string name; ///< of the part, for messages
    double share;     ///< of the power that reaches it, 0 to below 1
};

/// The share of the power that is left behind parts in a row: the product of 1 − share. 1 without parts.
/// Multiply a power by it to get what arrives at the work; divide by it to get what the laser must give.
/// Throws BadInput, naming the part, for a share that is not 0 or more and below 1.
inline double transmission(std::vector<Loss> const& losses) {
    double left = 1;
    for (auto const& loss : losses) {
        if (!(loss.share >= 0) || !(loss.share < 1))
            detail::refuse_beam("a loss in " + loss.name, loss.share, "0 or more and below 1");
        left *= 1 - loss.share;
    }
    return left;
}

} // namespace seamhold

#endif
