#ifndef SEAMHOLD_RECORD_PROCEDURE_VALUES_HPP
#define SEAMHOLD_RECORD_PROCEDURE_VALUES_HPP

#include "seamhold/limit/demand.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/record/procedure_value.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

/// The actual values of a weld that a welding procedure asks for: what ISO 15609-4 lists for laser beam
/// welding (from memory), as far as a job knows it, and blanks for what only people know. They help to fill
/// in papers. Whether a weld, a procedure or a person is qualified is for the standard that applies, the
/// local codes and licensed practice to say.
namespace seamhold {

/// How finely a seam is looked at.
struct ProcedureOptions {
    std::size_t samples = 1000; ///< evenly over the seam's time; ends, breaks and ends of ramps besides
};

namespace detail {

constexpr char const* weave_words(WeaveForm form) {
    constexpr char const* names[] = {"sine", "circle", "figure of eight", "triangle"};
    return names[static_cast<std::size_t>(form)];
}

inline ProcedureValue open_value(std::string name, std::string unit, std::string words = "") {
    double const none = std::numeric_limits<double>::quiet_NaN();
    return {std::move(name), std::move(unit), none, none, std::move(words), ValueOrigin::open};
}

inline ProcedureValue said_value(std::string name, std::string words) {
    auto value = open_value(std::move(name), "", std::move(words));
    value.origin = ValueOrigin::commanded;
    return value;
}

/// The least and the greatest of what was seen of a value.
struct SeenRange {
    double least = std::numeric_limits<double>::infinity();
    double greatest = -std::numeric_limits<double>::infinity();

    void see(double x) {
        least = std::min(least, x);
        greatest = std::max(greatest, x);
    }
    ProcedureValue value(std::string name, std::string unit, double scale, std::string words = "") const {
        if (!(least <= greatest))
            return open_value(std::move(name), std::move(unit), std::move(words));
        return {std::move(name),  std::move(unit),  scale * least,
                scale * greatest, std::move(words), ValueOrigin::commanded};
    }
};

/// "from 20 % over 30 ms", "none".
inline std::string ramp_words(double share, double time, char const* direction) {
    return time > 0 ? std::string(direction) + " " + text_of(100 * share) + " % over " + text_of(1e3 * time) +
                          " ms"
                    : "none";
}

/// The times at which a seam is looked at, s after its start, increasing.
template <class AnyOrSeam> std::vector<double> looks_at(AnyOrSeam const& seam, std::size_t samples) {
    std::vector<double> times = seam.breaks();
    double const duration = seam.duration();
    for (std::size_t i = 0; i <= samples; ++i)
        times.push_back(duration * (static_cast<double>(i) / static_cast<double>(samples)));
    if (seam.power)
        for (double const kink : {seam.power->ramps().rise, duration - seam.power->ramps().fall})
            if (kink > 0 && kink < duration)
                times.push_back(kink);
    std::sort(times.begin(), times.end());
    return times;
}

inline void add_weave(std::vector<ProcedureValue>& values, Weave const& weave, double duration) {
    if (!weave.moves()) {
        values.push_back(said_value("weave", "none"));
        return;
    }
    values.push_back(said_value("weave", weave_words(weave.form)));
    SeenRange frequency, amplitude;
    for (double const t : {0.0, duration}) {
        frequency.see(weave.frequency + weave.frequency_growth * t);
        amplitude.see(weave.amplitude + weave.amplitude_growth * t);
    }
    values.push_back(frequency.value("weave frequency", "Hz", 1));
    values.push_back(amplitude.value("weave amplitude to each side", "mm", 1e3));
}

} // namespace detail

/// What people must say of a weld, since no plan knows it: names with blanks. The list is that of ISO 15609-4
/// as far as it goes beyond the beam and its way (from memory).
inline std::vector<ProcedureValue> asked_of_people() {
    std::vector<ProcedureValue> values;
    for (char const* const name :
         {"process number", "parent material", "surface and coating", "filler material", "joint type",
          "joint preparation and cleaning", "fit-up gap", "jigging and clamping", "backing",
          "welding position", "laser source", "fibre or beam guiding", "head and objective", "shielding gas",
          "gas nozzle and direction", "plume suppression or cross jet", "preheating",
          "treatment after welding"})
        values.push_back(detail::open_value(name, ""));
    values.push_back(detail::open_value("thickness of the parts", "mm"));
    values.push_back(detail::open_value("gas flow", "l/min"));
    return values;
}

/// What a job commands over one of its seams, in the order in which a procedure asks for it; then what people
/// must say, blank. Power is that of full power, between the ramps. Angles of incidence are those of the
/// commanded beam: positive along where it comes from ahead of the spot, across from the left of travel. A
/// range is over the instants that are looked at; between them nothing is proven. Throws BadInput for no
/// samples, a seam that there is not, and one that cannot be followed throughout. A job is anything with the
/// members of `Job`.
template <class AnyJob>
std::vector<ProcedureValue> procedure_values(AnyJob const& job, std::size_t seam_number,
                                             ProcedureOptions const& options = {}) {
    using M = Measure;
    using T = Taylor<double, 1>;
    if (options.samples == 0)
        throw BadInput("the values of a weld need one sample or more");
    if (seam_number >= job.seams.size())
        throw BadInput("there is no seam number " + std::to_string(seam_number + 1) + ": the job has " +
                       std::to_string(job.seams.size()));
    auto const& scheduled = job.seams[seam_number];
    auto const& seam = scheduled.seam;
    double const duration = seam.duration();
    bool const has_beam = job.process.has_value();
    bool const has_power = has_beam || seam.power.has_value();
    Wanted wanted;
    wanted[M::incidence] = wanted[M::along] = wanted[M::across] = true;
    wanted[M::spot] = wanted[M::defocus] = wanted[M::area] = has_beam;
    bool const along_a_way = seam.length() > 0;
    if (!along_a_way)
        wanted[M::along] = wanted[M::across] = false;

    detail::SeenRange power, feed, long_axis, short_axis, defocus, distance, incidence, along, across;
    double energy = 0, time_before = 0, power_before = 0;
    for (double const t : detail::looks_at(seam, options.samples)) {
        auto const demand = demand_of(job, scheduled, T::variable(t), wanted);
        if (demand.status != Status::ok)
            throw BadInput("seam " + scheduled.name + " cannot be followed " + detail::text_of(1e3 * t) +
                           " ms after its start: there its values mean nothing");
        distance.see(std::sqrt(squared_norm(job.chain.follow(seam, t, scheduled.start + t).target -
                                            Point<Head, double>{0, 0, 0})));
        feed.see(seam.feed(t));
        incidence.see(std::atan(std::sqrt(demand[M::incidence].value())));
        if (along_a_way) {
            along.see(demand[M::along].value());
            across.see(demand[M::across].value());
        }
        if (has_power) {
            double const now = seam.power_at(t, has_beam ? job.process->power : 0.0);
            energy += t > 0 ? (now + power_before) / 2 * (t - time_before) : 0;
            if (!seam.power || seam.power->full(t, duration))
                power.see(now);
            time_before = t;
            power_before = now;
        }
        if (has_beam) {
            // The area is given for each watt of what the power law says at this feed, ramps left out.
            double const watts =
                std::max(seam.power ? seam.power->at_feed(seam.feed(t)) : job.process->power, 1e-9);
            double const semi_major = demand[M::spot].value();
            long_axis.see(2 * semi_major);
            short_axis.see(2 * demand[M::area].value() * watts / (std::numbers::pi * semi_major));
            defocus.see(demand[M::defocus].value());
        }
    }

    std::string const no_beam = has_beam ? "" : "the job says nothing of the beam";
    auto const single = [](double x) { return detail::SeenRange{x, x}; };
    std::vector<ProcedureValue> values;
    values.push_back(single(seam.length()).value("length of the seam", "mm", 1e3));
    values.push_back(single(duration).value("time of the seam", "s", 1));
    values.push_back(power.value("power at the work", "W", 1, has_power ? "" : "the job says no power"));
    if (seam.power) {
        auto const& ramps = seam.power->ramps();
        values.push_back(detail::said_value("power ramp, start",
                                            detail::ramp_words(ramps.start_share, ramps.rise, "from")));
        values.push_back(
            detail::said_value("power ramp, end", detail::ramp_words(ramps.end_share, ramps.fall, "to")));
    }
    values.push_back(feed.value("travel speed", "m/min", in_metres_per_minute(1)));
    if (along_a_way && has_power)
        values.push_back(
            single(energy / seam.length()).value("energy per length of seam, mean", "J/mm", 1e-3));
    values.push_back(single(seam.focus_offset).value("focus offset, positive beyond the face", "mm", 1e3));
    values.push_back(long_axis.value("spot on the face, long axis", "mm", 1e3, no_beam));
    values.push_back(short_axis.value("spot on the face, short axis", "mm", 1e3, no_beam));
    values.push_back(defocus.value("face beyond the waist", "Rayleigh lengths", 1, no_beam));
    values.push_back(distance.value("working distance from the last mirror", "mm", 1e3));
    values.push_back(incidence.value("incidence, 0 is perpendicular", "degrees", in_degrees(1)));
    if (along_a_way) {
        values.push_back(along.value("incidence along, positive from ahead", "degrees", in_degrees(1)));
        values.push_back(across.value("incidence across, positive from the left", "degrees", in_degrees(1)));
    }
    detail::add_weave(values, seam.weave, duration);
    for (auto& value : asked_of_people())
        values.push_back(std::move(value));
    return values;
}

/// Values with what was stated or measured put in: where one of the same name is open, in its place; else
/// behind the last of the same name, so that what was measured stands beside what was commanded; else at the
/// end. Throws BadInput for a value that is given as open, and as `check_procedure_value` does.
inline std::vector<ProcedureValue> with_values(std::vector<ProcedureValue> values,
                                               std::vector<ProcedureValue> const& given) {
    for (auto const& one : given) {
        check_procedure_value(one);
        if (one.origin == ValueOrigin::open)
            throw BadInput("a value that is put in cannot be open: " + one.name);
        auto const same = [&](ProcedureValue const& v) { return v.name == one.name; };
        auto const blank = std::find_if(values.begin(), values.end(), [&](ProcedureValue const& v) {
            return same(v) && v.origin == ValueOrigin::open;
        });
        if (blank != values.end())
            *blank = one;
        else
            values.insert(std::find_if(values.rbegin(), values.rend(), same) == values.rend()
                              ? values.end()
                              : std::find_if(values.rbegin(), values.rend(), same).base(),
                          one);
    }
    return values;
}

} // namespace seamhold

#endif
