#include "seamhold/live/fingerprint_mixer.hpp"

#include "seamhold/head/any_head.hpp"
#include "seamhold/seam/seam.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>
#include <string_view>

// Fingerprints of heads, mounts, parts and calibrations.

using namespace seamhold;
using namespace seamhold::test;

namespace {

std::uint64_t hash_of(std::string_view text) {
    seamhold::detail::ByteHash hash;
    for (char const c : text)
        hash.add(static_cast<std::uint8_t>(c));
    return hash.state;
}

MirrorPair<> ideal() { return {0.03, 0.53, 10, {-0.17, 0.17}, {-0.17, 0.17}, {-0.03, 0.03}, 0.2}; }

/// x with its last bits off, as from another compiler.
double off(double x, Random& random) { return x * (1 + random.uniform(-4, 4) * 0x1p-52); }

} // namespace

TEST_CASE("the hash of bytes is the published one") {
    // Test values of FNV-1a with 64 bits by its authors (from memory).
    CHECK(hash_of("") == 0xcbf29ce484222325U);
    CHECK(hash_of("a") == 0xaf63dc4c8601ec8cU);
    CHECK(hash_of("foobar") == 0x85944171f73967e8U);
}

TEST_CASE("numbers and text are mixed as said") {
    // Worked out apart from this project, in Python, from the description in the header.
    auto const value = FingerprintMixer()
                           .absolute(0.45, 1e-7)
                           .relative(-3.5, 1e-6)
                           .text("gas")
                           .count(7)
                           .absolute(-0.0123, 1e-6)
                           .value();
    CHECK(value == 0x4814b8650b4c966fU);
}

TEST_CASE("the first part that differs is named") {
    Fingerprint const a{{1, 2, 3, 4}};
    CHECK_FALSE(first_difference(a, a).has_value());
    CHECK_NOTHROW(check_fingerprint(a, a));
    FingerprintPart const parts[] = {FingerprintPart::head, FingerprintPart::mount, FingerprintPart::part,
                                     FingerprintPart::calibration};
    for (auto const part : parts) {
        auto b = a;
        b[part] = 0xabcdef;
        b[FingerprintPart::calibration] = 77; // a later one does not matter
        CHECK(first_difference(a, b) == part);
        CHECK(first_difference(b, a) == part);
        try {
            check_fingerprint(a, b);
            FAIL("not refused");
        } catch (BadInput const& error) {
            std::string const message = error.what();
            INFO(message);
            CHECK(message.find(std::string("made for another ") + to_string(part)) != std::string::npos);
            CHECK(message.find("000000000000000" + std::to_string(1 + static_cast<int>(part))) !=
                  std::string::npos);
        }
    }
    CHECK(first_difference({}, a) == FingerprintPart::head);
    CHECK_FALSE(first_difference({}, {}).has_value());
}

TEST_CASE("all that goes in counts, and its order") {
    auto const of = [](auto const& mix) {
        FingerprintMixer mixer;
        mix(mixer);
        return mixer.value();
    };
    std::uint64_t const all[] = {
        of([](FingerprintMixer&) {}),
        of([](FingerprintMixer& m) { m.absolute(0, 1e-6); }),
        of([](FingerprintMixer& m) { m.relative(0, 1e-6); }),
        of([](FingerprintMixer& m) { m.count(0); }),
        of([](FingerprintMixer& m) {
            m.text("");
            m.text("a");
        }),
        of([](FingerprintMixer& m) {
            m.text("a");
            m.text("");
        }),
        of([](FingerprintMixer& m) { m.text("ab"); }),
        of([](FingerprintMixer& m) { m.absolute(1, 1e-6).absolute(2, 1e-6); }),
        of([](FingerprintMixer& m) { m.absolute(2, 1e-6).absolute(1, 1e-6); }),
        of([](FingerprintMixer& m) { m.absolute(-1, 1e-6).absolute(2, 1e-6); }),
        of([](FingerprintMixer& m) { m.absolute(NAN, 1e-6); }),
        of([](FingerprintMixer& m) { m.relative(NAN, 1e-6); }),
        of([](FingerprintMixer& m) { m.relative(3, 1e-6); }),
        of([](FingerprintMixer& m) { m.relative(-3, 1e-6); }),
        of([](FingerprintMixer& m) { m.absolute(1e300, 1e-6); }),
        of([](FingerprintMixer& m) { m.absolute(2e300, 1e-6); }),
    };
    for (std::size_t i = 0; i < std::size(all); ++i)
        for (std::size_t k = 0; k < i; ++k)
            CHECK(all[i] != all[k]);
    CHECK(of([](FingerprintMixer& m) { m.absolute(0.0, 1e-6); }) ==
          of([](FingerprintMixer& m) { m.absolute(-0.0, 1e-6); }));
    CHECK(of([](FingerprintMixer& m) { m.relative(1e-320, 1e-6); }) ==
          of([](FingerprintMixer& m) { m.relative(-0.0, 1e-6); }));
    for (double const bad : {0.0, -1.0, double(NAN), double(INFINITY)}) {
        FingerprintMixer mixer;
        CHECK_THROWS_WITH_AS(mixer.absolute(1, bad), doctest::Contains("resolution must be above 0"),
                             BadInput);
        CHECK_THROWS_AS(mixer.relative(1, bad), BadInput);
    }
}

TEST_CASE("last bits do not matter, also of numbers that people write") {
    Random random(41);
    std::size_t wrong = 0, missed = 0;
    auto const absolute = [](double x) { return FingerprintMixer().absolute(x, 1e-7).value(); };
    auto const relative = [](double x) { return FingerprintMixer().relative(x, 1e-9).value(); };
    for (std::size_t run = 0; run < runs(20000); ++run) {
        // Up to 8 digits, so whole, half, quarter, fifth, tenth cells, and powers of two.
        double const scale = std::pow(10, 1 + static_cast<double>(random.index(8)));
        double const x = std::round(random.uniform(-1, 1) * scale) / scale;
        double const y = std::ldexp(1, static_cast<int>(random.index(40)) - 20);
        wrong += absolute(x) != absolute(off(x, random));
        wrong += absolute(x + 5e-8) != absolute(off(x + 5e-8, random));
        wrong += relative(y) != relative(off(y, random));
        wrong += relative(-y) != relative(off(-y, random));
        // A whole cell is seen.
        missed += absolute(x) == absolute(x + 1.001e-7);
        missed += relative(y) == relative(y * (1 + 1.001e-9));
    }
    CHECK(wrong == 0);
    CHECK(missed == 0);
}

TEST_CASE("a number at random falls into another cell as seldom as said") {
    // d/r of 1 in 200: of 40 000 pairs 200 ± 14 differ.
    Random random(42);
    int different = 0;
    for (int i = 0; i < 40000; ++i) {
        double const x = random.uniform(-1, 1);
        different += FingerprintMixer().absolute(x, 1e-6).value() !=
                     FingerprintMixer().absolute(x + 5e-9, 1e-6).value();
    }
    CHECK(different > 200 - 5 * 14);
    CHECK(different < 200 + 5 * 14);
}

TEST_CASE("poses: a micrometre or a microradian is seen, last bits are not") {
    Random random(43);
    std::size_t wrong = 0;
    for (std::size_t run = 0; run < runs(500); ++run) {
        auto const pose = random_pose<Flange, Head>(random);
        auto const print = fingerprint_of(pose);
        wrong += print != fingerprint_of(pose);
        auto near = pose;
        for (auto& row : near.rotation.m)
            for (double& x : row)
                x = off(x, random);
        near.origin.y = off(near.origin.y, random);
        wrong += print != fingerprint_of(near);
        for (double Point<Flange>::*const axis : {&Point<Flange>::x, &Point<Flange>::y, &Point<Flange>::z}) {
            auto moved = pose;
            moved.origin.*axis += 1e-6;
            wrong += print == fingerprint_of(moved);
        }
        auto const turn = about_axis<Flange, Flange>(unit(Direction<Flange>{1, 2, 3}), 1e-6);
        wrong += print == fingerprint_of(Pose<Flange, Head>{turn * pose.rotation, pose.origin});
    }
    CHECK(wrong == 0);
}

TEST_CASE("ideal heads: every parameter is seen") {
    auto const print = fingerprint_of(ideal());
    auto const changed = [&](auto const& change) {
        auto head = ideal();
        change(head);
        return fingerprint_of(head) != print;
    };
    CHECK_FALSE(changed([](auto&) {}));
    CHECK(changed([](auto& h) { h.separation += 1e-7; }));
    CHECK(changed([](auto& h) { h.focus_path += 1e-7; }));
    CHECK(changed([](auto& h) { h.focus_ratio += 1e-4; }));
    CHECK(changed([](auto& h) { h.x_range.high += 1e-7; }));
    CHECK(changed([](auto& h) { h.x_range.low += 1e-7; }));
    CHECK(changed([](auto& h) { h.y_range.low += 1e-7; }));
    CHECK(changed([](auto& h) { h.y_range.high += 1e-7; }));
    CHECK(changed([](auto& h) { h.focus_range.low += 1e-7; }));
    CHECK(changed([](auto& h) { h.focus_range.high += 1e-7; }));
    CHECK(changed([](auto& h) { h.field_radius += 1e-6; }));
    CHECK(fingerprint_of(AnyHead(ideal())) == print); // however it is held
    Random random(44);
    std::size_t wrong = 0;
    for (std::size_t run = 0; run < runs(200); ++run)
        wrong += changed([&](auto& h) {
            h.separation = off(h.separation, random);
            h.focus_path = off(h.focus_path, random);
            h.focus_ratio = off(h.focus_ratio, random);
        });
    CHECK(wrong == 0);
}

TEST_CASE("real heads: mirrors, map and lens are seen without being asked for") {
    Random random(45);
    std::size_t wrong = 0;
    for (int run = 0; run < 4; ++run) {
        auto plain = random_open_head(random);
        plain.map = random_map(random);
        auto const print = fingerprint_of(open_head_of(plain));
        wrong += print != fingerprint_of(open_head_of(plain));
        auto other = plain;
        other.map->x[4] += 1e-4; // at most 4 µrad
        wrong += print == fingerprint_of(open_head_of(other));
        other = plain;
        other.map.reset();
        wrong += print == fingerprint_of(open_head_of(other));
        other = plain;
        other.mirrors.last.offset += 1e-6;
        wrong += print == fingerprint_of(open_head_of(other));
        other = plain; // last bits
        other.mirrors.last.offset = off(other.mirrors.last.offset, random);
        other.ratio = off(other.ratio, random);
        other.map->y[7] = off(other.map->y[7], random);
        wrong += print != fingerprint_of(open_head_of(other));

        auto lens = random_lens_head(random);
        auto const with_lens = fingerprint_of(lens_head_of(lens));
        lens.lens->kappa_y += 1e-5;
        wrong += with_lens == fingerprint_of(lens_head_of(lens));
    }
    CHECK(wrong == 0);
}

TEST_CASE("seams: place, speed, weave, focus and power are seen") {
    auto const made = [](double length, double speed, SeamOptions const& options = {}) {
        Plane<> const face{Pose<Part, Face>::identity()};
        auto const straight = straight_between({0, 0}, {length, 0});
        return FingerprintMixer()
            .seam(at_speed(OnFace<Straight<>, Plane<>>{straight, face}, speed, options))
            .value();
    };
    auto const print = made(0.04, 0.2);
    CHECK(print == made(0.04, 0.2));
    CHECK(print != made(0.04001, 0.2));
    CHECK(print != made(0.04, 0.20001));
    CHECK(print != made(0.04, 0.2, {.weave = {313, 0.0005}, .focus_offset = 0, .power = {}}));
    CHECK(print !=
          made(0.04, 0.2, {.weave = {320, 0.0005}, .focus_offset = 0, .power = {}})); // with 64 whole swings
    CHECK(print != made(0.04, 0.2, {.weave = {}, .focus_offset = 1e-5, .power = {}}));
}
