#include "seamhold/file/csv.hpp"

#include "support/allocation_guard.hpp"
#include "support/random.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using seamhold::BadInput;
using seamhold::CsvReader;
using seamhold::test::message_of;
using seamhold::test::TemporaryFolder;

namespace {

/// Every number of a file of numbers, row after row.
std::vector<double> numbers_in(std::filesystem::path const& path) {
    CsvReader reader(path);
    std::vector<double> all;
    while (reader.next())
        for (std::size_t i = 0; i < reader.names().size(); ++i)
            all.push_back(reader.number(i));
    return all;
}

std::vector<double> const two_rows = {1, 2.5, -3, 4000};

} // namespace

TEST_CASE("files that differ only in dress read the same") {
    TemporaryFolder const folder;
    for (std::string const text : {
             "a,b\n1,2.5\n-3,4e3\n",       // plain
             "a,b\n1,2.5\n-3,4e3",         // no end to the last row
             "a,b\r\n1,2.5\r\n-3,4e3\r\n", // CRLF
             "\xef\xbb\xbf"
             "a,b\n1,2.5\n-3,4e3\n",                              // byte order mark
             "a,b\n1,2.5\n-3,4e3\n\n \r\n\t\n",                   // empty rows at the end
             "# made by hand\na,b\n1,2.5\n  # so far\n-3,4e3\n#", // comments
             "a , b\n 1 ,\t2.5 \n-3,  4e3\n",                     // spaces and tabs
             "\"a\",\"b\"\n\"1\", \"2.5\" \n-3,\"4e3\"\n",        // quotes
             "a,b\n+1,02.50\n-3.,4E+3\n",                         // other ways to write a number
         }) {
        CAPTURE(text);
        CHECK(numbers_in(folder.file("dressed.csv", text)) == two_rows);
        CHECK(CsvReader(folder / "dressed.csv").names() == std::vector<std::string>{"a", "b"});
    }
}

TEST_CASE("columns are found by name, and a comma in quotes is part of a field") {
    TemporaryFolder const folder;
    CsvReader reader(folder.file("named.csv", "time_s,\"x, y\",,kind\n1,2,3,pose\n"));
    CHECK(reader.names() == std::vector<std::string>{"time_s", "x, y", "", "kind"});
    CHECK(reader.column("kind") == 3);
    CHECK_FALSE(reader.find("x").has_value());
    CHECK(message_of([&] { reader.column("x"); }) ==
          "named.csv: there is no column x; the columns are time_s, x, y, , kind");
    REQUIRE(reader.next());
    CHECK(reader.text(3) == "pose");
    CHECK_FALSE(reader.next());
    CHECK_FALSE(reader.next());
    CsvReader twice(folder.file("twice.csv", "a,b,a\n1,2,3\n"));
    CHECK(message_of([&] { twice.column("a"); }) == "twice.csv: two columns are named a");
}

TEST_CASE("a file without a header is read by the names given") {
    TemporaryFolder const folder;
    CsvReader reader(folder.file("bare.csv", "1,2\n3,4\n"), {"a", "b"});
    REQUIRE(reader.next());
    CHECK(reader.row() == 1);
    CHECK(reader.number(reader.column("b")) == 2);
}

TEST_CASE("rows of another kind are passed over, whatever is in them") {
    TemporaryFolder const folder;
    CsvReader reader(folder.file("kinds.csv", "t,kind,x\n1,pose,10\n1.5,note\n1.7,force,a,b,c\n2,pose,20\n"));
    reader.keep_rows(reader.column("kind"), "pose");
    std::vector<double> found;
    while (reader.next())
        found.push_back(reader.number(2));
    CHECK(found == std::vector<double>{10, 20});
    CHECK(reader.passed_over() == 2);
    CHECK(reader.row() == 5);
}

TEST_CASE("bad files are refused with file, row, column and the text that is wrong") {
    TemporaryFolder const folder;
    struct Case {
        std::string text;
        std::string message;
    };
    for (Case const& c : std::vector<Case>{
             {"", "bad.csv: the file is empty"},
             {"\n\n", "bad.csv:2: the file has no rows, not even one that names the columns"},
             {"# nothing\n", "bad.csv:1: the file has no rows, not even one that names the columns"},
             {"a,b\n1,x2\n", "bad.csv:2:b: \"x2\" is not a number"},
             {"a,b\n1,2\n1,\n", "bad.csv:3:b: an empty field where a number belongs"},
             {"a,b\r\n1,2\r\n1,nan\r\n", "bad.csv:3:b: \"nan\" is not a finite number"},
             {"a,b\n-inf,2\n", "bad.csv:2:a: \"-inf\" is not a finite number"},
             {"a,b\n1e999,2\n", "bad.csv:2:a: \"1e999\" is out of range"},
             {"# c\na,b\n1,2\n1\n", "bad.csv:4: 1 field where there are 2 columns: a, b"},
             {"a,b\n1,2,3\n", "bad.csv:2: 3 fields where there are 2 columns: a, b"},
             {"a,b\n1,2\n\n3,4\n", "bad.csv:3: an empty row between others"},
             {"1,2\n3,4\n", "bad.csv:1: this row should name the columns, but it holds the number \"1\""},
             {"a;b\n1;2\n", "bad.csv:1: columns must be separated by commas; this row reads \"a;b\""},
             {"a,b\r1,2\r", "bad.csv:1: a carriage return inside of a row: lines must end in LF or CRLF"},
             {"a,b\n1,\"2\n", "bad.csv:2: quotes must stand around a whole field: \"\"2\""},
             {"a,b\n1,\"2\"5\n", "bad.csv:2: quotes must stand around a whole field: \"\"2\"5\""},
             {"\xff\xfe"
              "a",
              "bad.csv: the file is UTF-16; save it as UTF-8"},
             {std::string("a,b\n1,2\0\n", 9), "bad.csv:2:b: \"2\\x00\" is not a number"},
             {"a,b\n1," + std::string(90, '7') + "z\n",
              "bad.csv:2:b: \"" + std::string(40, '7') + "…\" is not a number"},
         }) {
        CAPTURE(c.text);
        CHECK(message_of([&] { numbers_in(folder.file("bad.csv", c.text)); }) == c.message);
    }
    CHECK(message_of([&] { numbers_in(folder / "none.csv"); }) ==
          "none.csv: cannot be read: No such file or directory");
    CHECK(message_of([&] { numbers_in(folder / ""); }).find("cannot be read: Is a directory") !=
          std::string::npos);
    std::string const endless = "a,b\n1,2\n1," + std::string(3'000'000, '1');
    CHECK(message_of([&] { numbers_in(folder.file("endless.csv", endless)); }) ==
          "endless.csv:3: a row longer than a megabyte: this is no file of comma-separated values");
}

TEST_CASE("rows are found whole wherever the buffer ends, and reading them does not touch the heap") {
    TemporaryFolder const folder;
    seamhold::test::Random random(3);
    // Rows of all lengths, several megabytes in all: the buffer's end falls everywhere.
    std::string text = "n,filler,length\n";
    std::size_t const rows = 40000;
    for (std::size_t i = 0; i < rows; ++i) {
        std::string const filler(random.index(200), 'x');
        text += std::to_string(i) + "," + filler + "," + std::to_string(filler.size()) +
                (i % 3 == 0 ? "\r\n" : "\n");
    }
    CsvReader reader(folder.file("long.csv", text));
    REQUIRE(reader.next());
    seamhold::test::AllocationGuard const guard;
    std::size_t wrong = 0;
    std::size_t count = 1;
    for (; reader.next(); ++count) {
        wrong += reader.number(0) == static_cast<double>(count) ? 0U : 1U;
        wrong += reader.number(2) == static_cast<double>(reader.text(1).size()) ? 0U : 1U;
    }
    CHECK(wrong == 0);
    CHECK(count == rows);
    CHECK(guard.count() == 0);
}
