#include "map/scenes.hpp"
#include "support/refusal.hpp"

#include "seamhold/map/on_all_cores.hpp"

#include <doctest/doctest.h>

#include <atomic>
#include <stdexcept>
#include <thread>

using namespace seamhold;
using namespace seamhold::test;

TEST_CASE("a map has the question's answer in every row, padding never shows") {
    Candidates const grid(small_space());
    auto const run = run_map(grid, known_question());
    CHECK(run.complete);
    REQUIRE(run.table.answers.size() == grid.size() * 2);
    for (std::size_t r = 0; r < grid.size(); ++r) {
        auto const row = grid.row(r);
        CHECK(run.table.at(r, 0) == row[0] * 1e-3 + 100 * row[1]);
        double const tilt = row[2] * 0.017453292519943295;
        CHECK(run.table.at(r, 1) == tilt * tilt);
    }
    CHECK(run.table.column("square") == 1);
    CHECK(
        has(refusal_of([&] { (void)run.table.column("cube"); }), "no column cube; there are margin, square"));
}

TEST_CASE("the table is the same to the byte for any number of threads and any size of shards") {
    Candidates const grid(small_space(13));
    auto const plain = run_map(grid, known_question()).table.answers;
    for (int const threads : {1, 2, 3, 4, 0})
        for (std::size_t const packs : {1U, 2U, 7U, 1000U}) {
            CAPTURE(threads);
            CAPTURE(packs);
            MapOptions options;
            options.shard_packs = packs;
            CHECK(same_bytes(run_map_on_all_cores(grid, known_question(), options, threads).table.answers,
                             plain));
        }
    CHECK(has(refusal_of([&] { run_map_on_all_cores(grid, known_question(), {}, -1); }), "-1 threads"));
    CHECK(has(refusal_of([&] {
                  MapOptions options;
                  options.shard_packs = 0;
                  run_map(grid, known_question(), options);
              }),
              "need a pack or more"));
}

TEST_CASE("a map that was stopped goes on where it was, and ends with the same table") {
    Candidates const grid(small_space(13));
    auto const plain = run_map(grid, known_question()).table.answers;
    for (int const threads : {1, 3}) {
        Kept kept;
        std::size_t rounds = 0, answered = 0;
        for (bool complete = false; !complete; ++rounds) {
            MapOptions options;
            options.shard_packs = 3;
            options.keeper = kept.keeper();
            std::size_t asked = 0;
            options.stop = [&asked] { return ++asked > 4; };
            auto const run = run_map_on_all_cores(grid, known_question(), options, threads);
            CHECK(run.answered <= 4);
            CHECK(run.found == answered);
            answered += run.answered;
            complete = run.complete;
            for (std::size_t i = 0; i < plain.size(); ++i)
                CHECK((std::isnan(run.table.answers[i]) || run.table.answers[i] == plain[i]));
            if (complete)
                CHECK(same_bytes(run.table.answers, plain));
        }
        CHECK(rounds > 3);
        CHECK(kept.shards.size() == answered);
    }
}

TEST_CASE("progress rises to its end, and is told by one thread at a time") {
    Candidates const grid(small_space(13));
    MapOptions options;
    options.shard_packs = 2;
    std::size_t last = 0, of = 0;
    std::atomic<int> inside = 0;
    bool alone = true, rises = true;
    double left = -1;
    options.progress = [&](MapProgress const& p) {
        alone = alone && ++inside == 1;
        rises = rises && p.done == last + 1 && p.seconds >= 0;
        last = p.done;
        of = p.of;
        left = p.left;
        --inside;
    };
    CHECK(run_map_on_all_cores(grid, known_question(), options, 4).complete);
    CHECK(alone);
    CHECK(rises);
    CHECK(last == of);
    CHECK(of == (grid.packs() + 1) / 2);
    CHECK(left == 0);
}

TEST_CASE("a map that goes on tells what was kept as done, and is held to the time of what is left") {
    Candidates const grid(small_space(13));
    Kept kept;
    MapOptions options;
    options.shard_packs = 2;
    options.keeper = kept.keeper();
    std::size_t asked = 0;
    options.stop = [&asked] { return ++asked > 4; };
    run_map(grid, known_question(), options);
    options.stop = {};
    std::size_t last = 0, of = 0;
    options.progress = [&](MapProgress const& p) {
        CHECK(p.done == (last == 0 ? 4 : last + 1));
        last = p.done;
        of = p.of;
    };
    CHECK(run_map(grid, known_question(), options).complete);
    CHECK(last == of);
    options.progress = {};
    options.longest = 1e-12;
    CHECK(run_map(grid, known_question(), options).complete);
    kept.shards.erase(kept.shards.begin());
    CHECK(has(refusal_of([&] { run_map(grid, known_question(), options); }), "were allowed"));
}

TEST_CASE("what a keeper throws stops the map and is passed on; what was kept serves the next run") {
    Candidates const grid(small_space(13));
    for (int const threads : {1, 3}) {
        Kept kept;
        MapOptions options;
        options.shard_packs = 1;
        options.keeper = kept.keeper();
        auto const keep = options.keeper.keep;
        options.keeper.keep = [&](std::size_t shard, std::span<double const> answers) {
            if (kept.shards.size() == 5)
                throw std::runtime_error("the disk is full");
            keep(shard, answers);
        };
        std::string said;
        try {
            run_map_on_all_cores(grid, known_question(), options, threads);
        } catch (std::runtime_error const& error) {
            said = error.what();
        }
        CHECK(said == "the disk is full");
        CHECK(kept.shards.size() == 5);
        options.keeper = kept.keeper();
        auto const run = run_map_on_all_cores(grid, known_question(), options, threads);
        CHECK(run.found == 5);
        CHECK(same_bytes(run.table.answers, run_map(grid, known_question()).table.answers));
        kept.shards[2].pop_back();
        CHECK(has(refusal_of([&] { run_map(grid, known_question(), options); }),
                  "shard number 3 was kept with 15 numbers: it is not of this map"));
    }
}

TEST_CASE("a question may fail, and answers that are no numbers are not feasible") {
    Candidates const grid(small_space());
    auto const broken =
        OneByOne("breaks", {{"margin", "", {}}}, [](Candidate const& c) -> std::vector<double> {
            if (c.values[0] > 0.2)
                throw BadInput("no such speed");
            return {1};
        });
    CHECK(has(refusal_of([&] { run_map_on_all_cores(grid, broken, {}, 2); }), "no such speed"));
    auto const undefined = OneByOne("no number", {{"margin", "", {}}}, [](Candidate const& c) {
        return std::vector<double>{c.values[0] > 0.2 ? std::nan("") : 0.0};
    });
    auto const run = run_map(grid, undefined);
    for (std::size_t r = 0; r < grid.size(); ++r)
        CHECK(run.table.feasible(r) == (grid.row(r)[0] <= 200));
}

TEST_CASE("a map that would take too long is refused before it starts, with how long it would take") {
    DesignSpace const large{{axis("speed", "m/s", 1, 0, 1, 100000), axis("tilt", "rad", 1, 0, 1, 1000000)}};
    auto const slow = OneByOne("slow", {{"margin", "", {}}}, [](Candidate const&) {
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
        return std::vector<double>{0};
    });
    MapOptions options;
    options.longest = 3600;
    auto const said = refusal_of([&] { run_map(Candidates(large), slow, options); });
    CHECK(has(said, "the map of 100000000000 candidates would take"));
    CHECK(has(said, "years in 1 thread, and 60 minutes were allowed"));
    // 1e11 candidates at some 1.06 ms each are some 3.4 years.
    auto const estimate = estimate_map(Candidates(large), slow);
    CHECK(estimate.seconds > 1e8);
    CHECK(estimate.seconds < 4e8);
    CHECK(duration_in_words(3 * 31557600.0) == "3 years");
    CHECK(duration_in_words(86400 * 3.25) == "3.2 days");
    CHECK(duration_in_words(7500) == "2.1 hours");
    CHECK(duration_in_words(600) == "10 minutes");
    CHECK(duration_in_words(0.5) == "0.5 s");
}

TEST_CASE("a trade-off keeps what nothing beats in both columns, and only what is feasible") {
    DesignSpace const space{{axis("a", "", 1, 0, 7, 8)}};
    auto const table = [&] {
        double const margin[8] = {0.1, 0.2, 0.3, -0.1, 0.3, 0.05, 0.2, 0};
        double const takt[8] = {5, 6, 8, 1, 7, 5, 6, 9};
        return run_map(Candidates(space), OneByOne("given", {{"margin", "", {}}, {"takt", "s", {}}},
                                                   [&](Candidate const& c) {
                                                       auto const i = static_cast<std::size_t>(c.values[0]);
                                                       return std::vector<double>{margin[i], takt[i]};
                                                   }))
            .table;
    }();
    CHECK(trade_off(table, 1, Better::less, 0, Better::more) == std::vector<std::size_t>{0, 1, 4});
    CHECK(trade_off(table, 0, Better::more, 1, Better::less) == std::vector<std::size_t>{4, 1, 0});
}
