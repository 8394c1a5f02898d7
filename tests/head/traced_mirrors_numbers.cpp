#include "seamhold/head/traced_mirrors.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/taylor.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/real_mirrors.hpp"

#include <boost/multiprecision/cpp_bin_float.hpp>

#include <algorithm>
#include <array>
#include <cmath>

// The traced beam's derivatives by the angles, by time and by both, against central differences of a trace by
// plain vectors in fifty digits of Boost.Multiprecision.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Real =
    boost::multiprecision::number<boost::multiprecision::cpp_bin_float<50>, boost::multiprecision::et_off>;

// What a trace says, as eight numbers: the point on the last mirror, the leaving direction, path, separation.
template <class Real> std::array<Real, 8> numbers_of(RealTrace<Real> const& t) {
    auto const &p = t.leaving.point, &d = t.leaving.direction;
    return {p.x, p.y, p.z, d.x, d.y, d.z, Real(t.before + t.apart), t.apart};
}
template <class T> std::array<T, 8> numbers_of(MirrorTrace<T> const& t) {
    return {t.on_last.x, t.on_last.y, t.on_last.z, t.leaving.x,
            t.leaving.y, t.leaving.z, t.path,      t.between_length};
}

// Angles that move in time and by two parameters: a + p + b t + c t², the second plus p t.
struct Angles {
    double a, b, c;
};

} // namespace

TEST_CASE("rates, gradients and gradients of rates of a beam over mirrors out of true") {
    Random random(8111);
    using G = Gradient<double, 2>;
    using T = Taylor<double, 2>;
    using TG = Taylor<G, 2>;
    // Central differences of step h are off by h² times a derivative below 1e3, and cancellation leaves
    // 1e-50 / h³ where three steps divide: below 1e-18 with h = 1e-10.
    Real const h("1e-10");
    double worst = 0;
    for (int run = 0; run < 100; ++run) {
        auto const plain = random_mirrors(random, random.uniform(0.02, 0.06), 0.05, 0.004, 0.02);
        auto const mirrors = mirrors_of(plain);
        Angles const x{random.uniform(-0.2, 0.2), random.uniform(-1, 1), random.uniform(-1, 1)};
        Angles const y{random.uniform(-0.2, 0.2), random.uniform(-1, 1), random.uniform(-1, 1)};
        // The beam at time t with the parameters p and q.
        auto const truth = [&](Real const& t, Real const& p, Real const& q) {
            return numbers_of(traced<Real>(plain, Real(x.a) + p + Real(x.b) * t + Real(x.c) * t * t,
                                           Real(y.a) + q + (Real(y.b) + p) * t + Real(y.c) * t * t));
        };
        Real const zero = 0;
        // [value, by p, by q][value, first and second derivative by time]
        std::array<std::array<std::array<double, 8>, 3>, 3> expected;
        for (std::size_t by = 0; by < 3; ++by) {
            auto const at = [&](Real const& t) {
                if (by == 0)
                    return truth(t, zero, zero);
                auto ahead = truth(t, by == 1 ? h : zero, by == 2 ? h : zero);
                auto const back = truth(t, by == 1 ? Real(-h) : zero, by == 2 ? Real(-h) : zero);
                for (std::size_t i = 0; i < 8; ++i)
                    ahead[i] = (ahead[i] - back[i]) / (2 * h);
                return ahead;
            };
            auto const back = at(-h), here = at(zero), ahead = at(h);
            for (std::size_t i = 0; i < 8; ++i) {
                expected[by][0][i] = here[i].convert_to<double>();
                expected[by][1][i] = Real((ahead[i] - back[i]) / (2 * h)).convert_to<double>();
                expected[by][2][i] = Real((ahead[i] - 2 * here[i] + back[i]) / (h * h)).convert_to<double>();
            }
        }
        auto const off = [&](double got, double wanted) {
            worst = std::max(worst, std::abs(got - wanted) / (1 + std::abs(wanted)));
        };
        TG angle_x, angle_y;
        angle_x.coefficient[0] = G::variable(x.a, 0);
        angle_x.coefficient[1] = G(x.b);
        angle_x.coefficient[2] = G(x.c);
        angle_y.coefficient[0] = G::variable(y.a, 1);
        angle_y.coefficient[1] = G::variable(y.b, 0);
        angle_y.coefficient[2] = G(y.c);
        auto const all = numbers_of(mirrors.trace(angle_x, angle_y));
        T moving_x, moving_y;
        for (int k = 0; k <= 2; ++k) {
            moving_x.coefficient[k] = angle_x.coefficient[k].value;
            moving_y.coefficient[k] = angle_y.coefficient[k].value;
        }
        auto const rates = numbers_of(mirrors.trace(moving_x, moving_y));
        auto const slopes = numbers_of(mirrors.trace(angle_x.coefficient[0], angle_y.coefficient[0]));
        auto const plainly = numbers_of(mirrors.trace(x.a, y.a));
        for (std::size_t i = 0; i < 8; ++i) {
            off(plainly[i], expected[0][0][i]);
            for (int k = 0; k <= 2; ++k) {
                auto const order = static_cast<std::size_t>(k);
                off(rates[i].derivative(k), expected[0][order][i]);
                off(all[i].derivative(k).value, expected[0][order][i]);
                for (std::size_t by : {1U, 2U})
                    off(all[i].derivative(k).partial[by - 1], expected[by][order][i]);
            }
            for (std::size_t by : {1U, 2U})
                off(slopes[i].partial[by - 1], expected[by][0][i]);
        }
    }
    MESSAGE("worst difference ", worst, " of 1 + the number");
    // Sums of up to fifty products of numbers up to 4, each rounded.
    CHECK(worst <= 100 * epsilon);
}
