#ifndef SEAMHOLD_FILE_STORE_ROWS_HPP
#define SEAMHOLD_FILE_STORE_ROWS_HPP

#include "seamhold/file/sqlite.hpp"
#include "seamhold/record/kept_weld.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

/// A weld record as rows of tables, and back.
namespace seamhold::detail {

/// The prints of a key, in the order of the columns.
inline void give_prints(SqlStatement& statement, SeamKey const& key) {
    for (std::uint64_t const print : key.plan.part)
        statement.give(print);
    statement.give(key.pass);
}

inline void take_prints(SqlStatement& row, SeamKey& key) {
    for (std::uint64_t& print : key.plan.part)
        print = row.whole();
    key.pass = row.whole();
}

/// Which of an enumeration's words, 0 to `last`, this is.
template <class E> E of_word(SqlFile const& file, std::string const& word, E last) {
    for (std::size_t i = 0; i <= static_cast<std::size_t>(last); ++i)
        if (word == to_string(static_cast<E>(i)))
            return static_cast<E>(i);
    throw BadInput(file.name() + ": the store is damaged: \"" + word + "\" is not one of its words");
}

inline void write_faults(SqlFile const& file, std::uint64_t weld, char const* told_by,
                         std::vector<FaultSpan> const& faults) {
    SqlStatement insert(file, "INSERT INTO fault VALUES (?,?,?,?,?,?,?,?)", "a fault cannot be kept");
    for (std::size_t i = 0; i < faults.size(); ++i) {
        auto const& f = faults[i];
        insert.give(weld).give(told_by).give(std::uint64_t(i)).give(to_string(f.fault));
        insert.give(std::uint64_t(f.channel)).give(f.from).give(f.to).give(f.samples).run();
    }
}

/// Writes a record and returns its number; the change is the caller's.
inline std::uint64_t write_record(SqlFile const& file, KeptWeld const& record) {
    auto const& verdict = record.verdict;
    {
        SqlStatement insert(file, "INSERT INTO weld VALUES (NULL,?,?,?,?,?,?,?,?,?,?,?,?)",
                            "a record cannot be kept");
        insert.give(verdict.date).give(verdict.part).give(verdict.key.seam);
        insert.give(to_string(verdict.judgement)).give(verdict.length);
        give_prints(insert, verdict.key);
        if (record.trace)
            insert.give(std::uint64_t(record.trace->cells.count)).give(record.trace->cells.length);
        insert.run();
    }
    auto const weld = static_cast<std::uint64_t>(sqlite3_last_insert_rowid(file.handle()));
    SqlStatement channel(file, "INSERT INTO channel VALUES (?,?,?)", "a channel cannot be kept");
    for (std::size_t i = 0; i < verdict.channels.size(); ++i)
        channel.give(weld).give(std::uint64_t(i)).give(verdict.channels[i]).run();
    SqlStatement finding(file, "INSERT INTO finding VALUES (?,?,?,?,?,?,?,?,?,?,?)",
                         "a finding cannot be kept");
    for (std::size_t i = 0; i < verdict.findings.size(); ++i) {
        auto const& f = verdict.findings[i];
        finding.give(weld).give(std::uint64_t(i)).give(std::uint64_t(f.channel)).give(to_string(f.side));
        finding.give(to_string(f.rule)).give(f.from).give(f.to).give(f.outside).give(f.area);
        finding.give(f.worst).give(f.worst_at).run();
    }
    SqlStatement unseen(file, "INSERT INTO unseen VALUES (?,?,?,?,?)", "an unseen stretch cannot be kept");
    for (std::size_t i = 0; i < verdict.unseen.size(); ++i) {
        auto const& u = verdict.unseen[i];
        unseen.give(weld).give(std::uint64_t(i)).give(std::uint64_t(u.channel)).give(u.from).give(u.to).run();
    }
    write_faults(file, weld, "verdict", verdict.faults);
    if (record.trace) {
        write_faults(file, weld, "trace", record.trace->faults);
        SqlStatement trace(file, "INSERT INTO trace VALUES (?,?,?,?)", "a trace cannot be kept");
        for (std::size_t i = 0; i < record.trace->traces.size(); ++i) {
            auto const& t = record.trace->traces[i];
            trace.give(weld).give(std::uint64_t(i));
            trace.give(bytes_of<std::uint64_t>(t.value)).give(bytes_of<std::uint32_t>(t.covered)).run();
        }
    }
    SqlStatement value(file, "INSERT INTO procedure_value VALUES (?,?,?,?,?,?,?,?)",
                       "a value cannot be kept");
    for (std::size_t i = 0; i < record.values.size(); ++i) {
        auto const& v = record.values[i];
        value.give(weld).give(std::uint64_t(i)).give(v.name).give(v.unit).give(v.least).give(v.greatest);
        value.give(v.words).give(to_string(v.origin)).run();
    }
    return weld;
}

inline std::vector<FaultSpan> read_faults(SqlFile const& file, std::uint64_t weld, char const* told_by) {
    SqlStatement row(file,
                     "SELECT fault, channel, from_m, to_m, samples FROM fault WHERE weld = ? AND told_by = ? "
                     "ORDER BY place",
                     "a fault cannot be read");
    row.give(weld).give(told_by);
    std::vector<FaultSpan> faults;
    while (row.next()) {
        auto const fault = of_word(file, row.text(), SampleFault::no_light);
        auto const channel = static_cast<std::size_t>(row.whole());
        double const from = row.number(), to = row.number();
        faults.push_back({fault, channel, from, to, row.whole()});
    }
    return faults;
}

inline std::vector<std::string> read_channels(SqlFile const& file, std::uint64_t weld) {
    SqlStatement row(file, "SELECT name FROM channel WHERE weld = ? ORDER BY channel",
                     "a channel cannot be read");
    row.give(weld);
    std::vector<std::string> names;
    while (row.next())
        names.push_back(row.text());
    return names;
}

/// The traces of a weld; throws BadInput where they are not those of `trace.cells`.
inline void read_traces(SqlFile const& file, std::uint64_t weld, SeamTrace& trace) {
    SqlStatement row(file, "SELECT readings, covered FROM trace WHERE weld = ? ORDER BY channel",
                     "a trace cannot be read");
    row.give(weld);
    while (row.next()) {
        auto values = numbers_of<std::uint64_t, double>(row.bytes());
        auto covered = numbers_of<std::uint32_t, float>(row.bytes());
        if (values.size() != trace.cells.count || covered.size() != trace.cells.count)
            throw BadInput(file.name() + ": the store is damaged: a trace of weld " + std::to_string(weld) +
                           " has not as many readings as cells");
        trace.traces.push_back({std::move(values), std::move(covered)});
    }
    if (trace.traces.size() != trace.channels.size())
        throw BadInput(file.name() + ": the store is damaged: weld " + std::to_string(weld) +
                       " has not as many traces as channels");
}

/// The findings, unseen stretches and faults of a verdict.
inline void read_findings(SqlFile const& file, std::uint64_t weld, SeamVerdict& verdict) {
    SqlStatement finding(file,
                         "SELECT channel, side, rule, from_m, to_m, outside_m, area, worst, worst_at_m FROM "
                         "finding WHERE weld = ? ORDER BY place",
                         "a finding cannot be read");
    finding.give(weld);
    while (finding.next()) {
        Finding f{};
        f.channel = static_cast<std::size_t>(finding.whole());
        f.side = of_word(file, finding.text(), decltype(f.side)::above);
        f.rule = of_word(file, finding.text(), FindingRule::area);
        for (double* const number : {&f.from, &f.to, &f.outside, &f.area, &f.worst, &f.worst_at})
            *number = finding.number();
        verdict.findings.push_back(f);
    }
    SqlStatement unseen(file, "SELECT channel, from_m, to_m FROM unseen WHERE weld = ? ORDER BY place",
                        "an unseen stretch cannot be read");
    unseen.give(weld);
    while (unseen.next()) {
        auto const channel = static_cast<std::size_t>(unseen.whole());
        double const from = unseen.number();
        verdict.unseen.push_back({channel, from, unseen.number()});
    }
    verdict.faults = read_faults(file, weld, "verdict");
}

/// One record; throws BadInput where there is none of this number.
inline KeptWeld read_record(SqlFile const& file, std::uint64_t weld, bool with_trace) {
    SqlStatement row(
        file,
        "SELECT date_days, part, seam, judgement, length_m, print_of_head, print_of_mount, "
        "print_of_part, print_of_calibration, print_of_pass, trace_cells, trace_length_m FROM weld "
        "WHERE number = ?",
        "a record cannot be read");
    row.give(weld);
    if (!row.next())
        throw BadInput(file.name() + ": there is no weld number " + std::to_string(weld));
    KeptWeld record;
    auto& verdict = record.verdict;
    verdict.date = row.number();
    verdict.part = row.text();
    verdict.key.seam = row.text();
    verdict.judgement = of_word(file, row.text(), Judgement::not_judged);
    verdict.length = row.number();
    take_prints(row, verdict.key);
    verdict.channels = read_channels(file, weld);
    read_findings(file, weld, verdict);
    if (with_trace && !row.is_nothing()) {
        auto const count = static_cast<std::size_t>(row.whole());
        record.trace = SeamTrace{verdict.key,
                                 verdict.part,
                                 verdict.date,
                                 {row.number(), count},
                                 verdict.channels,
                                 {},
                                 read_faults(file, weld, "trace")};
        read_traces(file, weld, *record.trace);
    }
    SqlStatement value(
        file,
        "SELECT name, unit, least, greatest, words, origin FROM procedure_value WHERE weld = ? "
        "ORDER BY place",
        "a value cannot be read");
    value.give(weld);
    while (value.next()) {
        ProcedureValue v;
        v.name = value.text();
        v.unit = value.text();
        v.least = value.number();
        v.greatest = value.number();
        v.words = value.text();
        v.origin = of_word(file, value.text(), ValueOrigin::open);
        record.values.push_back(std::move(v));
    }
    try {
        check_kept_weld(record);
    } catch (BadInput const& error) {
        throw BadInput(file.name() + ": the store is damaged: " + error.what());
    }
    return record;
}

} // namespace seamhold::detail

#endif
