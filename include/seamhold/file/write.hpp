#ifndef SEAMHOLD_FILE_WRITE_HPP
#define SEAMHOLD_FILE_WRITE_HPP

#include "seamhold/number/bad_input.hpp"

#include <atomic>
#include <cerrno>
#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>
#include <system_error>

#include <fcntl.h>
#include <unistd.h>

namespace seamhold {

/// A text file that appears whole or not at all. It is written under another name in the same folder,
/// brought to the disk, and only then given its own name, in one step; a file that stood there before is
/// replaced in that step. Where anything fails, or `commit` is never called, the unfinished file is removed
/// and what stood there before still stands.
class WholeFile {
public:
    /// Starts a file. Throws BadInput, naming the path and what the system says, where its folder cannot be
    /// written, or where something else than an ordinary file has the name.
    explicit WholeFile(std::filesystem::path const& path) : path_(path.string()) {
        std::error_code error;
        auto const target =
            std::filesystem::is_symlink(path, error) ? std::filesystem::canonical(path, error) : path;
        if (!error && std::filesystem::exists(target, error) &&
            !std::filesystem::is_regular_file(target, error))
            throw BadInput(path_ + ": cannot be written: not an ordinary file has this name");
        target_ = target.empty() ? path_ : target.string();
        static std::atomic<unsigned> counter = 0;
        do {
            unfinished_ =
                target_ + "." + std::to_string(::getpid()) + "-" + std::to_string(++counter) + ".part";
            file_ = ::open(unfinished_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        } while (file_ < 0 && errno == EEXIST);
        if (file_ < 0)
            fail("cannot be written");
        buffer_.reserve(chunk);
    }

    WholeFile(WholeFile const&) = delete;
    WholeFile& operator=(WholeFile const&) = delete;

    /// Removes the file where it was not committed.
    ~WholeFile() { discard(); }

    /// Adds text. Throws BadInput, naming the path and what the system says, when the disk is full or fails.
    void write(std::string_view text) {
        if (buffer_.size() + text.size() > chunk)
            flush();
        if (text.size() > chunk)
            write_now(text);
        else
            buffer_ += text;
    }

    /// Brings everything to the disk and gives the file its name. Throws BadInput as `write` does; then the
    /// name is as it was before.
    void commit() {
        flush();
        if (::fsync(file_) != 0)
            fail("cannot be brought to the disk");
        int const closed = ::close(file_);
        file_ = -1;
        if (closed != 0 || ::rename(unfinished_.c_str(), target_.c_str()) != 0)
            fail("cannot be finished");
        unfinished_.clear();
        // So that the new name survives a loss of power; where a folder cannot be opened, the system decides.
        auto const folder = std::filesystem::path(target_).parent_path();
        int const opened = ::open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_CLOEXEC);
        if (opened >= 0) {
            ::fsync(opened);
            ::close(opened);
        }
    }

private:
    static constexpr std::size_t chunk = std::size_t(1) << 18U;

    void flush() {
        write_now(buffer_);
        buffer_.clear();
    }

    void write_now(std::string_view text) {
        while (!text.empty()) {
            auto const written = ::write(file_, text.data(), text.size());
            if (written < 0 && errno == EINTR)
                continue;
            if (written < 0)
                fail("cannot be written");
            text.remove_prefix(static_cast<std::size_t>(written));
        }
    }

    [[noreturn]] void fail(std::string const& what) {
        std::string const reason = std::generic_category().message(errno);
        discard();
        throw BadInput(path_ + ": " + what + ": " + reason);
    }

    void discard() {
        if (file_ >= 0)
            ::close(file_);
        if (file_ >= 0 || !unfinished_.empty())
            ::unlink(unfinished_.c_str());
        file_ = -1;
        unfinished_.clear();
    }

    std::string path_;
    std::string target_;
    std::string unfinished_;
    int file_ = -1;
    std::string buffer_;
};

/// Writes a text as a file, whole or not at all. Throws BadInput as `WholeFile` does.
inline void write_text(std::filesystem::path const& path, std::string_view text) {
    WholeFile file(path);
    file.write(text);
    file.commit();
}

} // namespace seamhold

#endif
