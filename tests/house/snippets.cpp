#include <doctest/doctest.h>

#include "source.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <regex>
#include <stdexcept>
#include <string>
#include <vector>

// Pages show only code that is compiled and run. A block of C++ in a page stands under a line
//
//     <!-- from examples/01_hold.cpp: chain -->
//
// and is what stands in that file between `// [chain]` and `// [chain] end`, moved to the left margin. This
// test fails where they differ; run with SEAMHOLD_WRITE_SNIPPETS=1 it writes the code into the pages instead.

using seamhold::test::lines_of;
using seamhold::test::project_folder;
using seamhold::test::text_of;

namespace {

using Lines = std::vector<std::string>;

// The lines between a file's markers, without the spaces that all of them begin with.
Lines marked(Lines const& file, std::string const& name) {
    auto const is_marker = [](std::string const& line, std::string const& marker) {
        auto const start = line.find_first_not_of(' ');
        return start != std::string::npos && line.substr(start) == marker;
    };
    Lines lines;
    bool inside = false;
    bool closed = false;
    for (auto const& line : file) {
        if (is_marker(line, "// [" + name + "]")) {
            inside = true;
        } else if (is_marker(line, "// [" + name + "] end")) {
            closed = closed || inside;
            inside = false;
        } else if (inside) {
            lines.push_back(line);
        }
    }
    if (!closed) {
        throw std::runtime_error("no lines between // [" + name + "] and // [" + name + "] end");
    }
    std::size_t margin = std::string::npos;
    for (auto const& line : lines) {
        margin = std::min(margin, line.find_first_not_of(' '));
    }
    for (auto& line : lines) {
        line = line.substr(std::min(line.size(), margin == std::string::npos ? 0 : margin));
    }
    return lines;
}

// The page with every block of C++ replaced by the code it names. `read` gives the lines of a file of the
// project.
template <class Read> Lines refreshed(Lines const& page, Read const& read) {
    static std::regex const origin(R"(<!-- from ((?:examples|tests)/\S+): (\w+) -->)");
    Lines result;
    for (std::size_t i = 0; i < page.size(); ++i) {
        result.push_back(page[i]);
        if (page[i] != "```cpp") {
            continue;
        }
        std::smatch match;
        if (i == 0 || !std::regex_match(page[i - 1], match, origin)) {
            throw std::runtime_error("line " + std::to_string(i + 1) +
                                     ": a block of C++ that does not say where it is from");
        }
        for (auto const& line : marked(read(match[1]), match[2])) {
            result.push_back(line);
        }
        while (i + 1 < page.size() && page[i + 1] != "```") {
            ++i;
        }
    }
    return result;
}

std::vector<std::filesystem::path> pages() {
    std::vector<std::filesystem::path> found;
    for (auto const& entry : std::filesystem::directory_iterator(project_folder())) {
        found.push_back(entry.path());
    }
    for (char const* const folder : {"docs", "examples"}) {
        for (auto const& entry : std::filesystem::recursive_directory_iterator(project_folder() / folder)) {
            found.push_back(entry.path());
        }
    }
    found.erase(
        std::remove_if(found.begin(), found.end(), [](auto const& p) { return p.extension() != ".md"; }),
        found.end());
    std::sort(found.begin(), found.end());
    return found;
}

} // namespace

TEST_CASE("a block of C++ in a page is taken from its marked place") {
    Lines const source = {"int main() {",   "    // [use]", "    int x = 1;",   "", "    if (x) {",
                          "        x = 2;", "    }",        "    // [use] end", "}"};
    auto const read = [&](std::string const&) { return source; };
    Lines const old = {"# Page", "<!-- from examples/a.cpp: use -->", "```cpp", "int y;", "```", "end"};
    Lines const fresh = {"# Page",     "<!-- from examples/a.cpp: use -->",
                         "```cpp",     "int x = 1;",
                         "",           "if (x) {",
                         "    x = 2;", "}",
                         "```",        "end"};
    CHECK(refreshed(old, read) == fresh);
    CHECK(refreshed(fresh, read) == fresh);
    CHECK(refreshed({"```sh", "ls", "```"}, read) == Lines{"```sh", "ls", "```"});
    CHECK_THROWS(refreshed({"# Page", "```cpp", "int y;", "```"}, read));
    CHECK_THROWS(refreshed({"<!-- from examples/a.cpp: other -->", "```cpp", "```"}, read));
    CHECK_THROWS(refreshed({"<!-- from include/a.hpp: use -->", "```cpp", "```"}, read)); // not a program
}

TEST_CASE("pages show only code that is compiled and run") {
    bool const write = std::getenv("SEAMHOLD_WRITE_SNIPPETS") != nullptr;
    auto const read = [](std::string const& file) { return lines_of(text_of(project_folder() / file)); };
    for (auto const& page : pages()) {
        std::string const name = page.lexically_relative(project_folder()).string();
        Lines const lines = lines_of(text_of(page));
        try {
            Lines const fresh = refreshed(lines, read);
            if (write && fresh != lines) {
                std::ofstream stream(page);
                for (auto const& line : fresh) {
                    stream << line << '\n';
                }
                MESSAGE("written: " << name);
                continue;
            }
            auto const [a, b] = std::mismatch(lines.begin(), lines.end(), fresh.begin(), fresh.end());
            if (a != lines.end() || b != fresh.end()) {
                FAIL_CHECK(
                    name
                    << ":" << a - lines.begin() + 1
                    << ": is not what its program has; SEAMHOLD_WRITE_SNIPPETS=1 with test_house mends it");
            }
        } catch (std::exception const& fault) {
            FAIL_CHECK(name << ": " << fault.what());
        }
    }
}
