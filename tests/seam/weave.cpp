#include "seamhold/seam/weave.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

using namespace seamhold;

namespace {

double const pi = std::numbers::pi;
double const epsilon = std::numeric_limits<double>::epsilon();

Weave form(WeaveForm f) {
    Weave w{200, 0.0008};
    w.form = f;
    return w;
}

} // namespace

TEST_CASE("each form of weave is the curve it is named for") {
    double const a = 0.0008;
    for (int i = 0; i <= 200; ++i) {
        double const time = i * 5e-5;
        double const phase = 2 * pi * 200 * time;
        double const bound = (phase + 4) * epsilon * a; // the phase's own rounding
        auto const sine = form(WeaveForm::sine).at(time);
        CHECK(sine.along == 0);
        CHECK(std::abs(sine.across - a * std::sin(phase)) <= bound);
        // A circle is round and begins behind the seam's point.
        auto const circle = form(WeaveForm::circle).at(time);
        CHECK(std::abs(std::hypot(circle.along, circle.across) - a) <= 4 * epsilon * a);
        CHECK(std::abs(circle.along + a * std::cos(phase)) <= bound);
        // A figure eight in Lissajous' form: along² = across² (1 − across²/a²).
        auto const eight = form(WeaveForm::figure_eight).at(time);
        double const y = eight.across / a;
        CHECK(std::abs(eight.across - a * std::sin(phase)) <= bound);
        CHECK(std::abs(eight.along * eight.along / (a * a) - y * y * (1 - y * y)) <= 4 * epsilon);
        // A triangle never passes its tips and is a straight line of slope 4 amplitude a period between them,
        // as near as the tips are sharp.
        auto const triangle = form(WeaveForm::triangle).at(time);
        CHECK(triangle.along == 0);
        CHECK(std::abs(triangle.across) <= a * (1 + 2 * epsilon));
        auto sharp = form(WeaveForm::triangle);
        sharp.tip = 1e-4;
        double const turns = phase / (2 * pi);
        double const saw = 4 * std::abs(turns + 0.25 - std::floor(turns + 0.75)) - 1; // the triangle itself
        CHECK(std::abs(sharp.at(time).across - a * saw) <= a * 1e-4);
    }
}

TEST_CASE("a triangle's tip 1 is a sine, and its rounding is that of its tip") {
    auto round = form(WeaveForm::triangle);
    round.tip = 1;
    auto nearly = round;
    nearly.tip = 0.999999;
    auto const sine = form(WeaveForm::sine);
    for (double const time : {0.0, 0.0003, 0.00125, 0.0031}) {
        CHECK(round.at(time).across == sine.at(time).across);
        CHECK(std::abs(nearly.at(time).across - sine.at(time).across) <= 1e-6 * 0.0008);
    }
    // At a tip y″ by phase is −k / (tip · asin k), k² = 1 − tip² (asin's chain rule by hand).
    using T = Taylor<double, 2>;
    auto weave = form(WeaveForm::triangle);
    weave.tip = 0.2;
    double const omega = 2 * pi * 200;
    double const k = std::sqrt(1 - 0.04);
    auto const y = weave.at(T::variable(0.25 / 200)).across;
    CHECK(y.value() == doctest::Approx(0.0008).epsilon(1e-14));
    CHECK(y.derivative(2) ==
          doctest::Approx(-0.0008 * k / (0.2 * std::asin(k)) * omega * omega).epsilon(1e-12));
}

TEST_CASE("frequency and amplitude grow evenly") {
    Weave const weave{100, 0.0002, WeaveForm::sine, 400, 0.002};
    // After 0.25 s: 200 Hz, 0.7 mm; the phase is 2π (100 · 0.25 + 200 · 0.0625) = 2π · 37.5.
    auto const y = weave.at(Taylor<double, 1>::variable(0.25)).across;
    CHECK(std::abs(y.value()) <= 1e-15); // half a turn of 236 rad: 236 units in the last place of 0.7 mm
    CHECK(y.derivative(1) == doctest::Approx(-0.0007 * 2 * pi * 200).epsilon(1e-12));
    CHECK(weave.largest_amplitude(0.25) == doctest::Approx(0.0007).epsilon(1e-14));
}

TEST_CASE("law: a weave at any number is the same weave, with finite true derivatives") {
    using T = Taylor<double, 3>;
    for (auto const f : {WeaveForm::sine, WeaveForm::circle, WeaveForm::figure_eight, WeaveForm::triangle}) {
        Weave weave = form(f);
        weave.frequency_growth = 30;
        weave.amplitude_growth = 0.001;
        for (double const time : {0.0, 1e-9, 0.0011, 0.00125, 0.1}) {
            auto const plain = weave.at(time);
            auto const rates = weave.at(T::variable(time));
            CHECK(std::abs(rates.across.value() - plain.across) <= 4 * epsilon * 0.001);
            CHECK(std::abs(rates.along.value() - plain.along) <= 4 * epsilon * 0.001);
            CHECK(is_finite(rates.across));
            auto const by = weave.at(Gradient<double, 1>::variable(time, 0));
            CHECK(by.across.partial[0] == doctest::Approx(rates.across.derivative(1)).epsilon(1e-12));
            CHECK(by.along.partial[0] == doctest::Approx(rates.along.derivative(1)).epsilon(1e-12));
            // Differences over 1 ns: the third derivative times h² and rounding over h.
            double const h = 1e-9;
            double const slope = (weave.at(time + h).across - weave.at(time - h).across) / (2 * h);
            CHECK(std::abs(rates.across.derivative(1) - slope) <= 1e-6);
            auto const coarse = weave.at(static_cast<float>(time));
            CHECK(std::abs(static_cast<double>(coarse.across) - plain.across) <= 1e-3 * 0.001);
        }
    }
}

TEST_CASE("weaves that cannot be are refused") {
    auto const refused = [](Weave const& weave) {
        try {
            (void)checked(weave, 0.5);
        } catch (BadInput const& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    CHECK(refused({300, 0.0005}).empty());
    CHECK(refused({-1, 0.0005}).find("frequency") != std::string::npos);
    CHECK(refused({300, -0.0005}).find("amplitude") != std::string::npos);
    CHECK(refused({300, 0.0005, WeaveForm::sine, -700}).find("at the end") != std::string::npos);
    CHECK(refused({300, 0.0005, WeaveForm::sine, 0, -0.0011}).find("at the end") != std::string::npos);
    CHECK(refused({300, 0.0005, WeaveForm::sine, 0, -0.001}).empty()); // dies out at the end
    CHECK(refused({300, 0.0005, WeaveForm::triangle, 0, 0, 0}).find("tip") != std::string::npos);
    CHECK(refused({std::numeric_limits<double>::quiet_NaN(), 0.0005}).find("frequency") != std::string::npos);
}
