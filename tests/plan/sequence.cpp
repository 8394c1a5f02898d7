#include "seamhold/plan/sequence.hpp"

#include "plan/sequence_brute.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <set>
#include <string>
#include <utility>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Sums of some ten times up to 100, by two different ways of adding.
constexpr double tolerance = 1e-9;

struct Counts {
    std::size_t possible = 0, impossible = 0, several_best = 0;
};

// The exact search alone, with nothing known before: what the local search finds would hide its faults.
template <class Table> void check_exact(Table& table, BruteBest const& brute) {
    auto const go_on = [](std::size_t, double, double) { return true; };
    detail::ForwardPass<Table> pass(table);
    detail::ExactSearch<detail::Least::takt, Table> best(table, 0, detail::SequenceScore::worst());
    auto const found = best.run(100000000, go_on);
    CHECK(found.complete);
    REQUIRE(found.order.empty() == (brute.takt == infinity));
    if (!found.order.empty()) {
        CHECK(pass.score(found.order).warp == 0);
        CHECK(std::abs(pass.score(found.order).takt - brute.takt) <= tolerance);
        CHECK(std::abs(pass.score(found.order).end - brute.end) <= tolerance);
    }
    detail::ExactSearch<detail::Least::lateness, Table> late(table, 0, detail::SequenceScore::worst());
    auto const least = late.run(100000000, go_on);
    REQUIRE(least.order.empty() == (brute.lateness == infinity));
    if (!least.order.empty())
        CHECK(std::abs(detail::lateness_of(table, least.order).lateness - brute.lateness) <= tolerance);
}

void compare(SequenceJob const& job, Counts& counts) {
    BruteBest const brute = BruteSearch(job).best;
    auto const between = [&](WayRef a, WayRef b) { return job.between(a, b); };
    auto const found = find_sequence(job.tasks, job.rules, between);
    detail::SequenceTable table(job.tasks, job.rules, between);
    CHECK(detail::sequence_bound(table).takt <= brute.takt + tolerance);
    if (table.chain()) // the shortest paths are a bound whatever the prices, after however many steps
        for (std::size_t const steps : {1U, 7U, 100U})
            CHECK(detail::PathBound(table, infinity, steps).takt() <= brute.takt + tolerance);
    check_exact(table, brute);
    REQUIRE(found.has_value() == (brute.takt < infinity));
    SequenceOptions large;
    large.exact_up_to = 0;
    large.kicks = 20;
    auto const good = find_sequence(job.tasks, job.rules, between, large);
    if (!found) {
        ++counts.impossible;
        CHECK(!good);
        auto const late = least_lateness(job.tasks, job.rules, between);
        CHECK(late.proven);
        if (brute.lateness < infinity)
            CHECK(std::abs(late.lateness - brute.lateness) <= tolerance);
        else
            CHECK(late.lateness == infinity);
        CHECK_THROWS_AS(sequence(job.tasks, job.rules, between), BadInput);
        return;
    }
    ++counts.possible;
    CHECK(fault_of(job, found->order, found->starts, found->takt) == "");
    CHECK(found->optimal);
    CHECK(std::abs(found->takt - brute.takt) <= tolerance);
    CHECK(found->lower_bound == found->takt);
    double end = -infinity;
    for (std::size_t k = 0; k < found->order.size(); ++k)
        end = std::max(end,
                       found->starts[k] + job.tasks[found->order[k].task].ways[found->order[k].way].duration);
    CHECK(std::abs(end - brute.end) <= tolerance);
    if (good) {
        CHECK(fault_of(job, good->order, good->starts, good->takt) == "");
        CHECK(good->takt >= brute.takt - tolerance);
        CHECK(good->lower_bound <= brute.takt + tolerance);
        counts.several_best += good->takt <= brute.takt + tolerance ? 1 : 0;
    }
}

} // namespace

TEST_CASE("sequence: as good as every order of every choice of ways") {
    Random random(70101);
    Counts counts;
    for (std::size_t run = 0; run < runs(400); ++run) {
        RandomJobSettings s;
        s.tasks = 1 + random.index(5);
        s.ways = 1 + random.index(2);
        s.heads = 1 + random.index(3);
        s.window = random.unit() < 0.5 ? 0.6 : 2;
        s.infinite = random.unit() < 0.2 ? 0.3 : 0;
        s.whole = 0.4;
        s.afters = random.index(3);
        s.aparts = random.index(3);
        SequenceJob const job = random_job(random, s);
        CAPTURE(run);
        compare(job, counts);
    }
    MESSAGE("possible ", counts.possible, ", impossible ", counts.impossible, ", large as good ",
            counts.several_best);
    CHECK(counts.possible >= runs(400) / 4);
    CHECK(counts.impossible >= runs(400) / 8);
}

TEST_CASE("sequence: as good as every order, up to eight tasks") {
    Random random(70102);
    Counts counts;
    for (std::size_t run = 0; run < runs(12); ++run) {
        RandomJobSettings s;
        s.tasks = 6 + run % 3;
        s.ways = s.tasks == 6 ? 2 : 1;
        s.heads = 1 + random.index(2);
        s.window = random.unit() < 0.5 ? 1 : 3;
        s.whole = 0.3;
        s.afters = random.index(2);
        s.aparts = random.index(4);
        SequenceJob const job = random_job(random, s);
        CAPTURE(run);
        compare(job, counts);
    }
    CHECK(counts.possible >= runs(12) / 3);
}

namespace {

// A dense sweep: stitches along a line, each with a window about its place, forward or reversed.
SequenceJob sweep_job(std::size_t n, std::uint64_t seed, bool rules) {
    Random random(seed);
    SequenceJob job;
    for (std::size_t t = 0; t < n; ++t) {
        double const middle = 0.105 * (static_cast<double>(t) + random.uniform(-2, 3));
        double const duration = random.uniform(0.07, 0.13);
        TaskWay const way{middle - 1, middle + 1, duration, 0};
        job.tasks.push_back({"s" + std::to_string(t), {way, way}});
        if (rules && t > 3 && t % 2 == 0)
            job.rules.aparts.push_back({t - 1, t, 0.5, 0.5});
        if (rules && t > 3 && t % 10 == 0)
            job.rules.afters.push_back({t - 3, t, 0.1});
    }
    job.times.assign(4 * n, std::vector<double>(4 * n));
    for (auto& row : job.times)
        for (double& x : row)
            x = random.uniform(0.001, 0.01); // 5 % of a duration on the mean
    return job;
}

} // namespace

TEST_CASE("sequence: many tasks, with and without rules between them") {
    for (bool const rules : {false, true}) {
        SequenceJob const job = sweep_job(300, 70103, rules);
        std::set<std::pair<std::uint32_t, std::uint32_t>> asked;
        std::size_t twice = 0;
        auto const between = [&](WayRef a, WayRef b) {
            twice += asked.insert({a.task * 2 + a.way, b.task * 2 + b.way}).second ? 0U : 1U;
            return job.between(a, b);
        };
        Sequence const found = sequence(job.tasks, job.rules, between);
        CHECK(fault_of(job, found.order, found.starts, found.takt) == "");
        CHECK(twice == 0);
        CHECK(asked.size() < 600 * 599 / 4); // windows leave most of the pairs out
        CHECK(found.lower_bound > 0);
        CHECK(found.takt <= 1.05 * found.lower_bound);
        CHECK(!found.stopped);
        Sequence const again = sequence(job.tasks, job.rules, between);
        CHECK(again.order == found.order);
        CHECK(again.starts == found.starts);
    }
}

TEST_CASE("sequence: side by side on two heads with lasers of their own") {
    SequenceJob job = sweep_job(60, 70104, true);
    job.rules.shared_laser = false;
    for (Task& task : job.tasks)
        task.ways[1].head = 7; // heads are numbered as one likes
    auto const between = [&](WayRef a, WayRef b) { return job.between(a, b); };
    Sequence const found = sequence(job.tasks, job.rules, between);
    CHECK(fault_of(job, found.order, found.starts, found.takt) == "");
    CHECK(found.lower_bound <= found.takt);
}

TEST_CASE("sequence: a search that is ended gives the best so far") {
    SequenceJob const job = sweep_job(14, 70105, false);
    auto const between = [&](WayRef a, WayRef b) { return job.between(a, b); };
    Sequence const whole = sequence(job.tasks, job.rules, between);
    CHECK(whole.optimal);
    bool ended_early = false;
    for (std::size_t const last : {1U, 2U, 3U, 10U, 30U, 100U}) {
        SequenceOptions options;
        std::size_t calls = 0;
        double best = infinity, looked_at = 0;
        options.go_on = [&](SearchProgress const& progress) {
            CHECK(progress.best_takt <= best);
            CHECK(static_cast<double>(progress.looked_at) >= looked_at);
            CHECK(progress.lower_bound <= whole.takt + tolerance);
            best = progress.best_takt;
            looked_at = static_cast<double>(progress.looked_at);
            return ++calls < last;
        };
        auto const found = find_sequence(job.tasks, job.rules, between, options);
        if (!found)
            continue; // ended before there was one
        CHECK(fault_of(job, found->order, found->starts, found->takt) == "");
        CHECK(found->stopped == (calls >= last));
        CHECK((found->optimal || found->stopped));
        CHECK(found->lower_bound <= whole.takt + tolerance);
        CHECK(found->takt >= whole.takt - tolerance);
        ended_early = ended_early || found->stopped;
    }
    CHECK(ended_early);
    SequenceOptions at_once;
    at_once.go_on = [](SearchProgress const&) { return false; };
    auto const found = find_sequence(job.tasks, job.rules, between, at_once);
    CHECK((!found || found->stopped));
}

TEST_CASE("sequence: past the budget it says that nothing is proven") {
    SequenceJob const job = sweep_job(18, 70106, false);
    auto const between = [&](WayRef a, WayRef b) { return job.between(a, b); };
    SequenceOptions options;
    options.budget = 100;
    Sequence const found = sequence(job.tasks, job.rules, between, options);
    Sequence const whole = sequence(job.tasks, job.rules, between);
    CHECK(!found.optimal);
    CHECK(found.takt >= whole.takt - tolerance);
    CHECK(found.lower_bound <= whole.takt + tolerance);
    CHECK(fault_of(job, found.order, found.starts, found.takt) == "");
}

TEST_CASE("sequence: times scale, and do not depend on where time begins") {
    Random random(70107);
    for (std::size_t run = 0; run < runs(20); ++run) {
        RandomJobSettings s;
        s.tasks = 8;
        s.aparts = 2;
        s.window = 3;
        SequenceJob const job = random_job(random, s);
        SequenceJob other = job;
        double const scale = 0x1p-20, shift = 4096; // by powers of two, so that the numbers stay the same
        for (Task& task : other.tasks)
            for (TaskWay& way : task.ways) {
                way.earliest = scale * (way.earliest + shift);
                way.latest = scale * (way.latest + shift);
                way.duration *= scale;
            }
        for (TaskApart& r : other.rules.aparts) {
            r.gap_one_first *= scale;
            r.gap_other_first *= scale;
        }
        other.rules.laser_switch *= scale;
        auto const found =
            find_sequence(job.tasks, job.rules, [&](WayRef a, WayRef b) { return job.between(a, b); });
        auto const scaled = find_sequence(other.tasks, other.rules,
                                          [&](WayRef a, WayRef b) { return scale * job.between(a, b); });
        REQUIRE(found.has_value() == scaled.has_value());
        if (found) // 4096 and 12 digits: nothing below 4e-9 is kept apart
            CHECK(std::abs(found->takt - scaled->takt / scale) <= 1e-7);
    }
}
