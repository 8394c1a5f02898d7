#include "plan/plan_jobs.hpp"

#include <algorithm>

namespace seamhold::test {

std::vector<Tick> ticks_of(Job const& job, double period) {
    Ticks const ticks(job, period);
    std::vector<Tick> all;
    all.reserve(ticks.size());
    for (std::size_t i = 0; i < ticks.size(); ++i)
        all.push_back(ticks[i]);
    return all;
}

Followed<double> followed(Job const& job, AnySeam const& seam, double seam_time, double time) {
    return job.chain.follow(seam, seam_time, time);
}

AirRoom room_between(Job const& job, AnySeam const& from, double ended, AnySeam const& to, double start) {
    return air_room(job.chain, from, ended, to, start, air_limits(job.dynamics));
}

namespace {

std::string number(double x) { return detail::text_of(x); }

// Seams, times and shares of the plan by its own words.
void check_table(Job const& given, Plan const& plan, bool all, std::vector<std::string>& faults) {
    auto const fault = [&](std::string const& text) { faults.push_back(text); };
    std::size_t const count = all ? given.seams.size() : plan.seams.size();
    if (plan.seams.size() != count || plan.job.seams.size() != count || plan.proofs.size() != count)
        return fault("not as many seams as were given");
    std::vector<int> met(given.seams.size(), 0);
    double on = 0;
    for (std::size_t k = 0; k < plan.seams.size(); ++k) {
        auto const& s = plan.seams[k];
        auto const& runs = plan.job.seams[k];
        if (s.given >= given.seams.size() || ++met[s.given] > 1 || given.seams[s.given].name != s.name ||
            runs.name != s.name || plan.proofs[k].name != s.name) {
            fault("seam " + s.name + " is not one of those given, or stands twice");
            continue;
        }
        auto const& seam = given.seams[s.given].seam;
        double const lasts = seam.duration();
        for (double const share : {0.0, 0.3, 1.0}) // a straight stitch at one speed: mirrored in time
            if (distance(spot(runs.seam, lasts * share),
                         spot(seam, lasts * (s.reversed ? 1 - share : share))) > 1e-12)
                fault("seam " + s.name + " does not run as its direction says");
        if (runs.start != s.start || std::abs(s.end - s.start - lasts) > 1e-14 || runs.end() != s.end)
            fault("seam " + s.name + ": the table's times are not the job's");
        if (!(s.start >= s.earliest - 2e-9 && s.start <= s.latest + 2e-9))
            fault("seam " + s.name + " starts at " + number(s.start) + ", outside of its window from " +
                  number(s.earliest) + " to " + number(s.latest));
        on += lasts;
        if (k == 0)
            continue;
        auto const& last = plan.seams[k - 1];
        double const off = s.start - last.end;
        double const told = s.air + given.dynamics.settling + s.waiting;
        if (!(off > 0) || std::abs(off - told) > 2e-9)
            fault("seam " + s.name + ": beam off for " + number(off) + " s, air, settling and waiting are " +
                  number(told) + " s");
        auto const room = room_between(plan.job, plan.job.seams[k - 1].seam, last.end, runs.seam, s.start);
        if (!room.way || std::abs(room.least - s.air) > 1e-9)
            fault("seam " + s.name + ": its air move is not what the table says");
    }
    double const takt = plan.seams.back().end - plan.seams.front().start;
    if (plan.takt() != takt || std::abs(plan.beam_on() - on) > 1e-12 ||
        std::abs(plan.beam_on_share() - on / takt) > 1e-12)
        fault("takt and beam-on time are not those of the seams");
    if (all && !(plan.lower_bound <= takt * 1.01)) // its air moves are right to some per cent
        fault("the lower bound " + number(plan.lower_bound) + " s is above the takt " + number(takt) + " s");
}

void check_proofs(Plan const& plan, std::vector<std::string>& faults) {
    auto const again = proofs_of(plan.job, plan.settings.proof);
    for (std::size_t k = 0; k < again.size(); ++k) {
        double most = 0;
        for (auto const& limit : again[k].limits) {
            most = std::max(most, limit.utilisation.high);
            if (limit.verdict != Verdict::within)
                faults.push_back("seam " + again[k].name + " proven anew: " + to_string(limit.limit) +
                                 " is not within");
        }
        if (plan.proofs[k].verdict() != Verdict::within)
            faults.push_back("seam " + again[k].name + ": its own proof is not within");
        if (std::abs(plan.seams[k].margin - (1 - most)) > 1e-12)
            faults.push_back("seam " + again[k].name + " has the margin " + number(plan.seams[k].margin) +
                             ", proven anew it is " + number(1 - most));
        if (!(plan.seams[k].margin >= 0))
            faults.push_back("seam " + again[k].name + " has no margin");
    }
}

// What the head is told every 10 µs. A mean of a rate over some ticks is not above the rate's own largest
// value, so differences may not pass a limit but for two roundings. Of a time of some seconds, 4e-16 s, at
// which an axis moves at up to 40 rad/s: 2e-14 rad. And an air way may arrive 1 ns early or late (air_room),
// while the seam is followed at 0.3 rad/s: 3e-10 rad, 2 of which over the tick squared make 6 rad/s², and 3
// of which over its third power 1e6 rad/s³.
void check_ticks(Job const& given, Plan const& plan, PlanFaults& faults) {
    constexpr double period = 1e-5;
    auto const ticks = ticks_of(plan.job, period);
    std::size_t seam = 0;
    std::vector<std::size_t> open(plan.seams.size(), 0);
    for (auto const& tick : ticks) {
        while (seam < plan.seams.size() && tick.time > plan.seams[seam].end)
            ++seam;
        if (seam == plan.seams.size())
            break;
        auto const& s = plan.seams[seam];
        double const near = period / 500; // times within a thousandth of a tick count as equal
        bool const inside = tick.time >= s.start + near && tick.time + period <= s.end - near;
        bool const outside = tick.time < s.start - near || tick.time + period > s.end + near;
        open[seam] += tick.gate ? 1 : 0;
        if ((inside && !tick.gate) || (outside && tick.gate))
            faults.all.push_back("seam " + s.name + " at " + number(tick.time) + " s: gate " +
                                 (tick.gate ? "open" : "shut"));
        if (faults.all.size() > 20)
            return;
    }
    for (std::size_t k = 0; k < open.size(); ++k) {
        double const lasts = plan.seams[k].end - plan.seams[k].start;
        if (std::abs(static_cast<double>(open[k]) * period - lasts) > 2 * period)
            faults.all.push_back("seam " + plan.seams[k].name + " is not welded from end to end");
    }
    // From the first light to the last: beyond it the beam is off and nothing is promised.
    auto const& d = given.dynamics;
    auto const lag = std::max(d.mirror_lag, d.focus_lag);
    std::vector<Command<>> run;
    for (auto const& tick : ticks)
        if (tick.time >= plan.seams.front().start && tick.time <= plan.seams.back().end - lag)
            run.push_back(tick.command);
    auto const most = [](double& share, double value, double limit) {
        share = std::max(share, std::abs(value) / limit);
    };
    for (std::size_t i = 3; i < run.size(); ++i) {
        for (auto const axis : {&Command<>::x_mirror, &Command<>::y_mirror}) {
            double const a = run[i - 3].*axis, b = run[i - 2].*axis, c = run[i - 1].*axis, e = run[i].*axis;
            most(faults.velocity, (e - c) / period, d.mirror_velocity);
            most(faults.acceleration, (e - 2 * c + b) / (period * period), d.mirror_acceleration);
            most(faults.jerk, (e - 3 * c + 3 * b - a) / (period * period * period), d.mirror_jerk);
        }
        double const b = run[i - 2].focus, c = run[i - 1].focus, e = run[i].focus;
        most(faults.focus_velocity, (e - c) / period, d.focus_velocity);
        most(faults.focus_acceleration, (e - 2 * c + b) / (period * period), d.focus_acceleration);
    }
    auto const say = [&](double share, double rounding, char const* what) {
        if (!(share <= 1 + rounding))
            faults.all.push_back(std::string(what) + " of the commands: " + number(share) + " of the limit");
    };
    say(faults.velocity, 1e-5, "velocity");
    say(faults.acceleration, 6 / d.mirror_acceleration, "acceleration");
    say(faults.jerk, 1e6 / d.mirror_jerk, "jerk");
    say(faults.focus_velocity, 1e-5, "velocity of the lens");
    say(faults.focus_acceleration, 1e-3, "acceleration of the lens");
}

// What the robot is asked for, from the first light to the last, by differences of its places over 0.2 ms:
// means of its speed and acceleration, so never above their largest but for rounding, 1e-16 m / (0.2 ms)².
void check_robot(Plan const& plan, PlanFaults& faults) {
    constexpr double step = 2e-4;
    auto const& motion = plan.job.chain.cell_from_flange;
    for (double t = plan.seams.front().start + step; t < plan.seams.back().end - step; t += step) {
        auto const a = motion.at(t - step).origin, b = motion.at(t).origin, c = motion.at(t + step).origin;
        faults.robot_speed = std::max(faults.robot_speed, norm(c - b) / step);
        faults.robot_acceleration =
            std::max(faults.robot_acceleration, norm((c - b) - (b - a)) / (step * step));
    }
    if (plan.settings.pace == SweepPace::as_given)
        return;
    if (!(faults.robot_speed <= plan.settings.rates.speed * (1 + 1e-6)))
        faults.all.push_back("the robot runs at " + number(faults.robot_speed) + " m/s");
    if (!(faults.robot_acceleration <= plan.settings.rates.acceleration * (1 + 1e-6)))
        faults.all.push_back("the robot gathers speed at " + number(faults.robot_acceleration) + " m/s²");
}

} // namespace

PlanFaults faults_of(Job const& given, Plan const& plan, bool all) {
    PlanFaults faults;
    check_table(given, plan, all, faults.all);
    if (!faults.all.empty())
        return faults;
    check_proofs(plan, faults.all);
    check_robot(plan, faults);
    check_ticks(given, plan, faults);
    return faults;
}

} // namespace seamhold::test
