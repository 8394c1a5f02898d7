#ifndef SEAMHOLD_LIMIT_REPORT_HPP
#define SEAMHOLD_LIMIT_REPORT_HPP

#include "seamhold/beam/energy.hpp"
#include "seamhold/beam/spot.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/limit/limit.hpp"
#include "seamhold/number/taylor.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
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
    SeamSampler(Job const& job, ScheduledSeam const& seam) : job_(job), seam_(seam) {
        report_.name = seam.name;
        report_.start = seam.start;
        report_.duration = seam.seam.duration();
        report_.length = seam.seam.length();
    }

    void sample(double seam_time) {
        using T = Taylor<double, 2>;
        double const time = seam_.start + seam_time;
        auto const followed = job_.chain.follow(seam_.seam, T::variable(seam_time), T::variable(time));
        ++report_.samples;
        if (followed.status > report_.status) {
            report_.status = followed.status;
            report_.status_time = time;
        }
        if (followed.status > Status::out_of_reach) {
            ++report_.unusable;
            return;
        }
        auto const ranges = job_.chain.head.ranges();
        auto const& dynamics = job_.dynamics;
        auto const& [x, y, focus] = followed.aim.command;
        auto const note = [&](Limit limit, double value, double allowed, double utilisation) {
            Peak& peak = report_.peaks[static_cast<std::size_t>(limit)];
            if (report_.samples - report_.unusable == 1 || utilisation > peak.utilisation)
                peak = {utilisation, value, allowed, time, seam_.seam.arc_length(seam_time)};
        };
        auto const magnitude = [&](Limit limit, double value, double allowed) {
            note(limit, value, allowed, std::abs(value) / allowed);
        };
        auto const range = [&](Limit limit, double value, Range const& r) {
            note(limit, value, 2 * value > r.low + r.high ? r.high : r.low, r.utilisation(value));
        };
        range(Limit::x_angle, x.value(), ranges.x_mirror);
        range(Limit::y_angle, y.value(), ranges.y_mirror);
        range(Limit::focus_range, focus.value(), ranges.focus);
        // A share of 1 left is a limit that is not there.
        auto const share = [&](Limit limit, double left) {
            if (left < 1)
                note(limit, 1 - left, 1, 1 - left);
        };
        auto const& head = job_.chain.head;
        if (followed.aim.clearance.field < 1) {
            double const use =
                head.field_utilisation(value_of(followed.target), value_of(followed.aim.command));
            note(Limit::field, use, 1, use);
        }
        share(Limit::mirror_aperture, followed.aim.clearance.aperture);
        magnitude(Limit::x_velocity, x.derivative(1), dynamics.mirror_velocity);
        magnitude(Limit::y_velocity, y.derivative(1), dynamics.mirror_velocity);
        magnitude(Limit::x_acceleration, x.derivative(2), dynamics.mirror_acceleration);
        magnitude(Limit::y_acceleration, y.derivative(2), dynamics.mirror_acceleration);
        magnitude(Limit::focus_velocity, focus.derivative(1), dynamics.focus_velocity);
        double const cosine = cosine_of_incidence(job_.chain, seam_.seam, seam_time, time);
        magnitude(Limit::incidence, std::acos(std::clamp(cosine, -1.0, 1.0)), job_.largest_incidence);
        if (job_.process)
            sample_beam(*job_.process, seam_time, time, value_of(followed.aim.command), magnitude, note);
        x_squares_ += sqr(x.derivative(2));
        y_squares_ += sqr(y.derivative(2));
    }

    SeamReport finished(double gap_before, double x_step, double y_step) {
        auto const usable = static_cast<double>(report_.samples - report_.unusable);
        if (usable > 0) {
            double const allowed = job_.dynamics.mirror_rms_acceleration;
            auto const rms = [&](Limit limit, double squares) {
                double const value = std::sqrt(squares / usable);
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
    template <class Magnitude, class Note>
    void sample_beam(Process const& process, double seam_time, double time, Command<> const& command,
                     Magnitude const& magnitude, Note const& note) {
        auto const& chain = job_.chain;
        auto const on_part = seam_.seam.at(seam_time);
        auto const ray = chain.head.ray(command);
        double const unmoved = chain.head.ray(Command<>{command.x_mirror, command.y_mirror, 0}).focus_path;
        auto const spot = spot_on(ray, process.caustic(ray.focus_path, ray.focus_path - unmoved),
                                  chain.in_head(on_part.position, time), chain.in_head(on_part.normal, time));
        magnitude(Limit::spot_size, 2 * spot.semi_major, process.largest_spot);
        magnitude(Limit::defocus, spot.defocus, process.largest_defocus);
        // A power ramp is meant to leave these limits; they hold where the power is all there.
        auto const& seam = seam_.seam;
        if (seam.power && !seam.power->full(seam_time, seam.duration()))
            return;
        double const power = seam.power_at(seam_time, process.power);
        double const density = spot.mean_power_density(power);
        if (process.least_power_density > 0)
            note(Limit::power_density, density, process.least_power_density,
                 process.least_power_density / density);
        double const feed = seam.feed(seam_time);
        if (seam.length() > 0 && feed > 0) {
            double const energy = line_energy(power, feed);
            Range const& range = process.line_energy;
            note(Limit::line_energy, energy, 2 * energy > range.low + range.high ? range.high : range.low,
                 range.utilisation(energy));
        }
    }

    Job const& job_;
    ScheduledSeam const& seam_;
    SeamReport report_{};
    double x_squares_ = 0;
    double y_squares_ = 0;
};

} // namespace detail

/// Checks every seam of a job at samples no further apart than `step` s, both ends included, with exact
/// velocities and accelerations at each. The RMS acceleration is over the seam. The air move compares the
/// time since the seam before with the least time in which the mirrors can turn between the two, settling
/// included: a lower bound, the rates at both ends left out. Throws BadInput unless `step` is above 0.
inline std::vector<SeamReport> report(Job const& job, double step) {
    if (!(step > 0))
        throw BadInput("a report's step must be above 0; given was " + std::to_string(step) + " s");
    std::vector<SeamReport> reports;
    reports.reserve(job.seams.size());
    for (std::size_t i = 0; i < job.seams.size(); ++i) {
        auto const& seam = job.seams[i];
        detail::SeamSampler sampler(job, seam);
        double const duration = seam.seam.duration();
        auto const steps = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(duration / step)));
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
