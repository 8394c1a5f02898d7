#ifndef SEAMHOLD_FILE_PROOF_WORDS_HPP
#define SEAMHOLD_FILE_PROOF_WORDS_HPP

#include "seamhold/file/limit_units.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/limit/surroundings.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

/// How proofs are put into words.
namespace seamhold::detail {

/// A number with a fixed count of decimals, rounded up or down; a billionth of it counts as nothing.
inline std::string outward(double x, int decimals, bool up) {
    double const unit = std::pow(10.0, decimals), slack = 1e-9 * std::abs(x);
    return fixed(up ? std::ceil((x - slack) * unit) / unit : std::floor((x + slack) * unit) / unit, decimals);
}

/// A number as it was written before its unit was changed: nine decimals, no more than needed.
inline std::string as_written(double x) { return shortest(std::round(x * 1e9) / 1e9); }

/// "83.1 to 83.4 %": what contains a peak, rounded outwards to tenths of a percent.
inline std::string bracket_text(Interval const& use) {
    constexpr double most = 99.99;
    std::string const low = use.low > most ? ">9999" : outward(100 * use.low, 1, false);
    if (!(use.high <= most))
        return is_finite(use.low) ? low + " % or more" : "not bounded";
    std::string const high = outward(100 * use.high, 1, true);
    return low == high ? high + " %" : low + " to " + high + " %";
}

/// What is proven to be left, rounded down.
inline std::string margin_text(Interval const& use) {
    double const left = 1 - use.high;
    return left < -99.99 ? "-" : outward(100 * (left + 1e-9), 1, false) + " %";
}

/// A limit in words, with its joint's number.
inline std::string name_of(LimitProof const& limit) {
    return to_string(limit.limit) + (limit.joint > 0 ? " " + std::to_string(limit.joint) : std::string());
}

/// Whether it is a field or an aperture without an end, of which nothing can be used.
inline bool no_end(LimitProof const& limit) {
    return (limit.limit == Limit::field || limit.limit == Limit::mirror_aperture) &&
           limit.utilisation.high <= 1e-9;
}

/// Whether a peak belongs to one moment: an RMS acceleration does where it is one of many windows.
inline bool has_moment(LimitProof const& limit, SeamProof const& seam) {
    bool const rms = limit.limit == Limit::x_rms_acceleration || limit.limit == Limit::y_rms_acceleration;
    return seamhold::detail::has_moment(limit.limit) ||
           (rms && limit.time < seam.start + seam.duration * (1 - 1e-9));
}

/// When such a peak is: an RMS acceleration that ends with the seam may be of a window or of all of it.
inline char const* all_of_it(LimitProof const& limit) {
    bool const heating = limit.limit == Limit::x_heating || limit.limit == Limit::y_heating;
    return heating ? "all of it" : "to its end";
}

/// The sight of a seam, or nullptr where none was asked.
inline SightProof const* sight_of(std::vector<SightProof> const& sights, std::size_t seam) {
    return seam < sights.size() ? &sights[seam] : nullptr;
}

/// What decides on a seam.
struct ProofFinding {
    Verdict verdict;
    LimitProof const* limit = nullptr; ///< the limit that decides, unless it is the beam among surroundings
    std::string what = {};             ///< what decides, in words, with its moment
    std::optional<double> time = {};   ///< of what is found among surroundings, s
};

/// What was found of a seam among its surroundings that is not proven within, one line each.
inline std::vector<std::string> sight_findings(SightProof const& sight);

inline ProofFinding finding_of(SeamProof const& seam, SightProof const* sight) {
    ProofFinding found{Verdict::within};
    for (auto const& limit : seam.limits) {
        bool const worse_one =
            found.verdict != limit.verdict && worse(found.verdict, limit.verdict) == limit.verdict;
        if (found.limit == nullptr || worse_one ||
            (found.verdict == limit.verdict && limit.utilisation.high > found.limit->utilisation.high)) {
            found.verdict = limit.verdict;
            found.limit = &limit;
        }
    }
    if (found.limit != nullptr)
        found.what = name_of(*found.limit);
    if (found.limit != nullptr && found.limit->limit == Limit::reach) {
        found = {found.verdict, nullptr, "reach and data",
                 found.verdict == Verdict::exceeds ? std::optional<double>(found.limit->time) : std::nullopt};
    } else if (found.verdict == Verdict::exceeds) {
        found.what += has_moment(*found.limit, seam) ? " at " + fixed(found.limit->time, 5) + " s" : "";
    }
    if (sight == nullptr)
        return found;
    auto const take = [&](Verdict verdict, double time, std::string const& what) {
        if (found.verdict == verdict || worse(found.verdict, verdict) != verdict)
            return;
        found = {verdict, nullptr, what, time};
    };
    auto const past = [&](auto const& clamp) {
        take(clamp.verdict, clamp.time,
             (clamp.verdict == Verdict::exceeds ? "reaches " : "beside ") + clamp.name);
    };
    past(sight->past_part);
    past(sight->past_cell);
    if (sight->while_welding)
        take(sight->while_welding->verdict, sight->while_welding->time, "guarded directions");
    if (sight->before)
        take(sight->before->verdict, sight->before->time, "guards, on the way to it");
    return found;
}

/// A box around the given motion, as what follows "for every instant, ".
inline std::string box_text(PoseBox const& box) {
    if (!box.any())
        return "for the motion exactly as given, without any tolerance";
    std::vector<std::string> parts;
    auto const displaced = [&](char const* what, double shift, double turn) {
        if (shift == 0 && turn == 0)
            return;
        std::string text = what;
        if (shift != 0)
            text += " off by up to " + as_written(in_millimetres(shift)) + " mm along each of its axes";
        if (turn != 0)
            text += std::string(shift != 0 ? " and" : "") + " turned by up to " +
                    as_written(in_degrees(turn)) + "° about any axis through its origin";
        parts.push_back(text);
    };
    displaced("the part", box.part_shift, box.part_turn);
    displaced("the flange's path", box.path_shift, box.path_turn);
    if (box.delay != 0)
        parts.push_back("the motion early or late by up to " + as_written(in_milliseconds(box.delay)) +
                        " ms");
    return "and for every motion in this box around the given one: " + joined(parts, "; ") +
           ". Each is unknown, and constant while a seam is welded";
}

/// What the beam was held against.
inline std::string surroundings_text(Surroundings const& around) {
    std::string text;
    auto const names = [](auto const& obstacles) {
        std::vector<std::string> all;
        for (auto const& obstacle : obstacles)
            if (all.empty() || all.back() != obstacle.name())
                all.push_back(obstacle.name());
        return joined(all);
    };
    if (!around.on_part.empty() || !around.in_cell.empty()) {
        text = "Beam of " + as_written(in_millimetres(around.beam.radius_at_head)) +
               " mm radius at the head and " + as_written(in_millimetres(around.beam.radius_at_spot)) +
               " mm at the spot, with " + as_written(in_millimetres(around.beam.clearance)) +
               " mm kept free around it. ";
        if (!around.on_part.empty())
            text += "Clamps on the part: " + names(around.on_part) + ". ";
        if (!around.in_cell.empty())
            text += "Clamps in the cell: " + names(around.in_cell) + ". ";
    }
    if (around.guarded) {
        std::vector<std::string> all;
        for (auto const& cone : around.guarded->cones())
            all.push_back(cone.name + " (within " + as_written(in_degrees(cone.half_angle)) + "° of " +
                          fixed(cone.axis.x, 3) + ", " + fixed(cone.axis.y, 3) + ", " +
                          fixed(cone.axis.z, 3) + " in the cell)");
        text += "Guarded directions: " + joined(all) + ".";
    }
    return text.empty() ? "Nothing stands around it." : text;
}

/// What is said where nothing was found.
inline std::string all_clear_text(Surroundings const& around) {
    bool const clamps = !around.on_part.empty() || !around.in_cell.empty();
    std::string text = clamps ? "Proven: the beam passes every clamp in every seam" : "Proven: the beam";
    if (around.guarded)
        text += std::string(clamps ? ", and" : "") +
                " points into the guarded directions; between seams it would, too, should it come on there, "
                "whatever mirrors and lens do";
    return clamps || around.guarded ? text + "." : "";
}

inline std::vector<std::string> sight_findings(SightProof const& sight) {
    std::vector<std::string> lines;
    auto const millimetre = [](double x) { return fixed(in_millimetres(x), 1); };
    auto const past = [&](auto const& sight_past, char const* frame) {
        if (sight_past.verdict == Verdict::within)
            return;
        bool const exceeds = sight_past.verdict == Verdict::exceeds;
        std::string const place = "(" + millimetre(sight_past.place.x) + ", " +
                                  millimetre(sight_past.place.y) + ", " + millimetre(sight_past.place.z) +
                                  ") mm in the " + frame;
        lines.push_back(
            (exceeds ? "the beam, with what is kept free around it, reaches " : "undecided beside ") +
            sight_past.name + " at " + fixed(sight_past.time, 5) + " s, at " + place);
    };
    past(sight.past_part, "part");
    past(sight.past_cell, "cell");
    auto const guarded = [&](std::optional<Guarded> const& g, char const* where) {
        if (!g || g->verdict == Verdict::within)
            return;
        bool const exceeds = g->verdict == Verdict::exceeds;
        lines.push_back(std::string(where) + (exceeds ? "the beam leaves" : "the beam may leave") +
                        " the guarded directions at " + fixed(g->time, 5) + " s" +
                        (g->outside > 0 ? ", by " + fixed(in_degrees(g->outside), 2) + "°" : std::string()));
    };
    guarded(sight.while_welding, "");
    guarded(sight.before, "on the way to it, beam off: should it come on, ");
    return lines;
}

} // namespace seamhold::detail

#endif
