#ifndef SEAMHOLD_FILE_WELD_STORE_HPP
#define SEAMHOLD_FILE_WELD_STORE_HPP

#include "seamhold/file/sqlite.hpp"
#include "seamhold/file/store_bands.hpp"
#include "seamhold/file/store_file.hpp"
#include "seamhold/file/store_rows.hpp"
#include "seamhold/file/store_side_files.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/band_state.hpp"
#include "seamhold/record/kept_weld.hpp"
#include "seamhold/record/seam_summary.hpp"

#include <bit>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// Keeping of weld records: the component `seamhold::store`, which needs the library SQLite and stays out of
/// `seamhold/file.hpp`.
namespace seamhold {

/// Which records are wanted: those that meet all that is given.
struct WeldSelection {
    std::optional<std::string> part = {};
    std::optional<std::string> seam = {};
    double from = -std::numeric_limits<double>::infinity();  ///< date, days: not before this
    double before = std::numeric_limits<double>::infinity(); ///< date, days: before this
    std::optional<Judgement> judgement = {};
};

/// A record with the number under which it is kept; numbers rise as records are added.
struct StoredRecord {
    std::uint64_t number;
    KeptWeld record;
};

/// A file of weld records, to which more are added and from which none is taken: a database of SQLite in its
/// write-ahead mode, with a journal and a small shared file beside it (`-wal`, `-shm`), which stay when it is
/// closed. Where the journal is empty then, the one file holds all.
///
/// What `append` and `keep` have returned for is on the disk: it outlives the process whenever that is
/// killed, and a loss of power as far as the disk keeps what it has acknowledged, and a record is there whole
/// or not at all. What was not yet acknowledged may be there or not. A journal that is cut or overwritten
/// from outside loses the records that it held from there on; `opening` says so, unless it was cut exactly
/// between two records. While the store is open, and after a writer was killed, its three files belong
/// together: copy none of them alone, and remove none.
///
/// Any number of programs of one machine may read and add; who adds waits for others. Not for disks of other
/// machines. An object is for one thread; a second thread opens its own. Do not use one across `fork`.
/// Functions throw BadInput with the path, what could not be done, and the words of SQLite and of the system.
class WeldStore {
public:
    /// Opens a store; for appending it is made where there is none, or an empty file. Waits up to
    /// `longest_wait` s for others who write, here and later. Throws BadInput, without having changed
    /// anything, for another program's database, for what is none, for a store of a newer version, for
    /// appending where a file beside it cannot be written, and for an archive beside which a journal lies.
    explicit WeldStore(std::filesystem::path const& path, StoreUse use = StoreUse::append,
                       double longest_wait = 5)
        : file_(detail::open_store_file(path, use, longest_wait)), use_(use) {
        if (use == StoreUse::append) {
            opening_ = detail::prepare_store(file_, longest_wait);
            beside_.emplace(file_);
            return;
        }
        if (use == StoreUse::archive)
            detail::check_archive(file_);
        if (!detail::is_store_to_read(file_, path))
            throw BadInput(file_.name() + ": is no store of weld records: it is empty");
    }

    /// The path, as it was given.
    std::string const& path() const { return file_.name(); }

    /// What was found when it was opened.
    StoreOpening const& opening() const { return opening_; }

    /// Adds a record and returns its number, once it is on the disk. Throws BadInput where it does not fit
    /// together, where a record of the same part, seam and date is there already, and where it cannot be
    /// written; then none is added, but for a failure of the disk in the last step, after which it may turn
    /// out to be there when the store is opened again.
    std::uint64_t append(KeptWeld const& record) { return append_with(record, nullptr); }

    /// The same, and keeps the band that has learnt from this weld, both or none.
    std::uint64_t append(KeptWeld const& record, BandState const& learnt) {
        return append_with(record, &learnt);
    }

    /// Keeps what a band stands on under its key, in place of what was kept there before. Returns once it is
    /// on the disk. Throws BadInput where the state is not sound.
    void keep(BandState const& state) {
        check_band_state(state);
        check_writable();
        detail::SqlChange change(file_, "a band cannot be kept");
        detail::write_band(file_, state);
        change.commit();
        check_kept();
    }

    /// What was kept under a key; nothing where nothing was. A band of another plan has another key. Throws
    /// BadInput where it is damaged.
    std::optional<BandState> band(SeamKey const& key) const { return detail::read_band(file_, key); }

    /// The keys of all bands, in order of seams.
    std::vector<SeamKey> band_keys() const {
        detail::SqlStatement row(file_,
                                 "SELECT seam, print_of_head, print_of_mount, print_of_part, "
                                 "print_of_calibration, print_of_pass FROM band ORDER BY seam, number",
                                 "bands cannot be read");
        std::vector<SeamKey> keys;
        while (row.next()) {
            SeamKey key{};
            key.seam = row.text();
            detail::take_prints(row, key);
            keys.push_back(std::move(key));
        }
        return keys;
    }

    /// The numbers of the records that are wanted, in order of dates, then of numbers. Throws BadInput for a
    /// date that is not a number.
    std::vector<std::uint64_t> numbers(WeldSelection const& wanted = {}) const {
        auto row = chosen("number", wanted);
        std::vector<std::uint64_t> found;
        while (row.next())
            found.push_back(row.whole());
        return found;
    }

    /// The rows, to follow a process, of those wanted records that have one, in order of dates: for
    /// `process_capability` and `process_drift`, which take rows of one seam and plan. No trace is read.
    /// Throws BadInput where one is damaged.
    std::vector<SeamSummary> summaries(WeldSelection const& wanted = {}) const {
        auto row = chosen(std::string("number, ") + detail::head_columns, wanted);
        std::vector<SeamSummary> rows;
        while (row.next()) {
            std::uint64_t const number = row.whole();
            auto const head = detail::read_head(file_, number, row);
            auto summary = detail::read_summary(file_, number, head);
            if (!summary)
                continue;
            detail::check_sound(file_, [&] { check_summaries({*summary}); });
            rows.push_back(std::move(*summary));
        }
        return rows;
    }

    /// One record, its trace only if wished. Throws BadInput where there is none of this number.
    KeptWeld record(std::uint64_t number, bool with_trace = true) const {
        return detail::read_record(file_, number, with_trace);
    }

    /// Calls `visit(StoredRecord const&)` for each record that is wanted when this is called, in order of
    /// dates, one at a time in memory. It may append; what is added meanwhile is not among them.
    template <class Visit>
    void for_each(WeldSelection const& wanted, Visit const& visit, bool with_trace = true) const {
        for (std::uint64_t const number : numbers(wanted))
            visit(StoredRecord{number, record(number, with_trace)});
    }

    /// All records that are wanted, in order of dates.
    std::vector<StoredRecord> records(WeldSelection const& wanted = {}, bool with_trace = true) const {
        std::vector<StoredRecord> all;
        for_each(
            wanted, [&](StoredRecord const& one) { all.push_back(one); }, with_trace);
        return all;
    }

    /// Reads the whole file and looks whether it is sound; throws BadInput with what SQLite finds. It does
    /// not see a reading that was changed to another one.
    void check() const {
        detail::SqlStatement row(file_, "PRAGMA integrity_check(5)", "the store cannot be checked");
        std::string faults;
        while (row.next()) {
            auto const words = row.text();
            faults += words == "ok" ? "" : (faults.empty() ? "" : "; ") + words;
        }
        if (!faults.empty())
            throw BadInput(path() + ": the store is damaged: " + faults);
    }

private:
    /// The statement that gives columns of what is wanted, in order of dates, then of numbers.
    detail::SqlStatement chosen(std::string const& columns, WeldSelection const& wanted) const {
        auto const unknown = [](double x) { // by its bits, also where the compiler knows no NaN
            return !is_finite(x) && (std::bit_cast<std::uint64_t>(x) << 12U) != 0;
        };
        if (unknown(wanted.from) || unknown(wanted.before))
            throw BadInput(path() + ": a date by which records are wanted is not a number");
        std::string sql = "SELECT " + columns + " FROM weld WHERE date_days >= ? AND date_days < ?";
        sql += wanted.part ? " AND part = ?" : "";
        sql += wanted.seam ? " AND seam = ?" : "";
        sql += wanted.judgement ? " AND judgement = ?" : "";
        detail::SqlStatement row(file_, sql + " ORDER BY date_days, number", "records cannot be read");
        row.give(wanted.from).give(wanted.before);
        if (wanted.part)
            row.give(*wanted.part);
        if (wanted.seam)
            row.give(*wanted.seam);
        if (wanted.judgement)
            row.give(to_string(*wanted.judgement));
        return row;
    }

    std::uint64_t append_with(KeptWeld const& record, BandState const* learnt) {
        check_kept_weld(record);
        if (learnt != nullptr) {
            check_band_state(*learnt);
            check_same_weld(learnt->key, record.verdict.key, "the band", "the record");
        }
        check_writable();
        detail::SqlChange change(file_, "a record cannot be kept");
        refuse_twice(record.verdict);
        std::uint64_t const number = detail::write_record(file_, record);
        if (learnt != nullptr)
            detail::write_band(file_, *learnt);
        change.commit();
        check_kept();
        return number;
    }

    void refuse_twice(SeamVerdict const& verdict) const {
        detail::SqlStatement same(file_,
                                  "SELECT number FROM weld WHERE part = ? AND seam = ? AND date_days = ?",
                                  "a record cannot be kept");
        same.give(verdict.part).give(verdict.key.seam).give(verdict.date);
        if (same.next())
            throw BadInput(path() + ": a record of seam " + verdict.key.seam + " of part " + verdict.part +
                           " at day " + detail::text_of(verdict.date) + " is kept already, as number " +
                           std::to_string(same.whole()));
    }

    /// Throws BadInput where it was opened for reading, or where others would not find what is written.
    void check_writable() const {
        if (use_ != StoreUse::append)
            throw BadInput(path() + ": was opened for reading; nothing can be kept in it");
        int moved = 0;
        sqlite3_file_control(file_.handle(), "main", SQLITE_FCNTL_HAS_MOVED, &moved);
        if (moved != 0)
            throw BadInput(path() + ": was moved or removed since it was opened; open it again");
        if (auto const missing = beside_->missing(); !missing.empty())
            throw BadInput(path() + ": " + missing +
                           " was taken away or replaced since it was opened; nothing more is kept. Close the "
                           "store while nobody else has it open, which moves into it what its journal held, "
                           "and open it again");
    }

    /// Throws BadInput where what was just written went into a file that nobody will find.
    void check_kept() const {
        if (auto const missing = beside_->missing(); !missing.empty())
            throw BadInput(
                path() + ": " + missing +
                " was taken away or replaced while something was written, which may be lost. Close "
                "the store, open it again and repeat what was refused");
    }

    detail::SqlFile file_;
    StoreUse use_;
    StoreOpening opening_;
    std::optional<detail::SideFiles> beside_; ///< for appending
};

} // namespace seamhold

#endif
