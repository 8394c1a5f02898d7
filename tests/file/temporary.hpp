#ifndef SEAMHOLD_TESTS_FILE_TEMPORARY_HPP
#define SEAMHOLD_TESTS_FILE_TEMPORARY_HPP

#include "seamhold/number/bad_input.hpp"

#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

#include <unistd.h>

// Files for tests, in a folder of their own that is gone afterwards.

namespace seamhold::test {

/// A place in memory where there is one, else where temporary files belong: nothing waits for a disk, so that
/// more happens in less time. What a killed process leaves behind does not depend on it.
inline std::filesystem::path in_memory() {
    std::filesystem::path const memory = "/dev/shm";
    return ::access(memory.c_str(), W_OK) == 0 ? memory : std::filesystem::temp_directory_path();
}

/// A fresh folder, removed with everything in it at the end.
class TemporaryFolder {
public:
    explicit TemporaryFolder(std::filesystem::path const& within = std::filesystem::temp_directory_path()) {
        static int count = 0;
        folder_ = within / ("seamhold-test-" + std::to_string(::getpid()) + "-" + std::to_string(++count));
        std::filesystem::create_directories(folder_);
    }
    TemporaryFolder(TemporaryFolder const&) = delete;
    TemporaryFolder& operator=(TemporaryFolder const&) = delete;
    ~TemporaryFolder() {
        std::error_code ignored;
        std::filesystem::remove_all(folder_, ignored);
    }

    /// The path of a file in it.
    std::filesystem::path operator/(std::string const& name) const { return folder_ / name; }

    /// A file with this text, byte by byte.
    std::filesystem::path file(std::string const& name, std::string_view text) const {
        std::ofstream(folder_ / name, std::ios::binary) << text;
        return folder_ / name;
    }

    /// The names of what is in it.
    std::vector<std::string> names() const {
        std::vector<std::string> all;
        for (auto const& entry : std::filesystem::directory_iterator(folder_))
            all.push_back(entry.path().filename().string());
        return all;
    }

private:
    std::filesystem::path folder_;
};

/// The whole text of a file, read without the library.
inline std::string content_of(std::filesystem::path const& path) {
    std::ifstream stream(path, std::ios::binary);
    std::ostringstream text;
    text << stream.rdbuf();
    return text.str();
}

/// The message of the BadInput that an action throws, with the folder of the file it begins with cut off; "no
/// error" where it throws none.
template <class Action> std::string message_of(Action&& action) {
    try {
        action();
    } catch (BadInput const& error) {
        std::string const message = error.what();
        auto const colon = message.find(':');
        auto const slash = message.rfind('/', colon);
        return slash == std::string::npos ? message : message.substr(slash + 1);
    }
    return "no error";
}

/// "row:column" of the first place of a text in another, as an editor counts.
inline std::string place_of(std::string_view needle, std::string_view text) {
    auto const found = text.find(needle);
    if (found == std::string_view::npos)
        return "not found";
    std::size_t row = 1, column = 1;
    for (char const c : text.substr(0, found)) {
        row += c == '\n' ? 1U : 0U;
        column = c == '\n' ? 1 : column + 1;
    }
    return std::to_string(row) + ":" + std::to_string(column);
}

} // namespace seamhold::test

#endif
