#ifndef SEAMHOLD_TESTS_SUPPORT_RANDOM_HPP
#define SEAMHOLD_TESTS_SUPPORT_RANDOM_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <random>

// Random numbers for tests. The seed is fixed in the test, so that a failure can be repeated; when a check
// fails, the runner prints the seeds of every Random made in that test case.

namespace seamhold::test {

/// A stream of random numbers from a fixed seed. The numbers are the same on every compiler and library: they
/// are made from the bits of std::mt19937_64 here, not by the distributions of <random>.
class Random {
public:
    /// A stream that starts from `seed`.
    explicit Random(std::uint64_t seed);

    /// Uniform in [0, 1), a multiple of 2^-53.
    double unit() { return static_cast<double>(engine_() >> 11U) * 0x1p-53; }

    /// Uniform in [low, high).
    double uniform(double low, double high) { return low + (high - low) * unit(); }

    /// A uniform whole number in 0 … count - 1, for count > 0 (the bias of the remainder is below count /
    /// 2^64).
    std::size_t index(std::size_t count) { return static_cast<std::size_t>(engine_() % count); }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller, 1958).
    double normal();

    /// Uniform on the unit sphere in N dimensions (N normal numbers, scaled to length 1). With N = 4 it is a
    /// uniform rotation as a quaternion.
    template <std::size_t N> std::array<double, N> on_sphere();

private:
    std::mt19937_64 engine_;
};

/// How often a random check runs: `count` times the environment variable SEAMHOLD_RUNS_SCALE (1 where it is
/// not set), at least once. A nightly run sets it to 1000. Throws std::runtime_error where the variable is
/// not a positive number.
std::size_t runs(std::size_t count);

/// The length of a vector, scaled to 1; false where the length is too near zero to do so.
bool scale_to_unit(double* numbers, std::size_t count);

template <std::size_t N> std::array<double, N> Random::on_sphere() {
    std::array<double, N> numbers{};
    do {
        for (double& number : numbers) {
            number = normal();
        }
    } while (!scale_to_unit(numbers.data(), N));
    return numbers;
}

} // namespace seamhold::test

#endif
