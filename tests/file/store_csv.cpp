#include "seamhold/file/store_csv.hpp"

#include "support/refusal.hpp"
#include "temporary.hpp"
#include "weld_records.hpp"

#include <doctest/doctest.h>

#include <cstdint>
#include <cstdlib>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::content_of;
using seamhold::test::numbered_record;
using seamhold::test::same_number;
using seamhold::test::TemporaryFolder;

namespace {

// A reader of CSV of its own, by RFC 4180: quotes doubled, line ends within quotes.
std::vector<std::vector<std::string>> rows_of(std::string const& text) {
    std::vector<std::vector<std::string>> rows(1, {""});
    bool quoted = false;
    for (std::size_t i = 0; i < text.size(); ++i) {
        char const c = text[i];
        if (quoted && c == '"' && i + 1 < text.size() && text[i + 1] == '"') {
            rows.back().back() += '"';
            ++i;
        } else if (c == '"') {
            quoted = !quoted;
        } else if (c == ',' && !quoted) {
            rows.back().emplace_back();
        } else if (c == '\n' && !quoted) {
            rows.push_back({""});
        } else {
            rows.back().back() += c;
        }
    }
    rows.pop_back();
    return rows;
}

double number_of(std::string const& field) { return std::strtod(field.c_str(), nullptr); }

} // namespace

TEST_CASE("a store as CSV: texts and numbers come back as they were") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    WeldStore store(folder / "welds");
    std::uint64_t const count = 40;
    std::size_t findings = 0, readings = 0, values = 0;
    for (std::uint64_t i = 1; i <= count; ++i) {
        auto const record = numbered_record(i);
        store.append(record);
        findings += record.verdict.findings.size();
        values += record.values.size();
        if (record.trace)
            readings += record.trace->cells.count * record.trace->traces.size();
    }
    auto const welds = write_welds(folder / "welds.csv", store);
    CHECK(welds.records == count);
    CHECK(welds.rows == count);
    auto const weld_rows = rows_of(content_of(folder / "welds.csv"));
    REQUIRE(weld_rows.size() == count + 1);
    CHECK(weld_rows[0] == std::vector<std::string>{"number", "part", "seam", "date_days", "date", "judgement",
                                                   "length_m", "findings", "unseen_stretches",
                                                   "sample_faults"});
    for (std::uint64_t i = 1; i <= count; ++i) {
        auto const& row = weld_rows[i];
        auto const verdict = numbered_record(i).verdict;
        REQUIRE(row.size() == 10);
        CHECK(row[0] == std::to_string(i));
        CHECK(row[1] == verdict.part); // with quotes, a comma and letters beyond ASCII
        CHECK(row[2] == verdict.key.seam);
        CHECK(number_of(row[3]) == verdict.date);
        CHECK(row[5] == to_string(verdict.judgement));
        CHECK(same_number(number_of(row[6]), verdict.length));
        CHECK(row[7] == std::to_string(verdict.findings.size()));
    }
    CHECK(weld_rows[7][4] == "2024-10-05T00:00:00"); // day 20001: 2024-10-04 is day 20000

    CHECK(write_findings(folder / "findings.csv", store).rows == findings);
    auto const finding_rows = rows_of(content_of(folder / "findings.csv"));
    CHECK(finding_rows.size() == findings + 1);
    std::size_t next = 1;
    for (std::uint64_t i = 1; i <= count; ++i)
        for (auto const& f : numbered_record(i).verdict.findings) {
            auto const& row = finding_rows[next++];
            REQUIRE(row.size() == 13);
            CHECK(row[4] == numbered_record(i).verdict.channels[f.channel]);
            CHECK(row[5] == to_string(f.side));
            CHECK(row[6] == to_string(f.rule));
            double const numbers[] = {f.from, f.to, f.outside, f.area, f.worst, f.worst_at};
            for (std::size_t k = 0; k < 6; ++k)
                CHECK(same_number(number_of(row[7 + k]), numbers[k]));
        }

    CHECK(write_traces(folder / "traces.csv", store).rows == readings);
    auto const trace_rows = rows_of(content_of(folder / "traces.csv"));
    next = 1;
    bool same = true;
    for (std::uint64_t i = 1; i <= count; ++i) {
        auto const record = numbered_record(i);
        for (std::size_t c = 0; record.trace && c < record.trace->traces.size(); ++c)
            for (std::size_t k = 0; k < record.trace->cells.count; ++k) {
                auto const& row = trace_rows.at(next++);
                same = same && row.size() == 9 && row[4] == record.trace->channels[c] &&
                       number_of(row[5]) == record.trace->cells.from(k) &&
                       number_of(row[6]) == record.trace->cells.from(k + 1) &&
                       same_number(number_of(row[7]), record.trace->traces[c].value[k]) &&
                       static_cast<float>(number_of(row[8])) == record.trace->traces[c].covered[k];
            }
    }
    CHECK(same);
    CHECK(next == trace_rows.size());

    CHECK(write_weld_values(folder / "values.csv", store).rows == values);
    CHECK(rows_of(content_of(folder / "values.csv")).size() == values + 1);

    WeldSelection wanted;
    wanted.seam = "seam 1";
    wanted.before = numbered_record(10).verdict.date;
    CHECK(write_welds(folder / "some.csv", store, wanted).rows == 3); // 1, 4 and 7
}

TEST_CASE("a CSV file that cannot be finished is not there") {
    TemporaryFolder const folder(seamhold::test::in_memory());
    WeldStore store(folder / "welds");
    store.append(numbered_record(1));
    CHECK(seamhold::test::has(
        seamhold::test::refusal_of([&] { return write_welds(folder / "none" / "x.csv", store); }),
        "cannot be written: No such file or directory"));
    folder.file("old.csv", "old");
    WeldSelection wanted;
    wanted.from = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS((void)write_traces(folder / "old.csv", store, wanted), BadInput);
    CHECK(content_of(folder / "old.csv") == "old");
}
