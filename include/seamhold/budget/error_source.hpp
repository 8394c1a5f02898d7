#ifndef SEAMHOLD_BUDGET_ERROR_SOURCE_HPP
#define SEAMHOLD_BUDGET_ERROR_SOURCE_HPP

#include "seamhold/budget/error_numbers.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>

/// What makes the numbers of `error_numbers.hpp` differ from 0.
namespace seamhold {

/// How long an error keeps its value.
enum class ErrorKind {
    systematic, ///< the same over the whole seam
    slow,       ///< drifts along the seam, see `ErrorSource::correlation_time`
    random      ///< another one at every point
};

/// How its values are spread about their mean.
enum class ErrorShape {
    normal, ///< the normal distribution
    uniform ///< evenly, as far as √3 deviations to each side and no farther; numbers independent
};

/// One source of errors. Sources are independent of each other; what belongs together is one source.
struct ErrorSource {
    std::string name;           ///< as reports show it
    ErrorPlace place;           ///< where it acts
    Eigen::MatrixXd covariance; ///< of the numbers of its place, in the squares and products of their units
    ErrorKind kind = ErrorKind::systematic;
    ErrorShape shape = ErrorShape::normal;
    Eigen::VectorXd mean = {};   ///< what is known and not corrected; empty for 0
    double correlation_time = 0; ///< slow ones: after it 1/e of the correlation is left, s

    /// The mean of number k of its place.
    double mean_of(std::size_t k) const {
        return mean.size() == 0 ? 0.0 : mean(static_cast<Eigen::Index>(k));
    }

    /// The deviation of number k of its place.
    double deviation_of(std::size_t k) const {
        auto const i = static_cast<Eigen::Index>(k);
        return std::sqrt(std::max(covariance(i, i), 0.0));
    }
};

namespace detail {

/// More than this is no small error, but a slip of units.
constexpr double plausible_error(std::size_t number) {
    std::string_view const unit = error_number_unit(number);
    return unit == "m" ? 0.1 : unit == "s" ? 0.5 : 0.2;
}

/// Throws BadInput about a source.
[[noreturn]] inline void refuse_source(ErrorSource const& source, std::string const& fault) {
    throw BadInput("error source " + (source.name.empty() ? "without a name" : source.name) + ": " + fault);
}

/// Throws BadInput where a deviation or a mean is not finite or is no small error.
inline void check_size(ErrorSource const& source, char const* what, std::size_t number, double size) {
    std::string const unit = error_number_unit(number);
    auto const in_words = [&](double x) { return text_of(x) + (unit.empty() ? "" : " " + unit); };
    if (!is_finite(size))
        refuse_source(source, std::string(what) + " of " + error_number_name(number) + " is not finite");
    if (std::abs(size) > plausible_error(number))
        refuse_source(source, std::string(what) + " of " + in_words(size) + " for " +
                                  error_number_name(number) + " is more than " +
                                  in_words(plausible_error(number)) +
                                  (unit == "m"     ? ": are these millimetres?"
                                   : unit == "rad" ? ": are these degrees or milliradians?"
                                   : unit == "s"   ? ": are these milliseconds or microseconds?"
                                                   : ": is this in percent?"));
}

} // namespace detail

/// A source as given, checked. Throws BadInput, naming the source: without a name, with a place that does not
/// exist or has more than 6 numbers, a covariance or mean of another size, numbers that are not finite, a
/// covariance that is not symmetric (to 1e-9 of its deviations) or has a negative eigenvalue (of the
/// correlations, below −1e-9; it is given), a deviation or mean that is too large for a small error and
/// rather a slip of units (0.1 m, 0.2 rad, 0.5 s, a gain of 0.2), a correlation time that is not above 0 for
/// a slow source, and uniform numbers that are correlated or drift slowly.
inline ErrorSource checked(ErrorSource const& source) {
    auto const n = static_cast<Eigen::Index>(source.place.count);
    auto const& c = source.covariance;
    if (source.name.empty())
        detail::refuse_source(source, "every source needs a name");
    if (source.place.count < 1 || source.place.count > 6 ||
        source.place.first + source.place.count > error_numbers)
        detail::refuse_source(source, "its place does not exist: numbers " +
                                          std::to_string(source.place.first) + " to " +
                                          std::to_string(source.place.first + source.place.count) + " of " +
                                          std::to_string(error_numbers) + ", at most 6 of them");
    auto const size = [](auto const& m) {
        return std::to_string(m.rows()) + " by " + std::to_string(m.cols());
    };
    if (c.rows() != n || c.cols() != n)
        detail::refuse_source(source, "its covariance is " + size(c) + "; its place has " +
                                          std::to_string(source.place.count) + " numbers");
    if (source.mean.size() != 0 && source.mean.size() != n)
        detail::refuse_source(source, "its mean has " + std::to_string(source.mean.size()) +
                                          " numbers; its place has " + std::to_string(source.place.count));
    for (std::size_t k = 0; k < source.place.count; ++k) {
        auto const i = static_cast<Eigen::Index>(k);
        for (Eigen::Index j = 0; j < n; ++j)
            if (!is_finite(c(i, j)))
                detail::refuse_source(source, "its covariance is not finite");
        if (c(i, i) < 0)
            detail::refuse_source(source, "the variance of " + error_number_name(source.place.first + k) +
                                              " is negative: " + detail::text_of(c(i, i)));
        detail::check_size(source, "a deviation", source.place.first + k, source.deviation_of(k));
        detail::check_size(source, "a mean", source.place.first + k, source.mean_of(k));
    }
    // Scaled to correlations, so that rad² and m² meet on one footing.
    Eigen::MatrixXd correlations = c;
    for (Eigen::Index i = 0; i < n; ++i)
        for (Eigen::Index j = 0; j < n; ++j) {
            double const scale = std::sqrt(c(i, i)) * std::sqrt(c(j, j));
            if (std::abs(c(i, j) - c(j, i)) > 1e-9 * scale)
                detail::refuse_source(source, "its covariance is not symmetric: " + detail::text_of(c(i, j)) +
                                                  " and " + detail::text_of(c(j, i)) + " at row " +
                                                  std::to_string(i) + ", column " + std::to_string(j) +
                                                  " and across from it");
            if (scale == 0 && c(i, j) != 0)
                detail::refuse_source(source, "its covariance is not one: row " + std::to_string(i) +
                                                  " and column " + std::to_string(j) +
                                                  " are correlated, but one of them has no variance");
            correlations(i, j) = scale > 0 ? c(i, j) / scale : 0.0;
            if (source.shape == ErrorShape::uniform && i != j && c(i, j) != 0)
                detail::refuse_source(source, "numbers that are spread evenly must not be correlated");
        }
    double const smallest =
        Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(correlations, Eigen::EigenvaluesOnly).eigenvalues()(0);
    if (smallest < -1e-9)
        detail::refuse_source(source,
                              "its covariance is not one: the smallest eigenvalue of its correlations "
                              "is " +
                                  detail::text_of(smallest) + ", and must not be negative");
    if (source.kind == ErrorKind::slow && source.shape == ErrorShape::uniform)
        detail::refuse_source(source,
                              "what drifts slowly is normal; only systematic and random numbers can be "
                              "spread evenly");
    if (source.kind == ErrorKind::slow &&
        (!(source.correlation_time > 0) || !is_finite(source.correlation_time)))
        detail::refuse_source(source, "a slow source needs a correlation time above 0; given was " +
                                          detail::text_of(source.correlation_time) + " s");
    return source;
}

} // namespace seamhold

#endif
