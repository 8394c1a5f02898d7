#ifndef SEAMHOLD_TESTS_FILE_SMALL_DISK_HPP
#define SEAMHOLD_TESTS_FILE_SMALL_DISK_HPP

#include <csignal>
#include <sys/resource.h>

namespace seamhold::test {

/// As long as it lives, no file may grow beyond some bytes: as good as a full disk.
class SmallDisk {
public:
    explicit SmallDisk(rlim_t bytes) : handler_(std::signal(SIGXFSZ, SIG_IGN)) {
        ::getrlimit(RLIMIT_FSIZE, &before_);
        rlimit const small{bytes, before_.rlim_max};
        ::setrlimit(RLIMIT_FSIZE, &small);
    }
    SmallDisk(SmallDisk const&) = delete;
    SmallDisk& operator=(SmallDisk const&) = delete;
    ~SmallDisk() {
        ::setrlimit(RLIMIT_FSIZE, &before_);
        std::signal(SIGXFSZ, handler_);
    }

private:
    rlimit before_{};
    void (*handler_)(int);
};

} // namespace seamhold::test

#endif
