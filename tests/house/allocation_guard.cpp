#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"

#include <Eigen/Dense>

#include <cstddef>
#include <memory>
#include <vector>

// The guard that the other tests rest on: it must see what it is there to see.

using seamhold::test::AllocationGuard;

namespace {

// Keeps the compiler from leaving out an allocation whose result it can see through.
void keep(void const* block) { asm volatile("" : : "g"(block) : "memory"); }

// Allocations of one call. The checks of doctest allocate themselves, so they stand outside.
template <class Call> std::size_t allocations_of(Call const& call) {
    AllocationGuard guard;
    call();
    return guard.count();
}

struct alignas(64) Wide {
    double numbers[8];
};

} // namespace

TEST_CASE("the guard counts every way to the heap") {
    if (!AllocationGuard::counts()) {
        return; // under AddressSanitizer
    }
    CHECK(allocations_of([] { keep(std::make_unique<int>(3).get()); }) == 1);
    CHECK(allocations_of([] { keep(std::make_unique<Wide>().get()); }) == 1);
    CHECK(allocations_of([] {
              std::vector<int> numbers(1);
              keep(numbers.data());
              numbers.resize(1000);
              keep(numbers.data());
          }) == 2);
    // A matrix whose size is known at run time only: Eigen calls malloc, not operator new.
    CHECK(allocations_of([] {
              Eigen::VectorXd const vector = Eigen::VectorXd::Zero(30);
              keep(vector.data());
          }) == 1);
}

TEST_CASE("the guard stays at zero where nothing is allocated") {
    CHECK(allocations_of([] {
              Eigen::Matrix4d const matrix = (Eigen::Matrix4d::Identity() * 2.0).inverse();
              keep(matrix.data());
          }) == 0);
}

TEST_CASE("guards nest") {
    if (!AllocationGuard::counts()) {
        return;
    }
    AllocationGuard outer;
    keep(std::make_unique<int>(1).get());
    AllocationGuard inner;
    keep(std::make_unique<int>(2).get());
    std::size_t const in_inner = inner.count();
    std::size_t const in_outer = outer.count();
    CHECK(in_inner == 1);
    CHECK(in_outer == 2);
}
