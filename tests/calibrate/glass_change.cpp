#include "seamhold/calibrate/glass_change.hpp"

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

// Fused silica, rounded from memory: 1.450 at 1070 nm, 1.457 at 650 nm.
ProtectiveGlass const thin{0.002, 1.450, 1.457};
ProtectiveGlass const thick{0.003, 1.450, 1.457, 1e-4};

/// Where a ray of height r and angle u towards the axis crosses it behind a plate that starts at z = 0, by
/// Snell's law at both faces; wedge tilts the second face.
double crossing(double r, double u, double thickness, double index) {
    double const inside = std::asin(std::sin(u) / index);
    double const at_exit = r - thickness * std::tan(inside);
    return thickness + at_exit / std::tan(u);
}

} // namespace

TEST_CASE("a plate moves the focus and sets rays aside as a trace by Snell's law has it") {
    Random random(861);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        double const d = random.uniform(0.001, 0.006), n = random.uniform(1.4, 1.8);
        // A cone towards a point 0.2 m behind the first face, 1e-4 rad wide: the next order is u² = 1e-8.
        double const u = 1e-4;
        CHECK(std::abs(crossing(0.2 * std::tan(u), u, d, n) - 0.2 - glass_focus_shift(d, n)) <
              1e-8 * d + 1e-13);
        // The next order as the comment has it.
        double const wide = 0.05;
        double const more = crossing(0.2 * std::tan(wide), wide, d, n) - 0.2 - glass_focus_shift(d, n);
        CHECK(std::abs(more / (d * wide * wide * (n * n - 1) / (2 * n * n * n)) - 1) < 0.01);
        double const angle = random.uniform(0.01, 1.2), inside = std::asin(std::sin(angle) / n);
        double const aside = d * (std::tan(angle) - std::tan(inside)) * std::cos(angle);
        CHECK(std::abs(glass_ray_offset(d, n, angle) - aside) < 1e-14);
    }
}

TEST_CASE("what must be checked again after the glass was changed") {
    auto const all = to_check_after(thin, thick);
    auto const of = [&](std::string const& what) {
        return *std::find_if(all.begin(), all.end(), [&](auto const& one) { return one.what == what; });
    };
    CHECK(of("power at the work").needed);
    // 1 mm of silica: 1e-3 (1 − 1/1.45) = 310.3 µm.
    CHECK(std::abs(of("focus zero").expected - 310.3e-6) < 1e-7);
    CHECK(of("focus zero").needed);
    CHECK(has(of("focus zero").reason, "310.3"));
    // A wedge of 0.1 mrad bends by 0.045 mrad: 13.5 µm in 300 mm.
    CHECK(std::abs(of("five marks: shift").expected - 13.5e-6) < 1e-8);
    CHECK(of("five marks: shift").needed);
    // The edge comes inwards by d (tan θ − tan θ').
    CHECK(std::abs(of("five marks: scale").expected +
                   0.001 * (std::tan(0.35) - std::tan(std::asin(std::sin(0.35) / 1.45)))) < 1e-12);
    CHECK(of("five marks: scale").needed);
    CHECK(!of("pilot map: focus").needed);
    CHECK(std::abs(of("pilot map: focus").expected - 0.001 * (1 / 1.457 - 1 / 1.45)) < 1e-12);
    CHECK(std::abs(of("pilot map: place").expected) < 1e-5);

    // The same glass again, turned by anything: only power is needed.
    for (auto const& one : to_check_after(thin, thin))
        CHECK(one.needed == (one.what == "power at the work"));
    // Its wedge may have turned.
    for (auto const& one : to_check_after(thick, thick))
        CHECK(one.needed == (one.what == "power at the work" || one.what == "five marks: shift"));

    auto const refused = [](ProtectiveGlass const& glass) {
        return refusal_of([&] { return to_check_after(thin, glass); });
    };
    CHECK(has(refused({2, 1.45, 1.457}), "millimetres given as metres"));
    CHECK(has(refused({0, 1.45, 1.457}), "above 0"));
    CHECK(has(refused({0.002, 0.9, 1.457}), "refractive index"));
    CHECK(has(refused({0.002, 1.45, 1.457, 2}), "wedge"));
    CHECK(has(refusal_of([] { return to_check_after(thin, thin, {0}); }), "distance"));
}

TEST_CASE("a check after the change is held against one before it") {
    std::vector<MarkPlace> const five{{0, 0}, {-0.1, -0.1}, {0.1, -0.1}, {0.1, 0.1}, {-0.1, 0.1}};
    CommissioningRecord const record{100, 365, five, 1e-5, 1e-4, {{0.002, 2e-5}, 2e-4}, {{3680, 8}, 80}};
    // It had drifted since commissioning, and the glass brought the focus and some power.
    DailyCheck before{130, five, 1e-5, {0.0021, 2e-5}, {3600, 8}};
    for (auto& mark : before.marks)
        mark.x += 8e-5;
    DailyCheck after = before;
    after.date = 130.1;
    after.focus.value += 3.1e-4;
    after.power.value = 3670;
    auto const plain = glass_comparison(record, before, after);
    CHECK(plain.items[static_cast<std::size_t>(CheckItem::focus)].verdict == CheckVerdict::beyond);
    CHECK(plain.items[static_cast<std::size_t>(CheckItem::shift_x)].verdict == CheckVerdict::fine);
    CHECK(std::abs(plain.items[static_cast<std::size_t>(CheckItem::power)].change.value - 70) < 1e-12);
    CHECK(!plain.expired);
    auto const foreseen = glass_comparison(record, before, after, 3.1e-4);
    CHECK(foreseen.items[static_cast<std::size_t>(CheckItem::focus)].verdict == CheckVerdict::fine);
    CHECK(has(refusal_of([&] { return glass_comparison(record, after, before); }), "before the record's"));
}
