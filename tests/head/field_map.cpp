#include "seamhold/head/field_map.hpp"

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Angles = std::array<double, 2>;

// An invented distortion of some 2 mrad, which is 1 mm in the focal plane of a head with 0.3 m of field at
// 0.25 m from its mirrors: waves of about the length of the field, and a slope.
template <class T> std::array<T, 2> distorted(T const& x, T const& y) {
    using std::cos;
    using std::sin;
    return {T(x + 0.0012 * sin(T(x * 9.0 + y * 5.0 + 0.3)) + 0.004 * y),
            T(y + 0.0015 * cos(T(x * 7.0 - y * 10.0)) - 0.001 * x)};
}

double const reach = 0.25; // rad to each side

std::vector<FieldMark> marks_on_grid(std::size_t nx, std::size_t ny) {
    std::vector<FieldMark> marks;
    for (std::size_t i = 0; i < nx; ++i)
        for (std::size_t j = 0; j < ny; ++j) {
            double const x = -reach + 2 * reach * static_cast<double>(i) / static_cast<double>(nx - 1);
            double const y = -reach + 2 * reach * static_cast<double>(j) / static_cast<double>(ny - 1);
            marks.push_back({marks.size() + 2, {x, y}, distorted(x, y)}); // row 1 names the columns
        }
    return marks;
}

// Without these rows.
std::vector<FieldMark> without(std::vector<FieldMark> marks, std::vector<std::size_t> const& rows) {
    std::erase_if(marks,
                  [&](auto const& m) { return std::find(rows.begin(), rows.end(), m.row) != rows.end(); });
    return marks;
}

// Some one in twelve missing, but no two beside each other, so that no hole is large.
std::vector<FieldMark> thinned(std::size_t n, Random& random) {
    auto marks = marks_on_grid(n, n);
    std::vector<std::size_t> rows;
    for (std::size_t i = 0; i < n; i += 2)
        for (std::size_t j = 0; j < n; j += 2)
            if (random.unit() < 1.0 / 3)
                rows.push_back(i * n + j + 2);
    return without(std::move(marks), rows);
}

struct Errors {
    double inside = 0;   // of forward, against the known distortion, on a fine grid inside the hull
    double identity = 0; // of forward after back and of back after forward
    bool solved = true;
};

Errors errors_of(FieldMap const& map) {
    Errors errors;
    for (int i = 0; i <= 150; ++i)
        for (int j = 0; j <= 150; ++j) {
            double const x = reach * (i - 75) / 75, y = reach * (j - 75) / 75;
            if (map.share(x, y) < 0)
                continue;
            auto const got = map.forward(x, y), truth = distorted(x, y);
            errors.inside = std::max(errors.inside, std::hypot(got[0] - truth[0], got[1] - truth[1]));
            auto const back = map.back(got[0], got[1]);
            auto const again = map.forward(back.angles[0], back.angles[1]);
            errors.identity = std::max({errors.identity, std::hypot(back.angles[0] - x, back.angles[1] - y),
                                        std::hypot(again[0] - got[0], again[1] - got[1])});
            errors.solved = errors.solved && back.solved;
        }
    return errors;
}

// The message of the BadInput that fitting these marks throws.
std::string refusal(std::vector<FieldMark> const& marks) {
    return refusal_of([&] { return fit_field_map(marks); });
}

} // namespace

TEST_CASE("forward then back is the same command, over all sizes of grid, with and without missing marks") {
    Random random(41);
    for (std::size_t const n : {5U, 6U, 9U, 17U, 33U, 65U})
        for (bool const missing : {false, true}) {
            auto const marks = missing ? thinned(n, random) : marks_on_grid(n, n);
            auto const map = fit_field_map(marks);
            auto const errors = errors_of(map);
            auto const& report = map.report();
            CAPTURE(n);
            CAPTURE(missing);
            CHECK(errors.solved);
            // Promised: 1e-9 m at 0.5 m are 1e-9 rad of mirror; the last Newton step leaves rounding of
            // angles of 0.25 rad.
            CHECK(errors.identity < 1e-15);
            CHECK(report.back_error < 1e-15);
            // The distortion is 1.9 mrad; a missing mark may cost some times the error of a full grid.
            CHECK(report.start_error < 2e-5);
            double const full[] = {1.4e-4, 3.3e-5, 3.2e-6, 4.9e-8, 1.7e-9, 5.3e-11}; // as measured
            CHECK(errors.inside < (missing ? 4 : 1) * full[n == 5    ? 0
                                                           : n == 6  ? 1
                                                           : n == 9  ? 2
                                                           : n == 17 ? 3
                                                           : n == 33 ? 4
                                                                     : 5]);
            CHECK(report.marks == marks.size());
            CHECK(report.missing == n * n - marks.size());
        }
}

TEST_CASE("halving the spacing of the marks shrinks the error by the fifth power") {
    double before = 0;
    for (std::size_t const n : {9U, 17U, 33U, 65U}) {
        double const error = errors_of(fit_field_map(marks_on_grid(n, n))).inside;
        // Degree 4: order 5. Cells are 4, 9, 19, 38 a side, not quite twice as many each time, by which
        // log2(ratio) varies between 5·log2(2) = 5 and 5·log2(9 / 4) = 5.8; coarse grids add a little.
        if (n > 17)
            CHECK(std::log2(before / error) > 4.7);
        before = error;
    }
}

TEST_CASE("a map of invented distortion is met, its worst mark named") {
    auto marks = marks_on_grid(9, 9);
    auto const clean = fit_field_map(marks).report();
    double largest = 0;
    for (auto const& m : marks)
        largest = std::max(largest, std::hypot(m.found[0] - m.commanded[0], m.found[1] - m.commanded[1]));
    CHECK(clean.largest_displacement == doctest::Approx(largest));
    CHECK(clean.worst < 1e-4);
    CHECK(clean.rms <= clean.worst);
    CHECK(clean.rms > 0);
    // One mark off by 1 mrad: it stands out, since 8 x 8 unknowns cannot follow 9 x 9 marks wholly.
    marks[40].found[0] += 1e-3;
    auto const spoilt = fit_field_map(marks).report();
    CHECK(spoilt.worst_row == 42);
    CHECK(spoilt.worst_at == marks[40].commanded);
    CHECK(spoilt.worst > 2e-4);
    // A polynomial of degree 4 is met to rounding, also where marks are missing.
    for (std::size_t const n : {5U, 9U}) {
        auto polynomial = marks_on_grid(n, n);
        auto const f = [](double x, double y) {
            return Angles{x + 0.1 * x * x * x * y - 0.05 * y * y, y + 0.2 * x * y * y * y + 0.01 * x * x};
        };
        for (auto& m : polynomial)
            m.found = f(m.commanded[0], m.commanded[1]);
        auto const map = fit_field_map(n == 9 ? without(polynomial, {2, 10, 42, 43}) : polynomial);
        CHECK(map.report().worst < 1e-14);
        auto const got = map.forward(0.123, -0.077);
        CHECK(got[0] == doctest::Approx(f(0.123, -0.077)[0]).epsilon(1e-12));
        CHECK(got[1] == doctest::Approx(f(0.123, -0.077)[1]).epsilon(1e-12));
    }
}

TEST_CASE("marks need not stand in rows") {
    Random random(42);
    auto marks = marks_on_grid(17, 17);
    for (auto& m : marks) {
        for (double& angle : m.commanded)
            angle += random.uniform(-0.006, 0.006); // a fifth of the spacing
        m.found = distorted(m.commanded[0], m.commanded[1]);
    }
    auto const map = fit_field_map(marks);
    auto const errors = errors_of(map);
    CHECK(errors.inside < 1e-5);
    CHECK(errors.identity < 1e-15);
}

TEST_CASE("rates and parameters go through the map and back") {
    auto const map = fit_field_map(marks_on_grid(17, 17));
    Random random(43);
    for (int i = 0; i < 200; ++i) {
        double const x = random.uniform(-0.24, 0.24), y = random.uniform(-0.24, 0.24);
        Taylor<double, 3> u(x), v(y);
        for (int k = 1; k <= 3; ++k) {
            u.coefficient[k] = random.uniform(-1, 1);
            v.coefficient[k] = random.uniform(-1, 1);
        }
        auto const there = map.forward(u, v);
        auto const truth = distorted(u, v);
        auto const back = map.back(there[0], there[1]);
        // The k-th derivative of a fit of order 5 is off by the order 5 − k of a cell: 0.056 rad, a third of
        // a wave's radian, each.
        double const off[] = {1e-5, 1e-4, 1e-3, 3e-2};
        for (int k = 0; k <= 3; ++k) {
            CHECK(std::abs(there[0].coefficient[k] - truth[0].coefficient[k]) < off[k]);
            CHECK(std::abs(there[1].coefficient[k] - truth[1].coefficient[k]) < off[k]);
            // The identity holds for the map itself, to rounding of coefficients of size 1.
            CHECK(std::abs(back.angles[0].coefficient[k] - u.coefficient[k]) < 1e-14);
            CHECK(std::abs(back.angles[1].coefficient[k] - v.coefficient[k]) < 1e-14);
        }
        using TG = Taylor<Gradient<double, 2>, 2>;
        TG a(Gradient<double, 2>::variable(x, 0)), b(Gradient<double, 2>::variable(y, 1));
        a.coefficient[1] = Gradient<double, 2>::variable(0.7, 1);
        b.coefficient[2] = Gradient<double, 2>::variable(-0.3, 0);
        auto const lifted = map.forward(a, b);
        auto const returned = map.back(lifted[0], lifted[1]);
        for (int k = 0; k <= 2; ++k) {
            auto const &ra = returned.angles[0].coefficient[k], &rb = returned.angles[1].coefficient[k];
            CHECK(std::abs(ra.value - a.coefficient[k].value) < 1e-14);
            CHECK(std::abs(rb.value - b.coefficient[k].value) < 1e-14);
            for (int p = 0; p < 2; ++p) {
                CHECK(std::abs(ra.partial[p] - a.coefficient[k].partial[p]) < 1e-13);
                CHECK(std::abs(rb.partial[p] - b.coefficient[k].partial[p]) < 1e-13);
            }
        }
        auto const narrow = map.forward(static_cast<float>(x), static_cast<float>(y));
        CHECK(narrow[0] == doctest::Approx(there[0].value()).epsilon(1e-5).scale(0.1)); // digits of a float
        CHECK(map.back(narrow[0], narrow[1]).angles[0] == doctest::Approx(x).epsilon(1e-5).scale(0.1));
    }
}

TEST_CASE("the map and its clearance do not touch the heap") {
    auto const map = fit_field_map(marks_on_grid(9, 9));
    AllocationGuard const guard;
    auto const there = map.forward(Taylor<double, 2>::variable(0.1), Taylor<double, 2>(0.05));
    auto const back = map.back(there[0], there[1]);
    auto const share = map.share(there[0], there[1]);
    auto const start = map.start(0.1, 0.05);
    CHECK(guard.count() == 0);
    CHECK(back.solved);
    CHECK(share.value() > 0);
    CHECK(start[0] == doctest::Approx(0.1).epsilon(0.02));
}

TEST_CASE("beyond the marks the share is negative, and a missing corner cuts the corner") {
    auto const map = fit_field_map(marks_on_grid(9, 9));
    CHECK(map.hull().in() == OutlineIn::mirror_angles);
    CHECK(map.share(0.0, 0.0) == doctest::Approx(1).epsilon(1e-9)); // the square's deepest place
    CHECK(std::abs(map.share(reach, 0.1)) < 1e-14);
    CHECK(map.share(reach + 1e-6, 0.1) < 0);
    CHECK(map.share(0.99 * reach, 0.99 * reach) > 0);
    auto const cut = fit_field_map(without(marks_on_grid(9, 9), {2}));
    CHECK(cut.report().missing == 1);
    double const spacing = reach / 4;
    CHECK(std::abs(cut.share(-reach, -reach + spacing)) < 1e-14);
    CHECK(std::abs(cut.share(-reach + spacing / 2, -reach + spacing / 2)) < 1e-14);
    CHECK(cut.share(-reach + 0.49 * spacing, -reach + 0.49 * spacing) < 0);
    CHECK(cut.share(-reach + 0.51 * spacing, -reach + 0.51 * spacing) > 0);
    // A bowed field: its hull loses corners, but no mark, and reaches no further than a twentieth of the
    // spacing.
    auto bowed = marks_on_grid(33, 33);
    for (auto& m : bowed) {
        auto const [x, y] = m.commanded;
        m.commanded = {x * (1 - 0.8 * y * y), y * (1 - 0.8 * x * x)};
        m.found = distorted(m.commanded[0], m.commanded[1]);
    }
    auto const map_of_bowed = fit_field_map(bowed);
    for (auto const& m : bowed)
        CHECK(map_of_bowed.share(m.commanded[0], m.commanded[1]) > -1e-14);
    // Where the share is 0, in ten thousand directions: how far from the outermost marks, and from the lines
    // between neighbours of them?
    double furthest = 0;
    for (int k = 0; k < 10000; ++k) {
        double const c = std::cos(k * 6.283185307e-4), s = std::sin(k * 6.283185307e-4);
        double in = 0.5 * reach, out = 2 * reach;
        for (int halving = 0; halving < 40; ++halving)
            (map_of_bowed.share(c * (in + out) / 2, s * (in + out) / 2) > 0 ? in : out) = (in + out) / 2;
        double nearest = 1;
        for (std::size_t side = 0; side < 4; ++side)
            for (std::size_t i = 0; i < 32; ++i) {
                std::size_t const step = side < 2 ? 1 : 33, from = side % 2 == 0 ? 0
                                                                   : side < 2    ? 32 * 33
                                                                                 : 32;
                auto const &a = bowed[from + i * step].commanded, &b = bowed[from + (i + 1) * step].commanded;
                double const ex = b[0] - a[0], ey = b[1] - a[1];
                double const part =
                    std::clamp(((c * in - a[0]) * ex + (s * in - a[1]) * ey) / (ex * ex + ey * ey), 0.0, 1.0);
                nearest = std::min(nearest, std::hypot(c * in - a[0] - part * ex, s * in - a[1] - part * ey));
            }
        furthest = std::max(furthest, nearest);
    }
    CHECK(furthest < 0.05 * 2 * reach / 32);
    CHECK(furthest > 0.01 * 2 * reach / 32); // corners were saved
    // Far outside, all is finite, the displacement has levelled off, and the way back is still found.
    for (double const far : {0.4, 1.0, 100.0}) {
        auto const there = map.forward(Taylor<double, 3>::variable(far), -far);
        CHECK(is_finite(there[0]));
        CHECK(std::abs(there[0].value() - far) < 0.05);
        CHECK(map.back(there[0], there[1]).solved);
    }
}

TEST_CASE("derivatives up to the third go through every knot and the rectangle's edge without a jump") {
    auto const map = fit_field_map(marks_on_grid(9, 9));
    CHECK(FieldMap::continuity == 3);
    REQUIRE(map.knots_x().size() == 5);
    CHECK(map.knots_y().size() == 5);
    CHECK(map.knots_x().front() == -reach);
    CHECK(map.knots_y().back() == reach);
    for (double const knot : map.knots_x())
        for (int k = 0; k <= 3; ++k) {
            auto const before = map.forward(Taylor<double, 3>::variable(knot - 1e-9), 0.07);
            auto const after = map.forward(Taylor<double, 3>::variable(knot + 1e-9), 0.07);
            // The next derivative, some 1e4 at most here, times 2e-9.
            CHECK(before[0].derivative(k) == doctest::Approx(after[0].derivative(k)).epsilon(1e-5).scale(1));
            CHECK(before[1].derivative(k) == doctest::Approx(after[1].derivative(k)).epsilon(1e-5).scale(1));
        }
}

TEST_CASE("marks as angles from marks as written down") {
    std::vector<MarkRow> const rows = {{2, {0.1, 0.2}, {0.11, 0.21}, false},
                                       {3, {0.05, -0.04}, {0.12, 0.22}, true}};
    auto const marks = marks_from(
        rows,
        [](double x, double y) {
            return Angles{x / 2, y / 2};
        },
        [](double x, double y) {
            return Angles{x / 4, y / 4};
        });
    REQUIRE(marks.size() == 2);
    CHECK(marks[0].row == 2);
    CHECK(marks[0].commanded == Angles{0.05, 0.1});
    CHECK(marks[0].found == Angles{0.11 / 4, 0.21 / 4});
    CHECK(marks[1].row == 3);
    CHECK(marks[1].commanded == Angles{0.05, -0.04});
    CHECK(marks[1].found == Angles{0.03, 0.055});
}

TEST_CASE("marks that make no map are refused by row") {
    auto const good = marks_on_grid(9, 9);
    CHECK(refusal(good).empty());
    auto bad = good;
    bad[7].found[1] = std::numeric_limits<double>::quiet_NaN();
    CHECK(refusal(bad) == "row 9 of a field's marks holds an angle that is not finite");
    CHECK(refusal({good.begin(), good.begin() + 15}) ==
          "a field map needs 5 x 5 marks, of which some may be missing; given were 15");
    CHECK(refusal(marks_on_grid(4, 9)) ==
          "a field map needs 5 x 5 marks or more; the 36 given stand in about 4 x 9");
    bad = good;
    for (auto& m : bad)
        m.commanded[1] = 0.1;
    CHECK(refusal(bad) == "all marks of a field lie on one line, from (-0.25, 0.1) rad to (0.25, 0.1) rad");
    bad = good;
    bad[40].commanded = bad[4].commanded;
    CHECK(refusal(bad) == "rows 6 and 42 of a field's marks have the same command, (-0.25, 0) rad");
    bad = good;
    for (auto& m : bad)
        m.found[0] = -m.found[0];
    CHECK(refusal(bad) ==
          "the found marks of a field run the other way than commanded along x, as between rows 2 "
          "and 82: the field is mirrored");
    bad = good;
    for (auto& m : bad)
        m.found[1] = -m.found[1];
    CHECK(refusal(bad).starts_with(
        "the found marks of a field run the other way than commanded along y, as between rows "));
    CHECK(refusal(bad).ends_with(": the field is mirrored"));
    bad = good;
    for (auto& m : bad)
        m.found = {-m.found[0], -m.found[1]};
    CHECK(refusal(bad).ends_with(": the field is turned"));
    bad = good;
    for (auto& m : bad)
        std::swap(m.found[0], m.found[1]);
    CHECK(refusal(bad).ends_with(": x and y have changed places"));
    // Two neighbours exchanged: rows 41 and 42 (and 42 with 43, further on).
    bad = good;
    std::swap(bad[39].found, bad[40].found);
    CHECK(refusal(bad) ==
          "the found marks of a field fold over between rows 41 and 42: from (0, -0.0625) rad to (0, "
          "0) rad they go back");
    // A wave so steep that x stands still half way between marks, though each mark is beyond its neighbour.
    bad = good;
    for (auto& m : bad)
        m.found[0] = m.commanded[0] + 0.058 * std::sin(m.commanded[0] * 16);
    CHECK(refusal(bad).starts_with("the found marks of a field fold over between rows "));
    // A hole of 3 x 3 is refused, one of 2 x 2 is not.
    CHECK(refusal(without(good, {32, 33, 41, 42})).empty());
    CHECK(refusal(without(good, {32, 33, 34, 41, 42, 43, 50, 51, 52})) ==
          "the marks of a field leave a hole near the command (0, 0) rad: the nearest mark, row 24, is 2 "
          "spacings "
          "away; 1.75 are allowed");
}
