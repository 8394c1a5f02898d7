#include "seamhold/statistics/quantiles.hpp"

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <doctest/doctest.h>

#include <cmath>
#include <limits>

using namespace seamhold;

namespace {

bool near(double a, double b, double relative = 1e-13) {
    return std::abs(a - b) <= relative * std::max(1e-300, std::abs(b));
}

} // namespace

TEST_CASE("quantiles are those of tables") {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3: z and χ² of its worked tolerance limits.
    CHECK(std::abs(normal_quantile(0.95) - 1.6448536) < 5e-8);
    CHECK(std::abs(chi_squared_quantile(0.01, 42) - 23.650095) < 5e-7);
    // Tables 1.3.6.7 of the same handbook (from memory).
    CHECK(std::abs(student_quantile(0.975, 10) - 2.228) < 5e-4);
    CHECK(std::abs(chi_squared_quantile(0.95, 10) - 18.307) < 5e-4);
    CHECK(std::abs(f_quantile(0.95, 3, 10) - 3.708) < 5e-4);
}

TEST_CASE("quantiles and tails are those of Boost.Math's distributions") {
    namespace math = boost::math;
    for (double const p : {1e-9, 0.005, 0.05, 0.3, 0.5, 0.7, 0.95, 0.995, 1 - 1e-9}) {
        CHECK(std::abs(normal_quantile(p) - math::quantile(math::normal(), p)) < 1e-13);
        for (double const degrees : {1.0, 2.0, 3.7, 30.0, 1e4, 1e6}) {
            CAPTURE(p);
            CAPTURE(degrees);
            math::students_t const t(degrees);
            double const q = math::quantile(t, p);
            CHECK(std::abs(student_quantile(p, degrees) - q) <= 1e-12 * std::abs(q) + 1e-15);
            math::chi_squared const square(degrees);
            CHECK(near(chi_squared_quantile(p, degrees), math::quantile(square, p), 1e-12));
            CHECK(near(student_tails(q, degrees), 2 * math::cdf(t, -std::abs(q)), 1e-8));
            double const x = math::quantile(square, p);
            CHECK(near(chi_squared_tail(x, degrees), math::cdf(math::complement(square, x)), 1e-9));
            for (double const above : {1.0, 2.0, 6.0}) {
                math::fisher_f const f(above, degrees);
                double const ratio = math::quantile(f, p);
                if (p > 1e-6 && p < 1 - 1e-6)
                    CHECK(near(f_quantile(p, above, degrees), ratio, 1e-10));
                CHECK(near(f_tail(ratio, above, degrees), math::cdf(math::complement(f, ratio)), 1e-6));
            }
        }
    }
}

TEST_CASE("quantiles and tails undo each other, up to infinitely many degrees of freedom") {
    for (double const degrees : {3.0, 1e3, 1e9, 1e14, std::numeric_limits<double>::infinity()}) {
        CAPTURE(degrees);
        CHECK(near(f_tail(f_quantile(0.99, 2, degrees), 2, degrees), 0.01, 1e-9));
        CHECK(near(student_tails(student_quantile(0.975, degrees), degrees), 0.05, 1e-9));
        if (degrees > 1e8 && degrees < 1e15) // nearly normal, of variance 2 · degrees
            CHECK(near((chi_squared_quantile(0.975, degrees) / degrees - 1) * std::sqrt(degrees / 2),
                       normal_quantile(0.975), 1e-4));
    }
    CHECK(student_quantile(0.975, std::numeric_limits<double>::infinity()) == normal_quantile(0.975));
    CHECK(f_tail(std::numeric_limits<double>::infinity(), 2, 5) == 0);
    CHECK(f_tail(0, 2, 5) == 1);
    CHECK(student_quantile(0.5, 3) == 0);
}

TEST_CASE("what is no probability and no number of degrees is refused") {
    double const nan = std::numeric_limits<double>::quiet_NaN();
    for (double const p : {0.0, 1.0, -0.1, 1.1, nan}) {
        CHECK_THROWS_AS(normal_quantile(p), BadInput);
        CHECK_THROWS_AS(student_quantile(p, 3), BadInput);
        CHECK_THROWS_AS(chi_squared_quantile(p, 3), BadInput);
        CHECK_THROWS_AS(f_quantile(p, 3, 3), BadInput);
    }
    for (double const degrees : {0.0, -1.0, nan}) {
        CHECK_THROWS_AS(student_quantile(0.9, degrees), BadInput);
        CHECK_THROWS_AS(chi_squared_quantile(0.9, degrees), BadInput);
        CHECK_THROWS_AS(f_quantile(0.9, degrees, 3), BadInput);
        CHECK_THROWS_AS(f_quantile(0.9, 3, degrees), BadInput);
        CHECK_THROWS_AS(f_tail(1, 3, degrees), BadInput);
        CHECK_THROWS_AS(student_tails(1, degrees), BadInput);
        CHECK_THROWS_AS(chi_squared_tail(1, degrees), BadInput);
    }
}
