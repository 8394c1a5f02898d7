#include "seamhold/number/bad_input.hpp"

#include <doctest/doctest.h>

#include <stdexcept>
#include <string>

TEST_CASE("bad input is an invalid argument that keeps its message") {
    try {
        throw seamhold::BadInput("row 3: the norm is 0.7, allowed is 1");
    } catch (std::invalid_argument const& error) {
        CHECK(std::string(error.what()) == "row 3: the norm is 0.7, allowed is 1");
    }
}

TEST_CASE("a message shows small and nearly equal numbers as they are") {
    CHECK(seamhold::detail::text_of(1e-9) == "1e-09");
    CHECK(seamhold::detail::text_of(1.0000012) == "1.0000012");
    CHECK(seamhold::detail::text_of(0.25) == "0.25");
    CHECK(seamhold::detail::text_of(-3) == "-3");
}
