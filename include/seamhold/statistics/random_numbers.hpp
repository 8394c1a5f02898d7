#ifndef SEAMHOLD_STATISTICS_RANDOM_NUMBERS_HPP
#define SEAMHOLD_STATISTICS_RANDOM_NUMBERS_HPP

#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>

namespace seamhold {

/// Random numbers from a seed, the same on every compiler and library (the normal ones to the last bits of
/// the C library's logarithm): those of the standard library are not. The generator is xoshiro256++ with its
/// state filled by splitmix64. Sources: D. Blackman, S. Vigna, "Scrambled linear pseudorandom number
/// generators", ACM Trans. Math. Softw. 47(4), 2021; G. Steele, D. Lea, C. Flood, "Fast splittable
/// pseudorandom number generators", OOPSLA 2014 (both from memory). Not for secrets.
class RandomNumbers {
public:
    /// A stream that starts from `seed`.
    explicit RandomNumbers(std::uint64_t seed) {
        for (auto& word : state_) {
            seed += 0x9e3779b97f4a7c15U;
            std::uint64_t z = seed;
            z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
            z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
            word = z ^ (z >> 31U);
        }
    }

    /// A stream from a whole state, which must not be 0 throughout.
    explicit RandomNumbers(std::array<std::uint64_t, 4> const& state) : state_(state) {}

    /// The next 64 bits.
    std::uint64_t bits() {
        std::uint64_t const result = std::rotl(state_[0] + state_[3], 23) + state_[0];
        std::uint64_t const shifted = state_[1] << 17U;
        state_[2] ^= state_[0];
        state_[3] ^= state_[1];
        state_[1] ^= state_[2];
        state_[0] ^= state_[3];
        state_[2] ^= shifted;
        state_[3] = std::rotl(state_[3], 45);
        return result;
    }

    /// Evenly spread in [0, 1), a multiple of 2⁻⁵³.
    double unit() { return static_cast<double>(bits() >> 11U) * 0x1p-53; }

    /// Evenly spread with mean 0 and deviation 1: from −√3 to √3.
    double uniform() { return (2 * unit() - 1) * std::numbers::sqrt3; }

    /// Normal with mean 0 and deviation 1, by the polar method. Source: G. Marsaglia, T. Bray, "A convenient
    /// method for generating normal variables", SIAM Review 6(3), 1964 (from memory).
    double normal() {
        if (has_spare_) {
            has_spare_ = false;
            return spare_;
        }
        double x = 0, y = 0, square = 0;
        do {
            x = 2 * unit() - 1;
            y = 2 * unit() - 1;
            square = x * x + y * y;
        } while (!(square < 1 && square > 0));
        double const scale = std::sqrt(-2 * std::log(square) / square);
        spare_ = scale * y;
        has_spare_ = true;
        return scale * x;
    }

private:
    std::array<std::uint64_t, 4> state_{};
    double spare_ = 0;
    bool has_spare_ = false;
};

} // namespace seamhold

#endif
