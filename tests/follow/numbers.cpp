#include "seamhold/follow/chain.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "seamhold/number/gradient.hpp"
#include "support/boost_autodiff.hpp"
#include "support/random.hpp"

#include <cmath>
#include <functional>
#include <type_traits>

// One chain, many numbers: what goes in, as time and as stored data, decides what comes out.

using namespace seamhold;
using namespace seamhold::test;

namespace {

Pose<Cell, Flange> above() { return {{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {-0.02, 0.01, 0.5}}; }

// What is unknown: the mirrors' separation, how far out the head is mounted, and the speed along the seam.
template <class S> struct Unknowns { S separation, mounted, speed; };

// A chain and a seam that store numbers of type S wherever they can.
template <class S> auto chain_of(Unknowns<S> const& unknowns) {
    auto h = test::number_cast<S>(head());
    h.separation = unknowns.separation;
    auto m = seamhold::number_cast<S>(mount());
    m.origin.z = unknowns.mounted;
    Turntable<Cell, Part, S> const table{seamhold::number_cast<S>(Pose<Cell, Part>::identity()),
                                         {0.01, 0, 0},
                                         {0, 0, 1},
                                         number_cast<S>(0.2),
                                         0.25};
    Steady<Cell, Flange, S> const glide{seamhold::number_cast<S>(above()),
                                        {number_cast<S>(0.2), number_cast<S>(0.01), number_cast<S>(-0.02)},
                                        0};
    return Chain<Steady<Cell, Flange, S>, Turntable<Cell, Part, S>, MirrorPair<S>, S>{glide, table, m, h};
}

template <class S>
Seam<OnFace<Arc<S>, Plane<S>>, S> seam_of(Unknowns<S> const& unknowns, Weave const& weave = {}) {
    Arc<S> const arc{number_cast<S>(0.001), number_cast<S>(0.002), number_cast<S>(0.02), number_cast<S>(0.5),
                     2.0};
    return {{arc, {seamhold::number_cast<S>(face().part_from_face)}},
            {unknowns.speed, 0.16},
            number_cast<S>(0),
            weave};
}

Unknowns<double> const plain{0.04, 0.01, 0.25};

template <class S, class T> auto followed(Unknowns<S> const& unknowns, T const& t, Weave const& weave = {}) {
    return chain_of(unknowns).follow(seam_of(unknowns, weave), t, t);
}

// A value by axis.
template <class T> T const& axis_of(Command<T> const& c, int axis) {
    return axis == 0 ? c.x_mirror : axis == 1 ? c.y_mirror : c.focus;
}

Unknowns<double> changed(int parameter, double by) {
    auto u = plain;
    (parameter == 0 ? u.separation : parameter == 1 ? u.mounted : u.speed) += by;
    return u;
}

} // namespace

TEST_CASE("the number put in decides what comes out") {
    using G = Gradient<double, 3>;
    Unknowns<G> const unknowns{G(0.04), G(0.01), G(0.25)};
    static_assert(std::is_same_v<decltype(followed(plain, 0.1)), Followed<double>>);
    static_assert(
        std::is_same_v<decltype(followed(plain, Taylor<double, 2>{})), Followed<Taylor<double, 2>>>);
    static_assert(std::is_same_v<decltype(followed(unknowns, 0.1)), Followed<G>>);
    static_assert(std::is_same_v<decltype(followed(unknowns, Taylor<double, 2>{})), Followed<Taylor<G, 2>>>);
    static_assert(std::is_same_v<decltype(followed(Unknowns<float>{}, Taylor<float, 3>{})),
                                 Followed<Taylor<float, 3>>>);
    static_assert(std::is_same_v<decltype(followed(Unknowns<float>{}, 0.1F)), Followed<float>>);
    static_assert(std::is_same_v<decltype(followed(plain, 0.1F)), Followed<double>>);
    static_assert(std::is_trivially_copyable_v<Followed<double>>);
    static_assert(std::is_trivially_copyable_v<Followed<Taylor<G, 2>>>);
    CHECK(followed(plain, 0.1).status == Status::ok);
}

TEST_CASE("the values are the same whatever number carries them") {
    using G = Gradient<double, 3>;
    Unknowns<G> const unknowns{G::variable(0.04, 0), G::variable(0.01, 1), G::variable(0.25, 2)};
    for (Weave const& weave : {Weave{}, Weave{300, 0.0005}})
        for (double const t : {0.0, 0.0625, 0.125, 0.25}) { // exact in float
            CAPTURE(t);
            auto const reference = followed(plain, t, weave);
            CHECK(reference.status == Status::ok);
            auto const by_taylor = followed(plain, Taylor<double, 3>::variable(t), weave);
            auto const by_gradient = followed(unknowns, t, weave);
            auto const by_both = followed(unknowns, Taylor<double, 2>::variable(t), weave);
            auto const coarse = followed(Unknowns<float>{0.04F, 0.01F, 0.25F}, static_cast<float>(t), weave);
            auto const coarse_rates = followed(Unknowns<float>{0.04F, 0.01F, 0.25F},
                                               Taylor<float, 3>::variable(static_cast<float>(t)), weave);
            for (int axis = 0; axis < 3; ++axis) {
                double const value = axis_of(reference.aim.command, axis);
                // The same operations; a compiler may contract one way and not the other.
                double const bound = 20 * epsilon;
                CHECK(std::abs(value_of(axis_of(by_taylor.aim.command, axis)) - value) <= bound);
                CHECK(std::abs(value_of(axis_of(by_gradient.aim.command, axis)) - value) <= bound);
                CHECK(std::abs(value_of(axis_of(by_both.aim.command, axis)) - value) <= bound);
                // In float: bits of 1 m over 2 · 0.5 m, and of a weave's phase of up to 470 rad on half a
                // millimetre.
                double const float_bound = 20 * 6e-8 + 470 * 6e-8 * weave.amplitude;
                CHECK(std::abs(value_of(axis_of(coarse.aim.command, axis)) - value) <= float_bound);
                CHECK(std::abs(value_of(axis_of(coarse_rates.aim.command, axis)) - value) <= float_bound);
            }
        }
}

TEST_CASE("rates in float") {
    for (double const t : {0.0625, 0.125}) {
        auto const exact = followed(plain, Taylor<double, 3>::variable(t));
        auto const coarse =
            followed(Unknowns<float>{0.04F, 0.01F, 0.25F}, Taylor<float, 3>::variable(static_cast<float>(t)));
        CHECK(coarse.status == Status::ok);
        for (int axis = 0; axis < 3; ++axis)
            for (int k = 1; k <= 3; ++k) {
                // The circle turns at 12.5 rad/s: rates are bits of a metre times its powers.
                double const bound = 40 * 6e-8 * std::pow(12.5, k);
                CHECK(std::abs(static_cast<double>(axis_of(coarse.aim.command, axis).derivative(k)) -
                               axis_of(exact.aim.command, axis).derivative(k)) <= bound);
            }
    }
}

TEST_CASE("derivatives by separation, mount and speed against central differences and Boost") {
    using G = Gradient<double, 3>;
    Unknowns<G> const unknowns{G::variable(0.04, 0), G::variable(0.01, 1), G::variable(0.25, 2)};
    for (double const t : {0.02, 0.1, 0.15}) {
        CAPTURE(t);
        auto const command = followed(unknowns, t).aim.command;
        for (int parameter = 0; parameter < 3; ++parameter) {
            CAPTURE(parameter);
            // Central differences: rounding of 1e-16 over h, and h² times a third derivative of at most some
            // 1e3.
            double const h = 1e-6;
            auto const up = followed(changed(parameter, h), t).aim.command;
            auto const down = followed(changed(parameter, -h), t).aim.command;
            // Boost's numbers as stored data.
            using B = BoostNumber<1>;
            auto const make = [&](int which, double x) {
                return which == parameter ? B(boost::math::differentiation::make_fvar<double, 1>(x)) : B(x);
            };
            auto const boosted =
                followed(Unknowns<B>{make(0, 0.04), make(1, 0.01), make(2, 0.25)}, t).aim.command;
            for (int axis = 0; axis < 3; ++axis) {
                CAPTURE(axis);
                double const ours = axis_of(command, axis).partial[parameter];
                CHECK(std::abs(ours - (axis_of(up, axis) - axis_of(down, axis)) / (2 * h)) <= 2e-9);
                // Rounding only; sensitivities are up to 1 rad/m.
                CHECK(std::abs(ours - static_cast<double>(axis_of(boosted, axis).derivative(1))) <=
                      40 * epsilon);
            }
        }
    }
}

TEST_CASE("derivatives of rates by parameters: Taylor of gradients") {
    using G = Gradient<double, 2>;
    Unknowns<G> const unknowns{G::variable(0.04, 0), G(0.01), G::variable(0.25, 1)};
    using T = Taylor<double, 2>;
    int const parameters[2] = {0, 2};
    double largest = 0;
    for (double const t : {0.02, 0.1, 0.15}) {
        CAPTURE(t);
        auto const command = followed(unknowns, Taylor<G, 2>::variable(G(t))).aim.command;
        static_assert(std::is_same_v<std::decay_t<decltype(command)>, Command<Taylor<G, 2>>>);
        auto const same = followed(unknowns, T::variable(t)).aim.command;
        for (int i = 0; i < 2; ++i) {
            double const h = 1e-5;
            auto const up = followed(changed(parameters[i], h), T::variable(t)).aim.command;
            auto const down = followed(changed(parameters[i], -h), T::variable(t)).aim.command;
            for (int axis = 0; axis < 3; ++axis)
                for (int k = 0; k <= 2; ++k) {
                    CAPTURE(axis);
                    CAPTURE(k);
                    double const ours = axis_of(command, axis).derivative(k).partial[i];
                    largest = std::max(largest, std::abs(ours));
                    double const difference =
                        (axis_of(up, axis).derivative(k) - axis_of(down, axis).derivative(k)) / (2 * h);
                    // By speed v the circle's angle grows with t/r = 7.5 per m/s, and rates carry v/r = 12.5
                    // per order: h² · 7.5³ · 12.5ᵏ, and rounding of 12.5ᵏ bits over h.
                    CHECK(std::abs(ours - difference) <=
                          (h * h * 430 + 20 * epsilon / h) * std::pow(12.5, k));
                    CHECK(std::abs(axis_of(same, axis).derivative(k).partial[i] - ours) <=
                          40 * epsilon * 7.5 * std::pow(12.5, k));
                }
        }
    }
    CHECK(largest > 1); // the check was one
}
