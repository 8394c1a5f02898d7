#ifndef SEAMHOLD_TESTS_FILE_FORGETFUL_DISK_HPP
#define SEAMHOLD_TESTS_FILE_FORGETFUL_DISK_HPP

#include "temporary.hpp"

#include <filesystem>
#include <fstream>
#include <map>
#include <string>

#include <sqlite3.h>

namespace seamhold::test {

/// A disk that keeps of a file what was there when it was last brought to the disk, and nothing that was
/// written since: SQLite's own system calls, with one more thing done at each `xSync` and `xDelete`. One at a
/// time; stores that are opened while it lives stand on it.
class ForgetfulDisk {
public:
    ForgetfulDisk() {
        system() = sqlite3_vfs_find(nullptr);
        mine_ = *system();
        mine_.zName = "forgetful";
        mine_.xOpen = &open;
        mine_.xDelete = &remove;
        sqlite3_vfs_register(&mine_, 1);
        durable().clear();
    }
    ForgetfulDisk(ForgetfulDisk const&) = delete;
    ForgetfulDisk& operator=(ForgetfulDisk const&) = delete;
    ~ForgetfulDisk() {
        sqlite3_vfs_unregister(&mine_);
        sqlite3_vfs_register(system(), 1);
    }

    /// Puts what would be there after a loss of power into a folder.
    static void after_power_loss(std::filesystem::path const& folder) {
        std::filesystem::remove_all(folder);
        std::filesystem::create_directory(folder);
        for (auto const& [path, bytes] : durable())
            std::ofstream(folder / std::filesystem::path(path).filename(), std::ios::binary) << bytes;
    }

    /// How often something was brought to the disk.
    static int& syncs() {
        static int count = 0;
        return count;
    }

private:
    static sqlite3_vfs*& system() {
        static sqlite3_vfs* vfs = nullptr;
        return vfs;
    }
    static std::map<std::string, std::string>& durable() {
        static std::map<std::string, std::string> files;
        return files;
    }
    static std::map<sqlite3_file*, std::string>& names() {
        static std::map<sqlite3_file*, std::string> files;
        return files;
    }
    static std::map<sqlite3_file*, sqlite3_io_methods>& methods() {
        static std::map<sqlite3_file*, sqlite3_io_methods> files;
        return files;
    }
    static std::map<sqlite3_file*, sqlite3_io_methods const*>& plain() {
        static std::map<sqlite3_file*, sqlite3_io_methods const*> files;
        return files;
    }
    static int open(sqlite3_vfs* /*vfs*/, char const* name, sqlite3_file* file, int flags, int* out) {
        int const result = system()->xOpen(system(), name, file, flags, out);
        if (result == SQLITE_OK && (flags & (SQLITE_OPEN_MAIN_DB | SQLITE_OPEN_WAL)) != 0) {
            names()[file] = name;
            plain()[file] = file->pMethods;
            methods()[file] = *file->pMethods;
            methods()[file].xSync = &sync;
            file->pMethods = &methods()[file];
        }
        return result;
    }
    static int sync(sqlite3_file* file, int flags) {
        int const result = plain()[file]->xSync(file, flags);
        ++syncs();
        durable()[names()[file]] = content_of(names()[file]);
        return result;
    }
    static int remove(sqlite3_vfs* /*vfs*/, char const* name, int and_sync) {
        durable().erase(name);
        return system()->xDelete(system(), name, and_sync);
    }

    sqlite3_vfs mine_{};
};

} // namespace seamhold::test

#endif
