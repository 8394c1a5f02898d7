#ifndef SEAMHOLD_FILE_STORE_FILE_HPP
#define SEAMHOLD_FILE_STORE_FILE_HPP

#include "seamhold/file/sqlite.hpp"
#include "seamhold/file/store_side_files.hpp"
#include "seamhold/number/bad_input.hpp"

#include <chrono>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <string>
#include <system_error>
#include <thread>

#include <unistd.h>

namespace seamhold {

/// What a store is opened for.
enum class StoreUse : std::uint8_t {
    append, ///< to add to it and to read; it is made where there is none
    read,   ///< to read only, while others may add to it
    /// To read only, where the file stands on something that cannot be written, and nobody writes to it: no
    /// lock is taken and no journal is read, so a file beside which a journal with bytes in it lies is
    /// refused.
    archive
};

/// What was found when a store was opened for appending.
struct StoreOpening {
    bool made = false; ///< there was none, or an empty file
    /// Bytes at the end of the journal that are no whole record: of an append that was cut off and so was
    /// never acknowledged, or damaged since. 0 where there are none.
    std::uint64_t torn_bytes = 0;
    /// Whether they were cut. While others read they stay, and later changes are written over them.
    bool torn_cut = false;

    /// The same for a reader; "" where nothing is to be said.
    std::string words() const {
        return torn_bytes == 0 ? ""
                               : "the last " + std::to_string(torn_bytes) +
                                     " bytes of the journal were no whole record and " +
                                     (torn_cut ? "were cut" : "will be written over, while others read") +
                                     ": an append that did not end, or damage to the file";
    }
};

namespace detail {

/// "weld" in ASCII, where SQLite keeps whose file it is.
inline constexpr std::uint64_t store_mark = 0x77656c64;

/// Of the tables below.
inline constexpr std::uint64_t store_version = 1;

/// One row a weld; what belongs to it stands in the other tables under its number. Columns have no type where
/// a number must come back bit for bit: of a typed one SQLite would make 0 of −0.
inline constexpr char const* store_tables =
    "CREATE TABLE weld (number INTEGER PRIMARY KEY, date_days, part TEXT, seam TEXT, judgement TEXT, "
    "length_m, print_of_head INTEGER, print_of_mount INTEGER, print_of_part INTEGER, "
    "print_of_calibration INTEGER, print_of_pass INTEGER, trace_cells INTEGER, trace_length_m);"
    "CREATE UNIQUE INDEX weld_by_part ON weld (part, seam, date_days);"
    "CREATE INDEX weld_by_seam ON weld (seam, date_days);"
    "CREATE INDEX weld_by_date ON weld (date_days);"
    "CREATE TABLE channel (weld INTEGER, channel INTEGER, name TEXT, "
    "PRIMARY KEY (weld, channel)) WITHOUT ROWID;"
    "CREATE TABLE finding (weld INTEGER, place INTEGER, channel INTEGER, side TEXT, rule TEXT, from_m, to_m, "
    "outside_m, area, worst, worst_at_m, PRIMARY KEY (weld, place)) WITHOUT ROWID;"
    "CREATE TABLE unseen (weld INTEGER, place INTEGER, channel INTEGER, from_m, to_m, "
    "PRIMARY KEY (weld, place)) WITHOUT ROWID;"
    "CREATE TABLE fault (weld INTEGER, told_by TEXT, place INTEGER, fault TEXT, channel INTEGER, from_m, "
    "to_m, samples INTEGER, PRIMARY KEY (weld, told_by, place)) WITHOUT ROWID;"
    "CREATE TABLE trace (weld INTEGER, channel INTEGER, readings BLOB, covered BLOB);"
    "CREATE UNIQUE INDEX trace_by_weld ON trace (weld, channel);"
    "CREATE TABLE procedure_value (weld INTEGER, place INTEGER, name TEXT, unit TEXT, least, greatest, "
    "words TEXT, origin TEXT, PRIMARY KEY (weld, place)) WITHOUT ROWID;"
    "CREATE TABLE summary (weld INTEGER PRIMARY KEY, learnt INTEGER, band_parts INTEGER, "
    "band_print INTEGER);"
    "CREATE TABLE channel_summary (weld INTEGER, channel INTEGER, seen, mean, least, greatest, level, "
    "farthest, PRIMARY KEY (weld, channel)) WITHOUT ROWID;"
    "CREATE TABLE judged_by (weld INTEGER PRIMARY KEY, limit_rule TEXT, coverage, confidence, factor, "
    "longest_run_m, share_outside, area_outside_m, least_covered, longest_unseen_m);"
    "CREATE TABLE band (number INTEGER PRIMARY KEY, seam TEXT, print_of_head INTEGER, "
    "print_of_mount INTEGER, print_of_part INTEGER, print_of_calibration INTEGER, print_of_pass INTEGER, "
    "cells INTEGER, length_m, parts INTEGER, last_part TEXT, last_days);"
    "CREATE UNIQUE INDEX band_by_seam ON band (seam, print_of_pass, print_of_head, print_of_mount, "
    "print_of_part, print_of_calibration);"
    "CREATE TABLE band_channel (band INTEGER, channel INTEGER, name TEXT, "
    "PRIMARY KEY (band, channel)) WITHOUT ROWID;"
    "CREATE TABLE band_numbers (band INTEGER, channel INTEGER, name TEXT, numbers BLOB);"
    "CREATE UNIQUE INDEX band_numbers_by_name ON band_numbers (band, channel, name);"
    "PRAGMA application_id = 2003135588;" // store_mark
    "PRAGMA user_version = 1;";           // store_version

/// How SQLite is told where a file stands: by its whole path, so that no name means anything else.
inline std::string store_address(std::filesystem::path const& path, StoreUse use) {
    std::string whole = std::filesystem::absolute(path).string();
    if (use != StoreUse::archive)
        return whole;
    constexpr char digits[] = "0123456789ABCDEF";
    std::string address = "file://"; // of this machine; a path may begin with two strokes of its own
    for (char const c : whole) {
        auto const byte = static_cast<unsigned char>(c);
        if (c == '%' || c == '?' || c == '#')
            (address += '%') += {digits[byte >> 4U], digits[byte & 15U]};
        else
            address += c;
    }
    return address + "?immutable=1";
}

/// How SQLite takes a time to wait.
inline int milliseconds_of(double seconds) { return static_cast<int>(std::ceil(seconds * 1e3)); }

/// Opens the file, whatever is in it.
inline SqlFile open_store_file(std::filesystem::path const& path, StoreUse use, double longest_wait) {
    std::string const name = path.string();
    if (name.empty())
        throw BadInput("a store needs a file's name");
    if (!(longest_wait >= 0 && longest_wait <= 1e6))
        throw BadInput(name + ": the longest wait for others who write must be 0 to 1e6 s; given was " +
                       text_of(longest_wait) + " s");
    std::error_code error;
    if (std::filesystem::exists(path, error) && !std::filesystem::is_regular_file(path, error))
        throw BadInput(name + ": is no store: not an ordinary file has this name");
    int const flags = use == StoreUse::append ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE
                      : use == StoreUse::read ? SQLITE_OPEN_READONLY
                                              : SQLITE_OPEN_READONLY | SQLITE_OPEN_URI;
    return {name, store_address(path, use), flags, milliseconds_of(longest_wait)};
}

/// Throws BadInput where a journal lies beside an archive: it would be read without what stands there.
inline void check_archive(SqlFile const& file) {
    if (auto const bytes = journal_bytes(file); bytes > 0)
        throw BadInput(file.name() + ": cannot be read as an archive: beside it lies a journal of " +
                       std::to_string(bytes) + " bytes, which is not read that way and may hold records. " +
                       journal_advice);
}

/// What a database file says it is: whose, and of which version.
struct StoreKind {
    std::uint64_t mark;    ///< four letters in ASCII, where SQLite keeps whose file it is
    std::uint64_t version; ///< of its tables
    char const* name;
};

/// Whether a file is of this kind; false where it is empty. Throws BadInput where it is something else, or of
/// another version.
inline bool is_of_kind(SqlFile const& file, StoreKind const& kind) {
    constexpr char const* what = "cannot be read as a store";
    SqlView const view(file, what);
    auto const number = [&](char const* sql) {
        SqlStatement statement(file, sql, what);
        statement.next();
        return statement.whole();
    };
    auto const mark = number("PRAGMA application_id");
    auto const version = number("PRAGMA user_version");
    auto const tables = number("SELECT count(*) FROM sqlite_master");
    if (mark == 0 && version == 0 && tables == 0)
        return false;
    if (mark != kind.mark)
        throw BadInput(file.name() + ": is no " + kind.name + " but another program's database");
    if (version > kind.version)
        throw BadInput(file.name() + ": the store is of version " + std::to_string(version) +
                       "; this program knows versions up to " + std::to_string(kind.version) +
                       ". Use a newer program; nothing was changed");
    if (version != kind.version)
        throw BadInput(file.name() + ": the store is damaged: its version is " + std::to_string(version));
    return true;
}

/// Whether it is a store of weld records. As `is_of_kind`.
inline bool is_store(SqlFile const& file) {
    return is_of_kind(file, {store_mark, store_version, "store of weld records"});
}

/// The same for a reader, who may have to make the file that readers and writers share, and is told what to
/// do where that is not possible.
inline bool is_store_to_read(SqlFile const& file, std::filesystem::path const& path) {
    try {
        return is_store(file);
    } catch (BadInput const& error) {
        auto const folder = std::filesystem::absolute(path).parent_path();
        if (::access(path.c_str(), R_OK) != 0 || ::access(folder.c_str(), W_OK) == 0)
            throw;
        if (journal_bytes(file) > 0)
            throw BadInput(std::string(error.what()) +
                           "; who reads needs the right to write beside it, for a journal lies there. " +
                           journal_advice);
        throw BadInput(std::string(error.what()) +
                       "; who reads needs the right to write beside it, or opens it as an archive, which is "
                       "safe while nobody writes to it");
    }
}

/// How many bytes at the journal's end are no whole change. To be asked while nobody can write. The sizes are
/// those of SQLite's write-ahead log: 32 bytes, and for each page 24 and the page. (SQLite, "Database File
/// Format", section 4.1.)
inline std::uint64_t torn_bytes_of(SqlFile const& file, StoreUse use) {
    auto const size = journal_bytes(file);
    if (size == 0)
        return 0;
    // Whoever holds the right to write cannot ask this, but somebody else can.
    auto const other = open_store_file(file.name(), use, 0);
    SqlStatement page(other, "PRAGMA page_size", "cannot be read");
    page.next();
    is_store(other);
    int pages = 0, moved = 0;
    if (sqlite3_wal_checkpoint_v2(other.handle(), "main", SQLITE_CHECKPOINT_PASSIVE, &pages, &moved) !=
        SQLITE_OK)
        return 0; // somebody else is at it, so the journal was whole
    auto const whole = pages > 0 ? 32 + static_cast<std::uint64_t>(pages) * (24 + page.whole()) : 0;
    return size > whole ? size - whole : 0;
}

/// Sees to it that the file has a journal that several programs share. Where another program is just making
/// the same store, SQLite refuses at once instead of waiting, so the waiting is done here.
inline void share_journal(SqlFile const& file, double longest_wait) {
    constexpr char const* what = "cannot be written as a store";
    auto const end = std::chrono::steady_clock::now() + std::chrono::duration<double>(longest_wait);
    while (true) {
        SqlStatement journal(file, "PRAGMA journal_mode = WAL", what);
        int const result = sqlite3_step(journal.handle());
        if ((result & 0xff) == SQLITE_BUSY && std::chrono::steady_clock::now() < end) {
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
            continue;
        }
        if (result != SQLITE_ROW)
            file.fail(what);
        if (journal.text() != "wal")
            throw BadInput(file.name() +
                           ": its folder cannot keep a journal that several programs share; a disk of this "
                           "machine can");
        return;
    }
}

/// Cuts what is torn, where nobody reads; no one is waited for. Whether it was cut.
inline bool cut_torn(SqlFile const& file, double longest_wait) {
    sqlite3_busy_timeout(file.handle(), 0);
    int const result =
        sqlite3_wal_checkpoint_v2(file.handle(), "main", SQLITE_CHECKPOINT_TRUNCATE, nullptr, nullptr);
    sqlite3_busy_timeout(file.handle(), milliseconds_of(longest_wait));
    return result == SQLITE_OK;
}

/// Makes the tables where there are none, sees to what is durable, and cuts what is torn.
inline StoreOpening prepare_store(SqlFile const& file, double longest_wait) {
    constexpr char const* what = "cannot be written as a store";
    StoreOpening found;
    check_may_write(file);
    is_store(file); // nothing is changed before this is known
    // The files beside it stay when it is closed, the journal empty: else who reads it later would make them,
    // and their owner would shut out this one.
    int stay = 1;
    sqlite3_file_control(file.handle(), "main", SQLITE_FCNTL_PERSIST_WAL, &stay);
    share_journal(file, longest_wait);
    // Each change is on the disk before it is acknowledged; on a Mac that takes a call of its own. The
    // journal is cut when it begins anew, so that what lies behind its last change is torn, and nothing else.
    file.run("PRAGMA synchronous = FULL; PRAGMA fullfsync = ON; PRAGMA checkpoint_fullfsync = ON;"
             "PRAGMA journal_size_limit = 0; PRAGMA trusted_schema = OFF;",
             what);
    SqlChange change(file, what);
    found.made = !is_store(file);
    found.torn_bytes = torn_bytes_of(file, StoreUse::append);
    if (found.made)
        file.run(store_tables, what);
    change.commit();
    if (found.torn_bytes > 0)
        found.torn_cut = cut_torn(file, longest_wait);
    return found;
}

} // namespace detail

} // namespace seamhold

#endif
