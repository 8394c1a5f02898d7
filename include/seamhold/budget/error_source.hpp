#ifndef SEAMHOLD_BUDGET_ERROR_SOURCE_HPP
#define SEAMHOLD_BUDGET_ERROR_SOURCE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

/// What can be off between the command and the spot, as small numbers at fixed places of the chain, and the
/// sources that make them so.
namespace seamhold {

/// How many numbers can be off.
inline constexpr std::size_t error_numbers = 30;

/// All that is off at one moment, in the order of the light: head, mount, flange, part, face. 0 is as
/// believed.
template <class T = double> using ErrorNumbers = std::array<T, error_numbers>;

/// A stretch of the error numbers: where in the chain a source acts.
struct ErrorPlace {
    std::size_t first; ///< the first of its numbers
    std::size_t count; ///< how many
};

/// The mechanical angles of the x and the y mirror, rad.
inline constexpr ErrorPlace in_mirror_angles{0, 2};
/// The gains of the x and the y mirror: the angle is off by this share of what is commanded.
inline constexpr ErrorPlace in_mirror_gains{2, 2};
/// Angles and gains of both mirrors.
inline constexpr ErrorPlace in_mirrors{0, 4};
/// The displacement of the focusing lens, m.
inline constexpr ErrorPlace in_lens{4, 1};
/// The beam as a whole, shifted along the head's x and y, m.
inline constexpr ErrorPlace in_beam{5, 2};
/// The focus along the beam, at the work, m: positive farther from the head.
inline constexpr ErrorPlace in_focus{7, 1};
/// The head on the flange: turn (x, y, z), rad, then shift, m, in the head's own axes.
inline constexpr ErrorPlace on_head{8, 6};
/// The flange in the cell: turn, rad, then shift, m, in the flange's axes.
inline constexpr ErrorPlace on_flange{14, 6};
/// The flange's and the part's time, s: they are where they were believed to be this much later.
inline constexpr ErrorPlace in_clocks{20, 2};
/// The part in the cell: turn, rad, then shift, m, in the part's axes.
inline constexpr ErrorPlace on_part{22, 6};
/// The spot on the face, along and across the seam, m.
inline constexpr ErrorPlace on_face{28, 2};

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

/// An error number in words, "the turn of the flange about its x axis"; "" where there is none such.
inline std::string error_number_name(std::size_t number) {
    static constexpr std::array<char const*, error_numbers> names = {
        "the x mirror's angle",
        "the y mirror's angle",
        "the x mirror's gain",
        "the y mirror's gain",
        "the lens's displacement",
        "the beam's shift along the head's x axis",
        "the beam's shift along the head's y axis",
        "the focus along the beam",
        "the turn of the head about its x axis",
        "the turn of the head about its y axis",
        "the turn of the head about its z axis",
        "the shift of the head along its x axis",
        "the shift of the head along its y axis",
        "the shift of the head along its z axis",
        "the turn of the flange about its x axis",
        "the turn of the flange about its y axis",
        "the turn of the flange about its z axis",
        "the shift of the flange along its x axis",
        "the shift of the flange along its y axis",
        "the shift of the flange along its z axis",
        "the flange's time",
        "the part's time",
        "the turn of the part about its x axis",
        "the turn of the part about its y axis",
        "the turn of the part about its z axis",
        "the shift of the part along its x axis",
        "the shift of the part along its y axis",
        "the shift of the part along its z axis",
        "the spot's shift along the seam",
        "the spot's shift across the seam"};
    return number < error_numbers ? names[number] : "";
}

/// The unit of an error number: rad, m, s, or none for a gain.
constexpr char const* error_number_unit(std::size_t number) {
    auto const within = [number](ErrorPlace const& place) {
        return number >= place.first && number < place.first + place.count;
    };
    auto const turns = [number](ErrorPlace const& place) {
        return number >= place.first && number < place.first + 3;
    };
    if (within(in_clocks))
        return "s";
    if (within(in_mirror_gains))
        return "";
    return within(in_mirror_angles) || turns(on_head) || turns(on_flange) || turns(on_part) ? "rad" : "m";
}

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

/// One column of a root of a covariance, trimmed to what is not 0: the error numbers from `first` on move by
/// these factors times a number of variance 1.
struct ErrorColumn {
    std::size_t first;
    std::size_t count;
    std::array<double, 6> factors;

    /// What it does by sensitivities to the error numbers.
    double through(std::array<double, error_numbers> const& by) const {
        double sum = 0;
        for (std::size_t i = 0; i < count; ++i)
            sum += by[first + i] * factors[i];
        return sum;
    }

    /// Adds `times` of it to error numbers.
    void add_to(ErrorNumbers<>& e, double times) const {
        for (std::size_t i = 0; i < count; ++i)
            e[first + i] += times * factors[i];
    }
};

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

namespace detail {

/// The root of a checked source's covariance, without columns of zeros. A diagonal covariance keeps its
/// numbers apart; any other goes by the eigenvectors of its correlations.
inline std::vector<ErrorColumn> root_of(ErrorSource const& source) {
    auto const n = static_cast<Eigen::Index>(source.place.count);
    Eigen::VectorXd deviations(n);
    for (Eigen::Index i = 0; i < n; ++i)
        deviations(i) = source.deviation_of(static_cast<std::size_t>(i));
    Eigen::MatrixXd root = deviations.asDiagonal();
    if (!source.covariance.isDiagonal(0)) {
        Eigen::VectorXd const inverse = deviations.unaryExpr([](double s) { return s > 0 ? 1 / s : 0.0; });
        Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> const solver(
            Eigen::MatrixXd(inverse.asDiagonal() * source.covariance * inverse.asDiagonal()));
        Eigen::VectorXd const roots =
            solver.eigenvalues().unaryExpr([](double x) { return x > 1e-12 ? std::sqrt(x) : 0.0; });
        root = deviations.asDiagonal() * (solver.eigenvectors() * roots.asDiagonal());
    }
    std::vector<ErrorColumn> columns;
    for (Eigen::Index k = 0; k < n; ++k) {
        Eigen::Index first = 0, end = n;
        while (first < end && root(first, k) == 0)
            ++first;
        while (end > first && root(end - 1, k) == 0)
            --end;
        if (first == end)
            continue;
        ErrorColumn column{
            source.place.first + static_cast<std::size_t>(first), static_cast<std::size_t>(end - first), {}};
        for (Eigen::Index i = first; i < end; ++i)
            column.factors[static_cast<std::size_t>(i - first)] = root(i, k);
        columns.push_back(column);
    }
    return columns;
}

/// Checked sources with the roots of their covariances.
struct RootedSource {
    ErrorSource source;
    std::vector<ErrorColumn> root; ///< numbers = mean + Σ column · (independent number of variance 1)
};

/// Checks sources and takes roots. Throws BadInput for none, and for a name that stands twice.
inline std::vector<RootedSource> rooted(std::vector<ErrorSource> const& sources) {
    if (sources.empty())
        throw BadInput("a budget needs one error source or more");
    std::vector<RootedSource> result;
    for (auto const& source : sources) {
        for (auto const& other : result)
            if (other.source.name == source.name)
                throw BadInput("two error sources are named " + source.name);
        result.push_back({checked(source), root_of(source)});
    }
    return result;
}

} // namespace detail

} // namespace seamhold

#endif
