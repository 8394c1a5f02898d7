#include <doctest/doctest.h>

#include "source.hpp"

#include <algorithm>
#include <cctype>
#include <filesystem>
#include <map>
#include <regex>
#include <set>
#include <string>
#include <vector>

// The order of the house: what stands at the top, and who may include whom.

using seamhold::test::lines_of;
using seamhold::test::project_folder;
using seamhold::test::public_headers;
using seamhold::test::text_of;

namespace {

// A header includes only from its own floor or below.
std::map<std::string, int> const floors = {{"number", 1},  {"statistics", 1}, {"frame", 2},  {"curve", 3},
                                           {"surface", 3}, {"arm", 4},        {"motion", 4}, {"head", 4},
                                           {"beam", 4},    {"seam", 4},       {"follow", 5}, {"limit", 6},
                                           {"live", 7},    {"calibrate", 7},  {"record", 7}, {"budget", 8},
                                           {"plan", 8},    {"map", 9},        {"file", 10}};

// What the core may include besides itself and the standard library; xsimd only where the compiler finds it.
std::set<std::string> const dependencies = {"Eigen", "boost", "xsimd"};
// Only map/ may include oneTBB: one header, that of a component of its own.
std::set<std::string> const map_dependencies = {"oneapi"};
// Only file/, whose components stand apart from the core, may include these: folders, and headers by name.
std::set<std::string> const file_dependencies = {"toml++", "sqlite3.h", "sys"};

// The folder that a header speaks for: "number" for number/taylor.hpp and for number.hpp; "" for
// seamhold.hpp.
std::string folder_of(std::filesystem::path const& header) {
    std::string const first = header.begin()->string();
    std::string const folder = header.has_parent_path() ? first : header.stem().string();
    return folder == "seamhold" ? "" : folder;
}

// What is wrong with the line `#include <included>` in a header of this folder; "" where nothing is.
std::string fault(std::string const& folder, std::string const& included) {
    auto const slash = included.find('/');
    std::string const first = included.substr(0, slash);
    if (first == "seamhold") {
        std::string const target = folder_of(included.substr(slash + 1));
        if (floors.count(target) == 0) {
            return "has no floor in tests/house/layout.cpp";
        }
        if (folder.empty()) {
            return target == "file" ? "is a component of its own and stays out of seamhold.hpp" : "";
        }
        return floors.at(target) > floors.at(folder) ? "stands on a higher floor" : "";
    }
    if (file_dependencies.count(first) != 0) {
        return folder == "file" ? "" : "may be included by file/ only";
    }
    if (map_dependencies.count(first) != 0) {
        return folder == "map" ? "" : "may be included by map/ only";
    }
    if (slash == std::string::npos || dependencies.count(first) != 0) {
        return "";
    }
    return "is not a dependency of the core";
}

} // namespace

TEST_CASE("only what belongs there stands at the top") {
    std::set<std::string> const allowed = {"CMakeLists.txt", "README.md", "DEVELOPERS.md",
                                           "LICENSE",        "include",   "tests",
                                           "bench",          "examples",  "docs"};
    // Ignored by git: what is built, and what the examples write.
    std::regex const made("build(-.*)?|out");
    for (auto const& entry : std::filesystem::directory_iterator(project_folder())) {
        std::string const name = entry.path().filename().string();
        INFO(name);
        CHECK((name.front() == '.' || allowed.count(name) == 1 || std::regex_match(name, made)));
    }
}

TEST_CASE("the rules of the floors refuse what they should") {
    CHECK(fault("number", "cmath").empty());
    CHECK(fault("follow", "seamhold/follow/follower.hpp").empty());
    CHECK(fault("follow", "seamhold/motion.hpp").empty());
    CHECK(fault("motion", "seamhold/arm/serial_arm.hpp").empty());
    CHECK(fault("frame", "Eigen/Geometry").empty());
    CHECK(fault("", "seamhold/plan.hpp").empty());
    CHECK(fault("file", "toml++/toml.h").empty());
    CHECK_FALSE(fault("frame", "seamhold/motion/log.hpp").empty());
    CHECK_FALSE(fault("seam", "seamhold/follow.hpp").empty());
    CHECK_FALSE(fault("seam", "seamhold/seamhold.hpp").empty());
    CHECK_FALSE(fault("seam", "seamhold/attic/old.hpp").empty());
    CHECK_FALSE(fault("", "seamhold/file/csv.hpp").empty());
    CHECK(fault("file", "sqlite3.h").empty());
    CHECK_FALSE(fault("seam", "toml++/toml.h").empty());
    CHECK_FALSE(fault("record", "sqlite3.h").empty());
    CHECK_FALSE(fault("", "sqlite3.h").empty());
    CHECK_FALSE(fault("seam", "ceres/ceres.h").empty());
    CHECK(fault("number", "xsimd/xsimd.hpp").empty());
    CHECK(fault("map", "oneapi/tbb/parallel_for.h").empty());
    CHECK_FALSE(fault("file", "oneapi/tbb/parallel_for.h").empty());
    CHECK_FALSE(fault("", "oneapi/tbb/parallel_for.h").empty());
}

TEST_CASE("a header includes only from its own floor or below") {
    std::regex const include_line(R"(\s*#\s*include\s*[<"]([^>"]+)[>"].*)");
    for (auto const& header : public_headers()) {
        std::string const folder = folder_of(header);
        auto const where = "include/seamhold/" + header.string();
        INFO(where);
        CHECK((folder.empty() || floors.count(folder) == 1)); // every folder has a floor
        if (!folder.empty() && floors.count(folder) == 0) {
            continue;
        }
        int number = 0;
        for (auto const& line : lines_of(text_of(project_folder() / "include" / "seamhold" / header))) {
            ++number;
            std::smatch match;
            if (std::regex_match(line, match, include_line)) {
                INFO(where << ":" << number << ": " << line << " " << fault(folder, match[1]));
                CHECK(fault(folder, match[1]).empty());
            }
        }
    }
}

TEST_CASE("include guards are named after their header") {
    for (auto const& header : public_headers()) {
        std::string guard = "SEAMHOLD_" + header.string();
        for (char& c : guard) {
            c = std::isalnum(static_cast<unsigned char>(c)) != 0
                    ? static_cast<char>(std::toupper(static_cast<unsigned char>(c)))
                    : '_';
        }
        auto const lines = lines_of(text_of(project_folder() / "include" / "seamhold" / header));
        INFO("include/seamhold/" << header.string() << ":1: first lines #ifndef " << guard << ", #define "
                                 << guard);
        REQUIRE(lines.size() > 2);
        CHECK(lines[0] == "#ifndef " + guard);
        CHECK(lines[1] == "#define " + guard);
    }
}

TEST_CASE("libraries of components are reached by what needs them only: SQLite by what keeps, oneTBB by one "
          "header") {
    std::regex const include_line(R"(\s*#\s*include\s*[<"]([^>"]+)[>"].*)");
    auto const reaches = [&](std::string const& from, std::string const& library) {
        std::set<std::string> seen;
        std::vector<std::string> left{from};
        while (!left.empty()) {
            auto const header = left.back();
            left.pop_back();
            if (!seen.insert(header).second) {
                continue;
            }
            for (auto const& line : lines_of(text_of(project_folder() / "include" / "seamhold" / header))) {
                std::smatch match;
                if (!std::regex_match(line, match, include_line)) {
                    continue;
                }
                std::string const included = match[1];
                if (included.substr(0, included.find('/')) == library) {
                    return true;
                }
                if (included.rfind("seamhold/", 0) == 0) {
                    left.push_back(included.substr(9));
                }
            }
        }
        return false;
    };
    CHECK(reaches("file/weld_store.hpp", "sqlite3.h"));
    CHECK(reaches("file/store_csv.hpp", "sqlite3.h"));
    CHECK(reaches("file/map_store.hpp", "sqlite3.h"));
    CHECK(reaches("map/on_all_cores.hpp", "oneapi"));
    for (auto const* const without : {"file.hpp", "file/calibration.hpp", "file/weld_papers.hpp",
                                      "file/map_csv.hpp", "map.hpp", "seamhold.hpp"}) {
        INFO(without);
        CHECK_FALSE(reaches(without, "sqlite3.h"));
        CHECK_FALSE(reaches(without, "oneapi"));
    }
    for (auto const& header : public_headers()) {
        auto const text = text_of(project_folder() / "include" / "seamhold" / header);
        INFO("include/seamhold/" << header.string());
        CHECK((header.string() == "map/on_all_cores.hpp" ||
               (text.find("<oneapi/") == std::string::npos &&
                text.find("on_all_cores.hpp\"") == std::string::npos)));
    }
}
