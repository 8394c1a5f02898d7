#ifndef SEAMHOLD_TESTS_HEAD_FIFTY_DIGITS_HPP
#define SEAMHOLD_TESTS_HEAD_FIFTY_DIGITS_HPP

#include "seamhold/number/taylor.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <boost/multiprecision/cpp_bin_float.hpp>

#include <array>
#include <cstddef>

// The commands of a real head and their rates in fifty digits of Boost.Multiprecision: an inversion of its
// own of the trace by plain vectors, and plain central differences.

namespace seamhold::test {

using Real =
    boost::multiprecision::number<boost::multiprecision::cpp_bin_float<50>, boost::multiprecision::et_off>;

// A point on its way and a focus offset: four polynomials in time, `term[k]` with the k-th power.
struct Way {
    std::array<std::array<double, 4>, 4> term;

    Real at(std::size_t axis, Real const& t) const {
        auto const& c = term[axis];
        return Real(c[0]) + t * (Real(c[1]) + t * (Real(c[2]) + t * Real(c[3])));
    }
    template <int N> Taylor<double, N> number(std::size_t axis) const {
        Taylor<double, N> x;
        for (std::size_t k = 0; k <= static_cast<std::size_t>(N); ++k)
            x.coefficient[k] = term[axis][k];
        return x;
    }
    template <int N> Point<Head, Taylor<double, N>> point() const {
        return {number<N>(0), number<N>(1), number<N>(2)};
    }
};

inline Way random_way(PlainHead const& head, Random& random) {
    double const x = random.uniform(-0.9, 0.9) * head.mirror_range;
    double const y = random.uniform(-0.9, 0.9) * head.mirror_range;
    auto const beam = beam_of(head, x, y);
    auto const p =
        beam.line.point +
        times(way_to_focus(head, beam, random.uniform(-0.9, 0.9) * head.lens_range), beam.line.direction);
    Way way{};
    double const start[] = {p.x, p.y, p.z, random.uniform(-0.002, 0.002)};
    for (std::size_t axis = 0; axis < 4; ++axis) {
        way.term[axis][0] = start[axis];
        for (std::size_t k = 1; k < 4; ++k)
            way.term[axis][k] = random.uniform(-0.5, 0.5) * (axis == 3 ? 0.1 : 1);
    }
    return way;
}

// The command at a time in fifty digits: x mirror, y mirror, lens.
inline std::array<Real, 3> command_at(PlainHead const& head, Way const& way, Real const& t,
                                      std::array<Real, 2> const& start) {
    Vector<Real> const p{way.at(0, t), way.at(1, t), way.at(2, t)};
    // Steps by differences end within 1e-25 of the last, more than twice over.
    auto const u = aimed<Real>(head, p, start, Real("1e-25"), 6);
    auto const beam = beam_of<Real>(head, u[0], u[1]);
    Real const along = product(p - beam.line.point, beam.line.direction);
    return {u[0], u[1], lens_for<Real>(head, beam, along + way.at(3, t))};
}

// Its value and three derivatives. Central differences of step 1e-9 are off by 1e-18 times a fifth derivative
// of some 1e4; cancellation leaves 1e-48 / 1e-27.
inline std::array<std::array<double, 4>, 3> rates_of(PlainHead const& head, Way const& way,
                                                     std::array<double, 2> const& start) {
    Real const h("1e-9");
    auto const at = [&](int steps) {
        return command_at(head, way, h * steps, {Real(start[0]), Real(start[1])});
    };
    auto const far_back = at(-2), back = at(-1), here = at(0), ahead = at(1), far_ahead = at(2);
    std::array<std::array<double, 4>, 3> rates;
    for (std::size_t i = 0; i < 3; ++i) {
        rates[i][0] = here[i].convert_to<double>();
        rates[i][1] = Real((ahead[i] - back[i]) / (2 * h)).convert_to<double>();
        rates[i][2] = Real((ahead[i] - 2 * here[i] + back[i]) / (h * h)).convert_to<double>();
        rates[i][3] = Real((far_ahead[i] - 2 * ahead[i] + 2 * back[i] - far_back[i]) / (2 * h * h * h))
                          .convert_to<double>();
    }
    return rates;
}

template <class T> std::array<T, 3> axes_of(Command<T> const& c) { return {c.x_mirror, c.y_mirror, c.focus}; }

} // namespace seamhold::test

#endif
