#include "source.hpp"

#include <algorithm>
#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>

namespace seamhold::test {

std::filesystem::path project_folder() { return SEAMHOLD_SOURCE_DIR; }

std::string text_of(std::filesystem::path const& file) {
    std::ifstream stream(file, std::ios::binary);
    std::string text{std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
    if (!stream) {
        throw std::runtime_error("cannot read " + file.string());
    }
    return text;
}

std::vector<std::string> lines_of(std::string const& text) {
    std::vector<std::string> lines;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);) {
        lines.push_back(line);
    }
    return lines;
}

std::vector<std::filesystem::path> public_headers() {
    auto const folder = project_folder() / "include" / "seamhold";
    std::vector<std::filesystem::path> headers;
    for (auto const& entry : std::filesystem::recursive_directory_iterator(folder)) {
        if (entry.is_regular_file() && entry.path().extension() == ".hpp") {
            headers.push_back(entry.path().lexically_relative(folder));
        }
    }
    std::sort(headers.begin(), headers.end());
    return headers;
}

} // namespace seamhold::test
