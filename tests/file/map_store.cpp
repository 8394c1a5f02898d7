#include "seamhold/file/map_store.hpp"
#include "seamhold/file/map_csv.hpp"
#include "seamhold/map/on_all_cores.hpp"

#include "forgetful_disk.hpp"
#include "map/scenes.hpp"
#include "small_disk.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <csignal>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <set>
#include <string>
#include <vector>

#include <sqlite3.h>
#include <sys/wait.h>
#include <unistd.h>

// Files that keep a map's answers: what they give back, what they refuse, and what is left when the program
// that writes is killed or the disk is full.

using namespace seamhold;
using seamhold::test::content_of;
using seamhold::test::ForgetfulDisk;
using seamhold::test::has;
using seamhold::test::in_memory;
using seamhold::test::known_question;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;
using seamhold::test::same_bytes;
using seamhold::test::small_space;
using seamhold::test::SmallDisk;
using seamhold::test::TemporaryFolder;

namespace {

std::vector<double> odd_numbers() {
    using limits = std::numeric_limits<double>;
    return {
        0.0, -0.0, 1.0 / 3, limits::denorm_min(), -limits::max(), limits::infinity(), limits::quiet_NaN()};
}

/// Runs statements on a file, without the library.
void by_hand(std::filesystem::path const& path, std::string const& sql) {
    sqlite3* file = nullptr;
    REQUIRE(sqlite3_open(path.c_str(), &file) == SQLITE_OK);
    char* words = nullptr;
    sqlite3_exec(file, sql.c_str(), nullptr, nullptr, &words);
    INFO((words != nullptr ? words : ""));
    CHECK(words == nullptr);
    sqlite3_free(words);
    sqlite3_close(file);
}

MapIdentity const someones = {{"question", "is it so"}, {"space", "all"}};

/// A process that opens the file of a map, and answers shard after shard until it is killed; it tells of each
/// that was acknowledged.
class KilledRun {
public:
    explicit KilledRun(std::filesystem::path const& path, Candidates const& candidates) {
        int both[2];
        REQUIRE(::pipe(both) == 0);
        process_ = ::fork();
        REQUIRE(process_ >= 0);
        if (process_ == 0) {
            ::close(both[0]);
            try {
                MapOptions options{1, open_map_store(path, candidates, known_question(), 1).keeper(), {}, {}};
                auto const keep = options.keeper.keep;
                options.keeper.keep = [&](std::size_t shard, std::span<double const> answers) {
                    keep(shard, answers);
                    if (::write(both[1], &shard, sizeof shard) != ssize_t(sizeof shard))
                        ::_exit(1);
                };
                run_map(candidates, known_question(), options);
            } catch (std::exception const&) {
                ::_exit(2);
            }
            ::_exit(0);
        }
        ::close(both[1]);
        from_ = both[0];
    }
    KilledRun(KilledRun const&) = delete;
    KilledRun& operator=(KilledRun const&) = delete;
    ~KilledRun() { ::close(from_); }

    /// Waits for some shards to be told, lets it go on for a while, kills it, and adds all it has told of.
    void kill_after(std::size_t shards, useconds_t microseconds, std::set<std::size_t>& told) {
        std::size_t shard = 0;
        for (std::size_t i = 0; i < shards && next(shard); ++i)
            told.insert(shard);
        ::usleep(microseconds);
        ::kill(process_, SIGKILL);
        int status = 0;
        ::waitpid(process_, &status, 0);
        CHECK((WIFSIGNALED(status) || WEXITSTATUS(status) == 0));
        while (next(shard))
            told.insert(shard);
    }

private:
    bool next(std::size_t& shard) const {
        return ::read(from_, &shard, sizeof shard) == ssize_t(sizeof shard);
    }

    pid_t process_ = -1;
    int from_ = -1;
};

} // namespace

TEST_CASE("a map's file gives back what was kept, bit for bit, and only that") {
    TemporaryFolder const folder(in_memory());
    {
        MapStore const store(folder / "map", someones);
        CHECK(store.shards().empty());
        CHECK_FALSE(store.find(0));
        store.keep(7, odd_numbers());
        store.keep(2, {});
        CHECK(same_bytes(*store.find(7), odd_numbers()));
    }
    MapStore const again(folder / "map", someones);
    CHECK(again.shards() == std::vector<std::size_t>{2, 7});
    CHECK(same_bytes(*again.find(7), odd_numbers()));
    CHECK(again.find(2)->empty());
    CHECK_FALSE(again.find(3));
    // Nothing is replaced.
    CHECK(has(refusal_of([&] {
                  again.keep(7, odd_numbers());
                  return 0;
              }),
              "answers cannot be kept"));
    CHECK(same_bytes(*again.find(7), odd_numbers()));
}

TEST_CASE("a stopped map goes on from its file, with the table of one that was not stopped") {
    TemporaryFolder const folder(in_memory());
    Candidates const grid(small_space());
    auto const whole = run_map(grid, known_question());
    std::size_t const all = MapShards{grid, 2}.count();
    for (int const threads : {1, 3}) {
        auto const path = folder / ("map" + std::to_string(threads));
        std::size_t asked = 0;
        MapOptions options{2, {}, {}, [&] { return ++asked > 9; }};
        options.keeper = open_map_store(path, grid, known_question(), 2).keeper();
        auto const first = run_map_on_all_cores(grid, known_question(), options, threads);
        CHECK_FALSE(first.complete);
        CHECK(first.answered >= 9 - 3);
        options.keeper = {}; // closes the file
        options.stop = {};
        options.keeper = open_map_store(path, grid, known_question(), 2).keeper();
        auto const second = run_map_on_all_cores(grid, known_question(), options, threads);
        CHECK(second.complete);
        CHECK(second.found == first.answered);
        CHECK(second.found + second.answered == all);
        CHECK(same_bytes(second.table.answers, whole.table.answers));
        options.keeper = {};
        options.keeper = open_map_store(path, grid, known_question(), 2).keeper();
        CHECK(run_map(grid, known_question(), options).answered == 0);
    }
}

TEST_CASE("the search for an edge goes on from its file") {
    TemporaryFolder const folder(in_memory());
    DesignSpace const space{
        {axis("x", "", 1, 0, 1, 65), axis("y", "mm", 1e-3, 0, 1, 33), choice("c", {"a", "b"})}};
    auto const disc = [](double radius) {
        return OneByOne("disc", {{"margin", "", {}}}, [radius](Candidate const& c) {
            return std::vector<double>{radius - std::hypot(c.values[0] - 0.4, 1e3 * c.values[1] - 0.6)};
        });
    };
    auto const question = disc(0.3);
    RefineOptions options{4, {}};
    options.map.shard_packs = 1;
    auto const whole = refine_edge(space, question, options);
    std::size_t found = 0;
    for (std::size_t const after : {1U, 4U, 9U, 1000U}) {
        std::size_t asked = 0;
        auto const store = open_map_store(folder / "edge", space, question, options);
        CHECK(store.shards().size() == found);
        RefineOptions again = options;
        again.map.keeper = store.keeper();
        again.map.stop = [&] { return asked++ == after; };
        auto const edge = refine_edge(space, question, again);
        CHECK(edge.complete == (after == 1000));
        found = store.shards().size();
        if (!edge.complete)
            continue;
        CHECK(same_bytes(edge.table.answers, whole.table.answers));
        write_edge(folder / "one.csv", edge);
        write_edge(folder / "two.csv", whole);
        CHECK(content_of(folder / "one.csv") == content_of(folder / "two.csv"));
    }
    CHECK(found > 14);
    // What was answered first is where the search begins: another disc of the same name is noticed.
    CHECK(has(refusal_of([&] { return open_map_store(folder / "edge", space, disc(0.31), options); }),
              "keeps other answers to this question: of candidate 1, margin"));
    RefineOptions other = options;
    other.levels = 3;
    CHECK(has(refusal_of([&] { return open_map_store(folder / "edge", space, question, other); }),
              "its candidates differ. Kept is \"those about the edge, refined 4 times\""));
    other.levels = -1;
    CHECK(
        has(refusal_of([&] { return open_map_store(folder / "edge", space, question, other); }), "-1 times"));
}

TEST_CASE("a file of another map is refused, with what differs, and stays as it is") {
    TemporaryFolder const folder(in_memory());
    auto const path = folder / "map";
    Candidates const grid(small_space());
    { open_map_store(path, grid, known_question(), 2).keep(0, std::vector<double>(32, 1.0)); }
    auto const before = content_of(path);
    auto const said = [&](Candidates const& candidates, auto const& question, std::size_t packs) {
        auto words = refusal_of([&] { return open_map_store(path, candidates, question, packs); });
        INFO(words);
        CHECK(has(words, path.string() + ": keeps the answers of another map: its "));
        CHECK(has(words, "Give this map a file of its own; nothing was changed"));
        CHECK(content_of(path) == before);
        return words;
    };
    auto const plain = [](std::string const& about, std::vector<Column> columns) {
        return OneByOne(about, std::move(columns), [](Candidate const&) {
            return std::vector<double>{1, 1};
        });
    };
    CHECK(has(said(grid, plain("how long it takes", known_question().columns()), 2),
              "its question differs. Kept is \"speed and choice, tilt squared\", asked for is \"how long it "
              "takes\""));
    CHECK(has(said(grid, plain(known_question().about(), {{"margin", "", {}}, {"square", "deg2", {}}}), 2),
              "its columns differ. Kept is \"square [rad2] \", asked for is \"square [deg2] \""));
    CHECK(has(said(grid, plain(known_question().about(), {{"margin", "", {}}}), 2), "its columns differ"));
    CHECK(has(said(grid, known_question(), 3), "its shards differ. Kept is \"of 2 packs of 8\""));
    auto wider = small_space();
    wider.axes[2].high = 10.000000000000002;
    CHECK(
        has(said(Candidates(wider), known_question(), 2),
            "its space differs. Kept is \"tilt: -10 to 10 deg (of 0.017453292519943295), 13 places\", asked "
            "for is \"tilt: -10 to 10.000000000000002 deg"));
    CHECK(has(said(Candidates(small_space(17)), known_question(), 2), "its space differs"));
    // The same space, but candidates of one's own: one differs in its last bit from what is on the grid.
    std::vector<double> rows;
    for (std::size_t r = 0; r < grid.size(); ++r)
        for (double const x : grid.row(r))
            rows.push_back(x);
    CHECK(refusal_of([&] {
              return open_map_store(path, {small_space(), rows},
                                    plain(known_question().about(), known_question().columns()), 2);
          }).empty());
    rows[6] = std::nextafter(rows[6], 1e9);
    CHECK(
        has(said({small_space(), rows}, known_question(), 2), "its candidates differ. Kept is \"351, with"));
}

TEST_CASE("a question that has changed and kept its name is noticed in what is asked again") {
    TemporaryFolder const folder(in_memory());
    Candidates const grid(small_space());
    std::size_t const shards = MapShards{grid, 2}.count();
    double more = 0;
    std::size_t from = 0, asked = 0;
    OneByOne const question(
        "the same name", {{"margin", "", {}}, {"second", "", {}}}, [&](Candidate const& c) {
            ++asked;
            double const x = c.values[0] + c.values[2] + static_cast<double>(c.choices[1]);
            return std::vector<double>{x, c.choices[1] >= from ? x + more : x};
        });
    {
        MapOptions options{2, open_map_store(folder / "map", grid, question, 2).keeper(), {}, {}};
        CHECK(run_map(grid, question, options).answered == shards);
    }
    auto const open = [&] { return open_map_store(folder / "map", grid, question, 2); };
    asked = 0;
    CHECK(refusal_of(open).empty());
    CHECK(asked > 0);
    CHECK(asked <= 3 * map_lanes);
    for (std::size_t const choice : {0U, 2U}) { // where all, or only the last third differ
        from = choice;
        more = 1e-12;
        auto const said = refusal_of(open);
        INFO(said);
        CHECK(has(said, "map: keeps other answers to this question: of candidate "));
        CHECK(has(said, ", second, kept is "));
        CHECK(has(said, "nothing was changed"));
    }
}

TEST_CASE("what is no file of a map, or of another version, is refused") {
    TemporaryFolder const folder(in_memory());
    auto const said = [&](std::string const& name) {
        return refusal_of([&] { return MapStore(folder / name, someones); });
    };
    folder.file("text",
                "speed,margin\n1,2\n and some more, so that it is longer than the head of a file.......\n");
    CHECK(has(said("text"), "text: cannot be read as a store: file is not a database"));
    by_hand(folder / "others",
            "CREATE TABLE x (y); PRAGMA application_id = 2003135588; PRAGMA user_version = 1;");
    CHECK(has(said("others"), "others: is no store of a map's answers but another program's database"));
    { MapStore const store(folder / "newer", someones); }
    by_hand(folder / "newer", "PRAGMA user_version = 2;");
    auto const newer = content_of(folder / "newer");
    CHECK(has(said("newer"), "newer: the store is of version 2; this program knows versions up to 1"));
    CHECK(content_of(folder / "newer") == newer);
    CHECK(has(said("no/folder"), "no/folder: cannot be opened: unable to open database file (No such file"));
    CHECK(has(refusal_of([&] { return MapStore("", someones); }), "a store needs a file's name"));
    folder.file("empty", "");
    CHECK(said("empty").empty());
}

TEST_CASE("damage to what is kept is noticed") {
    TemporaryFolder const folder(in_memory());
    { MapStore(folder / "map", someones).keep(3, odd_numbers()); }
    by_hand(folder / "map",
            "UPDATE shard SET answers = CAST(substr(answers, 1, 48) || x'0000000000000040' AS BLOB);");
    MapStore const store(folder / "map", someones);
    CHECK(has(refusal_of([&] { return store.find(3); }),
              "map: is damaged: the answers of shard 4 are not those that were kept"));
}

TEST_CASE("one program at a time has the file of a map open") {
    TemporaryFolder const folder(in_memory());
    int both[2];
    REQUIRE(::pipe(both) == 0);
    auto const process = ::fork(); // before anything is opened: of what is open, a fork has no locks
    if (process == 0) {
        MapStore const first(folder / "map", someones);
        first.keep(0, odd_numbers());
        CHECK(::write(both[1], "!", 1) == 1);
        ::pause();
    }
    char opened = 0;
    REQUIRE(::read(both[0], &opened, 1) == 1);
    auto const said = refusal_of([&] { return MapStore(folder / "map", someones, 0.05); });
    INFO(said);
    CHECK(has(said, "another program has it open, for one a run of the same map"));
    ::kill(process, SIGKILL);
    ::waitpid(process, nullptr, 0);
    for (int const end : both)
        ::close(end);
    CHECK(MapStore(folder / "map", someones).shards().size() == 1);
}

TEST_CASE("a run that is killed at any moment loses no shard that was acknowledged") {
    TemporaryFolder const folder(in_memory());
    Candidates const grid(small_space(65)); // 13455 candidates in as many shards as packs
    auto const whole = run_map(grid, known_question());
    write_map(folder / "whole.csv", whole.table);
    Random random(26);
    std::size_t files = 0, lost = 0;
    std::set<std::size_t> told;
    for (std::size_t i = 0; i < runs(100); ++i) {
        auto const path = folder / ("map" + std::to_string(files));
        {
            KilledRun run(path, grid);
            run.kill_after(random.index(40), static_cast<useconds_t>(random.index(800)), told);
        }
        MapStore const store(path, identity_of(grid, known_question(), 1));
        auto const kept = store.shards();
        std::set<std::size_t> const there(kept.begin(), kept.end());
        for (std::size_t const shard : told) {
            lost += 1 - there.count(shard);
            auto const answers = store.find(shard);
            auto const from = whole.table.answers.begin() + std::ptrdiff_t(2 * grid.first_row(shard));
            auto const to = whole.table.answers.begin() + std::ptrdiff_t(2 * grid.first_row(shard + 1));
            REQUIRE(answers);
            REQUIRE(same_bytes(*answers, {from, to}));
        }
        if (kept.size() < grid.packs() / 4 && i + 1 < runs(100))
            continue;
        // Gone on with to the end, by several threads.
        MapOptions options{1, store.keeper(), {}, {}};
        auto const run = run_map_on_all_cores(grid, known_question(), options, 2);
        CHECK(run.found == kept.size());
        write_map(folder / "resumed.csv", run.table);
        CHECK(content_of(folder / "resumed.csv") == content_of(folder / "whole.csv"));
        told.clear();
        ++files;
    }
    CHECK(lost == 0);
    CHECK(files > 0);
}

TEST_CASE("a full disk is named, and loses nothing that was kept") {
    TemporaryFolder const folder(in_memory());
    auto const path = folder / "map";
    Candidates const grid(small_space(65));
    auto const whole = run_map(grid, known_question());
    std::size_t acknowledged = 0;
    for (rlim_t const bytes : {rlim_t(20000), rlim_t(200000), rlim_t(300000)}) {
        auto const said = refusal_of([&] {
            MapOptions options{8, open_map_store(path, grid, known_question(), 8).keeper(), {}, {}};
            SmallDisk const disk(bytes);
            return run_map(grid, known_question(), options);
        });
        INFO(said);
        CHECK(has(said, "map: answers cannot be kept: "));
        CHECK((has(said, "(File too large)") || has(said, "disk is full")));
        MapStore const store(path, identity_of(grid, known_question(), 8));
        CHECK(store.shards().size() >= acknowledged);
        acknowledged = store.shards().size();
    }
    CHECK(acknowledged > 20);
    MapOptions options{8, open_map_store(path, grid, known_question(), 8).keeper(), {}, {}};
    auto const run = run_map(grid, known_question(), options);
    CHECK(run.found == acknowledged);
    CHECK(run.answered > 0);
    CHECK(same_bytes(run.table.answers, whole.table.answers));
    // No room even for the file itself.
    CHECK(has(refusal_of([&] {
                  SmallDisk const disk(100);
                  return open_map_store(folder / "none", grid, known_question(), 8);
              }),
              "none: cannot be "));
}

TEST_CASE("what a map has kept outlives a loss of power") {
    TemporaryFolder const folder(in_memory());
    std::vector<double> const large(20000, 1.5); // so that the journal begins anew meanwhile
    {
        ForgetfulDisk const disk;
        MapStore const store(folder / "map", someones);
        for (std::size_t i = 0; i < 60; ++i) {
            store.keep(i, large);
            disk.after_power_loss(folder / ("lost-" + std::to_string(i)));
        }
    }
    for (std::size_t i = 0; i < 60; ++i) {
        INFO("after shard " << i);
        MapStore const store(folder / ("lost-" + std::to_string(i)) / "map", someones);
        REQUIRE(store.shards().size() == i + 1);
        CHECK(same_bytes(*store.find(i), large));
    }
}
