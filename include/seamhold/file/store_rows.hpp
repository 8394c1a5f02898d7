#ifndef SEAMHOLD_FILE_STORE_ROWS_HPP
#define SEAMHOLD_FILE_STORE_ROWS_HPP

#include "seamhold/file/sqlite.hpp"
#include "seamhold/record/kept_weld.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
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

/// Runs a check of what was read: what does not hold is damage.
template <class Check> void check_sound(SqlFile const& file, Check const& check) {
    try {
        check();
    } catch (BadInput const& error) {
        throw BadInput(file.name() + ": the store is damaged: " + error.what());
    }
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

inline void write_summary(SqlFile const& file, std::uint64_t weld, SeamSummary const& summary) {
    constexpr char const* what = "a row of a weld cannot be kept";
    // What is written here names every member, so that a new one does not compile before it is kept.
    [[maybe_unused]] auto const& [key, part, date, judgement, learnt, parts, print, channels] = summary;
    SqlStatement(file, "INSERT INTO summary VALUES (?,?,?,?)", what)
        .give(weld)
        .give(std::uint64_t(learnt))
        .give(parts)
        .give(print)
        .run();
    SqlStatement insert(file, "INSERT INTO channel_summary VALUES (?,?,?,?,?,?,?,?)", what);
    for (std::size_t i = 0; i < channels.size(); ++i) {
        [[maybe_unused]] auto const& [name, seen, mean, least, greatest, level, farthest] = channels[i];
        insert.give(weld).give(std::uint64_t(i)).give(seen).give(mean).give(least).give(greatest);
        insert.give(level).give(farthest).run();
    }
}

inline void write_judged_by(SqlFile const& file, std::uint64_t weld, JudgedBy const& by) {
    auto const& [rules, wish, factor] = by;
    auto const& [run, share, area, covered, unseen] = rules;
    auto const& [limits, coverage, confidence] = wish;
    SqlStatement insert(file, "INSERT INTO judged_by VALUES (?,?,?,?,?,?,?,?,?,?)",
                        "what a weld was judged by cannot be kept");
    insert.give(weld).give(to_string(limits)).give(coverage).give(confidence).give(factor);
    for (auto const& rule : {run, share, area}) {
        if (rule)
            insert.give(*rule);
        else
            insert.give_nothing();
    }
    insert.give(covered).give(unseen).run();
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
    if (record.summary)
        write_summary(file, weld, *record.summary);
    if (record.judged_by)
        write_judged_by(file, weld, *record.judged_by);
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

/// The row of a weld, to follow the process, which belongs to the head of this verdict; nothing where none
/// was kept.
inline std::optional<SeamSummary> read_summary(SqlFile const& file, std::uint64_t weld,
                                               SeamVerdict const& verdict) {
    constexpr char const* what = "a row of a weld cannot be read";
    SqlStatement row(file, "SELECT learnt, band_parts, band_print FROM summary WHERE weld = ?", what);
    row.give(weld);
    if (!row.next())
        return std::nullopt;
    bool const learnt = row.whole() != 0;
    std::uint64_t const parts = row.whole();
    SeamSummary summary{verdict.key, verdict.part, verdict.date, verdict.judgement,
                        learnt,      parts,        row.whole(),  {}};
    SqlStatement numbers(file,
                         "SELECT seen, mean, least, greatest, level, farthest FROM channel_summary WHERE "
                         "weld = ? ORDER BY channel",
                         what);
    numbers.give(weld);
    while (numbers.next()) {
        ChannelSummary c{};
        for (double* const x : {&c.seen, &c.mean, &c.least, &c.greatest, &c.level, &c.farthest})
            *x = numbers.number();
        summary.channels.push_back(std::move(c));
    }
    if (summary.channels.size() != verdict.channels.size())
        throw BadInput(file.name() + ": the store is damaged: the row of weld " + std::to_string(weld) +
                       " has not as many channels as its verdict");
    for (std::size_t i = 0; i < summary.channels.size(); ++i)
        summary.channels[i].name = verdict.channels[i];
    return summary;
}

inline std::optional<JudgedBy> read_judged_by(SqlFile const& file, std::uint64_t weld) {
    SqlStatement row(file,
                     "SELECT limit_rule, coverage, confidence, factor, longest_run_m, share_outside, "
                     "area_outside_m, least_covered, longest_unseen_m FROM judged_by WHERE weld = ?",
                     "what a weld was judged by cannot be read");
    row.give(weld);
    if (!row.next())
        return std::nullopt;
    JudgedBy by{};
    by.wish.rule = of_word(file, row.text(), LimitRule::whole_part);
    for (double* const x : {&by.wish.coverage, &by.wish.confidence, &by.factor})
        *x = row.number();
    for (auto* const rule : {&by.rules.longest_run, &by.rules.share_outside, &by.rules.area_outside}) {
        bool const there = !row.is_nothing();
        double const x = row.number();
        *rule = there ? std::optional(x) : std::nullopt;
    }
    by.rules.least_covered = row.number();
    by.rules.longest_unseen = row.number();
    return by;
}

/// What `read_head` takes of a weld, in its order.
inline constexpr char const* head_columns =
    "date_days, part, seam, judgement, length_m, print_of_head, print_of_mount, print_of_part, "
    "print_of_calibration, print_of_pass";

/// The verdict without what was found.
inline SeamVerdict read_head(SqlFile const& file, std::uint64_t weld, SqlStatement& row) {
    SeamVerdict verdict{};
    verdict.date = row.number();
    verdict.part = row.text();
    verdict.key.seam = row.text();
    verdict.judgement = of_word(file, row.text(), Judgement::not_judged);
    verdict.length = row.number();
    take_prints(row, verdict.key);
    verdict.channels = read_channels(file, weld);
    return verdict;
}

/// One record; throws BadInput where there is none of this number.
inline KeptWeld read_record(SqlFile const& file, std::uint64_t weld, bool with_trace) {
    SqlStatement row(file,
                     std::string("SELECT ") + head_columns +
                         ", trace_cells, trace_length_m FROM weld WHERE number = ?",
                     "a record cannot be read");
    row.give(weld);
    if (!row.next())
        throw BadInput(file.name() + ": there is no weld number " + std::to_string(weld));
    KeptWeld record{read_head(file, weld, row)};
    auto& verdict = record.verdict;
    record.summary = read_summary(file, weld, verdict);
    record.judged_by = read_judged_by(file, weld);
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
    check_sound(file, [&] { check_kept_weld(record); });
    return record;
}

} // namespace seamhold::detail

#endif
