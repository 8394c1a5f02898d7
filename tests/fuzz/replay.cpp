#include <doctest/doctest.h>

#include "support/random.hpp"

#include <cstddef>
#include <cstdint>
#include <vector>

// The fuzz targets of this folder over random bytes, so that every compiler and every run of the tests has
// been through them. `sh tests/fuzz/run` looks for bytes that break something, and takes longer.

extern "C" int LLVMFuzzerTestOneInput(std::uint8_t const* data, std::size_t size);

TEST_CASE("random datagrams break nothing") {
    seamhold::test::Random random(20);
    for (std::size_t run = 0; run < seamhold::test::runs(1000); ++run) {
        std::vector<std::uint8_t> bytes(1 + random.index(400));
        for (auto& b : bytes)
            b = static_cast<std::uint8_t>(random.index(256));
        CHECK(LLVMFuzzerTestOneInput(bytes.data(), bytes.size()) == 0);
    }
    CHECK(LLVMFuzzerTestOneInput(nullptr, 0) == 0);
}
