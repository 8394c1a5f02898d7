#include "seamhold/plan/sequence.hpp"

#include "plan/sequence_brute.hpp"

#include <doctest/doctest.h>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Sums of some ten times up to 100, by two different ways of adding.
constexpr double tolerance = 1e-9;

struct Counts {
    std::size_t possible = 0, impossible = 0, several_best = 0;
};

void compare(SequenceJob const& job, Counts& counts) {
    BruteBest const brute = BruteSearch(job).best;
    auto const between = [&](WayRef a, WayRef b) { return job.between(a, b); };
    auto const found = find_sequence(job.tasks, job.rules, between);
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
