// A whole part in the shortest takt: order, start times and pace for a tray's thirty stitches, every limit
// proven; the same job by stops; and what rules cost. With the name of a folder it writes plan.csv there and
// draws plan.png (gnuplot). All numbers are invented; the robot that stops is common practice, no source.
// Returns 1 if the plan falls short of what is checked below, or breaks a rule. Which rules a weld needs is
// the welding engineer's to say; for laser light, fume and moving arms see local codes and licensed practice.
#include "plan_job.hpp"
#include "plan_picture.hpp"

#include "seamhold/file/plan_report.hpp"
#include "seamhold/plan/planner.hpp"
#include "seamhold/plan/stop_and_weld.hpp"

#include <algorithm>
#include <cstdio>
#include <filesystem>

using namespace seamhold;
using namespace seamhold::examples;

// The least time, s, between two seams of a plan that come nearer than a distance, m: thirty steps of each.
double least_pause(Plan const& plan, double distance) {
    double least = no_limit;
    for (auto const& one : plan.job.seams)
        for (auto const& other : plan.job.seams)
            for (int i = 0, k = 0; k < 31 && one.start < other.start;
                 k += (i == 30 ? 1 : 0), i = (i + 1) % 31) {
                auto const p = one.seam.at(one.seam.duration() * i / 30).position;
                auto const q = other.seam.at(other.seam.duration() * k / 30).position;
                if (norm(p - q) < distance)
                    least = std::min(least, other.start - one.end());
            }
    return least;
}

int main(int count, char** words) {
    // [plan]
    Job const job = tray_to_plan();
    PlanSettings const settings = tray_settings(); // the robot: 0.6 m/s and 2 m/s² along the sweep
    Plan const best = plan(job, {}, settings);     // at a varied pace
    // [plan] end
    std::printf("%s\n", plan_report(best).c_str());

    // [stops]
    StopSettings const still; // its robot: 1 m/s, 3 m/s², 0.2 s to settle, 0.05 s of handshake
    StopAndWeld const stops = stop_and_weld(job, still);
    // [stops] end
    std::printf("%s\n", comparison_report(best, stops, still.robot).c_str());

    // [rules]
    PlanRules tacked, cooled;
    tacked.tacks = {"T01", "T06"}; // before all others
    cooled.heat_reach = millimetres(60);
    cooled.cooling_time = 0.2; // between seams nearer than that, whichever is first
    PlanRules both = cooled;
    both.tacks = tacked.tacks;
    // [rules] end
    bool good = best.beam_on_share() >= 0.9 && best.travel() <= 0.8 &&
                stops.field.takt >= 1.5 * best.takt() && stops.single.takt >= 3 * best.takt();
    struct {
        char const* what;
        PlanRules const& rules;
    } const cases[] = {{"two tacks first", tacked}, {"0.2 s of cooling", cooled}, {"both", both}};
    std::printf("What rules cost, as found:\n");
    for (auto const& [what, rules] : cases) {
        Plan const ruled = plan(job, rules, settings);
        std::printf("  %-16s takt %.3f s, %+.1f ms; beam on %.1f %%; at this pace at most %.1f ms too long\n",
                    what, ruled.takt(), 1e3 * (ruled.takt() - best.takt()), 100 * ruled.beam_on_share(),
                    1e3 * (ruled.takt() - ruled.lower_bound));
        for (std::size_t i = 0; i < rules.tacks.size(); ++i)
            good = good && std::count(rules.tacks.begin(), rules.tacks.end(), ruled.seams[i].name) == 1;
        good = good && least_pause(ruled, rules.heat_reach) >= rules.cooling_time - 1e-9;
    }
    if (count > 1) {
        std::filesystem::create_directories(words[1]);
        write_text(std::filesystem::path(words[1]) / "plan.csv", plan_csv(best));
        draw_plan(words[1], best);
    }
    return good ? 0 : 1;
}
