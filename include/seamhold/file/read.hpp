#ifndef SEAMHOLD_FILE_READ_HPP
#define SEAMHOLD_FILE_READ_HPP

#include "seamhold/number/bad_input.hpp"

#include <cerrno>
#include <cstddef>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <string>
#include <system_error>
#include <utility>

namespace seamhold {

/// A file that is read from its beginning to its end.
class FileToRead {
public:
    /// Opens it. Throws BadInput with the path and what the system says.
    explicit FileToRead(std::string path) : path_(std::move(path)), file_(std::fopen(path_.c_str(), "rb")) {
        if (!file_)
            fail();
    }

    /// Fills `space` with up to `size` bytes and returns how many there were; 0 at the end. Throws BadInput
    /// where the file cannot be read, such as a folder.
    std::size_t read(char* space, std::size_t size) {
        std::size_t const got = std::fread(space, 1, size, file_.get());
        if (got < size && std::ferror(file_.get()) != 0)
            fail();
        return got;
    }

    /// The path, as it was given.
    std::string const& path() const { return path_; }

private:
    struct Close {
        void operator()(std::FILE* file) const { std::fclose(file); }
    };

    [[noreturn]] void fail() const {
        throw BadInput(path_ + ": cannot be read: " + std::generic_category().message(errno));
    }

    std::string path_;
    std::unique_ptr<std::FILE, Close> file_;
};

/// A whole file as text, byte by byte. Throws BadInput as `FileToRead` does.
inline std::string read_text(std::filesystem::path const& path) {
    FileToRead file(path.string());
    std::string text;
    for (std::size_t got = 1; got > 0;) {
        constexpr std::size_t chunk = std::size_t(1) << 16U;
        std::size_t const before = text.size();
        text.resize(before + chunk);
        got = file.read(text.data() + before, chunk);
        text.resize(before + got);
    }
    return text;
}

} // namespace seamhold

#endif
