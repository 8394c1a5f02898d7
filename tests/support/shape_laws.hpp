#ifndef SEAMHOLD_TESTS_SUPPORT_SHAPE_LAWS_HPP
#define SEAMHOLD_TESTS_SUPPORT_SHAPE_LAWS_HPP

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/seam/drawn_shape.hpp"
#include "support/numbers.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

// The laws of every shape that is drawn, whatever made it.

namespace seamhold::test {

/// Where laws are checked: both ends, both sides of every joint (or of some of many), and between.
inline std::vector<double> places_along(DrawnShape const& shape) {
    double const length = shape.length();
    std::vector<double> places{0, length};
    for (int i = 0; i < 60; ++i)
        places.push_back(length * (i + 0.37) / 60);
    auto const breaks = shape.breaks();
    for (std::size_t i = 0; i < breaks.size(); i += 1 + breaks.size() / 40)
        for (double const side : {-1e-7, 0.0, 1e-7})
            places.push_back(std::clamp(breaks[i] + side * length, 0.0, length));
    return places;
}

/// The largest coordinate, so that bits of it can be allowed for.
inline double size_of(DrawnShape const& shape) {
    double size = shape.length();
    for (double const s : places_along(shape))
        size = std::max({size, std::abs(shape.at(s).x), std::abs(shape.at(s).y)});
    return size;
}

/// Checks: the tangent is the derivative by arc length and a unit vector, to 1e-12; every number finds the
/// same point and its derivatives; pieces join; the chords of a fine polygon add up to the length; and
/// reversed, moved and mirrored are that.
inline void check_shape_laws(DrawnShape const& shape) {
    double const length = shape.length();
    double const size = size_of(shape);
    double const bits = 16 * epsilon * size; // a few operations on numbers of this size
    REQUIRE(length > 0);
    DrawnShape const back = shape.reversed();
    double const angle = 0.7, c = std::cos(angle), s = std::sin(angle);
    DrawnShape const moved = shape.moved(0.3 * length, -0.2 * length, angle);
    DrawnShape const mirrored = shape.mirrored({0.1 * length, 0.05 * length}, angle);
    for (DrawnShape const* other : {&back, &moved, &mirrored})
        CHECK(other->length() == doctest::Approx(length).epsilon(4 * epsilon));
    CHECK(back.continuity() == shape.continuity());
    CHECK(mirrored.continuity() == shape.continuity());

    for (double const place : places_along(shape)) {
        CAPTURE(place);
        auto const p = shape.at(place);
        CHECK(std::abs(std::hypot(p.tangent_x, p.tangent_y) - 1) <= 1e-12);
        using T = Taylor<double, 3>;
        auto const rates = shape.at(T::variable(place));
        CHECK(std::abs(rates.x.value() - p.x) <= bits);
        CHECK(std::abs(rates.y.value() - p.y) <= bits);
        // The polynomials' terms cancel to a few hundred units in the last place.
        CHECK(std::abs(rates.x.derivative(1) - p.tangent_x) <= 1e-12);
        CHECK(std::abs(rates.y.derivative(1) - p.tangent_y) <= 1e-12);
        CHECK(std::abs(rates.tangent_x.value() - p.tangent_x) <= 1e-12);
        CHECK(std::abs(rates.tangent_y.value() - p.tangent_y) <= 1e-12);
        double const bend = std::hypot(rates.tangent_x.derivative(1), rates.tangent_y.derivative(1));
        CHECK(std::abs(rates.x.derivative(2) - rates.tangent_x.derivative(1)) <= 1e-11 * (bend + 1 / length));
        CHECK(std::abs(rates.y.derivative(2) - rates.tangent_y.derivative(1)) <= 1e-11 * (bend + 1 / length));

        using G = Gradient<double, 2>;
        auto const partial = shape.at(G::variable(place, 1));
        CHECK(std::abs(partial.x.value - p.x) <= bits);
        CHECK(partial.x.partial[0] == 0);
        CHECK(std::abs(partial.x.partial[1] - p.tangent_x) <= 1e-12);
        CHECK(std::abs(partial.y.partial[1] - p.tangent_y) <= 1e-12);
        using Both = Taylor<G, 2>;
        auto both = shape.at(Both(T::variable(place).coefficient[0]) + Both::variable(0));
        CHECK(std::abs(value_of(both.x) - p.x) <= bits);
        CHECK(std::abs(value_of(both.y.derivative(1)) - p.tangent_y) <= 1e-12);
        // A float place is itself rounded: the points between are the way of that rounding.
        auto const coarse = shape.at(static_cast<float>(place));
        double const rounded = std::abs(static_cast<double>(static_cast<float>(place)) - place);
        bool const beside_joint = shape.at(place - rounded).tangent_x != shape.at(place + rounded).tangent_x;
        CHECK(std::hypot(coarse.x - p.x, coarse.y - p.y) <= rounded * (beside_joint ? 1.5 : 1) + bits);

        // The line travelled the other way: at a joint either piece may answer, so tangents only beside.
        auto const q = back.at(length - place);
        CHECK(std::hypot(q.x - p.x, q.y - p.y) <= 2e-12 * size);
        auto const joints = shape.breaks();
        bool const at_joint = std::any_of(joints.begin(), joints.end(), [&](double joint) {
            return std::abs(joint - place) <= 1e-12 * length;
        });
        if (!at_joint) {
            CHECK(std::abs(q.tangent_x + p.tangent_x) <= 1e-11);
            CHECK(std::abs(q.tangent_y + p.tangent_y) <= 1e-11);
        }
        auto const m = moved.at(place);
        CHECK(std::abs(m.x - (c * p.x - s * p.y + 0.3 * length)) <= 2e-12 * size);
        CHECK(std::abs(m.y - (s * p.x + c * p.y - 0.2 * length)) <= 2e-12 * size);
        CHECK(std::abs(m.tangent_x - (c * p.tangent_x - s * p.tangent_y)) <= 1e-12);
        // In the mirror: the same distance along the line, the opposite across it.
        auto const w = mirrored.at(place);
        double const along = c * (p.x - 0.1 * length) + s * (p.y - 0.05 * length);
        double const across = -s * (p.x - 0.1 * length) + c * (p.y - 0.05 * length);
        CHECK(std::abs(c * (w.x - 0.1 * length) + s * (w.y - 0.05 * length) - along) <= 2e-12 * size);
        CHECK(std::abs(-s * (w.x - 0.1 * length) + c * (w.y - 0.05 * length) + across) <= 2e-12 * size);
        CHECK(std::abs(c * w.tangent_x + s * w.tangent_y - (c * p.tangent_x + s * p.tangent_y)) <= 1e-12);
    }

    // Joints: the place has no jump, nor has the tangent but at the corners that are named.
    auto const corners = shape.corners();
    for (double const joint : shape.breaks()) {
        double const beside = 1e-10 * length;
        auto const a = shape.at(joint - beside), b = shape.at(joint);
        CHECK(std::hypot(a.x - b.x, a.y - b.y) <= 1.01 * beside + 1e-12 * size);
        double const jump = std::hypot(a.tangent_x - b.tangent_x, a.tangent_y - b.tangent_y);
        auto const corner = std::find_if(corners.begin(), corners.end(),
                                         [&](Corner const& one) { return one.arc_length == joint; });
        double const bend = std::abs(shape.curvature(joint - beside)) * beside;
        // A turn by an angle moves the tip of a unit vector by 2 sin(angle / 2).
        double const expected = corner == corners.end() ? 0 : 2 * std::abs(std::sin(corner->angle / 2));
        CHECK(std::abs(jump - expected) <= 1e-11 + 2 * bend);
    }

    // An inscribed polygon is shorter by (1/24) ∫ curvature² step² ds.
    constexpr int chords = 4000;
    double sum = 0, lost = 0;
    auto before = shape.at(0.0);
    for (int i = 1; i <= chords; ++i) {
        auto const p = shape.at(length * i / chords);
        sum += std::hypot(p.x - before.x, p.y - before.y);
        double const turned = p.tangent_x * before.tangent_y - p.tangent_y * before.tangent_x;
        lost += length / chords * std::min(turned * turned, 4.0);
        before = p;
    }
    CHECK(sum <= length * (1 + 1e-12));
    CHECK(sum >= length - lost - 1e-12 * length); // with room: a 24th of it, and whole chords at corners
    if (corners.empty())
        CHECK(sum >= length - lost / 12 - 1e-12 * length);
}

} // namespace seamhold::test

#endif
