#include "allocation_guard.hpp"

#include <cerrno>
#include <cstdlib>

#if defined(SEAMHOLD_TESTS_COUNT_ALLOCATIONS)
#elif defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define SEAMHOLD_TESTS_COUNT_ALLOCATIONS 0
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define SEAMHOLD_TESTS_COUNT_ALLOCATIONS 0
#endif
#endif
#if !defined(SEAMHOLD_TESTS_COUNT_ALLOCATIONS)
#if defined(__GLIBC__)
#define SEAMHOLD_TESTS_COUNT_ALLOCATIONS 1
#else
#define SEAMHOLD_TESTS_COUNT_ALLOCATIONS 0
#endif
#endif

namespace {
thread_local std::size_t allocations = 0;
} // namespace

#if SEAMHOLD_TESTS_COUNT_ALLOCATIONS

// glibc lets a program bring its own malloc ("Replacing malloc" in its manual) and keeps the original ones
// under these names.
extern "C" {
void* __libc_malloc(std::size_t size);
void* __libc_calloc(std::size_t count, std::size_t size);
void* __libc_realloc(void* block, std::size_t size);
void* __libc_memalign(std::size_t alignment, std::size_t size);

void* malloc(std::size_t size) {
    ++allocations;
    return __libc_malloc(size);
}
void* calloc(std::size_t count, std::size_t size) {
    ++allocations;
    return __libc_calloc(count, size);
}
void* realloc(void* block, std::size_t size) {
    ++allocations;
    return __libc_realloc(block, size);
}
void* memalign(std::size_t alignment, std::size_t size) {
    ++allocations;
    return __libc_memalign(alignment, size);
}
void* aligned_alloc(std::size_t alignment, std::size_t size) {
    ++allocations;
    return __libc_memalign(alignment, size);
}
int posix_memalign(void** block, std::size_t alignment, std::size_t size) {
    ++allocations;
    *block = __libc_memalign(alignment, size);
    return *block == nullptr ? ENOMEM : 0;
}
}

#endif

namespace seamhold::test {

AllocationGuard::AllocationGuard() : before_(allocations) {}

std::size_t AllocationGuard::count() const { return allocations - before_; }

bool AllocationGuard::counts() { return SEAMHOLD_TESTS_COUNT_ALLOCATIONS != 0; }

} // namespace seamhold::test
