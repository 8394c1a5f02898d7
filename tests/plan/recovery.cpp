#include "seamhold/plan/recovery.hpp"

#include <doctest/doctest.h>

#include "plan/plan_jobs.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <utility>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const length = 0.025;    // m, of every stitch
double const speed = 16.0 / 60; // m/s, of every stitch
double const glides = 0.2;      // m/s, of the head as the motion is given

// Six stitches along the sweep, 50 mm apart, in two rows.
Job stitches(int count = 6) {
    Job job = gliding(glides);
    for (int i = 0; i < count; ++i)
        job.seams.push_back(
            stitch_about("S" + std::to_string(i + 1), 0.05 * i, i % 2 == 0 ? -0.03 : 0.03, 0.3 * i));
    return job;
}

PlanSettings settings(SweepPace pace = SweepPace::as_given) { return settings_of(-3, 5, pace); }

Plan const& six() {
    static Plan const plan = planned(stitches(), {}, settings());
    return plan;
}

// The first `done` seams of a plan are done, the next one stopped when it was good up to `good`, m.
WeldRecord stopped_at(Plan const& plan, std::size_t done, double good) {
    WeldRecord record{{}, {}, plan.seams[done].start + good / speed + 0.004};
    for (std::size_t k = 0; k < done; ++k)
        record.done.push_back({plan.seams[k].name, plan.seams[k].end, length});
    record.broken = BrokenSeam{plan.seams[done].name, good, plan.seams[done].reversed, length};
    return record;
}

// Where a seam's path is s m after the start of its run: on the straight stitch as it was drawn, by hand.
Point<Part> place_on(Job const& drawn, PlannedSeam const& seam, double s) {
    auto const number = static_cast<std::size_t>(std::stoi(seam.name.substr(1))) - 1;
    double const angle = 0.3 * static_cast<double>(number);
    double const along = (seam.reversed ? length - s : s) - length / 2;
    REQUIRE(drawn.seams[number].name == seam.name);
    return {0.05 * static_cast<double>(number) + along * std::cos(angle),
            (number % 2 == 0 ? -0.03 : 0.03) + along * std::sin(angle), 0};
}

std::string refused_with(Plan const& plan, WeldRecord const& record, RecoverySettings const& how) {
    try {
        (void)plan_rest(plan, record, how);
    } catch (BadInput const& e) {
        return e.what();
    }
    return {};
}

bool has(std::string const& text, std::string const& part) { return text.find(part) != std::string::npos; }

// The start of a seam of the rest, s of the record's clock.
double starts(Recovery const& rest, std::string const& name) {
    return rest.begins + seam_of(*rest.plan, name).start;
}

// The number in a text between two words.
double number_between(std::string const& text, std::string const& before, std::string const& after) {
    auto const from = text.find(before);
    REQUIRE(from != std::string::npos);
    auto const at = from + before.size();
    return std::stod(text.substr(at, text.find(after, at) - at));
}

} // namespace

TEST_CASE("the rest has every seam that is left once, and the broken one from an overlap before the stop") {
    auto const& plan = six();
    Job const drawn = stitches();
    for (double const good : {0.015, 0.004, 0.0}) {
        double const overlap = 0.006;
        auto const record = stopped_at(plan, 2, good);
        auto const rest = plan_rest(plan, record, {.overlap = overlap, .cooling = 0});
        REQUIRE(rest.plan);
        auto const& broken = plan.seams[2];
        CHECK(rest.restarted == broken.name);
        double const from = std::max(0.0, good - overlap);
        CHECK(rest.restart == doctest::Approx(from));
        CHECK(rest.overlap == doctest::Approx(good - from));
        std::vector<std::string> names, wanted;
        for (auto const& s : rest.plan->seams)
            names.push_back(s.name);
        for (std::size_t k = 2; k < 6; ++k)
            wanted.push_back(plan.seams[k].name);
        std::sort(names.begin(), names.end());
        std::sort(wanted.begin(), wanted.end());
        CHECK(names == wanted);
        // Where the light goes, against the stitch as drawn: the good part and the rest are the whole seam.
        auto const k = place_of(*rest.plan, broken.name);
        auto const& seam = rest.plan->job.seams[k].seam;
        CHECK_FALSE(rest.plan->seams[k].reversed); // it keeps its direction
        CHECK(seam.length() == doctest::Approx(length - from));
        CHECK(seam.duration() == doctest::Approx((length - from) / speed));
        for (int i = 0; i <= 10; ++i) {
            double const s = from + (length - from) * i / 10;
            CHECK(distance(spot(seam, (s - from) / speed), place_on(drawn, broken, s)) <= 1e-12);
        }
        // The others whole, whichever way.
        for (auto const& other : rest.plan->seams) {
            if (other.name == broken.name)
                continue;
            auto const& was = seam_of(plan, other.name);
            auto const& runs = rest.plan->job.seams[place_of(*rest.plan, other.name)].seam;
            bool const back = other.reversed;
            CHECK(distance(spot(runs, 0), place_on(drawn, was, back ? length : 0)) <= 1e-12);
            CHECK(distance(spot(runs, length / speed), place_on(drawn, was, back ? 0 : length)) <= 1e-12);
        }
        // It is a plan: as given, proven, and without faults.
        for (auto const& proof : rest.plan->proofs)
            CHECK(proof.verdict() == Verdict::within);
        CHECK(rest.begins + rest.plan->seams.front().start >= record.stopped - 1e-9);
    }
}

TEST_CASE("a seam with next to nothing left is done; with all done nothing is left") {
    auto const& plan = six();
    auto record = stopped_at(plan, 3, length - 0.5e-4);
    auto rest = plan_rest(plan, record, {.overlap = 0.005, .cooling = 10});
    REQUIRE(rest.plan);
    CHECK(rest.plan->seams.size() == 2);
    CHECK(rest.restarted.empty());
    CHECK(place_of(*rest.plan, plan.seams[3].name) == 2); // none
    record.broken->good_to = length - 1.5e-4;
    rest = plan_rest(plan, record, {.overlap = 0.005, .cooling = 10});
    CHECK(rest.plan->seams.size() == 3);
    record = stopped_at(plan, 5, length);
    rest = plan_rest(plan, record, {.overlap = 0.005, .cooling = 10});
    CHECK_FALSE(rest.plan);
    // Stopped between seams.
    record = stopped_at(plan, 4, 0);
    record.broken.reset();
    rest = plan_rest(plan, record, {.overlap = 0.005, .cooling = 10});
    CHECK(rest.plan->seams.size() == 2);
    CHECK(rest.restarted.empty());
    CHECK(rest.begins + rest.plan->seams.front().start == doctest::Approx(record.stopped)); // not before
}

TEST_CASE("cooling and gaps against what was welded: the rest begins as late as that takes, and no later") {
    auto plan = six();
    auto const name = [&](std::size_t k) { return plan.seams[k].name; };
    auto record = stopped_at(plan, 2, 0.012);
    auto rest = plan_rest(plan, record, {.overlap = 0.003, .cooling = 8});
    REQUIRE(rest.plan);
    CHECK(starts(rest, name(2)) == doctest::Approx(record.stopped + 8)); // nothing else waits
    // Seam 4 keeps 20 s from seam 1, which is done; the tie of 5 to 0 is fulfilled but for its gap; 3 waits
    // for the broken one.
    plan.rules.cooling = {{name(4), name(1), 20}, {name(2), name(3), 0.2}};
    plan.rules.ties = {{name(0), name(5), 15}};
    rest = plan_rest(plan, record, {.overlap = 0.003, .cooling = 8});
    auto const wait = [&](std::string const& seam) {
        for (auto const& w : rest.waits)
            if (w.seam == seam)
                return w.time;
        return -1.0;
    };
    CHECK(wait(name(4)) == doctest::Approx(plan.seams[1].end + 20));
    CHECK(wait(name(5)) == doctest::Approx(plan.seams[0].end + 15));
    CHECK(wait(name(2)) == doctest::Approx(record.stopped + 8));
    CHECK(wait(name(3)) == doctest::Approx(record.stopped + 0.2));
    double tightest = 1e9;
    for (auto const& w : rest.waits) {
        CHECK(starts(rest, w.seam) >= w.time - 1e-9);
        tightest = std::min(tightest, starts(rest, w.seam) - w.time);
    }
    CHECK(tightest <= 1e-9);
    CHECK(pause(*rest.plan, name(2), name(3)) >= 0.2 - 1e-9); // of the rest itself
    // An end that is not known is the stop.
    record.done[1].ended.reset();
    rest = plan_rest(plan, record, {.overlap = 0.003, .cooling = 8});
    CHECK(wait(name(4)) == doctest::Approx(record.stopped + 20));
    // Near seams: one is left, the one planned after it is done, and so are those before it.
    plan.rules = {};
    plan.rules.heat_reach = 0.08;
    plan.rules.cooling_time = 30;
    WeldRecord between{{}, {}, plan.seams[5].end + 1};
    for (std::size_t const k : {0U, 1U, 2U, 3U, 5U})
        between.done.push_back({name(k), plan.seams[k].end});
    for (std::size_t const last : {5U, 3U}) { // and ended last
        between.done[last == 5 ? 4 : 3].ended = between.stopped;
        between.done[last == 5 ? 3 : 4].ended = plan.seams[3].end;
        rest = plan_rest(plan, between, {.overlap = 0.003, .cooling = 0});
        double until = -1;
        for (std::size_t j = 0; j < 5; ++j) {
            std::size_t const k = j == 4 ? 5 : j;
            double const apart = path_distance(plan.job.seams[k].seam, plan.job.seams[4].seam);
            CHECK(std::abs(apart - 0.08) > 1e-3); // clear of the edge
            if (apart < 0.08)
                until = std::max(until, *between.done[j].ended + 30);
        }
        CHECK(until == between.stopped + 30); // both are near
        CHECK(wait(name(4)) == doctest::Approx(until));
        CHECK(starts(rest, name(4)) == doctest::Approx(until));
    }
    plan.rules.heat_reach = 0.001; // a seam is near itself
    rest = plan_rest(plan, record, {.overlap = 0.003, .cooling = 8});
    CHECK(wait(name(2)) == doctest::Approx(record.stopped + 30));
    // A plume of 30 mm and 10 mm round: whatever is nearer than 100 mm waits.
    plan.rules = {};
    plan.rules.plume = Plume{{0, 0, 1}, 0.03, 0.01, 12};
    rest = plan_rest(plan, record, {.overlap = 0.003, .cooling = 0});
    CHECK(wait(name(3)) == doctest::Approx(record.stopped + 12));
    // What had to wait for a time of the clock still has to.
    plan.rules = {};
    plan.rules.earliest = {{name(0), 400}, {name(4), 300}};
    rest = plan_rest(plan, record, {.overlap = 0.003, .cooling = 0});
    CHECK(starts(rest, name(4)) == doctest::Approx(300));
}

TEST_CASE("with a time at which the rest begins, seams wait within the plan") {
    auto plan = planned(stitches(), {}, settings(SweepPace::steady));
    auto const record = stopped_at(plan, 2, 0.012);
    RecoverySettings how{.overlap = 0.003, .cooling = 4};
    how.begins = record.stopped + 2; // the rest's clock runs from here
    auto const rest = plan_rest(plan, record, how);
    REQUIRE(rest.plan);
    CHECK(rest.begins == record.stopped + 2);
    CHECK(seam_of(*rest.plan, plan.seams[2].name).start >= 2 - 1e-9);
    // As given the sweep passes at its own time: refused, with the time that would do.
    how.cooling = 60;
    auto const text = refused_with(six(), stopped_at(six(), 2, 0.012), how);
    CHECK(has(text, "it would do if the rest began at"));
    double const when = number_between(text, "it would do if the rest began at ", " s or later");
    how.begins = when + 1e-3; // what is printed is rounded
    auto const later = plan_rest(six(), stopped_at(six(), 2, 0.012), how);
    CHECK(starts(later, six().seams[2].name) >= stopped_at(six(), 2, 0.012).stopped + 60 - 1e-9);
}

TEST_CASE("rules of the rest: clamps by the record's clock, tacks, orders and ties without what is done") {
    auto plan = six();
    auto const name = [&](std::size_t k) { return plan.seams[k].name; };
    auto const record = stopped_at(plan, 2, 0.012);
    plan.rules.tacks = {name(0), name(5)};
    RecoverySettings how{.overlap = 0.003, .cooling = 0};
    // A tack that is not done while others are: no run of this plan.
    CHECK(has(refused_with(plan, record, how), "tacks"));
    plan.rules.tacks = {name(0)};
    plan.rules.in_order = {{name(1), name(5), name(4)}};
    plan.rules.ties = {{name(1), name(3), 0}};
    auto rest = plan_rest(plan, record, how);
    CHECK(seam_of(*rest.plan, name(4)).start > seam_of(*rest.plan, name(5)).start);
    plan.rules = {};
    plan.rules.in_order = {{name(3), name(1)}};
    CHECK(has(refused_with(plan, record, how), name(3)));
    plan.rules = {};
    plan.rules.ties = {{name(3), name(2), 0}}; // the broken one was begun
    CHECK(has(refused_with(plan, record, how), "tie"));
    how.rules = PlanRules{}; // accepted by the welding engineer
    CHECK(refused_with(plan, record, how).empty());
    how.rules.reset();
    plan.rules = {};
    plan.rules.clamps = {{"left", {name(1), name(4)}, -10, 100}};
    CHECK(has(refused_with(plan, record, how), "say when the rest begins"));
    how.begins = 50;
    rest = plan_rest(plan, record, how);
    CHECK(rest.plan->rules.clamps.front().open_from == 50);
    CHECK(rest.plan->rules.clamps.front().seams == std::vector<std::string>{name(4)});
    how.begins = 101;
    CHECK(has(refused_with(plan, record, how), name(4)));
}

TEST_CASE("the robot's run-up: it has its way along the path, or the length that is missing is named") {
    auto const& plan = six();
    auto const record = stopped_at(plan, 2, 0.012);
    double const acceleration = 0.4;
    double const wanted = glides * glides / (2 * acceleration) + 0.03; // 80 mm
    RecoverySettings how{.overlap = 0.003, .cooling = 0, .run_up_margin = 0.03};
    how.settings = settings();
    how.settings->rates.acceleration = acceleration;
    auto rest = plan_rest(plan, record, how);
    CHECK(rest.run_up_needed == doctest::Approx(wanted));
    // As given the head is at glides · t; the path begins at −3 s.
    CHECK(rest.run_up == doctest::Approx(glides * (rest.plan->seams.front().start + 3)));
    CHECK(rest.run_up >= wanted);
    // A path that begins where the seams are: the first ones wait until the robot is fast.
    double const before = rest.plan->seams.front().start;
    how.settings->path = Range{before, 5};
    rest = plan_rest(plan, record, how);
    CHECK(rest.run_up >= wanted);
    CHECK(rest.plan->seams.front().start >= before + wanted / glides - 1e-9);
    CHECK(rest.plan->seams.front().start <= before + wanted / glides + 1e-2); // about: the planner chooses
    // One that begins where no seam can wait for that: refused, and with the missing way it would do.
    how.settings->path = Range{0.75, 5};
    auto const text = refused_with(plan, record, how);
    INFO(text);
    double const missing = 1e-3 * number_between(text, "begin the path ", " mm earlier");
    CHECK(missing > 0);
    CHECK(missing <= wanted);
    how.settings->path = Range{0.75 - (missing + 1e-6) / glides, 5};
    CHECK(refused_with(plan, record, how).empty());
}

TEST_CASE("a run-up that is short, and can be no longer by waiting, is told with what is missing of it") {
    // A narrow field, one stitch across the sweep at 0.25 m: reached from some 20 mm before it to 20 mm
    // after.
    Job job = gliding(glides, 0, {-0.02, 0.02});
    for (int i = 0; i < 2; ++i)
        job.seams.push_back(stitch_about("S" + std::to_string(i + 1), 0.05 + 0.2 * i, 0, quarter_turn));
    auto const plan = planned(job, {}, settings());
    REQUIRE(plan.seams[1].name == "S2");
    WeldRecord record{{{"S1", plan.seams[0].end, length}}, {}, 1};
    RecoverySettings how{.overlap = 0.003, .cooling = 0, .run_up_margin = 0};
    how.settings = settings();
    how.settings->path = Range{1, 5}; // from 0.2 m on
    how.settings->rates.acceleration = no_limit;
    auto const rest = plan_rest(plan, record, how);
    CHECK(rest.run_up_needed == 0);
    CHECK(rest.run_up > 0.025);
    CHECK(rest.run_up < 0.04);
    how.settings->rates.acceleration = 0.2; // 100 mm
    auto const text = refused_with(plan, record, how);
    INFO(text);
    double const missing = 1e-3 * number_between(text, "begin the path ", " mm earlier");
    CHECK(missing == doctest::Approx(glides * glides / 0.4 - rest.run_up).epsilon(1e-5));
    CHECK(has(text, "needs 100 mm"));
    how.settings->path->low -= (missing + 1e-6) / glides;
    CHECK(plan_rest(plan, record, how).run_up >= 0.1);
}

TEST_CASE("a held point that broke is welded anew") {
    Job job = stitches(2);
    job.seams.push_back({"P", 0, held({0.07, 0}, flat_face(), 0.05)});
    auto const plan = planned(job, {}, settings());
    WeldRecord record{{{"S1"}, {"S2"}}, BrokenSeam{"P", 0, false}, 2};
    auto const rest = plan_rest(plan, record, {.overlap = 0.003, .cooling = 1});
    REQUIRE(rest.plan);
    REQUIRE(rest.plan->seams.size() == 1);
    CHECK(rest.plan->job.seams.front().seam.duration() == 0.05);
    CHECK(rest.restart == 0);
    CHECK(rest.overlap == 0);
}

TEST_CASE("records that are none of this plan are refused by name") {
    auto const& plan = six();
    auto const good = stopped_at(plan, 2, 0.012);
    RecoverySettings const how{.overlap = 0.003, .cooling = 0};
    auto const& broken = plan.seams[2].name;
    REQUIRE(refused_with(plan, good, how).empty());
    auto bad = good;
    bad.done.push_back({"S77"});
    CHECK(has(refused_with(plan, bad, how), "S77"));
    bad = good;
    bad.broken->seam = "S78";
    CHECK(has(refused_with(plan, bad, how), "S78"));
    bad = good;
    bad.broken->good_to = length + 1e-6;
    CHECK(has(refused_with(plan, bad, how), "25.001 mm"));
    bad.broken->good_to = -1e-6;
    CHECK(has(refused_with(plan, bad, how), "-0.001 mm"));
    bad.broken->good_to = std::numeric_limits<double>::quiet_NaN();
    CHECK(has(refused_with(plan, bad, how), broken));
    bad = good;
    bad.done.push_back({broken});
    CHECK(has(refused_with(plan, bad, how), "is done, and that it is broken"));
    bad = good;
    bad.done.push_back(bad.done.front());
    CHECK(has(refused_with(plan, bad, how), "twice"));
    bad = good;
    bad.broken->reversed = !bad.broken->reversed;
    CHECK(has(refused_with(plan, bad, how), "another plan"));
    bad = good;
    bad.done.front().length = 0.03;
    CHECK(has(refused_with(plan, bad, how), "30 mm"));
    bad = good;
    bad.broken->length = std::numeric_limits<double>::quiet_NaN();
    CHECK(has(refused_with(plan, bad, how), "another plan"));
    bad = good;
    bad.done.front().ended = bad.stopped + 1;
    CHECK(has(refused_with(plan, bad, how), "after the stop"));
    bad.done.front().ended = std::numeric_limits<double>::quiet_NaN();
    CHECK_FALSE(refused_with(plan, bad, how).empty());
    bad = good;
    bad.stopped = std::numeric_limits<double>::infinity();
    CHECK(has(refused_with(plan, bad, how), "stopped"));
    CHECK(has(refused_with(plan, good, {.overlap = -1e-3, .cooling = 0}), "overlap"));
    CHECK(has(refused_with(plan, good, {.overlap = 0, .cooling = -1}), "cooling"));
    CHECK(has(refused_with(plan, good, {.overlap = 0, .cooling = 0, .done_within = 0}), "left"));
    CHECK(has(refused_with(plan, good, {.overlap = 0, .cooling = 0, .run_up_margin = -1}), "margin"));
    auto other = how;
    other.begins = std::numeric_limits<double>::quiet_NaN();
    CHECK_FALSE(refused_with(plan, good, other).empty());
}
