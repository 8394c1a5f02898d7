#include "seamhold/plan/sequence.hpp"

#include "plan/sequence_brute.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double tolerance = 1e-9; // sums of some ten times up to 100

std::vector<WayRef> random_order(Random& random, std::vector<Task> const& tasks) {
    std::vector<WayRef> order;
    for (std::uint32_t t = 0; t < tasks.size(); ++t)
        order.push_back({t, static_cast<std::uint32_t>(random.index(tasks[t].ways.size()))});
    for (std::size_t k = order.size(); k > 1; --k)
        std::swap(order[k - 1], order[random.index(k)]);
    return order;
}

} // namespace

TEST_CASE("schedule: the least takt and then the earliest end of an order, by longest paths") {
    Random random(70301);
    std::size_t possible = 0, impossible = 0;
    for (std::size_t run = 0; run < runs(3000); ++run) {
        RandomJobSettings s;
        s.tasks = 1 + random.index(5);
        s.heads = 1 + random.index(2);
        s.window = 4;
        s.aparts = random.index(3);
        SequenceJob job = random_job(random, s);
        bool const side_by_side = !job.rules.shared_laser && s.heads > 1;
        // One order of one choice of ways: the others are taken away.
        auto const order = random_order(random, job.tasks);
        SequenceJob one;
        one.rules = job.rules;
        one.rules.aparts.clear();
        std::vector<std::size_t> place(order.size());
        for (std::size_t k = 0; k < order.size(); ++k) {
            place[order[k].task] = k;
            one.tasks.push_back(
                {job.tasks[order[k].task].name, {job.tasks[order[k].task].ways[order[k].way]}});
        }
        for (TaskApart const& r : job.rules.aparts)
            one.rules.aparts.push_back({place[r.one], place[r.other], r.gap_one_first, r.gap_other_first});
        one.times.assign(4 * order.size(), std::vector<double>(4 * order.size()));
        for (std::size_t a = 0; a < order.size(); ++a)
            for (std::size_t b = 0; b < order.size(); ++b)
                one.times[4 * a][4 * b] = job.between(order[a], order[b]);
        BruteBest const brute = best_in_order(one);
        auto const found = schedule(
            job.tasks, job.rules, [&](WayRef a, WayRef b) { return job.between(a, b); }, order);
        if (side_by_side) { // the longest paths leave open which task starts first of all
            CHECK((!found || found->takt >= brute.takt - tolerance));
            continue;
        }
        REQUIRE(found.has_value() == (brute.takt < infinity));
        found ? ++possible : ++impossible;
        if (!found)
            continue;
        double first = infinity, last = -infinity;
        for (std::size_t k = 0; k < order.size(); ++k) {
            first = std::min(first, found->starts[k]);
            last = std::max(last, found->starts[k] + one.tasks[k].ways[0].duration);
        }
        CHECK(std::abs(found->takt - brute.takt) <= tolerance);
        CHECK(std::abs(found->end - brute.end) <= tolerance);
        CHECK(std::abs(last - first - brute.takt) <= tolerance);
        CHECK(std::abs(last - brute.end) <= tolerance);
    }
    CHECK(possible > runs(3000) / 10);
    CHECK(impossible > runs(3000) / 10);
}

TEST_CASE("pieces of a chain: joined in any grouping they give what the forward pass gives") {
    Random random(70302);
    std::size_t warped = 0, waited = 0;
    for (std::size_t run = 0; run < runs(2000); ++run) {
        RandomJobSettings s;
        s.tasks = 2 + random.index(70);
        s.window = 0.2 + 2 * random.unit();
        SequenceJob const job = random_job(random, s);
        auto const between = [&](WayRef a, WayRef b) { return job.between(a, b); };
        detail::SequenceTable table(job.tasks, job.rules, between);
        // Nearly by window, so that some orders keep all of them.
        auto order = random_order(random, job.tasks);
        if (run % 2 == 0)
            std::stable_sort(order.begin(), order.end(), [&](WayRef a, WayRef b) {
                return job.tasks[a.task].ways[a.way].latest < job.tasks[b.task].ways[b.way].latest;
            });
        std::vector<std::uint32_t> nodes;
        for (WayRef const& ref : order)
            nodes.push_back(table.node_of(ref));
        detail::ForwardPass pass(table);
        detail::SequenceScore const expected = pass.score(nodes);
        detail::StretchedOrder stretched(table);
        stretched.assign(nodes, 0, nodes.size());
        std::size_t const cut = 1 + random.index(nodes.size() - 1);
        std::size_t const again = cut + random.index(nodes.size() - cut + 1);
        auto const link = [&](std::size_t k) { return detail::Link::of(table, nodes[k - 1], nodes[k]); };
        auto const check = [&](detail::OrderPiece const& sum) {
            CHECK(std::abs(sum.score().warp - expected.warp) <= 1e-9);
            if (expected.warp > 0)
                return;
            CHECK(std::abs(sum.score().takt - expected.takt) <= 1e-9);
            CHECK(std::abs(sum.score().end - expected.end) <= 1e-9);
        };
        check(stretched.range(0, nodes.size()));
        check(detail::join(stretched.range(0, cut), link(cut), stretched.range(cut, nodes.size())));
        if (again > cut && again < nodes.size())
            check(detail::join(detail::join(stretched.range(0, cut), link(cut), stretched.range(cut, again)),
                               link(again), stretched.range(again, nodes.size())));
        warped += expected.warp > 0 ? 1 : 0;
        waited += expected.warp > 0 ? 0 : 1;

        // Another order that differs in a few places: the sums that are renewed are those of a fresh start,
        // and so is a pass that starts where they differ.
        auto other = nodes;
        std::size_t const first = random.index(nodes.size()),
                          end = first + 1 + random.index(nodes.size() - first);
        std::reverse(other.begin() + static_cast<std::ptrdiff_t>(first),
                     other.begin() + static_cast<std::ptrdiff_t>(end));
        stretched.assign(other, first, end);
        detail::StretchedOrder fresh(table);
        fresh.assign(other, 0, other.size());
        for (std::size_t k = 1; k < other.size(); k += 7)
            for (std::size_t to = k + 1; to <= other.size(); to += 5) {
                CHECK(stretched.range(k, to).duration == fresh.range(k, to).duration);
                CHECK(stretched.range(k, to).warp == fresh.range(k, to).warp);
            }
        CHECK(std::abs(stretched.range(0, other.size()).warp - pass.score(other).warp) <= 1e-9);
        detail::SequenceScore const whole = pass.score(other);
        pass.keep(nodes, 0);
        detail::SequenceScore const part =
            pass.score(other, first, [](std::size_t, auto const&) { return false; });
        CHECK(part.warp == whole.warp);
        CHECK(part.takt == whole.takt);
        CHECK(part.end == whole.end);
    }
    CHECK(warped > runs(2000) / 10);
    CHECK(waited > runs(2000) / 20);
}

TEST_CASE("remembered times: each asked for once, few or many ways") {
    for (std::size_t const nodes : {5U, 1000U}) {
        detail::RememberedTimes times(nodes);
        std::size_t asked = 0;
        for (int round = 0; round < 2; ++round)
            for (std::uint32_t a = 0; a < nodes; ++a)
                for (std::uint32_t b = 0; b<nodes; b += nodes> 100 ? 37 : 1)
                    CHECK_EQ(times.at(a, b,
                                      [&] {
                                          ++asked;
                                          return a + 1e-4 * b;
                                      }),
                             a + 1e-4 * b);
        CHECK(asked == (nodes == 5 ? 25U : 1000U * 28U));
    }
}

namespace {

std::string complaint(std::vector<Task> const& tasks, SequenceRules const& rules, double gap = 0.1) {
    try {
        sequence(tasks, rules, [&](WayRef, WayRef) { return gap; });
    } catch (BadInput const& e) {
        return e.what();
    }
    return "";
}

bool has(std::string const& text, std::vector<std::string> const& parts) {
    std::size_t at = 0;
    for (std::string const& part : parts) {
        at = text.find(part, at);
        if (at == std::string::npos)
            return false;
    }
    return true;
}

Task task(std::string const& name, double earliest, double latest, double duration = 1) {
    return {name, {{earliest, latest, duration, 0}}};
}

} // namespace

TEST_CASE("sequence: bad input says which tasks, which rule, and what would make it possible") {
    double const nan = std::numeric_limits<double>::quiet_NaN();
    Task const a = task("a", 0, 10), b = task("b", 0, 10), c = task("c", 0, 10);
    CHECK(complaint({a, b, c}, {}) == "");
    CHECK(has(complaint({}, {}), {"no tasks", "at least one"}));
    CHECK(has(complaint({a, {"bare", {}}}, {}), {"'bare'", "no way"}));
    CHECK(
        has(complaint({a, task("late", 3, 2.75)}, {}), {"'late'", "empty", "2.75 s", "3 s", "0.25 s later"}));
    CHECK(has(complaint({a, task("x", nan, 2)}, {}), {"'x'", "earliest", "finite"}));
    CHECK(has(complaint({a, task("x", -infinity, 2)}, {}), {"'x'", "earliest", "finite"}));
    CHECK(has(complaint({a, task("x", 0, nan)}, {}), {"'x'", "latest", "nan"}));
    CHECK(has(complaint({a, task("x", 0, 2, nan)}, {}), {"'x'", "duration", "finite"}));
    CHECK(has(complaint({a, task("x", 0, 2, -1)}, {}), {"'x'", "duration", "-1 s"}));
    CHECK(has(complaint({a, b}, {}, -0.5), {"between", "-0.5 s", "at least 0"}));
    CHECK(has(complaint({a, b}, {}, nan), {"between", "nan"}));

    SequenceRules rules;
    rules.afters = {{0, 1, 0}, {1, 2, 0}, {2, 0, 0}};
    CHECK(has(complaint({a, b, c}, rules), {"contradicts itself", "'a' before 'b' before 'c' before 'a'"}));
    rules.afters = {{0, 1, 0}};
    rules.aparts = {{1, 0, 0, infinity}};
    CHECK(has(complaint({a, b, c}, rules), {"contradicts itself", "'a' before 'b' before 'a'"}));
    rules.aparts = {{1, 0, infinity, 0.5}};
    CHECK(complaint({a, b, c}, rules) == "");
    rules.aparts = {{1, 2, infinity, infinity}};
    CHECK(has(complaint({a, b, c}, rules), {"'b'", "'c'", "both ways", "one of the gaps finite"}));
    rules.aparts = {{1, 2, -1, 0}};
    CHECK(has(complaint({a, b, c}, rules), {"'b'", "'c'", "-1 s"}));
    rules.aparts = {};
    rules.afters = {{0, 3, 0}};
    CHECK(has(complaint({a, b, c}, rules), {"names task 3", "there are 3"}));
    rules.afters = {{1, 1, 0}};
    CHECK(has(complaint({a, b, c}, rules), {"'b' before 'b'", "two tasks"}));
    rules.afters = {{0, 1, infinity}};
    CHECK(has(complaint({a, b, c}, rules), {"'a' before 'b'", "inf", "finite"}));
    rules.afters = {};
    rules.laser_switch = nan;
    CHECK(has(complaint({a, b, c}, rules), {"switch of the laser", "nan"}));
    CHECK_THROWS_AS(schedule({a}, {}, [](WayRef, WayRef) { return 0.0; }, {}), BadInput);
    CHECK_THROWS_AS(schedule({a}, {}, [](WayRef, WayRef) { return 0.0; }, {{0, 1}}), BadInput);
    CHECK_THROWS_AS(schedule({a, b}, {}, [](WayRef, WayRef) { return 0.0; }, {{1, 0}, {1, 0}}), BadInput);
}

TEST_CASE("sequence: windows that exclude each other, and the smallest extension") {
    // a and b last 1 s, 0.1 s lies between, and both must start by 1: one of them starts at 1.1 at least.
    std::string const text = complaint({task("a", 0, 1), task("b", 0, 1)}, {});
    CHECK(has(text, {"no order keeps", "1.1 s", "its latest start is 1 s", "0.1 s later it is possible",
                     "no smaller extension is enough"}));
    CHECK(complaint({task("a", 0, 1.1), task("b", 0, 1.1)}, {}) == "");
    // A tie that comes too late for the window behind it.
    SequenceRules rules;
    rules.afters = {{0, 1, 2}};
    std::string const tied = complaint({task("clamp", 1, 5), task("seam", 0, 3.5)}, rules);
    CHECK(has(tied, {"'seam' can start at 4 s", "3.5 s", "'clamp', then 'seam'", "0.5 s later"}));
    // Nothing can follow anything.
    CHECK(has(complaint({task("a", 0, 9), task("b", 0, 9)}, {}, infinity),
              {"infinite", "from", "to", "finite"}));
    // Many tasks: not proven, and it says so. 40 tasks of 1 s and gaps of 0.1 s cannot all start within 30 s.
    std::vector<Task> many;
    for (int t = 0; t < 40; ++t)
        many.push_back(task("m" + std::to_string(t), 0, 30));
    CHECK(has(complaint(many, {}), {"more", "12.9 s later", "no smaller extension was found"}));
    SequenceOptions ended;
    ended.go_on = [](SearchProgress const&) { return false; };
    std::string stopped;
    try {
        sequence(
            many, {}, [](WayRef, WayRef) { return 0.1; }, ended);
    } catch (BadInput const& e) {
        stopped = e.what();
    }
    CHECK(has(stopped, {"ended before"}));
}
