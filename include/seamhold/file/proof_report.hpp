#ifndef SEAMHOLD_FILE_PROOF_REPORT_HPP
#define SEAMHOLD_FILE_PROOF_REPORT_HPP

#include "seamhold/file/limit_meanings.hpp"
#include "seamhold/file/proof_words.hpp"
#include "seamhold/file/report.hpp"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

namespace detail {

/// What a proof says for which motion.
inline std::string proven_for(LogReport const& log, PoseBox const& box) {
    return "For every instant from each seam's start to its end, " + box_text(box) +
           ". What is proven is proven for the interpolant of the log, not for the arm's true motion. " +
           speaks_for(log);
}

/// The seams in a few sentences: how many are proven, what binds, what is not within and where.
inline std::string proof_summary(std::vector<SeamProof> const& seams, std::vector<SightProof> const& sights) {
    std::size_t within = 0;
    std::vector<std::string> exceeds, undecided;
    SeamProof const* tightest = nullptr;
    for (std::size_t i = 0; i < seams.size(); ++i) {
        auto const found = finding_of(seams[i], sight_of(sights, i));
        if (found.verdict == Verdict::within) {
            ++within;
            if (!seams[i].limits.empty() && (tightest == nullptr || seams[i].binding().utilisation.high >
                                                                        tightest->binding().utilisation.high))
                tightest = &seams[i];
        } else {
            (found.verdict == Verdict::exceeds ? exceeds : undecided)
                .push_back(seams[i].name + " (" + found.what + ")");
        }
    }
    std::string text = std::to_string(within) + " of " + counted(seams.size(), "seam is", "seams are") +
                       " proven within every limit.";
    if (!exceeds.empty())
        text += " A limit is exceeded in: " + joined(exceeds) + ".";
    if (!undecided.empty())
        text += " Undecided, to be treated as exceeded: " + joined(undecided) + ".";
    if (tightest != nullptr) {
        auto const& limit = tightest->binding();
        text += (within == seams.size() ? " Tightest: " : " Tightest of those within: ") + tightest->name +
                ", " + name_of(limit) + ", " + margin_text(limit.utilisation) + " left.";
    }
    return text;
}

/// One line a seam.
inline std::string proof_table(std::vector<SeamProof> const& seams, std::vector<SightProof> const& sights) {
    AlignedText table("llrlrrr");
    table.add({"seam", "verdict", "margin", "binding", "peak between", "at", "at mm"});
    for (std::size_t i = 0; i < seams.size(); ++i) {
        auto const& seam = seams[i];
        auto const found = finding_of(seam, sight_of(sights, i));
        if (found.limit == nullptr) {
            table.add({seam.name, to_string(found.verdict), "-", found.what, "-",
                       found.time ? fixed(*found.time, 5) + " s" : "-", "-"});
            continue;
        }
        auto const& limit = *found.limit;
        bool const moment = has_moment(limit, seam);
        table.add({seam.name, to_string(found.verdict), margin_text(limit.utilisation), name_of(limit),
                   bracket_text(limit.utilisation), moment ? fixed(limit.time, 5) + " s" : all_of_it(limit),
                   moment ? fixed(in_millimetres(limit.arc_length), 1) : ""});
    }
    return table.text(2);
}

/// Whether a limit stands in the table: of what is asked of each joint the tightest does, and all that are
/// not within.
inline bool to_be_told(LimitProof const& limit, SeamProof const& seam) {
    return limit.joint == 0 || limit.verdict != Verdict::within ||
           std::none_of(seam.limits.begin(), seam.limits.end(), [&](LimitProof const& other) {
               return other.limit == limit.limit && other.utilisation.high > limit.utilisation.high;
           });
}

/// Every limit of one seam.
inline std::string proof_details(SeamProof const& seam) {
    std::string const way = seam.length > 0 ? fixed(in_millimetres(seam.length), 1) + " mm"
                                            : "held on one point for " + milliseconds_text(seam.duration);
    std::string text = seam.name + ": " + to_string(seam.verdict()) + "; " + fixed(seam.start, 4) + " s to " +
                       fixed(seam.start + seam.duration, 4) + " s, " + way + ", " +
                       counted(seam.looked_at, "stretch", "stretches") + " looked at\n";
    AlignedText table("llrrrlrr");
    table.add({"limit", "verdict", "peak between", "near", "limit", "unit", "at", "at mm"});
    bool any = false;
    for (auto const& limit : seam.limits) {
        if (no_end(limit) || !to_be_told(limit, seam))
            continue;
        any = true;
        if (limit.limit == Limit::reach) {
            table.add({"reach and data", to_string(limit.verdict), "-", "-", "-", "",
                       limit.verdict == Verdict::exceeds ? fixed(limit.time, 5) + " s" : ""});
            continue;
        }
        auto const unit = unit_of(limit.limit);
        bool const moment = has_moment(limit, seam);
        table.add({name_of(limit), to_string(limit.verdict), bracket_text(limit.utilisation),
                   fixed(unit.from_si(limit.value), unit.decimals),
                   fixed(unit.from_si(limit.allowed), unit.decimals), unit.unit,
                   moment ? fixed(limit.time, 5) + " s" : all_of_it(limit),
                   moment ? fixed(in_millimetres(limit.arc_length), 1) : ""});
    }
    return any ? text + table.text(2) : text;
}

/// What was found of the beam among clamps and guards.
inline std::string sight_text(std::vector<SeamProof> const& seams, std::vector<SightProof> const& sights,
                              Surroundings const& around, std::size_t width) {
    std::string text = wrapped(surroundings_text(around), width, 2);
    std::vector<std::string> found;
    for (std::size_t i = 0; i < seams.size() && i < sights.size(); ++i)
        for (auto const& line : sight_findings(sights[i]))
            found.push_back(seams[i].name + ": " + line);
    if (found.empty())
        return text + wrapped(all_clear_text(around), width, 2);
    for (auto const& line : found)
        text += wrapped(line, width, 2);
    return text;
}

/// What the repetition of the job makes of the mirrors' motors.
inline std::string cycle_text(JobProof const& proof, HeadDynamics const& head) {
    auto const rms = [](Interval const& x) {
        return outward(x.low, 0, false) + " to " + outward(x.high, 0, true) + " rad/s²";
    };
    std::string text = "One start of the job to the next: " + fixed(proof.cycle, 4) +
                       " s. RMS acceleration over it, with the quickest turns between seams: x mirror " +
                       rms(proof.x_cycle_rms) + ", y mirror " + rms(proof.y_cycle_rms) + ", of " +
                       fixed(proof.allowed_rms, 0) + " allowed: " + to_string(proof.cycle_verdict()) + ".";
    if (head.thermal_time > 0)
        text += " Heating, in each seam's table: the RMS that a motor with a time constant of " +
                shortest(head.thermal_time) +
                " s feels at its hottest in the seam, once the job has been repeated for long.";
    return text;
}

inline std::string proof_legend(std::vector<SeamProof> const& seams, HeadDynamics const& head) {
    std::string text = meanings_of_limits([&](Limit limit) {
        for (auto const& seam : seams)
            if (auto const* const found = seam.of(limit); found != nullptr && !no_end(*found))
                return true;
        return false;
    });
    text += head.rms_window > 0 ? "RMS: over any " + milliseconds_text(head.rms_window) +
                                      " within a seam, its worst ends at the time given; over the whole of "
                                      "a shorter seam. "
                                : "RMS: over the whole seam. ";
    return text +
           "\"peak between\": the least and the most that the largest use of the limit over the seam can "
           "be, both proven. \"near\": the value where it was found, at that time, so far along the "
           "seam; for a limit that is exceeded, the witness.";
}

} // namespace detail

/// What a proof comes to, in short: the verdict and one line a seam. As `proof_text`, which has it too.
inline std::string proof_summary_text(JobProof const& proof, std::vector<SightProof> const& sights = {},
                                      std::optional<Surroundings> const& around = {}) {
    constexpr std::size_t width = 100;
    std::string text =
        "IN SHORT, proven\n" + detail::wrapped(detail::proof_summary(proof.seams, sights), width, 2);
    if (proof.cycle_verdict() != Verdict::within)
        text += detail::wrapped("Repeated, the job is not proven within the mirrors' RMS acceleration: " +
                                    std::string(to_string(proof.cycle_verdict())) + ".",
                                width, 2);
    if (!around)
        text += detail::wrapped("No clamps and no guarded directions were given.", width, 2);
    text += "\nSEAM BY SEAM, proven (margin: what is left at least of the limit that is used most)\n";
    return text + detail::proof_table(proof.seams, sights);
}

/// The proof of a job as plain text for a person: what is proven for which motion and within which box, the
/// verdict in short, one line a seam, the beam among clamps and guards (`sights` as `prove_sight` gives them,
/// for `around`), the mirrors' motors over the repeated cycle, every limit of every seam between its proven
/// bounds, and a caution. Brackets are rounded outwards, margins down. UTF-8, lines of some 100 columns, for
/// a fixed-width font.
inline std::string proof_text(std::string const& title, LogReport const& log, HeadDynamics const& head,
                              JobProof const& proof, std::vector<SightProof> const& sights = {},
                              std::optional<Surroundings> const& around = {}) {
    constexpr std::size_t width = 100;
    auto const& seams = proof.seams;
    std::size_t looked_at = 0;
    for (auto const& seam : seams)
        looked_at += seam.looked_at;
    std::string text = title + "\n\nLIMITS, proven\n";
    text += detail::wrapped(detail::proven_for(log, seams.empty() ? PoseBox{} : seams.front().box), width, 2);
    text += "\n" + proof_summary_text(proof, sights, around);
    if (around)
        text += "\nBEAM among clamps and guards\n" + detail::sight_text(seams, sights, *around, width);
    if (!seams.empty())
        text += "\nMOTORS of the mirrors, the job repeated\n" +
                detail::wrapped(detail::cycle_text(proof, head), width, 2);
    text += "\nEVERY LIMIT (" + detail::counted(looked_at, "stretch", "stretches") + " of time looked at)\n";
    text += detail::wrapped(detail::proof_legend(seams, head), width, 2);
    for (auto const& seam : seams)
        text.append("\n").append(detail::proof_details(seam));
    text +=
        "\nNOT IN IT\n" +
        detail::wrapped("Whether the mirrors reach the next seam in time (the sampled report has the air "
                        "moves), how the head follows its commands, the flex of the arm, collisions of arm "
                        "and head, reflected light, and the weld.",
                        width, 2);
    text += "\nCAUTION\n" + detail::wrapped(report_caution, width, 2);
    return text;
}

} // namespace seamhold

#endif
