#include "seamhold/plan/sequence.hpp"

#include "plan/sequence_brute.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <limits>
#include <map>
#include <sstream>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// The travelling salesman with time windows in whole numbers, by the table of earliest arrivals over sets and
// last towns, once for every whole first start there is. All constraints are differences, so whole data have
// a whole best.
struct WholeJob {
    std::vector<int> opens, closes, lasts;
    std::vector<std::vector<int>> gaps;
};

struct WholeBest {
    int takt = std::numeric_limits<int>::max();
    int end = 0;
};

int end_from(WholeJob const& job, int start) {
    std::size_t const n = job.opens.size();
    int const never = std::numeric_limits<int>::max() / 2;
    std::vector<std::vector<int>> ends(std::size_t{1} << n, std::vector<int>(n, never));
    for (std::size_t t = 0; t < n; ++t)
        if (job.opens[t] <= start && start <= job.closes[t])
            ends[std::size_t{1} << t][t] = start + job.lasts[t];
    for (std::size_t set = 1; set < ends.size(); ++set)
        for (std::size_t a = 0; a < n; ++a)
            for (std::size_t b = 0; b < n && ends[set][a] < never; ++b) {
                if ((set >> b & 1U) != 0)
                    continue;
                int const at = std::max(ends[set][a] + job.gaps[a][b], job.opens[b]);
                if (at <= job.closes[b]) {
                    int& end = ends[set | std::size_t{1} << b][b];
                    end = std::min(end, at + job.lasts[b]);
                }
            }
    int const end = *std::min_element(ends.back().begin(), ends.back().end());
    return end < never ? end : -1;
}

WholeBest best_of(WholeJob const& job) {
    WholeBest best;
    int const last = *std::min_element(job.closes.begin(), job.closes.end());
    for (int start = *std::min_element(job.opens.begin(), job.opens.end()); start <= last; ++start) {
        int const end = end_from(job, start);
        if (end >= 0 && end - start < best.takt) // the first of those with one takt ends first
            best = {end - start, end};
    }
    return best;
}

} // namespace

TEST_CASE("sequence: the travelling salesman with time windows, against a table over sets") {
    Random random(70201);
    std::size_t possible = 0, count = runs(12);
    for (std::size_t run = 0; run < count; ++run) {
        std::size_t const n = 9 + run % 5;
        WholeJob whole;
        std::vector<Task> tasks;
        bool const loose = run % 2 == 0;
        for (std::size_t t = 0; t < n; ++t) {
            int const opens = static_cast<int>(random.index(loose ? 12 : 6 * n));
            int const closes =
                opens + static_cast<int>(loose ? 6 * n + random.index(40) : 12 + random.index(4 * n));
            int const lasts = 1 + static_cast<int>(random.index(6));
            whole.opens.push_back(opens);
            whole.closes.push_back(closes);
            whole.lasts.push_back(lasts);
            tasks.push_back(
                {"t" + std::to_string(t),
                 {{static_cast<double>(opens), static_cast<double>(closes), static_cast<double>(lasts), 0}}});
        }
        whole.gaps.assign(n, std::vector<int>(n));
        for (auto& row : whole.gaps)
            for (int& gap : row)
                gap = static_cast<int>(random.index(7));
        WholeBest const best = best_of(whole);
        SequenceOptions options;
        options.budget = 100000000;
        auto const found = find_sequence(
            tasks, {}, [&](WayRef a, WayRef b) { return static_cast<double>(whole.gaps[a.task][b.task]); },
            options);
        CAPTURE(run);
        REQUIRE(found.has_value() == (best.takt < std::numeric_limits<int>::max()));
        if (!found)
            continue;
        ++possible;
        CHECK(found->optimal);
        CHECK(found->takt == best.takt); // whole numbers: without any rounding
        CHECK(found->starts.back() + tasks[found->order.back().task].ways[0].duration == best.end);
    }
    CHECK(possible >= count / 3);
}

// Carlier 1982, The one-machine sequencing problem, European Journal of Operational Research 11: its example
// with seven jobs, heads r, durations p, tails q; the least max(end + q) is 50 (data and value from memory;
// all 5040 orders agree). As tasks: latest starts c - p - q, missed by 50 - c at least.
TEST_CASE("least lateness: the one-machine problem with heads and tails") {
    double const r[] = {10, 13, 11, 20, 30, 0, 30}, p[] = {5, 6, 7, 4, 3, 6, 2},
                 q[] = {7, 26, 24, 21, 8, 17, 0};
    auto const none = [](WayRef, WayRef) { return 0.0; };
    for (double const c : {45.0, 47.5, 49.0, 50.0, 51.0}) {
        SequenceJob job;
        for (std::size_t t = 0; t < 7; ++t)
            job.tasks.push_back(
                {std::string(1, static_cast<char>('a' + t)), {{r[t], c - p[t] - q[t], p[t], 0}}});
        job.times.assign(28, std::vector<double>(28, 0.0));
        LeastLateness const late = least_lateness(job.tasks, job.rules, none);
        CHECK(late.lateness == std::max(50 - c, 0.0));
        CHECK(late.proven);
        CHECK(find_sequence(job.tasks, job.rules, none).has_value() == (c >= 50));
        if (c == 49) {
            CHECK(BruteSearch(job).best.lateness == 1);
            for (Task& task : job.tasks)
                task.ways[0].latest += 1;
            CHECK(find_sequence(job.tasks, job.rules, none));
        }
    }
}

namespace {

// Instances as Dumas, Desrosiers, Gelinas and Solomon 1995 (An optimal algorithm for the traveling salesman
// problem with time windows, Operations Research 43) have them in files: the number of places, the matrix of
// times (which hold what is spent at the place that is left), and each place's window. The first place is
// where the tour begins and ends.
struct MatrixJob {
    std::vector<Task> tasks; // the first place stands at both ends
    SequenceRules rules;
    std::vector<std::vector<double>> times;

    double between(WayRef a, WayRef b) const { return times[a.task % times.size()][b.task % times.size()]; }
};

MatrixJob read_matrix(std::istream& in) {
    std::size_t n = 0;
    in >> n;
    MatrixJob job;
    job.times.assign(n, std::vector<double>(n));
    for (auto& row : job.times)
        for (double& x : row)
            in >> x;
    for (std::size_t t = 0; t < n; ++t) {
        double opens = 0, closes = 0;
        in >> opens >> closes;
        job.tasks.push_back({std::to_string(t), {{opens, closes, 0, 0}}});
    }
    if (!in || n == 0)
        return {};
    job.tasks.push_back(job.tasks.front());
    job.tasks.front().ways[0].latest = job.tasks.front().ways[0].earliest; // the takt is the makespan then
    for (std::size_t t = 1; t <= n; ++t)
        job.rules.afters.push_back({0, t});
    for (std::size_t t = 1; t < n; ++t)
        job.rules.afters.push_back({t, n});
    return job;
}

void check_tour(MatrixJob const& job, Sequence const& found) {
    for (std::size_t k = 1; k < found.order.size(); ++k)
        CHECK(found.starts[k] >=
              found.starts[k - 1] + job.between(found.order[k - 1], found.order[k]) - 1e-6);
    for (std::size_t k = 0; k < found.order.size(); ++k) {
        TaskWay const& way = job.tasks[found.order[k].task].ways[0];
        CHECK(found.starts[k] >= way.earliest);
        CHECK(found.starts[k] <= way.latest);
    }
    CHECK(found.order.front().task == 0);
    CHECK(found.order.back().task == job.tasks.size() - 1);
    CHECK(found.lower_bound <= found.takt);
}

} // namespace

TEST_CASE("sequence: tours in the plain matrix format") {
    std::istringstream text("4\n0 3 9 4\n3 0 2 8\n9 2 0 5\n4 8 5 0\n0 99\n0 99\n8 20\n0 12\n");
    MatrixJob const job = read_matrix(text);
    REQUIRE(job.tasks.size() == 5);
    auto const between = [&](WayRef a, WayRef b) { return job.between(a, b); };
    Sequence const found = sequence(job.tasks, job.rules, between);
    check_tour(job, found);
    // By hand: 0-3-2-1-0 takes 4 + 5 + 2 + 3 = 14 and keeps all windows; 0-1-2-3 is at 2 at 8, and at 3 at
    // 13, too late; every other tour takes a way of 8 or 9.
    CHECK(found.takt == 14);
    CHECK(found.optimal);

    // A folder of such files, and in it `best`, with lines of a file's name and its least makespan, if it is
    // there.
    char const* const folder = std::getenv("SEAMHOLD_TOURS");
    if (folder == nullptr)
        return;
    std::map<std::string, double> best;
    std::ifstream list(std::filesystem::path(folder) / "best");
    std::string name;
    for (double value = 0; list >> name >> value;)
        best[name] = value;
    std::vector<std::filesystem::path> files;
    for (auto const& entry : std::filesystem::directory_iterator(folder))
        if (entry.path().filename() != "best")
            files.push_back(entry.path());
    std::sort(files.begin(), files.end());
    for (auto const& file : files) {
        std::ifstream in(file);
        MatrixJob const tour = read_matrix(in);
        CAPTURE(file.string());
        REQUIRE(!tour.tasks.empty());
        auto const times = [&](WayRef a, WayRef b) { return tour.between(a, b); };
        auto const result = find_sequence(tour.tasks, tour.rules, times, {64, 20000000, {}, 1000});
        REQUIRE(result);
        check_tour(tour, *result);
        MESSAGE(file.filename().string(), " takt ", result->takt, " bound ", result->lower_bound);
        if (auto const known = best.find(file.filename().string()); known != best.end()) {
            CHECK(result->lower_bound <= known->second + 1e-6);
            CHECK(result->takt >= known->second - 1e-6);
            CHECK((!result->optimal || std::abs(result->takt - known->second) <= 1e-6));
        }
    }
}
