#include "seamhold/head/focus.hpp"

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/boost_autodiff.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <type_traits>
#include <vector>

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

// An axis of ordinary size, invented: a focusing lens of 380 mm, 60 mm before the first mirror, half a metre
// from the first mirror to the focus.
ThinLensFocus<> const thin{0.54, 0.38, 0.06};

// The same axis as a table that somebody measured, every 10 mm.
FocusTable table() {
    std::vector<double> paths, lenses;
    for (int i = 0; i <= 20; ++i) {
        paths.push_back(0.44 + 0.01 * i);
        lenses.push_back(0.38 * 0.38 / 0.22 - 0.38 * 0.38 / (paths.back() + 0.06 - 0.38));
    }
    lenses[10] = 0;
    return {paths, lenses};
}

/// A paraxial ray: height, m, and angle, rad; traced by ray-transfer matrices, lens by lens.
struct ParaxialRay {
    double height;
    double angle;

    ParaxialRay through_lens(double focal_length) const { return {height, angle - height / focal_length}; }
    ParaxialRay on(double way) const { return {height + way * angle, angle}; }
    double way_to_axis() const { return -height / angle; }
};

struct Traced {
    double image;         ///< from the focusing lens to where the ray crosses the axis, m
    double magnification; ///< ratio of the cone angles before and behind the focusing lens
};

Traced through_both(double moving_lens, double apart, double focusing_lens) {
    auto const before = ParaxialRay{1e-3, 0}.through_lens(moving_lens);
    auto const behind = before.on(apart).through_lens(focusing_lens);
    return {behind.way_to_axis(), std::abs(before.angle / behind.angle)};
}

} // namespace

TEST_CASE("the closed-form laws are plain data") {
    static_assert(std::is_trivially_copyable_v<LinearFocus<>> && std::is_aggregate_v<LinearFocus<>>);
    static_assert(std::is_trivially_copyable_v<ThinLensFocus<>> && std::is_aggregate_v<ThinLensFocus<>>);
    static_assert(std::is_same_v<decltype(ThinLensFocus<float>{}.lens(1.0F)), float>);
    static_assert(std::is_same_v<decltype(thin.lens(Taylor<float, 2>{})), Taylor<double, 2>>);
}

TEST_CASE("a thin lens by hand: an object at 1.5 f has its image at 3 f, twice as large") {
    // Textbook case of the lens equation, e.g. E. Hecht, "Optics", chapter 5 (from memory): 1/150 + 1/300 =
    // 1/100. From there, an object at 2 f has its image at 2 f: the object went back by f/2.
    ThinLensFocus<> const lens{0.3, 0.1, 0};
    double const bound = 8 * epsilon; // few roundings of numbers below 1, and a magnification of 2
    CHECK(std::abs(lens.magnification(0.3) - 2) <= bound);
    CHECK(std::abs(lens.lens(0.2) + 0.05) <= bound);
    CHECK(std::abs(lens.path(-0.05) - 0.2) <= bound);
    CHECK(std::abs(lens.spot_scale(0.2) - 0.5) <= bound);
    CHECK(std::abs(lens.path_clearance(0.3) - 0.2) <= bound);
    CHECK(std::abs(lens.lens_clearance(0.0) - 0.05) <= bound); // to an object in the focal point, at 1 f
}

TEST_CASE("the thin-lens law is what two lenses do, traced by ray-transfer matrices") {
    Random random(2321);
    for (std::size_t n = 0; n < runs(2000); ++n) {
        double const focal_length = random.uniform(0.1, 0.6);
        double const ahead = random.uniform(0, 0.1);
        double const image = focal_length * random.uniform(1.1, 3);
        if (!(image > ahead + 0.05))
            continue;
        auto const law = checked(ThinLensFocus<>{image - ahead, focal_length, ahead});
        // The moving lens spreads the light (negative) or gathers it; 1/a + 1/b = 1/f gives where its own
        // focus must lie for the focus at lens 0.
        double const moving = random.uniform(0.02, 0.08) * (random.unit() < 0.5 ? -1 : 1);
        double const object = 1 / (1 / focal_length - 1 / image);
        double const apart = object + moving;
        double const lens = (object - focal_length) * random.uniform(-0.5, 0.5);
        // Downstream is positive: the lenses come nearer.
        auto const traced = through_both(moving, apart - lens, focal_length);
        CAPTURE(focal_length);
        CAPTURE(image);
        CAPTURE(moving);
        // The trace loses digits where the object is near the focal point: by (b/(b − f))·b/f or so, below
        // 1000, each of some ten roundings.
        double const bound = 1e4 * epsilon;
        CHECK(std::abs(law.path(lens) + ahead - traced.image) <= bound);
        CHECK(std::abs(law.lens(traced.image - ahead) - lens) <= bound);
        CHECK(std::abs(law.magnification(law.path(lens)) - traced.magnification) <= bound);
        double const at_zero = through_both(moving, apart, focal_length).magnification;
        CHECK(std::abs(law.spot_scale(law.path(lens)) - traced.magnification / at_zero) <= 10 * bound);
    }
}

TEST_CASE("positive moves the focus away, 0 is the stated path, at every law") {
    for (AnyFocus const& law :
         {AnyFocus(checked(LinearFocus<>{0.54, 6})), AnyFocus(checked(thin)), AnyFocus(table())}) {
        CHECK(std::abs(law.path(0.0) - 0.54) <= 4 * epsilon);
        CHECK(std::abs(law.lens(0.54)) <= 4 * epsilon);
        CHECK(law.lens(0.56) > 0);
        CHECK(law.lens(0.52) < 0);
        CHECK(law.path(0.001) > 0.54);
        CHECK(std::abs(law.spot_scale(0.54) - 1) <= 20 * epsilon);
    }
    CHECK(LinearFocus<>{0.54, 6}.lens(0.6) == doctest::Approx(0.01).epsilon(4 * epsilon));
}

TEST_CASE("the spot's growth is the square root of the focus's way per metre of the lens") {
    // What the table works with, held against the thin lens, whose magnification is known.
    for (double const path : {0.45, 0.5, 0.54, 0.6, 0.63}) {
        auto const p = thin.path(Taylor<double, 1>::variable(thin.lens(path)));
        double const at_zero = thin.path(Taylor<double, 1>::variable(0.0)).derivative(1);
        CHECK(std::abs(thin.spot_scale(path) - std::sqrt(p.derivative(1) / at_zero)) <= 20 * epsilon);
        // The table's slope errs by its third power of the step: f⁗ h³ ≈ 24·0.14/0.12⁵·1e-6 ≈ 0.13 at the
        // near end in the slope of 10, over 60 for a cubic spline: 2e-4 of the spot's size.
        CHECK(std::abs(table().spot_scale(path) - thin.spot_scale(path)) <= 2e-4);
    }
    CHECK(LinearFocus<>{0.54, 6}.spot_scale(0.6) == 1);
}

TEST_CASE_TEMPLATE("law: path undoes lens at every number, with all derivatives", T, double, float,
                   Taylor<double, 2>, Taylor<double, 3>, Gradient<double, 2>,
                   Taylor<Gradient<double, 2>, 2>) {
    T path = number_cast<T>(0.57);
    if constexpr (NumberTraits<T>::rank == 3) {
        using S = std::remove_cvref_t<decltype(path.coefficient[0])>;
        path.coefficient[1] = number_cast<S>(0.3);
        path.coefficient[2] = number_cast<S>(-0.7);
        if constexpr (NumberTraits<S>::rank == 2)
            path.coefficient[1] = S::variable(0.3, 1);
    } else if constexpr (NumberTraits<T>::rank == 2) {
        path = T::variable(0.57, 0);
    }
    // The path's last bits through slopes up to 5 and back, and rates' through curvatures up to 100.
    double const bound = 500 * (std::is_same_v<T, float> ? 1.2e-7 : epsilon);
    auto const same = [&](auto const& got) {
        auto const rest = got - path;
        CHECK(std::abs(value_of(rest)) <= bound);
        if constexpr (NumberTraits<T>::rank == 3)
            for (auto const& c : rest.coefficient) {
                CHECK(std::abs(value_of(c)) <= bound);
                if constexpr (NumberTraits<std::remove_cvref_t<decltype(c)>>::rank == 2)
                    CHECK(std::abs(c.partial[1]) <= bound);
            }
        if constexpr (NumberTraits<T>::rank == 2)
            CHECK(std::abs(rest.partial[0]) <= bound);
    };
    LinearFocus<> const linear{0.54, 6};
    same(linear.path(linear.lens(path)));
    same(thin.path(thin.lens(path)));
    auto const measured = table();
    same(measured.path(measured.lens(path)));
    AnyFocus const any(measured);
    same(any.path(any.lens(path)));
    if constexpr (std::is_same_v<T, float>) {
        ThinLensFocus<float> const narrow{0.54F, 0.38F, 0.06F};
        static_assert(std::is_same_v<decltype(narrow.lens(path)), float>);
        same(narrow.path(narrow.lens(path)));
    }
}

TEST_CASE("rates of the thin-lens law agree with Boost.Math's automatic differentiation") {
    for (double const path : {0.45, 0.54, 0.62}) {
        auto const b = boost::math::differentiation::make_fvar<double, 3>(path) + 0.06;
        auto const theirs = 0.38 * 0.38 / 0.22 - 0.38 * 0.38 / (b - 0.38);
        auto const ours = thin.lens(Taylor<double, 3>::variable(path));
        double size = 1;
        for (int k = 0; k <= 3; ++k) {
            // k!·f²/(b − f)^(k+1), some ten roundings each; for the value the cancelling terms of `theirs`.
            size = k == 0 ? 1 : size * k / 0.13;
            CHECK(std::abs(ours.derivative(k) - theirs.derivative(static_cast<std::size_t>(k))) <=
                  20 * epsilon * size);
        }
    }
}

TEST_CASE("the law's stored lengths may be unknowns") {
    using G = Gradient<double, 2>;
    ThinLensFocus<G> const unknown{G::variable(0.54, 0), G::variable(0.38, 1), G(0.06)};
    auto const lens = unknown.lens(0.6);
    // lens = f²/(b₀ − f) − f²/(b − f): by b₀ it is −f²/(b₀ − f)²; by f it is 2f/B₀ + f²/B₀² − 2f/B − f²/B².
    double const f = 0.38, near = 0.22, beyond = 0.28;
    double const bound = 100 * epsilon;
    CHECK(std::abs(lens.partial[0] + f * f / (near * near)) <= bound);
    CHECK(std::abs(lens.partial[1] - (2 * f / near + f * f / (near * near) - 2 * f / beyond -
                                      f * f / (beyond * beyond))) <= bound);
}

TEST_CASE("out of what a law knows: a clearance below 0 and a finite answer, never silence") {
    CHECK(thin.path_clearance(0.33) > 0);
    CHECK(thin.path_clearance(0.31) < 0);
    for (double const path : {0.32, 0.31, -1.0, -1e9})
        CHECK(is_finite(thin.lens(path)));
    CHECK(thin.lens_clearance(0.65) > 0); // f²/B₀ = 0.6564 m: collimated light
    CHECK(thin.lens_clearance(0.66) < 0);
    CHECK(is_finite(thin.path(0.66)));
    CHECK(is_finite(thin.path(Taylor<double, 2>::variable(0.38 * 0.38 / 0.22))));

    auto const measured = table();
    double const bound = 10 * epsilon;
    CHECK(std::abs(measured.path_clearance(0.45) - 0.01) <= bound);
    CHECK(std::abs(measured.path_clearance(0.63) - 0.01) <= bound);
    CHECK(std::abs(measured.path_clearance(0.43) + 0.01) <= bound);
    CHECK(std::abs(measured.path_clearance(0.65) + 0.01) <= bound);
    CHECK(measured.path_clearance(Taylor<double, 1>::variable(0.63)).derivative(1) == -1);
    CHECK(measured.lens_clearance(measured.lens(0.63)) > 0);
    CHECK(measured.lens_clearance(measured.lens(0.65)) < 0);
    CHECK(measured.lens_clearance(measured.lens(0.43)) < 0);
    CHECK(is_finite(measured.lens(5.0)));
    CHECK(LinearFocus<>{0.54, 6}.path_clearance(-3.0) > 0);
    CHECK(AnyFocus(measured).path_clearance(0.43) < 0);
    CHECK(AnyFocus(measured).lens_clearance(measured.lens(0.65)) < 0);
    CHECK(AnyFocus(thin).path_clearance(0.31) < 0);
}

TEST_CASE("asking a law does not touch the heap") {
    AnyFocus const laws[] = {AnyFocus(LinearFocus<>{0.54, 6}), AnyFocus(thin), AnyFocus(table())};
    AllocationGuard const guard;
    double sum = 0;
    for (auto const& law : laws) {
        auto const path = Taylor<double, 3>::variable(0.55);
        sum += law.path(law.lens(path)).value() + law.spot_scale(path).value() +
               law.path_clearance(path).derivative(1);
    }
    CHECK(guard.count() == 0);
    CHECK(sum > 0);
}

TEST_CASE("laws that are none are refused, with the field") {
    CHECK(refusal_of([] { return checked(thin); }).empty());
    CHECK(refusal_of([] {
              return checked(LinearFocus<>{0, 6});
          }) == "a focus axis's zero path (m) of 0 is not possible: it must be above 0");
    CHECK(
        refusal_of([] {
            return checked(LinearFocus<>{0.5, -2});
        }) ==
        "a focus axis's ratio of -2 is not possible: it must be above 0: positive moves the focus away from "
        "the head");
    CHECK(refusal_of([] {
              return checked(ThinLensFocus<>{-0.5, 0.3, 0});
          }) == "a focus axis's zero path (m) of -0.5 is not possible: it must be above 0");
    CHECK(
        refusal_of([] {
            return checked(ThinLensFocus<>{0.5, 0.3, -0.1});
        }) ==
        "a focus axis's distance from focusing lens to first mirror (m) of -0.1 is not possible: it must be "
        "0 or more");
    CHECK(refusal_of([] {
              return checked(ThinLensFocus<>{0.5, 0, 0.1});
          }) == "a focus axis's focal length (m) of 0 is not possible: it must be above 0");
    CHECK(refusal_of([] {
              return checked(ThinLensFocus<>{0.5, 0.7, 0.1});
          }) ==
          "a focus axis's focal length (m) of 0.7 is not possible: it must be less than the way from the "
          "focusing lens to the focus at lens 0, 0.6");
    CHECK(refusal_of([] {
              return FocusTable({0, 0.5}, {-1, 1});
          }) == "a focus axis's first path (m) of 0 is not possible: it must be above 0");
    CHECK(
        refusal_of([] {
            return FocusTable({0.4, 0.5}, {0.01, -0.01});
        }) ==
        "the lens must rise with the path: positive moves the focus away from the head; turn the sign of the "
        "lens's column");
    CHECK(refusal_of([] {
              return FocusTable({0.4, 0.5}, {0.01, 0.02});
          }) == "a focus table must contain the lens's 0; its displacements (m) run from 0.01 to 0.02");
    CHECK(refusal_of([] {
              return FocusTable({0.4, 0.5, 0.6}, {-0.01, -0.01, 0.02});
          }) ==
          "rows 0 and 1 of a table clash: the values rise on the whole and must do so from row to row: -0.01 "
          "follows -0.01");
}
