#include "seamhold/seam/lettering.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"
#include "support/refusal.hpp"
#include "support/shape_laws.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;
std::string const every_sign = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./+";

// A letter 6 mm high at the origin, so that its units are mm.
Lettering letter(char sign) { return lettering(std::string(1, sign), {0.006}, StraightBaseline{{0, 0}}); }

// How far a point is from the nearest of all strokes, m.
double distance_to(Lettering const& text, double x, double y) {
    double least = infinity;
    for (auto const& stroke : text.strokes)
        for (int i = 0; i <= 2000; ++i) {
            auto const p = stroke.shape.at(stroke.shape.length() * i / 2000);
            least = std::min(least, std::hypot(p.x - x, p.y - y));
        }
    return least;
}

} // namespace

TEST_CASE("every letter: strokes without corners, no arc too tight, as high and as wide as it says") {
    for (char const sign : every_sign) {
        CAPTURE(sign);
        auto const one = letter(sign);
        REQUIRE(!one.strokes.empty());
        for (auto const& stroke : one.strokes) {
            CHECK(stroke.letter == sign);
            CHECK(stroke.index == 0);
            check_shape_laws(stroke.shape);
            CHECK(stroke.shape.corners().empty());
            for (auto const& piece : stroke.shape.pieces()) {
                if (auto const* arc = std::get_if<Arc<>>(&piece))
                    CHECK(arc->radius >= 0.0005 * (1 - 1e-12)); // a twelfth of the height
                CHECK(std::visit([](auto const& p) { return p.length(); }, piece) > 1e-5); // no crumbs
            }
        }
        auto const box = one.extent();
        double const bits = 1e-17; // of 6 mm
        CHECK(box.low_x >= -bits);
        CHECK(box.high_x <= one.width + bits);
        CHECK(box.low_y >= -bits);
        CHECK(box.high_y <= 0.006 + bits);
        bool const letter_or_digit = std::string("-.+").find(sign) == std::string::npos;
        if (letter_or_digit) { // from the baseline to the top, and nearly as wide as the room it takes
            CHECK(std::abs(box.low_y) <= bits);
            CHECK(std::abs(box.high_y - 0.006) <= bits);
            CHECK(box.width() >= one.width - 0.0003);
        }
    }
}

TEST_CASE("no two signs look alike, and what touches in a letter does so") {
    // The greatest distance from a point of one sign to the other sign, a tenth of the height or more.
    for (char const a : every_sign)
        for (char const b : every_sign) {
            if (a == b)
                continue;
            CAPTURE(a);
            CAPTURE(b);
            double most = 0;
            auto const one = letter(a), other = letter(b);
            for (auto const& [from, to] : {std::array{&one, &other}, std::array{&other, &one}})
                for (auto const& stroke : from->strokes)
                    for (int i = 0; i <= 40; ++i) {
                        auto const p = stroke.shape.at(stroke.shape.length() * i / 40);
                        double least = infinity;
                        for (auto const& target : to->strokes)
                            for (int k = 0; k <= 60; ++k) {
                                auto const q = target.shape.at(target.shape.length() * k / 60);
                                least = std::min(least, std::hypot(p.x - q.x, p.y - q.y));
                            }
                        most = std::max(most, least);
                    }
            CHECK(most >= 0.0006);
        }
    // Bars and legs that start on another stroke start on it: within a hundredth of a mm at this height.
    struct Touch {
        char sign;
        std::size_t stroke;
        bool start, end;
    };
    for (auto const& touch : {Touch{'A', 1, true, true},
                              {'E', 1, true, false},
                              {'F', 1, true, false},
                              {'H', 1, true, true},
                              {'K', 0, false, false},
                              {'R', 1, true, false},
                              {'T', 1, true, false},
                              {'Y', 1, true, false},
                              {'4', 1, true, false},
                              {'3', 1, true, false}}) {
        CAPTURE(touch.sign);
        auto whole = letter(touch.sign);
        auto const stroke = whole.strokes.at(touch.stroke).shape;
        whole.strokes.erase(whole.strokes.begin() + static_cast<std::ptrdiff_t>(touch.stroke));
        auto const start = stroke.at(0.0), end = stroke.at(stroke.length());
        if (touch.start)
            CHECK(distance_to(whole, start.x, start.y) <= 1e-5);
        if (touch.end)
            CHECK(distance_to(whole, end.x, end.y) <= 1e-5);
    }
    // Signs that close do.
    for (char const sign : std::string("D08OQ.")) {
        CAPTURE(sign);
        auto const shape = letter(sign).strokes[0].shape;
        auto const start = shape.at(0.0), end = shape.at(shape.length());
        CHECK(std::hypot(end.x - start.x, end.y - start.y) <= 1e-16);
        CHECK(std::abs(end.tangent_y - start.tangent_y) <= 1e-12); // and smoothly
    }
}

TEST_CASE("letters by hand: lengths of some, mm") {
    auto const length = [](char sign) { return letter(sign).length() * 1e3; };
    CHECK(length('I') == doctest::Approx(6).epsilon(1e-14));
    CHECK(length('H') == doctest::Approx(16).epsilon(1e-14));
    CHECK(length('O') == doctest::Approx(4 + 4 * pi).epsilon(1e-14)); // circles of 2, 2 apart
    CHECK(length('U') == doctest::Approx(8 + 2 * pi).epsilon(1e-14));
    CHECK(length('L') == doctest::Approx(5.5 + 2.9 + pi / 4).epsilon(1e-14)); // a corner of ½
    CHECK(length('8') == doctest::Approx(2 * pi * (1.45 + 1.55)).epsilon(1e-14));
    CHECK(length('X') == doctest::Approx(2 * std::hypot(4, 6)).epsilon(1e-14));
    CHECK(length('.') == doctest::Approx(pi).epsilon(1e-14));
}

TEST_CASE("a text on a straight line: places, order, widths and ways between") {
    LetterSize const size{.height = 0.012, .spacing = 0.3};
    FacePoint const start{0.1, -0.05};
    double const direction = 0.4;
    auto const text = lettering("I-I I", size, StraightBaseline{start, direction});
    REQUIRE(text.strokes.size() == 4);
    // I is a line; by hand: 0, gap 3.6, dash 4.8, gap 3.6, I, gaps and a space of 5, I.
    double const at[] = {0, 0.0036, 0.012, 0.0242};
    std::size_t const index[] = {0, 1, 2, 4};
    double const c = std::cos(direction), s = std::sin(direction);
    for (std::size_t i = 0; i < 4; ++i) {
        auto const p = text.strokes[i].shape.at(0.0);
        double const along = c * (p.x - start.x) + s * (p.y - start.y);
        double const up = -s * (p.x - start.x) + c * (p.y - start.y);
        CHECK(along == doctest::Approx(at[i]).epsilon(1e-12));
        CHECK(up == doctest::Approx(i == 1 ? 0.006 : 0.012).epsilon(1e-12));
        CHECK(text.strokes[i].index == index[i]);
        CHECK(text.strokes[i].letter == "I-I I"[index[i]]);
    }
    CHECK(text.width == doctest::Approx(0.0242).epsilon(1e-14));
    CHECK(text_width("I-I I", size) == text.width);
    CHECK(text.length() == doctest::Approx(3 * 0.012 + 0.0048).epsilon(1e-14));
    // From the foot of the first to the dash, from the dash to the top, from the foot to the top.
    CHECK(text.air_length() ==
          doctest::Approx(std::hypot(0.0036, 0.006) + std::hypot(0.0036, 0.006) + std::hypot(0.0122, 0.012))
              .epsilon(1e-12));
    // Twice the height is twice everything.
    auto const twice = lettering("I-I I", {0.024, 0.3}, StraightBaseline{start, direction});
    CHECK(twice.length() == doctest::Approx(2 * text.length()).epsilon(1e-13));
    CHECK(twice.width == doctest::Approx(2 * text.width).epsilon(1e-14));
    // Strokes in writing order: no letter before one that stands before it.
    auto const number = lettering("HP-TRAY 07/26.B+", size, StraightBaseline{start});
    for (std::size_t i = 1; i < number.strokes.size(); ++i)
        CHECK(number.strokes[i].index >= number.strokes[i - 1].index);
    CHECK(number.extent().width() <= number.width + 1e-15);
}

TEST_CASE("a text around a circle stands upright on it, outside and inside") {
    for (bool const inside : {false, true}) {
        CAPTURE(inside);
        RoundBaseline const circle{{0.1, 0.2}, 0.04, 0.8, inside};
        auto const text = lettering("IIIII", {0.006, 0.5}, circle);
        REQUIRE(text.strokes.size() == 5);
        for (std::size_t i = 0; i < 5; ++i) {
            auto const top = text.strokes[i].shape.at(0.0), foot = text.strokes[i].shape.at(0.006);
            CHECK(std::hypot(foot.x - 0.1, foot.y - 0.2) == doctest::Approx(0.04).epsilon(1e-12));
            CHECK(std::hypot(top.x - 0.1, top.y - 0.2) ==
                  doctest::Approx(inside ? 0.034 : 0.046).epsilon(1e-12));
            // 3 mm apart along 40 mm: clockwise outside, so that it reads from left to right.
            double const angle = 0.8 + (inside ? 1 : -1) * 0.075 * (static_cast<double>(i) - 2);
            CHECK(std::atan2(foot.y - 0.2, foot.x - 0.1) == doctest::Approx(angle).epsilon(1e-12));
        }
        // A wide letter's middle is where the circle carries it: the bar of a T is square to the radius
        // there.
        auto const wide = lettering("T", {0.006}, circle);
        auto const bar = wide.strokes[0].shape.at(0.0);
        double const right = inside ? 0.8 + pi / 2 : 0.8 - pi / 2;
        CHECK(bar.tangent_x == doctest::Approx(std::cos(right)).epsilon(1e-12));
        CHECK(bar.tangent_y == doctest::Approx(std::sin(right)).epsilon(1e-12));
        auto const foot = wide.strokes[1].shape.at(0.006);
        CHECK(foot.x == doctest::Approx(0.1 + 0.04 * std::cos(0.8)).epsilon(1e-12));
        CHECK(foot.y == doctest::Approx(0.2 + 0.04 * std::sin(0.8)).epsilon(1e-12));
    }
}

TEST_CASE("what cannot be written is refused, with its place in the text") {
    StraightBaseline const line{{0, 0}};
    auto const small = refusal_of([&] { return lettering("HP tray", {0.005}, line); });
    CHECK(has(small, "'t' at place 4"));
    CHECK(has(small, "capitals A to Z"));
    CHECK(has(refusal_of([&] { return lettering("A_B", {0.005}, line); }), "'_' at place 2"));
    CHECK(has(refusal_of([&] { return lettering("\xC3\x84", {0.005}, line); }), "a sign at place 1"));
    CHECK(has(refusal_of([&] { return lettering("AB\n", {0.005}, line); }), "a sign at place 3"));
    CHECK(has(refusal_of([&] { return text_width("a", {0.005}); }), "place 1"));
    CHECK(has(refusal_of([&] { return lettering("", {0.005}, line); }), "one letter"));
    CHECK(has(refusal_of([&] { return lettering("  ", {0.005}, line); }), "one letter"));
    for (double const wrong : {0.0, -0.005, not_a_number, infinity})
        CHECK(has(refusal_of([&] { return lettering("A", {wrong}, line); }), "higher than 0"));
    CHECK(has(refusal_of([&] { return lettering("A", {0.005, -0.1}, line); }), "gap"));
    CHECK(has(refusal_of([&] {
                  return lettering("A", {0.005}, StraightBaseline{{0, infinity}});
              }),
              "baseline"));
    CHECK(has(refusal_of([&] {
                  return lettering("A", {0.005}, StraightBaseline{{0, 0}, not_a_number});
              }),
              "baseline"));
    auto const around = [](std::string const& text, double radius, bool inside, double spacing = 0.25) {
        return refusal_of([&] {
            return lettering(text, {0.006, spacing}, RoundBaseline{{0, 0}, radius, 0, inside});
        });
    };
    CHECK(has(around("A", 0, false), "radius above 0 mm"));
    CHECK(has(around("A", 0.006, true), "radius above 6 mm"));
    CHECK(has(around("A", infinity, false), "finite"));
    CHECK(has(around("A", not_a_number, false), "finite"));
    // Ten letters I with gaps of 1.5 mm take 15 mm of a circle with their own way home, of radius 2.387 mm.
    CHECK(around("IIIIIIIIII", 0.00239, false) == "");
    CHECK(has(around("IIIIIIIIII", 0.00238, false), "mm long"));
    auto const touching = around("A OO", 0.016, true);
    CHECK(has(touching, "letters 3 and 4"));
    CHECK(around("A OO", 0.016, true, 1.2) == "");
    CHECK(around("A OO", 0.016, false) == "");
}
