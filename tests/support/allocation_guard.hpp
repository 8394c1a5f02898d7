#ifndef SEAMHOLD_TESTS_SUPPORT_ALLOCATION_GUARD_HPP
#define SEAMHOLD_TESTS_SUPPORT_ALLOCATION_GUARD_HPP

#include <cstddef>

// Proves that a stretch of code does not touch the heap:
//
//     AllocationGuard guard;
//     auto const command = follower.at(time);
//     CHECK(guard.count() == 0);
//
// It counts malloc and its kin, which operator new, std containers and Eigen's own matrices all end in.

namespace seamhold::test {

/// Counts this thread's heap allocations since it was made. Guards nest.
class AllocationGuard {
public:
    /// Starts counting.
    AllocationGuard();

    /// Heap allocations of this thread since this guard was made. Always 0 where `counts()` is false.
    [[nodiscard]] std::size_t count() const;

    /// Whether allocations are counted in this build: with glibc, and without AddressSanitizer and
    /// ThreadSanitizer, which have their own malloc.
    static bool counts();

private:
    std::size_t before_;
};

} // namespace seamhold::test

#endif
