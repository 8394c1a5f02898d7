#ifndef SEAMHOLD_FILE_STORE_SIDE_FILES_HPP
#define SEAMHOLD_FILE_STORE_SIDE_FILES_HPP

#include "seamhold/file/sqlite.hpp"
#include "seamhold/number/bad_input.hpp"

#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <iterator>
#include <string>
#include <system_error>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

/// The two files that stand beside a store of weld records: whether they can be written, and whether they are
/// still there.
namespace seamhold::detail {

/// What SQLite calls the files that it keeps beside a store: the journal, and what programs share.
inline constexpr char const* side_ends[] = {"-wal", "-shm"};

inline std::string side_file(SqlFile const& file, char const* end) {
    return sqlite3_db_filename(file.handle(), "main") + std::string(end);
}

/// How many bytes the journal beside a file has; 0 where there is none.
inline std::uint64_t journal_bytes(SqlFile const& file) {
    std::error_code error;
    auto const size = std::filesystem::file_size(side_file(file, "-wal"), error);
    return error ? 0 : size;
}

/// What to do with a store whose journal cannot be read where it stands.
inline constexpr char const* journal_advice =
    "Copy the file with those of the same name and -wal and -shm to where they can be written and open it "
    "there, or have it opened for appending and closed where it stands";

/// Throws BadInput where the store or a file beside it cannot be written: a reader of another user may have
/// made that one.
inline void check_may_write(SqlFile const& file) {
    for (char const* const end : {"", side_ends[0], side_ends[1]}) {
        auto const path = side_file(file, end);
        if (::faccessat(AT_FDCWD, path.c_str(), W_OK, AT_EACCESS) == 0 || errno == ENOENT)
            continue;
        std::string const refusal = file.name() + ": cannot be written as a store: " + path +
                                    " cannot be written (" + std::generic_category().message(errno) + ")";
        if (*end == 0)
            throw BadInput(refusal);
        throw BadInput(refusal + ". A reader of another user may have made it: whoever owns it must give you "
                                 "the right to write to it. Do not remove it: it may hold records");
    }
}

/// Which files stand beside a store that is open for appending. Where one was taken away or replaced, what is
/// written goes where nobody finds it.
class SideFiles {
public:
    /// Those that stand there now. Throws BadInput where one is missing.
    explicit SideFiles(SqlFile const& file) {
        for (std::size_t i = 0; i < std::size(side_ends); ++i) {
            paths_[i] = side_file(file, side_ends[i]);
            files_[i] = file_at(paths_[i]);
            if (files_[i].inode == 0)
                throw BadInput(file.name() + ": cannot be written as a store: " + paths_[i] + " is gone");
        }
    }

    /// The path of one that is not there any more, or another file; "" where all are as they were.
    std::string missing() const {
        for (std::size_t i = 0; i < std::size(side_ends); ++i) {
            auto const now = file_at(paths_[i]);
            if (now.device != files_[i].device || now.inode != files_[i].inode)
                return paths_[i];
        }
        return "";
    }

private:
    struct File {
        dev_t device;
        ino_t inode; ///< 0: there is none
    };
    static File file_at(std::string const& path) {
        struct stat found {};
        return ::stat(path.c_str(), &found) == 0 ? File{found.st_dev, found.st_ino} : File{0, 0};
    }
    std::string paths_[std::size(side_ends)];
    File files_[std::size(side_ends)] = {};
};

} // namespace seamhold::detail

#endif
