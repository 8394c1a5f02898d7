#ifndef SEAMHOLD_TESTS_SUPPORT_SEEDS_HPP
#define SEAMHOLD_TESTS_SUPPORT_SEEDS_HPP

#include <cstdint>
#include <vector>

namespace seamhold::test {

/// The seeds of every Random made in the running test case, for the runner to print when a check fails.
std::vector<std::uint64_t>& seeds_in_use();

} // namespace seamhold::test

#endif
