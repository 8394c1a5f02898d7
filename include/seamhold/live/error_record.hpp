#ifndef SEAMHOLD_LIVE_ERROR_RECORD_HPP
#define SEAMHOLD_LIVE_ERROR_RECORD_HPP

#include "seamhold/live/forecast.hpp"
#include "seamhold/live/spot_course.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <type_traits>

namespace seamhold {

namespace detail {
/// The radius that three independent normal numbers of variance 1 stay within with a probability:
/// erf(x/√2) − √(2/π)·x·exp(−x²/2) of it, solved by halving.
inline double ellipsoid_factor(double probability) {
    double low = 0;
    double high = 10;
    for (int i = 0; i < 60; ++i) {
        double const x = (low + high) / 2;
        double const within = std::erf(x * std::numbers::sqrt2 / 2) -
                              std::sqrt(2 * std::numbers::inv_pi) * x * std::exp(-x * x / 2);
        (within < probability ? low : high) = x;
    }
    return (low + high) / 2;
}

/// eᵀ·M⁻¹·e for second moments xx, yy, zz, xy, xz, yz, to which (1 nm)² and 1e-9 of their sum are added on
/// each axis, so that flat ones serve too.
inline double squared_length_in(double const (&m)[6], double const (&e)[3]) {
    double const floor = 1e-18 + 1e-9 * (m[0] + m[1] + m[2]);
    // Cholesky, with the solution on the way
    double const xx = std::sqrt(m[0] + floor);
    double const yx = m[3] / xx;
    double const zx = m[4] / xx;
    double const yy = std::sqrt(std::max(m[1] + floor - yx * yx, floor));
    double const zy = (m[5] - zx * yx) / yy;
    double const zz = std::sqrt(std::max(m[2] + floor - zx * zx - zy * zy, floor));
    double const a = e[0] / xx;
    double const b = (e[1] - yx * a) / yy;
    double const c = (e[2] - zx * a - zy * b) / zz;
    return a * a + b * b + c * c;
}
} // namespace detail

/// What an `ErrorRecord` is made from.
struct ErrorRecordSettings {
    double step;            ///< from one horizon to the next, s; the last is eight times as far
    double period;          ///< usual time between samples, s
    double coverage = 0.99; ///< how often the stated bound is to hold, in all directions at once
    double samples = 250;   ///< the record is the mean over about so many
};

/// States how wrong forecasts of the spot are expected to be, from how wrong the past ones were. Each course
/// is kept until samples have come up to its last horizon, and compared with the path through the samples.
///
/// The stated second moments at a horizon are min(c², 1)·M + c²·S. M is what the predictor thinks, and reacts
/// to a change of motion within a sample or two. S is what was left over in the record, such as from
/// accelerations that nobody could foresee: the mean of e·eᵀ over some 250 samples, less the mean of M and of
/// the samples' noise, all axes alike, and no less than a twentieth. c is chosen by result: at each forecast
/// that lay further off than stated, the sample's noise allowed for, it grows by 5 %, at each other it falls
/// by so little that the two balance at the coverage asked for (I. Gibbs and E. Candès, Adaptive conformal
/// inference under distribution shift, 2021, from memory: the share of misses then goes to what is asked for,
/// whatever the errors are distributed like). It is that share over some time; right after a change of motion
/// that nothing in the record is like, more is missed.
///
/// A forecast lies further off than stated where e leaves the ellipsoid factor·√(stated moments): along every
/// single direction the bound holds at least as often.
///
/// No heap, no exception, trivially copyable. Up to 64 courses are kept.
class ErrorRecord {
public:
    /// Empty. Throws BadInput for a step, period or number of samples that is not above 0, for a last horizon
    /// of more than 60 periods, or for a coverage that is not between 0.5 and 0.9999.
    explicit ErrorRecord(ErrorRecordSettings const& settings) : settings_(settings) {
        auto const refuse = [](char const* what, double given, char const* allowed) {
            throw BadInput(std::string("error record: ") + what + " is " + detail::text_of(given) +
                           ", but must be " + allowed);
        };
        if (!(settings.step > 0) || !is_finite(settings.step))
            refuse("step", settings.step, "above 0");
        if (!(settings.period > 0) || !is_finite(settings.period))
            refuse("period", settings.period, "above 0");
        if (static_cast<double>(count) * settings.step > 60 * settings.period)
            refuse("step", settings.step, "at most 7.5 periods");
        if (!(settings.coverage >= 0.5 && settings.coverage <= 0.9999))
            refuse("coverage", settings.coverage, "0.5 to 0.9999");
        if (!(settings.samples >= 1) || !is_finite(settings.samples))
            refuse("samples", settings.samples, "at least 1");
        factor_ = detail::ellipsoid_factor(settings.coverage);
    }

    /// Forgets the courses that are under way, for a stream that begins anew; what was learnt of errors is
    /// kept.
    void restart() {
        kept_ = 0;
        seen_ = 0;
    }

    /// Takes in the newest sample with the course that is foretold from it, and states the course's error.
    /// A course whose sample is not later than the newest is not recorded.
    SpotError add(SpotCourse const& course) {
        if (seen_ == 0 || course.newest > time_[0]) {
            for (std::size_t i = 2; i > 0; --i) {
                time_[i] = time_[i - 1];
                place_[i] = place_[i - 1];
            }
            time_[0] = course.newest;
            place_[0] = course.seen;
            seen_ = std::min(seen_ + 1, 3);
            // not across gaps: what was between is not known
            if (seen_ == 3 && time_[0] - time_[1] < 2.5 * settings_.period &&
                time_[1] - time_[2] < 2.5 * settings_.period)
                for (int back = 0; back < kept_; ++back)
                    compare(courses_[(last_ + capacity - back) % capacity], course.noise);
            keep(course);
        }
        return stated(course);
    }

    /// Whether each horizon was compared 50 times, without which nothing can be stated.
    bool ready() const { return *std::min_element(compared_, compared_ + count) >= 50; }

    /// The settings that it was made from.
    ErrorRecordSettings const& settings() const { return settings_; }

private:
    static constexpr std::size_t count = SpotError::count;
    static constexpr int capacity = 64;
    static constexpr double growth = 0.1;      // of c² at a miss
    static constexpr double least_left = 0.05; // of what was seen, that S is

    struct Kept {
        RobotTime newest;
        Point<Cell> place[count];
        double model[count][6];
    };

    void keep(SpotCourse const& course) {
        last_ = (last_ + 1) % capacity;
        kept_ = std::min(kept_ + 1, capacity);
        Kept& kept = courses_[last_];
        kept.newest = course.newest;
        for (std::size_t k = 0; k < count; ++k) {
            kept.place[k] = course.place[k];
            for (std::size_t i = 0; i < 6; ++i)
                kept.model[k][i] = course.moment[k][i];
        }
    }

    static double trace(double const (&m)[6]) { return m[0] + m[1] + m[2]; }

    // Second moments to state at a horizon.
    std::array<double, 6> expected(std::size_t k, double const (&model)[6]) const {
        double const squares = trace(square_[k]);
        double const left = squares - trace(explained_[k]);
        double const share = scale_[k] * std::max(squares > 0 ? left / squares : 0, least_left);
        double const own = std::min(scale_[k], 1.0);
        std::array<double, 6> r;
        for (std::size_t i = 0; i < 6; ++i)
            r[i] = own * model[i] + share * square_[k][i];
        return r;
    }

    SpotError stated(SpotCourse const& course) const {
        SpotError error{};
        error.step = settings_.step;
        error.factor = factor_;
        for (std::size_t k = 0; k < count; ++k) {
            auto const r = expected(k, course.moment[k]);
            for (std::size_t i = 0; i < 6; ++i)
                error.moment[k][i] = r[i];
            if (k > 0 && trace(error.moment[k]) < trace(error.moment[k - 1]))
                std::copy(error.moment[k - 1], error.moment[k - 1] + 6, error.moment[k]);
        }
        return error;
    }

    // Compares a course with the parabola through the last three samples, at horizons that lie between the
    // last two.
    void compare(Kept const& kept, double const (&noise)[6]) {
        for (std::size_t k = 0; k < count; ++k) {
            double const t = kept.newest.seconds + static_cast<double>(k + 1) * settings_.step;
            double const tiny = 1e-6 * settings_.period; // a horizon at a sample counts with that sample
            if (!(t > time_[1].seconds + tiny && t <= time_[0].seconds + tiny))
                continue;
            double weight[3];
            double squares = 0;
            for (std::size_t i = 0; i < 3; ++i) {
                weight[i] = 1;
                for (std::size_t j = 0; j < 3; ++j)
                    if (j != i)
                        weight[i] *= (t - time_[j].seconds) / (time_[i] - time_[j]);
                squares += weight[i] * weight[i];
            }
            double e[3] = {-kept.place[k].x, -kept.place[k].y, -kept.place[k].z};
            for (std::size_t i = 0; i < 3; ++i) {
                e[0] += weight[i] * place_[i].x;
                e[1] += weight[i] * place_[i].y;
                e[2] += weight[i] * place_[i].z;
            }
            if (is_finite(e[0] * e[0] + e[1] * e[1] + e[2] * e[2]))
                learn(k, e, kept.model[k], noise, squares);
        }
    }

    void learn(std::size_t k, double const (&e)[3], double const (&model)[6], double const (&noise)[6],
               double share) {
        auto const r = expected(k, model);
        double all[6];
        for (std::size_t i = 0; i < 6; ++i)
            all[i] = r[i] + share * noise[i];
        bool const miss = detail::squared_length_in(all, e) > factor_ * factor_;
        double const missing = 1 - settings_.coverage;
        scale_[k] *= miss ? 1 + growth : 1 - growth * missing / settings_.coverage;
        scale_[k] = std::clamp(scale_[k], 0.01, 1000.0);
        compared_[k] = std::min(compared_[k] + 1, std::max(50.0, settings_.samples));
        double const n = std::min(compared_[k], settings_.samples);
        double const square[6] = {e[0] * e[0], e[1] * e[1], e[2] * e[2],
                                  e[0] * e[1], e[0] * e[2], e[1] * e[2]};
        for (std::size_t i = 0; i < 6; ++i) {
            square_[k][i] += (square[i] - square_[k][i]) / n;
            explained_[k][i] += (model[i] + share * noise[i] - explained_[k][i]) / n;
        }
    }

    ErrorRecordSettings settings_;
    double factor_ = 0;
    double scale_[count] = {2, 2, 2, 2, 2, 2, 2, 2}; // c²; cautious before anything was learnt
    double square_[count][6] = {};                   // mean of e·eᵀ
    double explained_[count][6] = {}; // mean of what was thought of it, with the samples' noise
    double compared_[count] = {};
    Kept courses_[capacity] = {};
    int last_ = 0;
    int kept_ = 0;
    RobotTime time_[3] = {}; // of the newest samples, the newest first
    Point<Cell> place_[3] = {};
    int seen_ = 0;
};

static_assert(std::is_trivially_copyable_v<ErrorRecord>);

} // namespace seamhold

#endif
