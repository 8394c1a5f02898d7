#ifndef SEAMHOLD_LIMIT_REPORT_HPP
#define SEAMHOLD_LIMIT_REPORT_HPP

#include "seamhold/limit/check.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace seamhold {

/// The most that was asked of one limit over a seam.
struct Peak {
    double utilisation = 0; ///< |value| / limit; 1 is the limit
    double value = 0;       ///< in SI units of the limit
    double allowed = 0;     ///< the limit, same units
    double time = 0;        ///< when, s of the robot's clock
    double arc_length = 0;  ///< where on the seam, m
};

/// What a sampled check found over one seam. It speaks for the reported motion at the sampled times and
/// proves nothing between them.
struct SeamReport {
    std::string name;
    double start;               ///< s
    double duration;            ///< s
    double length;              ///< m
    std::size_t samples = 0;    ///< how many were taken
    std::size_t unusable = 0;   ///< how many of them have no data, are behind the head, or not finite
    Status status = Status::ok; ///< the worst of all samples
    double status_time = 0;     ///< when that was first seen, s
    std::array<Peak, limit_count> peaks{}; ///< by limit; only of usable samples

    /// The peak of one limit.
    Peak const& peak(Limit limit) const { return peaks[static_cast<std::size_t>(limit)]; }

    /// The limit that is used most.
    Limit binding() const {
        std::size_t worst = 0;
        for (std::size_t i = 1; i < limit_count; ++i)
            if (peaks[i].utilisation > peaks[worst].utilisation)
                worst = i;
        return static_cast<Limit>(worst);
    }

    /// 1 − the largest utilisation; not above 0 when a limit is passed. Meaningless with unusable samples.
    double margin() const { return 1 - peak(binding()).utilisation; }

    /// Whether every sample was usable and no limit was passed.
    bool within() const { return status == Status::ok && unusable == 0 && samples > 0 && margin() >= 0; }
};

/// The least time in which an axis at rest can turn through `distance` rad to rest under limits on velocity
/// and acceleration, s; a lower bound for a real air move.
inline double least_turn_time(double distance, double velocity, double acceleration) {
    double const way = std::abs(distance);
    return way * acceleration < velocity * velocity ? 2 * std::sqrt(way / acceleration)
                                                    : way / velocity + velocity / acceleration;
}

namespace detail {

/// Gathers peaks and mean squares over a seam.
class SeamSampler {
public:
    SeamSampler(Job const& job, ScheduledSeam const& seam, std::size_t samples)
        : job_(job), seam_(seam), checks_(checks_of(job, seam)), wanted_(wanted_by(checks_)) {
        report_.name = seam.name;
        report_.start = seam.start;
        report_.duration = seam.seam.duration();
        report_.length = seam.seam.length();
        x_squares_.reserve(samples + 1);
        y_squares_.reserve(samples + 1);
    }

    void sample(double seam_time) {
        double const time = seam_.start + seam_time;
        auto const demand = demand_of(job_, seam_, Taylor<double, 3>::variable(seam_time), wanted_);
        ++report_.samples;
        if (demand.status > report_.status) {
            report_.status = demand.status;
            report_.status_time = time;
        }
        if (demand.status > Status::out_of_reach) {
            ++report_.unusable;
            return;
        }
        auto const& seam = seam_.seam;
        bool const full = !seam.power || seam.power->full(seam_time, seam.duration());
        for (auto const& check : checks_) {
            if ((check.welds && !full) || (check.measure == Measure::energy && !(seam.feed(seam_time) > 0)))
                continue;
            double const value = check.read(demand[check.measure].derivative(check.derivative));
            double const use = check.utilisation(value);
            // A field or an aperture of which nothing is used is a limit that is not there.
            if (use == 0 && (check.limit == Limit::field || check.limit == Limit::mirror_aperture))
                continue;
            Peak& peak = report_.peaks[static_cast<std::size_t>(check.limit)];
            if (peak.allowed == 0 || use > peak.utilisation)
                peak = {use, value, check.allowed_for(value), time, seam.arc_length(seam_time)};
        }
        x_squares_.push_back(x_squares_.back() + sqr(demand[Measure::x].derivative(2)));
        y_squares_.push_back(y_squares_.back() + sqr(demand[Measure::y].derivative(2)));
    }

    SeamReport finished(double gap_before, double x_step, double y_step) {
        if (std::size_t const usable = report_.samples - report_.unusable; usable > 0) {
            double const allowed = job_.dynamics.mirror_rms_acceleration;
            double const share =
                job_.dynamics.rms_window > 0 ? std::min(1.0, job_.dynamics.rms_window / report_.duration) : 1;
            auto const window =
                std::max<std::size_t>(1, static_cast<std::size_t>(share * static_cast<double>(usable)));
            auto const rms = [&](Limit limit, std::vector<double> const& sums) {
                double most = 0;
                for (std::size_t i = window; i < sums.size(); ++i)
                    most = std::max(most, sums[i] - sums[i - window]);
                double const value = std::sqrt(most / static_cast<double>(window));
                report_.peaks[static_cast<std::size_t>(limit)] = {value / allowed, value, allowed,
                                                                  seam_.start, 0};
            };
            rms(Limit::x_rms_acceleration, x_squares_);
            rms(Limit::y_rms_acceleration, y_squares_);
        }
        auto const& d = job_.dynamics;
        double const needed =
            d.settling + std::max(least_turn_time(x_step, d.mirror_velocity, d.mirror_acceleration),
                                  least_turn_time(y_step, d.mirror_velocity, d.mirror_acceleration));
        if (is_finite(gap_before))
            report_.peaks[static_cast<std::size_t>(Limit::air_move)] = {
                gap_before > 0 ? needed / gap_before : std::numeric_limits<double>::max(), needed, gap_before,
                seam_.start, 0};
        return report_;
    }

private:
    Job const& job_;
    ScheduledSeam const& seam_;
    SeamReport report_{};
    std::vector<Check> checks_;
    Wanted wanted_;
    std::vector<double> x_squares_{0}; ///< sums from the start
    std::vector<double> y_squares_{0};
};

} // namespace detail

/// Checks every seam of a job at samples no further apart than `step` s, both ends included, with exact
/// velocities and accelerations at each. The RMS acceleration is over the job's window, or over the seam. The
/// air move compares the time since the seam before with the least time in which the mirrors can turn between
/// the two, settling included: a lower bound, the rates at both ends left out. Throws BadInput unless `step`
/// is above 0.
inline std::vector<SeamReport> report(Job const& job, double step) {
    if (!(step > 0))
        throw BadInput("a report's step must be above 0; given was " + std::to_string(step) + " s");
    std::vector<SeamReport> reports;
    reports.reserve(job.seams.size());
    for (std::size_t i = 0; i < job.seams.size(); ++i) {
        auto const& seam = job.seams[i];
        double const duration = seam.seam.duration();
        auto const steps = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(duration / step)));
        detail::SeamSampler sampler(job, seam, steps + 1);
        for (std::size_t k = 0; k <= steps; ++k)
            sampler.sample(duration * static_cast<double>(k) / static_cast<double>(steps));
        double gap = std::numeric_limits<double>::infinity();
        Command<> from{}, to{};
        if (i > 0) {
            auto const& before = job.seams[i - 1];
            gap = seam.start - before.end();
            from = job.chain.follow(before.seam, before.seam.duration(), before.end()).aim.command;
            to = job.chain.follow(seam.seam, 0.0, seam.start).aim.command;
        }
        reports.push_back(sampler.finished(gap, to.x_mirror - from.x_mirror, to.y_mirror - from.y_mirror));
    }
    return reports;
}

} // namespace seamhold

#endif
