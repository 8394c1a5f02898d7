#include "random.hpp"

#include "seeds.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <numbers>
#include <stdexcept>
#include <string>

namespace seamhold::test {

Random::Random(std::uint64_t seed) : engine_(seed) { seeds_in_use().push_back(seed); }

double Random::normal() {
    double const radius = std::sqrt(-2.0 * std::log(1.0 - unit()));
    return radius * std::cos(2.0 * std::numbers::pi * unit());
}

std::size_t runs(std::size_t count) {
    char const* const text = std::getenv("SEAMHOLD_RUNS_SCALE");
    if (text == nullptr || *text == '\0') {
        return count;
    }
    char* end = nullptr;
    double const scale = std::strtod(text, &end);
    if (*end != '\0' || !(scale > 0.0) || scale > 1e9) {
        throw std::runtime_error("SEAMHOLD_RUNS_SCALE is \"" + std::string(text) +
                                 "\"; a number above 0 and up to 1e9 is allowed");
    }
    return std::max<std::size_t>(1, static_cast<std::size_t>(static_cast<double>(count) * scale));
}

bool scale_to_unit(double* numbers, std::size_t count) {
    double squares = 0.0;
    for (std::size_t i = 0; i < count; ++i) {
        squares += numbers[i] * numbers[i];
    }
    double const length = std::sqrt(squares);
    if (length < 1e-3) {
        return false;
    }
    for (std::size_t i = 0; i < count; ++i) {
        numbers[i] /= length;
    }
    return true;
}

std::vector<std::uint64_t>& seeds_in_use() {
    static thread_local std::vector<std::uint64_t> seeds;
    return seeds;
}

} // namespace seamhold::test
