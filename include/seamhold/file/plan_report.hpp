#ifndef SEAMHOLD_FILE_PLAN_REPORT_HPP
#define SEAMHOLD_FILE_PLAN_REPORT_HPP

#include "seamhold/file/proof_words.hpp"
#include "seamhold/file/report_csv.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/plan/plan.hpp"
#include "seamhold/plan/stop_and_weld.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <vector>

/// A plan, and what it is held against, for people and for programs.
namespace seamhold {

namespace detail {

/// A share in per cent.
inline std::string share_text(double share, int decimals = 1) { return fixed(100 * share, decimals) + " %"; }

inline std::string in_ms(double seconds) { return fixed(1e3 * seconds, 2); }

/// What the takt is made of.
inline std::string takt_table(Plan const& plan) {
    double waiting = 0;
    for (auto const& seam : plan.seams)
        waiting += seam.waiting;
    double const settling = plan.takt() - plan.beam_on() - plan.air() - waiting;
    AlignedText table("lrr");
    auto const row = [&](char const* what, double seconds) {
        table.add({what, fixed(seconds, 4) + " s", share_text(seconds / plan.takt(), 2)});
    };
    row("beam on", plan.beam_on());
    row("air moves", plan.air());
    row("settling of the mirrors", settling);
    row("waiting", waiting);
    row("takt, first beam on to last beam off", plan.takt());
    if (plan.lower_bound > 0)
        row("least takt of any order at this pace", plan.lower_bound);
    return table.text(2);
}

/// One line a seam.
inline std::string plan_table(Plan const& plan) {
    AlignedText table("llrrrrrrl");
    table.add({"seam", "way", "start s", "end s", "window of the start s", "air ms", "waits ms", "margin",
               "binding"});
    for (std::size_t i = 0; i < plan.seams.size(); ++i) {
        auto const& s = plan.seams[i];
        table.add({s.name, s.reversed ? "reversed" : "as drawn", fixed(s.start, 4), fixed(s.end, 4),
                   fixed(s.earliest, 3) + " to " + fixed(s.latest, 3), in_ms(s.air), in_ms(s.waiting),
                   share_text(s.margin), name_of(plan.proofs[i].binding())});
    }
    return table.text(2);
}

} // namespace detail

/// A plan as text: takt, beam-on share, what the rest of the time goes into, how far from the least, and a
/// line a seam with its window, air move and proven margin.
inline std::string plan_report(Plan const& plan) {
    using detail::fixed;
    using detail::share_text;
    if (plan.seams.empty())
        return "Plan of no seams: this head welds nothing.\n";
    auto const& first = plan.seams.front();
    auto const speed = [&](double t) {
        auto const* law = plan.job.chain.cell_from_flange.law();
        return law == nullptr ? 1.0 : law->speed(t);
    };
    double slowest = no_limit, fastest = 0;
    for (int i = 0; i <= 1000; ++i) {
        double const s = speed(first.start + plan.takt() * i / 1000);
        slowest = std::min(slowest, s);
        fastest = std::max(fastest, s);
    }
    std::string text = "Plan of " + detail::counted(plan.seams.size(), "seam", "seams") + ": takt " +
                       fixed(plan.takt(), 3) + " s from the first beam on to the last beam off, beam on " +
                       share_text(plan.beam_on_share()) + " of it.\n";
    text += plan.optimal ? "  No order is better at this pace, proven with air moves as estimated in the "
                           "middle of windows.\n"
            : plan.lower_bound > 0 ? "  The takt is at most " + share_text(plan.gap(), 2) +
                                         " above what any order takes at this pace, by estimated air moves.\n"
                                   : std::string();
    if (plan.stopped)
        text += "  The search was ended early: this is the best that was found until then.\n";
    text += "  Pace " + std::string(to_string(plan.settings.pace)) + ": the motion runs at " +
            (fastest - slowest < 1e-6 ? fixed(fastest, 3) : fixed(slowest, 3) + " to " + fixed(fastest, 3)) +
            " of its speed; the flange travels " + fixed(plan.travel(), 3) + " m.\n";
    text += "  Every limit of every seam is proven" +
            (plan.proofs.front().box.any() ? ", " + detail::box_text(plan.proofs.front().box)
                                           : std::string(" for the motion as planned")) +
            "; the least margin is " + share_text(plan.margin()) + ".\n\n";
    text += detail::takt_table(plan) + "\n" + detail::plan_table(plan);
    text +=
        "\n  Loading and clamping are not in the takt. Whoever runs it answers for the cell's safety: laser\n"
        "  radiation, fume and the moving arm are the business of local codes and of licensed practice.\n";
    return text;
}

/// A plan as CSV for a program: one row a seam in order of time, times in s of the robot's clock.
inline std::string plan_csv(Plan const& plan) {
    using detail::shortest;
    std::string text = "order,seam,reversed,pass,start_s,end_s,earliest_s,latest_s,air_s,waiting_s,"
                       "least_margin,binding_limit\n";
    for (std::size_t i = 0; i < plan.seams.size(); ++i) {
        auto const& s = plan.seams[i];
        for (std::string const& field :
             {std::to_string(i + 1), detail::csv_field(s.name), std::string(s.reversed ? "1" : "0"),
              std::to_string(s.pass), shortest(s.start), shortest(s.end), shortest(s.earliest),
              shortest(s.latest), shortest(s.air), shortest(s.waiting), shortest(s.margin)})
            text += field + ",";
        text += std::string(to_string(plan.proofs[i].binding().limit)) + "\n";
    }
    return text;
}

/// A plan beside the same job welded at rest: a line each, the robot's inputs, and what the takts by stops
/// would be with each input at half and at double its value.
inline std::string comparison_report(Plan const& plan, StopAndWeld const& stops, RobotStops const& robot) {
    using detail::fixed;
    detail::AlignedText table("lrrrrrr");
    table.add({"", "takt s", "of the plan's", "beam on", "stops", "robot moves s", "air s"});
    table.add({"plan, robot in motion", fixed(plan.takt(), 3), "1", detail::share_text(plan.beam_on_share()),
               "0", "-", fixed(plan.air(), 3)});
    auto const row = [&](char const* what, StopPlan const& s) {
        table.add({what, fixed(s.takt, 3), fixed(s.takt / plan.takt(), 2),
                   detail::share_text(s.beam_on_share()), std::to_string(s.stops.size()), fixed(s.moving, 3),
                   fixed(s.air, 3)});
    };
    row("fewest stops", stops.field);
    row("a stop for each seam", stops.single);
    row("a stop above each seam", stops.above);
    std::string text = "The same job at rest, with the same air moves. The robot's " + fixed(robot.speed, 2) +
                       " m/s, " + fixed(robot.acceleration, 2) + " m/s2, settling " +
                       fixed(robot.settling, 3) + " s and handshake " + fixed(robot.handshake, 3) +
                       " s are inputs, not measured.\n" + table.text(2);
    text += "  The fewest stops are " + std::to_string(stops.positions.positions.size()) +
            (stops.positions.proven ? ", proven the fewest of the positions looked at; "
                                    : ", at least " + std::to_string(stops.positions.lower_bound) +
                                          " of the positions looked at; ") +
            "no head pose at all reaches two of " + std::to_string(stops.positions.apart.size()) +
            " seams.\n\n  Takt in s with one input at half and at double its value:\n";
    detail::AlignedText sensitivity("lrrrr");
    sensitivity.add({"input", "fewest, half", "double", "each seam, half", "double"});
    for (std::size_t i = 0; i < stops.field.sensitivity.size() && i < stops.single.sensitivity.size(); ++i) {
        auto const &f = stops.field.sensitivity[i], &s = stops.single.sensitivity[i];
        sensitivity.add({f.input, fixed(f.half, 3), fixed(f.twice, 3), fixed(s.half, 3), fixed(s.twice, 3)});
    }
    return text + sensitivity.text(2);
}

} // namespace seamhold

#endif
