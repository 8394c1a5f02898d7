#include "seamhold/record/residual_spectrum.hpp"

#include "seamhold/record/residual_paths.hpp"

#include "record/slow_noise.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// The sum that a transform is, in long doubles.
std::vector<std::complex<double>> plain_transform(std::vector<std::complex<double>> const& x) {
    std::size_t const n = x.size();
    std::vector<std::complex<double>> result;
    for (std::size_t f = 0; f < n; ++f) {
        std::complex<long double> sum = 0;
        for (std::size_t k = 0; k < n; ++k)
            sum += std::complex<long double>(x[k]) *
                   std::polar(1.0L, -2 * std::numbers::pi_v<long double> *
                                        static_cast<long double>((f * k) % n) / static_cast<long double>(n));
        result.emplace_back(static_cast<double>(sum.real()), static_cast<double>(sum.imag()));
    }
    return result;
}

// Mean products of residuals `lag` cells apart, channel a earlier than channel b, over all parts and cells.
double mean_product(std::vector<std::vector<double>> const& parts, std::size_t cells, std::size_t a,
                    std::size_t b, std::size_t lag) {
    double sum = 0;
    for (auto const& part : parts)
        for (std::size_t i = 0; i + lag < cells; ++i)
            sum += part[a * cells + i] * part[b * cells + i + lag];
    return sum / static_cast<double>(parts.size() * (cells - lag));
}

// What a spectrum gathers of parts that are learnt one after the other, means and deviations summed anew each
// time.
ResidualSpectrum gathered(SlowNoise const& law, Random& random, std::size_t count) {
    ResidualSpectrum spectrum(law.channels, law.cells);
    std::size_t const all = law.channels * law.cells;
    std::vector<double> sum(all), squares(all); // about the true mean, so that nothing is lost
    for (std::size_t j = 1; j <= count; ++j) {
        auto const part = law.readings(law.residuals(random));
        std::vector<double> departures(all), deviations(all);
        for (std::size_t k = 0; k < all; ++k) {
            double const x = part[k] - SlowNoise::mean(k % law.cells), n = static_cast<double>(j);
            departures[k] = j > 1 ? x - sum[k] / (n - 1) : x;
            sum[k] += x;
            squares[k] += x * x;
            deviations[k] = j > 1 ? std::sqrt((squares[k] - sum[k] * sum[k] / n) / (n - 1)) : 0;
        }
        spectrum.add(departures, deviations, j);
    }
    return spectrum;
}

std::vector<std::vector<double>> drawn_parts(ResidualPaths const& paths, std::size_t pairs,
                                             std::uint64_t seed) {
    RandomNumbers random(seed);
    std::size_t const start = std::min<std::size_t>(3, paths.period() - paths.cells()); // any place will do
    std::vector<std::vector<double>> parts;
    for (std::size_t p = 0; p < pairs; ++p) {
        auto const pair = paths.draw(random);
        for (auto const* const path : {&pair.first, &pair.second}) {
            auto const offsets = paths.draw_offsets(random);
            std::vector<double> part;
            for (std::size_t c = 0; c < paths.channels(); ++c)
                for (std::size_t i = 0; i < paths.cells(); ++i)
                    part.push_back((*path)[c * paths.period() + start + i] + offsets[c]);
            parts.push_back(std::move(part));
        }
    }
    return parts;
}

} // namespace

TEST_CASE("the transform is the sum that it stands for") {
    Random random(911);
    for (std::size_t const n : {1U, 2U, 4U, 8U, 64U, 256U}) {
        std::vector<std::complex<double>> x;
        for (std::size_t i = 0; i < n; ++i) {
            double const real = random.normal();
            x.emplace_back(real, random.normal());
        }
        auto const wanted = plain_transform(x);
        detail::FourierTransform const transform(n);
        transform(x);
        for (std::size_t i = 0; i < n; ++i) // rounding of log2 n ≤ 8 steps of numbers of size √n
            CHECK(std::abs(x[i] - wanted[i]) < 1e-14 * std::sqrt(static_cast<double>(n)) * 4);
    }
    CHECK(detail::padded(1) == 2);
    CHECK(detail::padded(64) == 128);
    CHECK(detail::padded(65) == 256);
}

TEST_CASE("sums are those of the residuals' transforms, by their definition") {
    std::size_t const cells = 5, channels = 2, all = 10;
    Random random(912);
    ResidualSpectrum spectrum(channels, cells);
    std::vector<double> power(2 * 9), offsets(4);
    std::vector<std::complex<double>> cross(9);
    for (std::uint64_t const parts : {4U, 9U}) {
        std::vector<double> departures, deviations;
        for (std::size_t k = 0; k < all; ++k) {
            departures.push_back(random.uniform(-1, 1));
            deviations.push_back(random.uniform(1, 2));
        }
        spectrum.add(departures, deviations, parts);
        std::vector<std::vector<std::complex<double>>> without;
        std::vector<double> means;
        for (std::size_t c = 0; c < channels; ++c) {
            std::vector<std::complex<double>> r(16), w(16);
            double mean = 0;
            for (std::size_t i = 0; i < cells; ++i) {
                r[i] = std::sqrt(1 - 1.0 / static_cast<double>(parts)) * departures[c * cells + i] /
                       deviations[c * cells + i];
                mean += r[i].real() / 5;
            }
            for (std::size_t i = 0; i < cells; ++i)
                w[i] = r[i] - mean;
            auto const z = plain_transform(r);
            for (std::size_t f = 0; f < 9; ++f)
                power[c * 9 + f] += std::norm(z[f]);
            without.push_back(plain_transform(w));
            means.push_back(mean);
        }
        for (std::size_t f = 0; f < 9; ++f)
            cross[f] += without[1][f] * std::conj(without[0][f]);
        for (std::size_t k = 0; k < 4; ++k)
            offsets[k] += means[k / 2] * means[k % 2];
    }
    auto const& sums = spectrum.sums();
    CHECK(sums.parts == 2);
    CHECK(sums.inverse_degrees == doctest::Approx(1.0 / 3 + 1.0 / 8).epsilon(1e-15));
    for (std::size_t k = 0; k < power.size(); ++k) // sums of a few numbers of order 1
        CHECK(std::abs(sums.power[k] - power[k]) < 1e-13);
    for (std::size_t f = 0; f < 9; ++f) {
        CHECK(std::abs(sums.cross[f * 4 + 2] - cross[f].real()) < 1e-13);
        CHECK(std::abs(sums.cross[f * 4 + 1] - cross[f].imag()) < 1e-13);
    }
    for (std::size_t k = 0; k < 4; ++k)
        CHECK(std::abs(sums.offsets[k] - offsets[k]) < 1e-14);
}

TEST_CASE("residuals have variance 1 from the second part on, and normal readings have normal tails") {
    SlowNoise const law{1, 40, 3, 0.3, 0};
    Random random(913);
    std::size_t const count = runs(300);
    for (std::size_t const parts : {2U, 3U, 5U, 12U}) {
        double mean = 0, weight = 0, square = 0;
        for (std::size_t t = 0; t < count; ++t) {
            auto const spectrum = gathered(law, random, parts);
            auto const& sums = spectrum.sums();
            // Parseval: the mean square is the mean power over the period, halves counted twice.
            double power = 0;
            for (std::size_t f = 0; f < sums.power.size(); ++f)
                power += sums.power[f] * (f == 0 || f + 1 == sums.power.size() ? 1 : 2);
            double const now = power / static_cast<double>(128 * law.cells * sums.parts);
            mean += now / static_cast<double>(count);
            square += now * now / static_cast<double>(count);
            weight += spectrum.tail_weight() / static_cast<double>(count);
        }
        // Five errors of the mean; the tails scatter more.
        double const error = std::sqrt(std::max(square - mean * mean, 0.0) / static_cast<double>(count));
        CAPTURE(parts);
        CHECK(std::abs(mean - 1) < 5 * error + 1e-9);
        CHECK(std::abs(weight - 1) < 0.06);
    }
}

TEST_CASE("drawn parts have the covariance of the noise along the seam, also of slow noise and far apart") {
    // 2000 parts: what is learnt of the deviations, and the scatter of the sums, hardly matters.
    for (double const offset : {0.0, 0.5}) {
        SlowNoise const law{1, 100, 8, offset, 0};
        Random random(914);
        ResidualPaths const paths(gathered(law, random, 2000).sums());
        auto const parts = drawn_parts(paths, 1500, 3);
        CAPTURE(offset);
        double const unit = law.covariance(0);
        auto const truth = [&](double lag) { return offset + (1 - offset) * law.covariance(lag) / unit; };
        double const variance = mean_product(parts, law.cells, 0, 0, 0);
        // 3000 parts that swing slowly: the mean of squares of a part scatters by some 0.9.
        CHECK(std::abs(variance - 1) < 5 * 0.9 / std::sqrt(3000.0));
        for (std::size_t const lag : {1U, 2U, 4U, 8U, 16U, 32U, 50U}) {
            CAPTURE(lag);
            double const r = mean_product(parts, law.cells, 0, 0, lag) / variance;
            CHECK(std::abs(r - truth(static_cast<double>(lag))) < 0.03);
            // How rough a path is decides how often it leaves a band: its increments, to 5 %. A spectrum
            // without a correction for the seam's end has 1/cells = 0.01 more at lag 1: near double.
            if (lag <= 4)
                CHECK((1 - r) / (1 - truth(static_cast<double>(lag))) == doctest::Approx(1).epsilon(0.05));
        }
        CHECK(std::abs(mean_product(parts, law.cells, 0, 0, 90) / variance - truth(90)) < 0.12);
    }
}

TEST_CASE("deviations from very few parts do not make the noise look less alike") {
    // Sums over many bands of five parts each. Without a correction correlations of 0.5 come out near 0.4.
    SlowNoise const law{1, 60, 6, 0.2, 0};
    Random random(918);
    auto sums = gathered(law, random, 5).sums();
    std::size_t const bands = 600;
    for (std::size_t b = 1; b < bands; ++b) {
        auto const more = gathered(law, random, 5).sums();
        sums.parts += more.parts;
        sums.inverse_degrees += more.inverse_degrees;
        for (std::size_t k = 0; k < sums.power.size(); ++k)
            sums.power[k] += more.power[k];
        for (std::size_t k = 0; k < sums.cross.size(); ++k)
            sums.cross[k] += more.cross[k];
        sums.offsets[0] += more.offsets[0];
    }
    auto const parts = drawn_parts(ResidualPaths(sums), 1500, 8);
    double const variance = mean_product(parts, law.cells, 0, 0, 0), unit = law.covariance(0);
    for (std::size_t const lag : {4U, 10U, 20U, 30U}) {
        CAPTURE(lag);
        double const truth = 0.2 + 0.8 * law.covariance(static_cast<double>(lag)) / unit;
        CHECK(std::abs(mean_product(parts, law.cells, 0, 0, lag) / variance - truth) < 0.04);
    }
}

TEST_CASE("channels go together as they did, and the later one is later") {
    SlowNoise law{2, 128, 4, 0.2, 0.7};
    law.late = 6;
    Random random(915);
    ResidualPaths const paths(gathered(law, random, 2000).sums());
    auto const parts = drawn_parts(paths, 1500, 4);
    double const unit = law.covariance(0);
    for (int const lag : {-20, -6, 0, 3, 6, 9, 20}) {
        CAPTURE(lag);
        double const truth = 0.7 * (0.2 + 0.8 * law.covariance(lag - 6.0) / unit);
        auto const apart = static_cast<std::size_t>(std::abs(lag));
        double const seen =
            lag < 0 ? mean_product(parts, 128, 1, 0, apart) : mean_product(parts, 128, 0, 1, apart);
        CHECK(std::abs(seen - truth) < 0.06);
    }
}

TEST_CASE("few parts, one cell, a channel that never changes, one that copies another: paths all the same") {
    Random random(916);
    SUBCASE("one cell") {
        SlowNoise const law{2, 1, 1, 0.2, 0.5};
        ResidualPaths const paths(gathered(law, random, 500).sums());
        auto const parts = drawn_parts(paths, 3000, 5);
        CHECK(std::abs(mean_product(parts, 1, 0, 0, 0) - 1) < 0.1);   // 5 errors of a mean of 6000 squares
        CHECK(std::abs(mean_product(parts, 1, 0, 1, 0) - 0.5) < 0.2); // and of 500 products
    }
    SUBCASE("two parts of five channels") {
        SlowNoise const law{5, 20, 2, 0.2, 0.5};
        ResidualPaths const paths(gathered(law, random, 2).sums());
        for (auto const& part : drawn_parts(paths, 20, 6))
            for (double const x : part)
                CHECK(std::isfinite(x));
    }
    SUBCASE("still and copied") {
        ResidualSpectrum spectrum(3, 20);
        SlowNoise const law{1, 20, 2, 0.2, 0};
        for (std::uint64_t j = 2; j < 50; ++j) {
            auto const one = law.residuals(random);
            std::vector<double> departures(one), deviations(40, 2.0);
            departures.insert(departures.end(), one.begin(), one.end());
            departures.resize(60);
            deviations.resize(60);
            spectrum.add(departures, deviations, j);
        }
        for (auto const& part : drawn_parts(ResidualPaths(spectrum.sums()), 20, 7))
            for (std::size_t i = 0; i < 20; ++i) {
                CHECK(std::abs(part[i] - part[20 + i]) < 1e-5); // the square root of a rounded 0
                CHECK(part[40 + i] == 0);
            }
    }
}

TEST_CASE("memory does not grow, and sums that were kept go on as if nothing had been") {
    SlowNoise const law{2, 30, 3, 0.2, 0.5};
    Random random(917);
    auto const whole = gathered(law, random, 12);
    CHECK(whole.sums().power.size() == 2 * 33);
    CHECK(whole.sums().cross.size() == 4 * 33);
    ResidualSpectrum const kept(whole.sums());
    CHECK(kept.sums().power == whole.sums().power);
    CHECK(kept.tail_weight() == whole.tail_weight());
    ResidualSpectrum one(whole), two(kept);
    std::vector<double> const departures(60, 0.5), deviations(60, 1.0);
    one.add(departures, deviations, 13);
    two.add(departures, deviations, 13);
    CHECK(one.sums().cross == two.sums().cross);
}

TEST_CASE("residuals refuse what is none") {
    CHECK(has(refusal_of([] { return ResidualSpectrum(0, 4); }), "one channel and one cell"));
    CHECK(has(refusal_of([] { return ResidualSpectrum(2, 0); }), "one channel and one cell"));
    CHECK(has(refusal_of([] { return ResidualSpectrum(2, 2'000'000); }), "a million cells"));
    ResidualSpectrum spectrum(1, 3);
    auto const add = [&](std::vector<double> const& departures, std::vector<double> const& deviations) {
        return refusal_of([&] {
            spectrum.add(departures, deviations, 5);
            return 0;
        });
    };
    double const nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(has(add({1, 1}, {1, 1, 1}), "1 channels × 3 cells"));
    CHECK(has(add({1, nan, 1}, {1, 1, 1}), "number 2"));
    CHECK(has(add({1, 1, 1}, {1, 1, -1}), "number 3"));
    CHECK(spectrum.sums().parts == 0);
    auto sums = spectrum.sums();
    CHECK(has(refusal_of([&] { return ResidualPaths(sums); }), "two good parts"));
    sums.cells = 100;
    CHECK(has(refusal_of([&] { return ResidualSpectrum(sums); }), "do not fit"));
    sums.cells = 3;
    sums.power[1] = nan;
    CHECK(has(refusal_of([&] { return ResidualSpectrum(sums); }), "not sound"));
    sums.power[1] = -1;
    CHECK(has(refusal_of([&] { return ResidualSpectrum(sums); }), "not sound"));
}
