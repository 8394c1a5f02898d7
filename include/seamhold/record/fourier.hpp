#ifndef SEAMHOLD_RECORD_FOURIER_HPP
#define SEAMHOLD_RECORD_FOURIER_HPP

#include <bit>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

namespace seamhold::detail {

/// a b, without the care for infinities that std::complex takes.
inline std::complex<double> times(std::complex<double> const& a, std::complex<double> const& b) {
    return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

/// The discrete Fourier transform of a length that is a power of two, by halving (J. Cooley, J. Tukey, "An
/// algorithm for the machine calculation of complex Fourier series", Math. Comp. 19, 1965; from memory).
/// Rounding grows as the logarithm of the length: below 1e-14 of the root of the mean square up to 2²⁰.
class FourierTransform {
public:
    /// For a `size` that is a power of two.
    explicit FourierTransform(std::size_t size) : size_(size) {
        for (std::size_t i = 0; i < size / 2; ++i) {
            double const angle = 2 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(size);
            turns_.emplace_back(std::cos(angle), -std::sin(angle));
        }
    }

    /// How many numbers it takes.
    std::size_t size() const { return size_; }

    /// Σ x_k exp(−2πi f k / size) over k for each f, in place.
    void operator()(std::span<std::complex<double>> x) const {
        for (std::size_t i = 1, k = 0; i < size_; ++i) { // k: i with its bits turned about
            std::size_t bit = size_ >> 1U;
            for (; (k & bit) != 0; bit >>= 1U)
                k ^= bit;
            k ^= bit;
            if (i < k)
                std::swap(x[i], x[k]);
        }
        for (std::size_t half = 1; half < size_; half *= 2)
            for (std::size_t start = 0; start < size_; start += 2 * half)
                for (std::size_t i = 0; i < half; ++i) {
                    auto& a = x[start + i];
                    auto& b = x[start + i + half];
                    auto const turned = times(b, turns_[i * (size_ / (2 * half))]);
                    b = a - turned;
                    a += turned;
                }
    }

private:
    std::size_t size_;
    std::vector<std::complex<double>> turns_; // exp(−2πi k / size)
};

/// The length for so many cells: the least power of two that holds them twice, so that products of cells up
/// to the whole seam apart do not meet around the end.
inline std::size_t padded(std::size_t cells) { return std::bit_ceil(2 * cells); }

} // namespace seamhold::detail

#endif
