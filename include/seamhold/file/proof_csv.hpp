#ifndef SEAMHOLD_FILE_PROOF_CSV_HPP
#define SEAMHOLD_FILE_PROOF_CSV_HPP

#include "seamhold/file/proof_words.hpp"
#include "seamhold/file/report_csv.hpp"

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// The proof of a job as CSV for a program: one row a seam and limit, values in the SI unit that the row
/// names, the utilisation between its proven bounds (`-inf` and `inf` where nothing is known), and in every
/// row the box that is covered. Rows "line of sight" and "guarded directions" (with "before it" in `object`
/// for the beam-off way from the seam before) have the place or what is outside instead, and name the clamp;
/// those without a seam are the RMS accelerations over the repeated cycle. `sights` as `prove_sight` gives
/// them.
inline std::string proof_csv(JobProof const& proof, std::vector<SightProof> const& sights = {}) {
    using detail::shortest;
    std::string text =
        "seam,start_s,duration_s,length_m,limit,joint,verdict,utilisation_low,utilisation_high,"
        "value,allowed,unit,time_s,arc_length_m,object,frame,x_m,y_m,z_m,"
        "part_shift_m,part_turn_rad,path_shift_m,path_turn_rad,delay_s\n";
    auto const box = proof.seams.empty() ? PoseBox{} : proof.seams.front().box;
    std::string const back = "," + shortest(box.part_shift) + "," + shortest(box.part_turn) + "," +
                             shortest(box.path_shift) + "," + shortest(box.path_turn) + "," +
                             shortest(box.delay) + "\n";
    for (std::size_t i = 0; i < proof.seams.size(); ++i) {
        auto const& seam = proof.seams[i];
        std::string const front = detail::csv_field(seam.name) + "," + shortest(seam.start) + "," +
                                  shortest(seam.duration) + "," + shortest(seam.length) + ",";
        for (auto const& limit : seam.limits) {
            if (detail::no_end(limit))
                continue;
            text += front + to_string(limit.limit) + "," +
                    (limit.joint > 0 ? std::to_string(limit.joint) : std::string()) + "," +
                    to_string(limit.verdict) + "," + shortest(limit.utilisation.low) + "," +
                    shortest(limit.utilisation.high) + "," + shortest(limit.value) + "," +
                    shortest(limit.allowed) + "," + detail::unit_of(limit.limit).si_unit + ",";
            text += detail::has_moment(limit, seam) ? shortest(limit.time) + "," + shortest(limit.arc_length)
                                                    : std::string(",");
            text += ",,,,," + back;
        }
        auto const* const sight = detail::sight_of(sights, i);
        if (sight == nullptr)
            continue;
        auto const past = [&](auto const& found, char const* frame) {
            bool const clear = found.verdict == Verdict::within;
            auto const known = [&](double x) { return clear ? std::string() : shortest(x); };
            for (std::string const& field :
                 {front, std::string(to_string(Limit::line_of_sight)), std::string(",,"),
                  std::string(to_string(found.verdict)), std::string(",,,"), known(found.gap),
                  std::string(",0,m,"), known(found.time), std::string(",,"), detail::csv_field(found.name),
                  std::string(","), std::string(frame), std::string(","), known(found.place.x),
                  std::string(","), known(found.place.y), std::string(","), known(found.place.z), back})
                text += field;
        };
        past(sight->past_part, "part");
        past(sight->past_cell, "cell");
        auto const guarded = [&](std::optional<Guarded> const& found, char const* when) {
            if (!found)
                return;
            bool const clear = found->verdict == Verdict::within;
            auto const known = [&](double x) { return clear ? std::string() : shortest(x); };
            for (std::string const& field :
                 {front, std::string(to_string(Limit::guarded_directions)), std::string(",,"),
                  std::string(to_string(found->verdict)), std::string(",,,"), known(found->outside),
                  std::string(",0,rad,"), known(found->time), std::string(",,"), std::string(when),
                  std::string(",cell,,,"), back})
                text += field;
        };
        guarded(sight->while_welding, "");
        guarded(sight->before, "before it");
    }
    if (proof.seams.empty())
        return text;
    auto const cycle = [&](Limit limit, Interval const& rms) {
        auto const use = rms / Interval(proof.allowed_rms);
        auto const verdict = use.high <= 1 + equal_share ? Verdict::within
                             : use.low > 1 + equal_share ? Verdict::exceeds
                                                         : Verdict::undecided;
        text += "," + shortest(proof.seams.front().start) + "," + shortest(proof.cycle) + ",," +
                to_string(limit) + ",," + to_string(verdict) + "," + shortest(use.low) + "," +
                shortest(use.high) + "," + shortest(rms.middle()) + "," + shortest(proof.allowed_rms) + "," +
                detail::unit_of(limit).si_unit + ",,,the repeated cycle,,,," + back;
    };
    cycle(Limit::x_rms_acceleration, proof.x_cycle_rms);
    cycle(Limit::y_rms_acceleration, proof.y_cycle_rms);
    return text;
}

/// What the limits use along each seam as CSV, between proven bounds: one row a stretch of time (s of the
/// robot's clock) and limit. Over the stretch, the use of the limit stays between `low` and `high`.
inline std::string proof_stretches_csv(JobProof const& proof) {
    using detail::shortest;
    std::string text = "seam,from_s,to_s,limit,joint,low,high\n";
    for (auto const& seam : proof.seams)
        for (auto const& stretch : seam.stretches) {
            std::string const front = detail::csv_field(seam.name) + "," +
                                      shortest(seam.start + stretch.time.from) + "," +
                                      shortest(seam.start + stretch.time.to) + ",";
            for (std::size_t c = 0; c < stretch.utilisation.size() && c < seam.checks.size(); ++c) {
                auto const& check = seam.checks[c];
                text += front + to_string(check.limit) + "," +
                        (check.joint() > 0 ? std::to_string(check.joint()) : std::string()) + "," +
                        shortest(stretch.utilisation[c].low) + "," + shortest(stretch.utilisation[c].high) +
                        "\n";
            }
        }
    return text;
}

} // namespace seamhold

#endif
