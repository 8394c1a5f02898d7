#ifndef SEAMHOLD_FILE_STORE_CSV_HPP
#define SEAMHOLD_FILE_STORE_CSV_HPP

#include "seamhold/file/date.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/file/weld_papers.hpp"
#include "seamhold/file/weld_store.hpp"
#include "seamhold/file/write.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

/// What a store keeps, as CSV for other programs: the files appear whole or not at all, and nothing is read
/// but what was acknowledged. Numbers have the fewest digits that read back the same, and are `nan` or `inf`
/// where they are so. Fields with a comma, a quote or a line end stand in quotes, a quote in them doubled.
namespace seamhold {

/// What was written.
struct WrittenRecords {
    std::size_t records;
    std::size_t rows; ///< without that of the columns' names
};

namespace detail {

/// Writes the rows that `rows_of(StoredRecord const&)` makes of each record that is wanted.
template <class RowsOf>
WrittenRecords write_records(std::filesystem::path const& path, WeldStore const& store,
                             WeldSelection const& wanted, std::string const& columns, bool with_trace,
                             RowsOf const& rows_of) {
    WholeFile file(path);
    WrittenRecords written{0, 0};
    file.write(columns);
    store.for_each(
        wanted,
        [&](StoredRecord const& one) {
            ++written.records;
            for (std::string const& row : rows_of(one)) {
                ++written.rows;
                file.write(row + "\n");
            }
        },
        with_trace);
    file.commit();
    return written;
}

/// A row that is put together from fields.
class FieldRow {
public:
    FieldRow& number(double x) { return raw(shortest(x)); }
    FieldRow& whole(std::uint64_t n) { return raw(std::to_string(n)); }
    FieldRow& text(std::string const& words) { return raw(csv_field(words)); }
    std::string const& row() const { return row_; }

private:
    FieldRow& raw(std::string const& field) {
        row_ += row_.empty() ? "" : ",";
        row_ += field;
        return *this;
    }
    std::string row_;
};

/// number, part, seam, date_days
inline FieldRow weld_fields(StoredRecord const& one) {
    auto const& verdict = one.record.verdict;
    FieldRow row;
    row.whole(one.number).text(verdict.part).text(verdict.key.seam).number(verdict.date);
    return row;
}

} // namespace detail

/// One row a weld:
///
///     number,part,seam,date_days,date,judgement,length_m,findings,unseen_stretches,sample_faults
///
/// `number` is the store's, `date` the date in words. Throws BadInput where the store cannot be read or the
/// file not be written.
inline WrittenRecords write_welds(std::filesystem::path const& path, WeldStore const& store,
                                  WeldSelection const& wanted = {}) {
    return detail::write_records(
        path, store, wanted,
        "number,part,seam,date_days,date,judgement,length_m,findings,unseen_stretches,sample_faults\n", false,
        [](StoredRecord const& one) {
            auto const& v = one.record.verdict;
            auto row = detail::weld_fields(one);
            row.text(date_text(v.date)).text(to_string(v.judgement)).number(v.length);
            row.whole(v.findings.size()).whole(v.unseen.size()).whole(v.faults.size());
            return std::vector<std::string>{row.row()};
        });
}

/// One row a finding:
///
///     number,part,seam,date_days,channel,side,rule,from_m,to_m,outside_m,area_m,worst,worst_at_m
///
/// as `Finding` has them. Throws BadInput as `write_welds` does.
inline WrittenRecords write_findings(std::filesystem::path const& path, WeldStore const& store,
                                     WeldSelection const& wanted = {}) {
    return detail::write_records(
        path, store, wanted,
        "number,part,seam,date_days,channel,side,rule,from_m,to_m,outside_m,area_m,worst,worst_at_m\n", false,
        [](StoredRecord const& one) {
            std::vector<std::string> rows;
            for (auto const& f : one.record.verdict.findings) {
                auto row = detail::weld_fields(one);
                row.text(one.record.verdict.channels[f.channel]).text(to_string(f.side));
                row.text(to_string(f.rule)).number(f.from).number(f.to).number(f.outside).number(f.area);
                rows.push_back(row.number(f.worst).number(f.worst_at).row());
            }
            return rows;
        });
}

/// One row a cell of each channel, for the records that have a trace:
///
///     number,part,seam,date_days,channel,from_m,to_m,reading,covered
///
/// Throws BadInput as `write_welds` does.
inline WrittenRecords write_traces(std::filesystem::path const& path, WeldStore const& store,
                                   WeldSelection const& wanted = {}) {
    return detail::write_records(
        path, store, wanted, "number,part,seam,date_days,channel,from_m,to_m,reading,covered\n", true,
        [](StoredRecord const& one) {
            std::vector<std::string> rows;
            if (!one.record.trace)
                return rows;
            auto const& trace = *one.record.trace;
            for (std::size_t c = 0; c < trace.traces.size(); ++c) {
                auto const front = detail::weld_fields(one).text(trace.channels[c]);
                for (std::size_t i = 0; i < trace.cells.count; ++i) {
                    auto row = front;
                    row.number(trace.cells.from(i)).number(trace.cells.from(i + 1));
                    row.number(trace.traces[c].value[i]);
                    rows.push_back(row.number(static_cast<double>(trace.traces[c].covered[i])).row());
                }
            }
            return rows;
        });
}

/// One row a procedure value, in the columns of `weld_values_csv`. Throws BadInput as `write_welds` does.
inline WrittenRecords write_weld_values(std::filesystem::path const& path, WeldStore const& store,
                                        WeldSelection const& wanted = {}) {
    return detail::write_records(path, store, wanted, detail::value_columns, false,
                                 [](StoredRecord const& one) {
                                     std::vector<std::string> rows;
                                     for (auto const& value : one.record.values)
                                         rows.push_back(detail::value_row(one.record.verdict, value));
                                     return rows;
                                 });
}

} // namespace seamhold

#endif
