#ifndef SEAMHOLD_RECORD_SEAM_KEY_OF_HPP
#define SEAMHOLD_RECORD_SEAM_KEY_OF_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/live/fingerprint_mixer.hpp"
#include "seamhold/record/seam_key.hpp"

#include <cstddef>
#include <cstdint>
#include <string>

namespace seamhold {

/// The key of seam `i` of a job whose plan has this fingerprint. Its `pass` is mixed of all that the signals
/// hang on: the seam as `FingerprintMixer::seam` has it (shape, direction, speed, power, focus offset), the
/// job's power where the seam has none of its own, the ramps of the power, the beam's waist and Rayleigh
/// length at the head's working distance where the job has a beam, and at 33 times along it, ends counted in,
/// the spot and the face's normal in the head frame and the normal in the cell, each to 1e-6 m or 1: from
/// these follow the place in the field, incidence, direction of travel and the way the melt lies. The same
/// numbers give the same key on every machine but for a chance of some 1e-7, see `FingerprintMixer`; a motion
/// that is recorded anew gives another key. Throws BadInput for a seam that the job does not have.
inline SeamKey seam_key_of(Job const& job, std::size_t i, Fingerprint const& plan) {
    if (i >= job.seams.size())
        throw BadInput("the job has " + std::to_string(job.seams.size()) + " seams; asked was for number " +
                       std::to_string(i) + ", counted from 0");
    constexpr double resolution = 1e-6;
    constexpr int count = 32;
    auto const& [name, start, seam] = job.seams[i];
    FingerprintMixer mixer;
    auto const mix = [&](auto const& v) {
        mixer.absolute(v.x, resolution).absolute(v.y, resolution).absolute(v.z, resolution);
    };
    mixer.seam(seam);
    mixer.relative(seam.power || !job.process ? 0 : job.process->power, resolution);
    if (seam.power) { // short ramps lie between the instants that the mixer looks at
        auto const& ramps = seam.power->ramps();
        for (double const x : {ramps.rise, ramps.fall, ramps.start_share, ramps.end_share})
            mixer.absolute(x, resolution);
    }
    if (job.process) {
        auto const beam = job.process->caustic(job.chain.head.working_distance(), 0.0);
        mixer.relative(beam.waist_radius, resolution).relative(beam.rayleigh_length, resolution);
    }
    for (int k = 0; k <= count; ++k) {
        double const time = seam.duration() * k / count;
        double const t = start + time;
        auto const followed = job.chain.follow(seam, time, t);
        mixer.count(static_cast<std::uint64_t>(followed.status));
        auto const normal = seam.at(time).normal;
        mix(followed.target);
        mix(job.chain.in_head(normal, t));
        mix(job.chain.in_cell(normal, t));
    }
    return {plan, name, mixer.value()};
}

} // namespace seamhold

#endif
