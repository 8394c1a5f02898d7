#ifndef SEAMHOLD_STATISTICS_QUANTILES_HPP
#define SEAMHOLD_STATISTICS_QUANTILES_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <boost/math/special_functions/beta.hpp>
#include <boost/math/special_functions/erf.hpp>
#include <boost/math/special_functions/gamma.hpp>

#include <algorithm>
#include <cmath>

namespace seamhold {

namespace detail {

/// Boost's special functions in doubles, never in long doubles: they compile and run faster so.
using QuantilePolicy = boost::math::policies::policy<boost::math::policies::promote_double<false>>;

inline void check_probability(double probability) {
    if (!(probability > 0 && probability < 1))
        throw BadInput("a probability must lie between 0 and 1; given " + text_of(probability));
}

inline void check_degrees(double degrees_of_freedom) {
    if (!(degrees_of_freedom > 0))
        throw BadInput("degrees of freedom must be above 0; given " + text_of(degrees_of_freedom));
}

/// The upper end of a two-sided interval of a confidence level: 0.975 for 0.95.
inline double upper_end(double level) {
    if (!(level > 0 && level < 1))
        throw BadInput("a confidence level must lie between 0 and 1; given " + text_of(level));
    return 0.5 + level / 2;
}

/// The probability that F is above a value. Of the two shares that make 1 the smaller is computed, so that
/// nothing is lost where the other is near 1.
inline double ratio_tail(double value, double above, double below) {
    double const part = above * value;
    if (!is_finite(part))
        return 0;
    return part < below ? boost::math::ibetac(above / 2, below / 2, part / (below + part), QuantilePolicy())
                        : boost::math::ibeta(below / 2, above / 2, below / (below + part), QuantilePolicy());
}

} // namespace detail

/// The value below which a standard normal variable stays with a probability in (0, 1). Accurate to 1e-14.
/// Throws BadInput for another probability.
inline double normal_quantile(double probability) {
    detail::check_probability(probability);
    return -std::sqrt(2.0) * boost::math::erfc_inv(2 * probability, detail::QuantilePolicy());
}

/// The same for Student's t with degrees of freedom above 0, whole or not; infinitely many give the normal
/// quantile. Throws BadInput for a probability outside (0, 1) or no degrees of freedom.
inline double student_quantile(double probability, double degrees_of_freedom) {
    detail::check_probability(probability);
    detail::check_degrees(degrees_of_freedom);
    if (degrees_of_freedom > 1e15)
        return normal_quantile(probability);
    // t² / (ν + t²) has the beta distribution of ½ and ν/2.
    double const tail = 2 * std::min(probability, 1 - probability);
    double rest = 0; // ν / (ν + t²)
    double const share =
        boost::math::ibetac_inv(0.5, degrees_of_freedom / 2, tail, &rest, detail::QuantilePolicy());
    double const t = std::sqrt(degrees_of_freedom * share / rest);
    return probability < 0.5 ? -t : t;
}

/// The same for χ². Throws BadInput as above.
inline double chi_squared_quantile(double probability, double degrees_of_freedom) {
    detail::check_probability(probability);
    detail::check_degrees(degrees_of_freedom);
    if (degrees_of_freedom > 1e9) { // E. Wilson and M. Hilferty, 1931: right to 1e-13 there
        double const ninth = 2 / (9 * degrees_of_freedom);
        double const root = 1 - ninth + normal_quantile(probability) * std::sqrt(ninth);
        return degrees_of_freedom * root * root * root;
    }
    return 2 * boost::math::gamma_p_inv(degrees_of_freedom / 2, probability, detail::QuantilePolicy());
}

/// The same for Fisher's F, the ratio of two mean squares with `above` and `below` degrees of freedom,
/// for probabilities from 1e-6 to 1 − 1e-6. Accurate to 1e-10. Throws BadInput as above.
inline double f_quantile(double probability, double above, double below) {
    detail::check_probability(probability);
    detail::check_degrees(above);
    detail::check_degrees(below);
    if (below > 1e15)
        return chi_squared_quantile(probability, above) / above;
    double rest = 0;
    double const share =
        probability < 0.5
            ? boost::math::ibeta_inv(above / 2, below / 2, probability, &rest, detail::QuantilePolicy())
            : boost::math::ibetac_inv(above / 2, below / 2, 1 - probability, &rest, detail::QuantilePolicy());
    return below * share / (above * rest);
}

/// The probability that |t| of Student's distribution is above |value|: small for what chance does not make.
inline double student_tails(double value, double degrees_of_freedom) {
    detail::check_degrees(degrees_of_freedom);
    if (degrees_of_freedom > 1e15)
        return boost::math::erfc(std::abs(value) / std::sqrt(2.0), detail::QuantilePolicy());
    return detail::ratio_tail(sqr(value), 1, degrees_of_freedom);
}

/// The probability that χ² is above a value ≥ 0.
inline double chi_squared_tail(double value, double degrees_of_freedom) {
    detail::check_degrees(degrees_of_freedom);
    if (!is_finite(value))
        return 0;
    return boost::math::gamma_q(degrees_of_freedom / 2, value / 2, detail::QuantilePolicy());
}

/// The probability that F, with `above` and `below` degrees of freedom, is above a value ≥ 0.
inline double f_tail(double value, double above, double below) {
    detail::check_degrees(above);
    detail::check_degrees(below);
    return below > 1e15 ? chi_squared_tail(value * above, above) : detail::ratio_tail(value, above, below);
}

} // namespace seamhold

#endif
