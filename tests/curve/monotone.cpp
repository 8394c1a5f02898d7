#include "seamhold/curve/monotone.hpp"

#include "support/allocation_guard.hpp"
#include "support/boost_autodiff.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <functional>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::not_a_number;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

std::string message_of(std::vector<double> places, std::vector<double> values) {
    return refusal_of([&] { return MonotoneTable(std::move(places), std::move(values)); });
}

// The focus of a thin lens: path against displacement, in simple numbers; smooth and strictly rising.
double smooth(double u) { return 1 / (1.5 - u); }

std::vector<double> uneven(std::size_t pieces) {
    std::vector<double> all;
    for (std::size_t i = 0; i <= pieces; ++i) {
        double const u = static_cast<double>(i) / static_cast<double>(pieces);
        all.push_back(u * (0.8 + 0.2 * u)); // steps grow from 0.8 to 1.2 of the mean
    }
    return all;
}

MonotoneTable of(std::vector<double> const& places, std::function<double(double)> const& f) {
    std::vector<double> values;
    for (double const place : places)
        values.push_back(f(place));
    return {places, values};
}

// A table of steps and plateaus: neighbouring slopes differ by up to a factor of 10⁶, either direction.
MonotoneTable wild(Random& random) {
    std::vector<double> places{random.uniform(-1, 1)}, values{random.uniform(-1, 1)};
    double const sign = random.unit() < 0.5 ? -1 : 1;
    std::size_t const rows = 2 + random.index(12);
    while (places.size() < rows) {
        places.push_back(places.back() + std::pow(10, random.uniform(-3, 0)));
        values.push_back(values.back() + sign * std::pow(10, random.uniform(-3, 0)));
    }
    return {places, values};
}

} // namespace

TEST_CASE("the table goes through its rows, and tells what it is") {
    MonotoneTable const table({0, 1, 3, 4}, {8, 5, 4, -1});
    CHECK(table.low() == 0);
    CHECK(table.high() == 4);
    CHECK(table.lowest_value() == -1);
    CHECK(table.highest_value() == 8);
    CHECK_FALSE(table.rises());
    CHECK(table.places().size() == 4);
    CHECK(table.covers(0.0));
    CHECK(table.covers(4.0));
    CHECK_FALSE(table.covers(4.001));
    CHECK_FALSE(table.covers(not_a_number));
    for (std::size_t i = 0; i < 4; ++i) {
        CHECK(std::abs(table.at(table.places()[i]) - table.values()[i]) <= 50 * epsilon); // six terms to 8
        CHECK(std::abs(table.inverse(table.values()[i]) - table.places()[i]) <= 50 * epsilon);
    }
}

TEST_CASE("two rows are a straight line, three a parabola where it does not turn") {
    MonotoneTable const line({1, 3}, {2, 6});
    for (double const x : {-1.0, 1.0, 1.7, 3.0, 10.0}) {
        CHECK(std::abs(line.at(x) - 2 * x) <= 20 * epsilon); // few roundings of numbers to 20
        CHECK(std::abs(line.inverse(2 * x) - x) <= 20 * epsilon);
    }
    auto const parabola = of({0, 0.4, 1}, [](double u) { return u + u * u; });
    CHECK(parabola.limited() == 0);
    CHECK(std::abs(parabola.at(0.7) - 1.19) <= 20 * epsilon);
}

TEST_CASE("beyond the ends it goes on straight with the slope of the end, both ways") {
    auto const table = of(uneven(8), smooth);
    for (double const side : {-1.0, 1.0}) {
        double const end = side < 0 ? table.low() : table.high();
        double const slope = table.slope_at(end);
        double const x = end + side * 0.3;
        // Some ten roundings of numbers up to 4.
        CHECK(std::abs(table.at(x) - (table.at(end) + side * 0.3 * slope)) <= 40 * epsilon);
        CHECK(table.slope_at(x) == doctest::Approx(slope).epsilon(20 * epsilon));
        CHECK(std::abs(table.inverse(table.at(x)) - x) <= 40 * epsilon);
        CHECK(table.at(Taylor<double, 2>::variable(x)).derivative(2) == 0);
    }
}

TEST_CASE("nothing is limited for smooth data, and the error falls as the fourth power of the step") {
    double last = 0;
    for (std::size_t pieces = 8; pieces <= 256; pieces *= 2) {
        auto const table = of(uneven(pieces), smooth);
        CHECK(table.limited() == 0);
        double worst = 0;
        for (int i = 0; i <= 4000; ++i) {
            double const u = i / 4000.0;
            worst = std::max(worst, std::abs(table.at(u) - smooth(u)));
        }
        double const order = std::log2(last / worst);
        MESSAGE(pieces << " pieces: error " << worst << ", order " << order);
        // Order 4 from de Boor's bound for the not-a-knot spline; the ends need a few halvings to get there.
        if (pieces >= 64)
            CHECK(order > 3.7);
        last = worst;
    }
}

TEST_CASE("wild data never turn back and stay twice continuously differentiable") {
    Random random(2311);
    std::size_t limited = 0;
    for (std::size_t n = 0; n < runs(300); ++n) {
        auto const table = wild(random);
        limited += table.limited();
        double const sign = table.rises() ? 1 : -1;
        auto const places = table.places();
        std::size_t turned = 0, jumps = 0;
        for (std::size_t i = 0; i + 1 < places.size(); ++i) {
            double const h = places[i + 1] - places[i];
            for (int k = 0; k <= 200; ++k)
                turned += sign * table.slope_at(places[i] + h * k / 200) > 0 ? 0U : 1U;
            if (i == 0)
                continue;
            // The quintic of one side and of the other, an ulp apart: value, slope and bend meet. The bend is
            // a difference of terms of the size slope/h of either side, each with some twenty roundings.
            auto const before = table.at(Taylor<double, 2>::variable(std::nextafter(places[i], -10)));
            auto const behind = table.at(Taylor<double, 2>::variable(places[i]));
            double const least = std::min(h, places[i] - places[i - 1]);
            double const steepest =
                std::max(std::abs(table.values()[i + 1] - table.values()[i]) / h,
                         std::abs(table.values()[i] - table.values()[i - 1]) / (places[i] - places[i - 1]));
            double const bits = 400 * epsilon * (1 + std::abs(places[i]) / least); // of x itself, over h
            jumps += std::abs(before.value() - behind.value()) <=
                             bits * (std::abs(behind.value()) + steepest * least)
                         ? 0U
                         : 1U;
            jumps += std::abs(before.derivative(1) - behind.derivative(1)) <= bits * 10 * steepest ? 0U : 1U;
            jumps += std::abs(before.derivative(2) - behind.derivative(2)) <= bits * 100 * steepest / least
                         ? 0U
                         : 1U;
        }
        CHECK(turned == 0);
        CHECK(jumps == 0);
    }
    CHECK(limited > 100); // the limiter was at work
}

TEST_CASE("a spline alone would turn back on these rows, the table does not") {
    std::vector<double> const places{0, 1, 2, 3, 4, 5}, values{0, 0.01, 0.02, 1.0, 1.01, 1.02};
    std::vector<std::array<double, 1>> rows;
    for (double const value : values)
        rows.push_back({value});
    auto const spline = fit_spline<1>(places, rows);
    MonotoneTable const table(places, values);
    bool spline_falls = false, table_falls = false;
    for (int i = 1; i <= 5000; ++i) {
        double const u = i / 1000.0, before = (i - 1) / 1000.0;
        auto const at = [&](double x) { return spline[std::min<std::size_t>(4, std::size_t(x))].at(x)[0]; };
        spline_falls = spline_falls || at(u) < at(before);
        table_falls = table_falls || !(table.at(u) > table.at(before));
    }
    CHECK(spline_falls);
    CHECK_FALSE(table_falls);
    CHECK(table.limited() > 0);
}

TEST_CASE("the inverse undoes the table at every kind of data") {
    Random random(2312);
    for (std::size_t n = 0; n < runs(300); ++n) {
        auto const table = wild(random);
        double const span = table.high() - table.low();
        for (int i = 0; i < 50; ++i) {
            double const x = table.low() + span * random.uniform(-0.2, 1.2);
            double const y = table.at(x);
            double const slope = std::abs(table.slope_at(x));
            // Some ten roundings of the value over the slope, and of the place.
            double const bound = 20 * epsilon * (20 + (20 + std::abs(y)) / slope);
            CHECK(std::abs(table.inverse(y) - x) <= bound);
        }
    }
    // A large offset on the values costs the last bits of the values and no more: 1000 m over a span of 1e-6.
    MonotoneTable const far({0, 1, 2, 3}, {1000, 1000 + 1e-6, 1000 + 2.5e-6, 1000 + 6e-6});
    for (double const x : {0.2, 0.9, 1.5, 2.8})
        CHECK(std::abs(far.inverse(far.at(x)) - x) <= 2 * 1000 * epsilon / 1e-6);
}

TEST_CASE("the same table in other units gives the same answer") {
    MonotoneTable const table({0, 1, 2, 3}, {0, 1, 2.5, 9});
    MonotoneTable const scaled({0, 0x1p-20, 0x1p-19, 3 * 0x1p-20}, {0, 0x1p20, 2.5 * 0x1p20, 9 * 0x1p20});
    for (double const x : {-0.5, 0.3, 1.0, 2.7, 3.5}) { // powers of two change no digit
        CHECK(scaled.at(x * 0x1p-20) == table.at(x) * 0x1p20);
        CHECK(scaled.inverse(table.at(x) * 0x1p20) == table.inverse(table.at(x)) * 0x1p-20);
    }
}

TEST_CASE_TEMPLATE("law: every number type sees the same table, and inverse undoes at with all derivatives",
                   T, double, float, Taylor<double, 2>, Taylor<double, 3>, Gradient<double, 2>,
                   Taylor<Gradient<double, 2>, 2>) {
    MonotoneTable const table({0, 1, 2.5, 3}, {0, 1, 2.5, 9});
    bool const is_float = std::is_same_v<T, float>;
    // Slopes from 0.5 to 16, some twenty roundings.
    double const bound = 400 * (is_float ? double(std::numeric_limits<float>::epsilon()) : epsilon);
    for (double const x : {-0.4, 0.0, 0.6, 1.0, 1.9, 2.8, 3.0, 3.3}) {
        CAPTURE(x);
        T const number = number_cast<T>(x);
        CHECK(std::abs(value_of(table.at(number)) - table.at(x)) <= bound);
        CHECK(std::abs(value_of(table.slope_at(number)) - table.slope_at(x)) <= bound);
        CHECK(std::abs(value_of(table.inverse(table.at(number))) - x) <= bound);
    }
    double const y = 1.7;
    if constexpr (NumberTraits<T>::rank == 3) {
        T moving = number_cast<T>(y);
        moving.coefficient[1] = number_cast<std::remove_cvref_t<decltype(moving.coefficient[1])>>(0.3);
        moving.coefficient[2] = number_cast<std::remove_cvref_t<decltype(moving.coefficient[1])>>(-0.2);
        auto const again = table.at(table.inverse(moving));
        for (std::size_t k = 0; k < std::size(moving.coefficient); ++k)
            CHECK(std::abs(value_of(again.coefficient[k]) - value_of(moving.coefficient[k])) <= bound);
    }
    if constexpr (NumberTraits<T>::rank == 2) {
        auto const got = table.inverse(T::variable(y, 1));
        CHECK(std::abs(got.partial[1] - 1 / table.slope_at(table.inverse(y))) <= bound);
        CHECK(got.partial[0] == 0);
    }
}

TEST_CASE("rates: those of a cubic are the cubic's, by Boost.Math's automatic differentiation") {
    // Not-a-knot splines are exact for a cubic, so the table is the cubic itself.
    auto const cubic = [](auto const& u) { return ((u * 0.5 - 0.3) * u + 2.0) * u - 1.0; };
    auto const table = of(uneven(6), [&](double u) { return cubic(u); });
    REQUIRE(table.limited() == 0);
    for (double const u : {0.03, 0.3, 0.55, 0.98}) {
        auto const theirs = cubic(boost::math::differentiation::make_fvar<double, 3>(u));
        auto const ours = table.at(Taylor<double, 3>::variable(u));
        for (int k = 0; k <= 3; ++k) // of the values' last bits, 1e-16, divided by h = 0.13 a time
            CHECK(std::abs(ours.derivative(k) - theirs.derivative(static_cast<std::size_t>(k))) <=
                  100 * epsilon * std::pow(1 / 0.13, k));
        CHECK(std::abs(table.slope_at(u) - theirs.derivative(1)) <= 100 * epsilon / 0.13);
        CHECK(std::abs(table.slope_at(Taylor<double, 1>::variable(u)).derivative(1) - theirs.derivative(2)) <=
              100 * epsilon / (0.13 * 0.13));
    }
}

TEST_CASE("asking a table does not touch the heap") {
    auto const table = of(uneven(20), smooth);
    AllocationGuard const guard;
    double sum = 0;
    for (int i = 0; i < 100; ++i) {
        auto const t = Taylor<double, 3>::variable(i / 100.0);
        sum += table.inverse(table.at(t)).derivative(1) + table.slope_at(t).value();
    }
    CHECK(guard.count() == 0);
    CHECK(sum > 0);
}

TEST_CASE("tables that are none are refused, with the rows that clash") {
    CHECK(message_of({1}, {2}) == "a table needs two rows or more; given were 1");
    CHECK(message_of({1, 2}, {2}) == "a table of 2 places has 1 values");
    CHECK(message_of({1, not_a_number}, {2, 3}) == "row 1 of a table holds a number that is not finite");
    CHECK(message_of({1, 2}, {not_a_number, 3}) == "row 0 of a table holds a number that is not finite");
    CHECK(message_of({1, 2, 2}, {1, 2, 3}) ==
          "rows 1 and 2 of a table clash: the place must increase from row to row: 2 follows 2");
    CHECK(message_of({1, 2, 3, 4}, {1, 2, 1.5, 3}) ==
          "rows 1 and 2 of a table clash: the values rise on the whole and must do so from row to row: 1.5 "
          "follows 2");
    CHECK(message_of({1, 2, 3, 4}, {3, 2, 2, 1}) ==
          "rows 1 and 2 of a table clash: the values fall on the whole and must do so from row to row: 2 "
          "follows 2");
}
