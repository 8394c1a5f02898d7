#include "seamhold/follow/chain.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

// A seam followed with heads that are not ideal: the spot is found again by a trace with plain vectors. And
// with a head of a user's own.

using namespace seamhold;
using namespace seamhold::test;

namespace {

// A user's own head: a lamp on two gimbals through the origin. The inner one swings the beam in x, the outer
// in y.
struct Gimbals {
    double zero_path = 0.5;

    template <class P, class O = double>
    Command<Common<P, O>> command(Point<Head, P> const& p, O const& focus_offset = 0) const {
        using std::sqrt;
        using T = Common<P, O>;
        T const x = number_cast<T>(p.x), y = number_cast<T>(p.y);
        T const z = select(p.z > 1e-9, number_cast<T>(p.z), number_cast<T>(1e-9));
        T const across = sqrt(sqr(y) + sqr(z));
        return {atan_ratio(x, across), atan_ratio(y, z),
                sqrt(sqr(across) + sqr(x)) + number_cast<T>(focus_offset) - zero_path};
    }
    template <class P, class C>
    Clearance<Common<P, C>> clearance(Point<Head, P> const& p, Command<C> const& c) const {
        using T = Common<P, C>;
        auto const one = number_cast<T>(1), room = number_cast<T>(0.3);
        return {number_cast<T>(p.z), one, room - sqr(c.x_mirror), room - sqr(c.y_mirror), one, one, one};
    }
    template <class P, class O = double>
    Aim<Common<P, O>, double> aim(Point<Head, P> const& p, O const& focus_offset = 0) const {
        auto const told = command(p, focus_offset);
        return {told, clearance(value_of(p), value_of(told))};
    }
    template <class C> Ray<C> ray(Command<C> const& c) const {
        auto const x = sin_cos(c.x_mirror), y = sin_cos(c.y_mirror);
        C const zero = number_cast<C>(0);
        return {{zero, zero, zero}, {x.sin, x.cos * y.sin, x.cos * y.cos}, zero, c.focus + zero_path};
    }
    AxisRanges ranges() const { return {{-0.5, 0.5}, {-0.5, 0.5}, {-0.1, 0.1}}; }
    double working_distance() const { return zero_path; }
};
static_assert(ScanHead<Gimbals>);

PlainHead ordinary_open_head() {
    Random random(8701);
    auto plain = random_open_head(random);
    plain.mirrors = random_mirrors(random, 0.04, degrees(2), millimetres(3), 0.01);
    plain.zero_setting = 0.53;
    plain.mirror_range = degrees(12.5);
    return plain;
}

PlainHead ordinary_lens_head() {
    Random random(8702);
    auto plain = random_lens_head(random);
    plain.lens = PlainLens{0.35, 0.08, 0.41, 0.3, 0.2, 0.001, -0.002};
    plain.zero_setting = 0.41;
    plain.lens_range = millimetres(15);
    plain.mirror_range = degrees(12.5);
    return plain;
}

Vector<> vector_of_part(Point<Part> const& p) { return {p.x, p.y, p.z}; }

// Where a command puts the focus, in the part frame.
template <class AnyChainType>
Vector<> spot_of(AnyChainType const& chain, PlainHead const& head, Command<> const& command, double t) {
    auto const beam = beam_of(head, command.x_mirror, command.y_mirror);
    auto const in_head =
        beam.line.point + times(way_to_focus(head, beam, command.focus), beam.line.direction);
    auto const in_cell = carried(chain.cell_from_flange.at(t), carried(chain.flange_from_head, in_head));
    return carried_back(chain.cell_from_part.at(t), in_cell);
}

template <class T> std::array<T, 3> axes_of(Command<T> const& c) { return {c.x_mirror, c.y_mirror, c.focus}; }

// Whether the rates are those of the values: central differences of the fourth order over 1 ms.
template <class ChainType, class AnySeamType>
void check_rates(ChainType const& chain, AnySeamType const& seam, double t) {
    using T = Taylor<double, 2>;
    auto const at = [&](double x) { return axes_of(chain.follow(seam, x, 0.2 + x).aim.command); };
    auto const rates = axes_of(chain.follow(seam, T::variable(t), T::variable(0.2 + t)).aim.command);
    double const h = 1e-3;
    auto const far_back = at(t - 2 * h), back = at(t - h), here = at(t), ahead = at(t + h),
               far_ahead = at(t + 2 * h);
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK(rates[i].value() == here[i]);
        double const first = (8 * (ahead[i] - back[i]) - (far_ahead[i] - far_back[i])) / (12 * h);
        double const second =
            (16 * (ahead[i] + back[i]) - (far_ahead[i] + far_back[i]) - 30 * here[i]) / (12 * h * h);
        // A fifth derivative of swings at up to 2 Hz is below 0.3·13⁵ = 1e5, times h⁴/30, and commands are
        // right to 1e-12 at worst; the second difference divides by h once more.
        CHECK(std::abs(rates[i].derivative(1) - first) <= 1e-8);
        CHECK(std::abs(rates[i].derivative(2) - second) <= 1e-5);
    }
}

template <class AnyScanHead> void check(PlainHead const& plain, AnyScanHead const& scan_head) {
    Random random(8703);
    auto const flange = random_flange(random);
    auto const part = random_part(random);
    Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, AnyScanHead> const chain{flange, part, mount(),
                                                                                     scan_head};
    auto const seam = at_speed(circle_around({0.001, 0.002}, 0.02), face(), 0.1);
    AnySeam const any_seam = seam;
    // The same with a choice at every place; the motions are a log and a fixture, since no user's own are in
    // the list.
    auto const rows = rows_of<Cell>(flange, 0, 3, 0.01, random);
    auto const resting = part.at(0.5);
    AnyChain const any{PoseLog<Cell, Flange>(rows), Rest<Cell, Part>{resting}, mount(), scan_head};
    for (int i = 0; i < 40; ++i) {
        double const t = 0.03 * i;
        CAPTURE(t);
        auto const wanted = seam.at(t).position;
        auto const followed = chain.follow(seam, t, 0.2 + t);
        REQUIRE(followed.status == Status::ok);
        // The head's promise, as far along the beam as across: the face leans by 20° or so.
        CHECK(length(spot_of(chain, plain, followed.aim.command, 0.2 + t) - vector_of_part(wanted)) <= 2e-10);
        auto const chosen = any.follow(any_seam, t, 0.2 + t);
        REQUIRE(chosen.status == Status::ok);
        CHECK(length(spot_of(any, plain, chosen.aim.command, 0.2 + t) - vector_of_part(wanted)) <= 2e-10);
        if (i % 10 == 5)
            check_rates(chain, seam, t);
        using T = Taylor<double, 2>;
        auto const moving = any.follow(any_seam, T::variable(t), T::variable(0.2 + t)).aim.command;
        CHECK(moving.x_mirror.value() == chosen.aim.command.x_mirror);
        CHECK(moving.y_mirror.value() == chosen.aim.command.y_mirror);
        CHECK(moving.focus.value() == chosen.aim.command.focus);
    }
}

} // namespace

TEST_CASE("a seam followed with a head out of true") {
    auto const plain = ordinary_open_head();
    check(plain, open_head_of(plain));
}

TEST_CASE("a seam followed with a flat-field lens") {
    auto const plain = ordinary_lens_head();
    check(plain, lens_head_of(plain));
}

TEST_CASE("a seam followed with a head of a user's own") {
    Random random(8704);
    Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, Gimbals> const chain{
        random_flange(random), random_part(random), mount(), {}};
    auto const seam = at_speed(circle_around({0.001, 0.002}, 0.02), face(), 0.1);
    for (double t = 0; t < 1; t += 0.1) {
        auto const followed = chain.follow(seam, t, 0.2 + t);
        REQUIRE(followed.status == Status::ok);
        // By hand: the direction of two gimbals, as far as the focus is.
        auto const& told = followed.aim.command;
        double const way = 0.5 + told.focus;
        Vector<> const in_head{way * std::sin(told.x_mirror),
                               way * std::cos(told.x_mirror) * std::sin(told.y_mirror),
                               way * std::cos(told.x_mirror) * std::cos(told.y_mirror)};
        auto const in_cell =
            carried(chain.cell_from_flange.at(0.2 + t), carried(chain.flange_from_head, in_head));
        auto const spot = carried_back(chain.cell_from_part.at(0.2 + t), in_cell);
        CHECK(length(spot - vector_of_part(seam.at(t).position)) <= 20 * epsilon);
        check_rates(chain, seam, t);
    }
}
