#ifndef SEAMHOLD_TESTS_HOUSE_SOURCE_HPP
#define SEAMHOLD_TESTS_HOUSE_SOURCE_HPP

#include <filesystem>
#include <string>
#include <vector>

// What the house tests share: reading the project's own files.

namespace seamhold::test {

/// The top folder of the project.
std::filesystem::path project_folder();

/// The whole text of a file. Throws std::runtime_error where it cannot be read.
std::string text_of(std::filesystem::path const& file);

/// The lines of a text, without their ends.
std::vector<std::string> lines_of(std::string const& text);

/// The public headers, relative to include/seamhold, in order: "follow.hpp", "number/taylor.hpp", …
std::vector<std::filesystem::path> public_headers();

} // namespace seamhold::test

#endif
