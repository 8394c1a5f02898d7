#include "seamhold/file/weld_store.hpp"

#include "forgetful_disk.hpp"
#include "small_disk.hpp"
#include "support/refusal.hpp"
#include "temporary.hpp"
#include "weld_records.hpp"

#include <doctest/doctest.h>

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>

#include <sqlite3.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

// What a store does where the disk does not do as it should: it loses power, is full, cannot be written, or
// is locked by somebody else.

using seamhold::StoreUse;
using seamhold::WeldStore;
using seamhold::test::content_of;
using seamhold::test::difference_of;
using seamhold::test::ForgetfulDisk;
using seamhold::test::has;
using seamhold::test::numbered_record;
using seamhold::test::refusal_of;
using seamhold::test::SmallDisk;
using seamhold::test::TemporaryFolder;

namespace {

/// From `vanish` on a file is taken away in the moment in which a change is brought to the disk. For stores
/// that are opened while it lives.
class VanishingFile {
public:
    VanishingFile() { sqlite3_auto_extension(reinterpret_cast<void (*)()>(&install)); }
    VanishingFile(VanishingFile const&) = delete;
    VanishingFile& operator=(VanishingFile const&) = delete;
    ~VanishingFile() {
        sqlite3_cancel_auto_extension(reinterpret_cast<void (*)()>(&install));
        file().clear();
    }

    /// Begins with it.
    static void vanish(std::string const& path) { file() = path; }

private:
    static std::string& file() {
        static std::string path;
        return path;
    }
    static int install(sqlite3* store, char const** /*words*/, sqlite3_api_routines const* /*routines*/) {
        sqlite3_commit_hook(store, &taken_away, nullptr);
        return SQLITE_OK;
    }
    static int taken_away(void* /*none*/) {
        ::unlink(file().c_str());
        return 0; // goes on
    }
};

/// What an action says in a process that has no rights to write; whatever it throws, or "no error".
template <class Action> std::string without_rights(Action const& action, uid_t user = 65534) {
    int both[2];
    REQUIRE(::pipe(both) == 0);
    auto const process = ::fork();
    REQUIRE(process >= 0);
    if (process == 0) {
        std::string said = "no error";
        try {
            if (::getuid() == 0 && ::setuid(user) != 0)
                ::_exit(1);
            action();
        } catch (std::exception const& error) {
            said = error.what();
        }
        ::_exit(::write(both[1], said.data(), said.size()) == ssize_t(said.size()) ? 0 : 1);
    }
    ::close(both[1]);
    std::string said(4096, '\0');
    auto const size = ::read(both[0], said.data(), said.size());
    ::close(both[0]);
    ::waitpid(process, nullptr, 0);
    return said.substr(0, size > 0 ? static_cast<std::size_t>(size) : 0);
}

} // namespace

TEST_CASE("what was acknowledged outlives a loss of power") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    {
        ForgetfulDisk const disk;
        WeldStore store(folder / "welds");
        for (std::uint64_t i = 1; i <= 60; ++i) { // large ones, so that the journal begins anew meanwhile
            int const before = disk.syncs();
            REQUIRE(store.append(numbered_record(i, 20000)) == i);
            CHECK(disk.syncs() > before);
            disk.after_power_loss(folder / ("lost-" + std::to_string(i)));
        }
    }
    for (std::uint64_t i = 1; i <= 60; ++i) {
        INFO("after record " << i);
        WeldStore const store(folder / ("lost-" + std::to_string(i)) / "welds");
        REQUIRE(store.numbers().size() == i);
        for (std::uint64_t k = i > 3 ? i - 3 : 1; k <= i; ++k)
            CHECK(difference_of(store.record(k), numbered_record(k, 20000)).empty());
    }
    CHECK_NOTHROW(WeldStore(folder / "lost-60" / "welds").check());
}

TEST_CASE("a full disk is named, keeps nothing of the record, and is gone on from") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    WeldStore store(folder / "welds");
    std::uint64_t kept = 0;
    std::string said;
    {
        SmallDisk const small(400000);
        while (said.empty() && kept < 100)
            said = refusal_of([&] { return store.append(numbered_record(++kept, 2000)); });
        --kept;
        INFO(said);
        CHECK(has(said, (folder / "welds").string() + ": "));
        CHECK(has(said, "(File too large)")); // what this stand-in for a full disk says
        CHECK(has(said, "disk I/O error"));
        // It says so again, and what was kept can be read.
        CHECK(has(refusal_of([&] { return store.append(numbered_record(kept + 1, 20000)); }), "too large)"));
        CHECK(store.numbers().size() == kept);
    }
    CHECK(kept > 2);
    CHECK(store.append(numbered_record(kept + 1, 2000)) == kept + 1);
    WeldStore const again(folder / "welds");
    REQUIRE(again.numbers().size() == kept + 1);
    for (std::uint64_t i = 1; i <= kept + 1; ++i)
        CHECK(difference_of(again.record(i), numbered_record(i, 2000)).empty());
    CHECK_NOTHROW(again.check());
    // Too full to be made at all.
    SmallDisk const tiny(1000);
    CHECK(has(refusal_of([&] { return WeldStore(folder / "none").path(); }), "(File too large)"));
}

TEST_CASE("a store that cannot be written is read as an archive, and says why it cannot be appended to") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    auto const path = folder / "welds";
    { WeldStore(path).append(numbered_record(1)); }
    ::chmod(path.c_str(), 0444);
    ::chmod(path.parent_path().c_str(), 0555);
    auto const appending = without_rights([&] { WeldStore(path).append(numbered_record(2)); });
    INFO(appending);
    CHECK(has(appending, path.string() + ": "));
    CHECK(has(appending, path.string() + " cannot be written (Permission denied)"));
    // The files beside it stay when it is closed, so a reader needs to make none.
    CHECK(without_rights([&] {
              if (difference_of(WeldStore(path, StoreUse::read).record(1), numbered_record(1)).empty())
                  throw seamhold::BadInput("whole");
          }) == "whole");
    for (char const* const end : {"-wal", "-shm"})
        std::filesystem::remove(path.string() + end);
    auto const reading = without_rights([&] { WeldStore const store(path, StoreUse::read); });
    INFO(reading);
    CHECK(has(reading, path.string() + ": cannot be read as a store: "));
    CHECK(has(reading, "or opens it as an archive"));
    CHECK(without_rights([&] {
              WeldStore const store(path, StoreUse::archive);
              if (difference_of(store.record(1), numbered_record(1)).empty())
                  throw seamhold::BadInput("whole");
          }) == "whole");
    CHECK(has(without_rights([&] { WeldStore(path, StoreUse::archive).append(numbered_record(2)); }),
              "opened for reading"));
    CHECK(has(without_rights([&] { WeldStore const none(folder / "none"); }), "unable to open"));
    ::chmod(path.c_str(), 0000);
    CHECK(has(without_rights([&] { WeldStore const store(path, StoreUse::read); }),
              "unable to open database file (Permission denied)"));
    ::chmod(path.parent_path().c_str(), 0755);
}

TEST_CASE("who cannot write because others do waits as long as was said, and can try again") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    WeldStore store(folder / "welds", StoreUse::append, 0.05);
    store.append(numbered_record(1));
    sqlite3* other = nullptr;
    REQUIRE(sqlite3_open((folder / "welds").c_str(), &other) == SQLITE_OK);
    REQUIRE(sqlite3_exec(other, "BEGIN IMMEDIATE", nullptr, nullptr, nullptr) == SQLITE_OK);
    CHECK(has(refusal_of([&] { return store.append(numbered_record(2)); }),
              "welds: a record cannot be kept: database is locked"));
    CHECK(has(refusal_of([&] { return WeldStore(folder / "welds", StoreUse::append, 0).path(); }),
              "welds: cannot be written as a store: database is locked"));
    CHECK(store.numbers().size() == 1); // reading waits for nobody
    CHECK(difference_of(WeldStore(folder / "welds", StoreUse::read).record(1), numbered_record(1)).empty());
    sqlite3_exec(other, "COMMIT", nullptr, nullptr, nullptr);
    CHECK(store.append(numbered_record(2)) == 2);
    sqlite3_close(other);
}

TEST_CASE("a store that was moved or removed under its writer is written to no more") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    WeldStore store(folder / "welds");
    store.append(numbered_record(1));
    std::filesystem::rename(folder / "welds", folder / "elsewhere");
    CHECK(has(refusal_of([&] { return store.append(numbered_record(2)); }), "was moved or removed"));
    { std::ofstream(folder / "welds") << "another file"; }
    CHECK(has(refusal_of([&] { return store.append(numbered_record(2)); }), "was moved or removed"));
}

// Found by a review on 2026-11-27: what a reader left behind was of another user, and shut out the writer.
TEST_CASE("a reader of another user does not shut out the writer; where one has, it is said what to do") {
    if (::getuid() != 0) // nobody else can be played
        return;
    TemporaryFolder const folder(seamhold::test::in_memory());
    auto const path = folder / "welds";
    ::chmod(path.parent_path().c_str(), 0777);
    auto const append = [&](std::uint64_t number) {
        return without_rights([&] { WeldStore(path).append(numbered_record(number)); }, 4001);
    };
    auto const read = [&] {
        return without_rights([&] { WeldStore const store(path, StoreUse::read); }, 4002);
    };
    CHECK(append(1) == "no error");
    CHECK(read() == "no error");
    CHECK(append(2) == "no error");
    // Where the files beside it were taken away, as by a copy, a reader makes them.
    for (char const* const end : {"-wal", "-shm"})
        std::filesystem::remove(path.string() + end);
    CHECK(read() == "no error");
    auto const said = append(3);
    INFO(said);
    CHECK(has(said,
              path.string() + ": cannot be written as a store: " + path.string() +
                  "-wal cannot be written (Permission denied). A reader of another user may have made it"));
    for (char const* const end : {"-wal", "-shm"})
        ::chmod((path.string() + end).c_str(), 0666);
    CHECK(append(3) == "no error");
    CHECK(WeldStore(path, StoreUse::read).numbers().size() == 3);
}

// Found by a review on 2026-11-27: what was acknowledged afterwards was lost when the writer was killed.
TEST_CASE("where a file beside the store is taken away while it is open, nothing more is acknowledged") {
    for (std::string const end : {"-wal", "-shm"}) {
        INFO(end);
        TemporaryFolder const folder(seamhold::test::in_memory());
        auto const path = folder / "welds";
        {
            WeldStore store(path);
            store.append(numbered_record(1));
            std::filesystem::remove(path.string() + end);
            auto const said = refusal_of([&] { return store.append(numbered_record(2)); });
            CHECK(has(said, path.string() + end + " was taken away or replaced since it was opened"));
            { std::ofstream(path.string() + end) << "another"; }
            CHECK(refusal_of([&] { return store.append(numbered_record(2)); }) == said);
            CHECK(refusal_of([&] {
                      store.keep(seamhold::test::learnt_band(1));
                      return 0;
                  }) == said);
            std::filesystem::remove(path.string() + end);
        }
        WeldStore store(path); // closing has moved what the journal held
        CHECK(store.numbers().size() == 1);
        CHECK(store.append(numbered_record(2)) == 2);
    }
}

TEST_CASE("where the journal is taken away while a record is written, it is not acknowledged") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    auto const path = folder / "welds";
    VanishingFile const file;
    WeldStore store(path);
    store.append(numbered_record(1));
    file.vanish(path.string() + "-wal");
    CHECK(has(refusal_of([&] { return store.append(numbered_record(2)); }),
              "-wal was taken away or replaced while something was written, which may be lost"));
}

TEST_CASE("each change is brought to the disk by all that a Mac has") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    auto const file = seamhold::detail::open_store_file(folder / "welds", StoreUse::append, 1);
    seamhold::detail::prepare_store(file, 1);
    auto const number = [&](char const* sql) {
        seamhold::detail::SqlStatement statement(file, sql, "cannot be read");
        statement.next();
        return statement.whole();
    };
    CHECK(number("PRAGMA synchronous") == 2); // full
    CHECK(number("PRAGMA fullfsync") == 1);
    CHECK(number("PRAGMA checkpoint_fullfsync") == 1);
}

TEST_CASE("a path may begin with two strokes") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    std::string const path = "/" + (folder / "welds").string();
    REQUIRE(path.starts_with("//"));
    WeldStore(path).append(numbered_record(1));
    CHECK(WeldStore(path, StoreUse::read).numbers().size() == 1);
    CHECK(WeldStore(path, StoreUse::archive).numbers().size() == 1); // 2026-11-27: "invalid uri authority"
}
