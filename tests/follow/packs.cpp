#include "support/numbers.hpp"
#include "support/random.hpp"

#include "seamhold/follow/job.hpp"
#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/limit/demand.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/number/pack.hpp"
#include "seamhold/seam/stitches.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

// The chain over packs against the same chain over plain doubles, candidate by candidate. These sources are
// compiled without fused instructions, so that both round alike and must be equal to the last bit.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr int lanes = 8;
using P = Pack<lanes>;

/// What candidates differ in: sweep speed, standoff, tilts of the head, mirror separation, focus path, place
/// of the part, when the seam starts.
using Numbers = std::array<double, 8>;

template <class S>
using CandidateChain = Chain<Steady<Cell, Flange, S>, Rest<Cell, Part, S>, MirrorPair<S>, S>;

template <class S> CandidateChain<S> chain_of(std::array<S, 8> const& x) {
    Direction<Cell> const down{1, 0, 0};
    auto const turned = number_cast<S>(about_axis<Cell, Flange>(down, std::numbers::pi));
    auto const tilted =
        about_axis<Flange, Flange>({1, 0, 0}, x[2]) * about_axis<Flange, Head>({0, 1, 0}, x[3]);
    S const zero = number_cast<S>(0);
    Pose<Cell, Part, S> part{number_cast<S>(Rotation<Cell, Part>::identity()), {x[6], zero, zero}};
    return {{{turned, {zero, zero, x[1]}}, {x[0], zero, zero}, 0},
            {part},
            {tilted, {zero, zero, number_cast<S>(0.05)}},
            {x[4], x[5], number_cast<S>(8), {-0.17, 0.17}, {-0.17, 0.17}, {-0.01, 0.01}, 0.12}};
}

Seam<OnFace<Straight<>, Plane<>>> stitch() {
    return at_speed(straight_between({0.0, -0.02}, {0.02, 0.03}), Plane<>{Pose<Part, Face>::identity()}, 0.1);
}

Numbers candidate(Random& random) {
    return {random.uniform(-0.3, 0.3),   random.uniform(0.4, 0.6),   random.uniform(-0.2, 0.2),
            random.uniform(-0.2, 0.2),   random.uniform(0.02, 0.05), random.uniform(0.45, 0.55),
            random.uniform(-0.05, 0.05), random.uniform(-0.2, 0.2)};
}

std::array<P, 8> packed(std::array<Numbers, lanes> const& candidates) {
    std::array<P, 8> x;
    for (std::size_t k = 0; k < x.size(); ++k)
        for (int i = 0; i < lanes; ++i)
            x[k].set_lane(i, candidates[static_cast<std::size_t>(i)][k]);
    return x;
}

} // namespace

TEST_CASE("a chain over packs gives what it gives each candidate alone, with all rates and its status") {
    using T = Taylor<double, 3>;
    using TP = Taylor<P, 3>;
    auto const seam = stitch();
    Random random(7101);
    int ok = 0, out = 0;
    for (std::size_t run = 0; run < runs(200); ++run) {
        std::array<Numbers, lanes> candidates;
        for (auto& c : candidates)
            c = candidate(random);
        auto const x = packed(candidates);
        double const seam_time = random.uniform(0, seam.duration());
        auto const all = chain_of(x).follow(seam, TP::variable(seam_time), TP::variable(x[7] + P(seam_time)));
        for (int i = 0; i < lanes; ++i) {
            auto const& c = candidates[static_cast<std::size_t>(i)];
            auto const one = chain_of(c).follow(seam, T::variable(seam_time), T::variable(c[7] + seam_time));
            auto const lane = lane_of(all.aim, i);
            CHECK(all.status.lane[i] == one.status);
            ok += one.status == Status::ok;
            out += one.status == Status::out_of_reach;
            for (int k = 0; k <= 3; ++k) {
                CHECK(lane.command.x_mirror.coefficient[k] == one.aim.command.x_mirror.coefficient[k]);
                CHECK(lane.command.y_mirror.coefficient[k] == one.aim.command.y_mirror.coefficient[k]);
                CHECK(lane.command.focus.coefficient[k] == one.aim.command.focus.coefficient[k]);
            }
            CHECK(lane.clearance.field == one.aim.clearance.field);
        }
    }
    CHECK(ok > 10);
    CHECK(out > 10);
}

TEST_CASE("a candidate that is not finite blanks its own lane and no other") {
    using T = Taylor<P, 2>;
    Random random(7102);
    std::array<Numbers, lanes> candidates;
    for (auto& c : candidates)
        c = {0.1, 0.5, 0, 0, 0.03, 0.45, 0, 0};
    candidates[3][0] = std::numeric_limits<double>::quiet_NaN();
    candidates[5][1] = std::numeric_limits<double>::infinity();
    auto const x = packed(candidates);
    auto const followed = chain_of(x).follow(stitch(), T::variable(0.1), T::variable(P(0.1)));
    for (int i = 0; i < lanes; ++i) {
        bool const bad = i == 3 || i == 5;
        CHECK((followed.status.lane[i] == Status::not_finite) == bad);
        auto const command = lane_of(followed.aim.command, i);
        CHECK(is_finite(command.x_mirror));
        CHECK((command.x_mirror.value() == 0 && command.focus.value() == 0) == bad);
        if (!bad)
            CHECK(followed.status.lane[i] == followed.status.lane[0]);
    }
}

TEST_CASE("recordings, drawn shapes and weaves over packs: each lane at its own time, in its own piece") {
    std::vector<PoseRow<Cell>> rows;
    Random random(7103);
    for (int i = 0; i <= 60; ++i)
        rows.push_back({0.01 * i,
                        {0.002 * i, 0.01 * random.uniform(-1, 1), 0.5},
                        {0, std::cos(0.01 * (i % 5)), std::sin(0.01 * (i % 5)), 0}});
    AnyChain const chain{
        AnyFlangeMotion(PoseLog<Cell, Flange>(rows)),
        AnyPartMotion(Rest<Cell, Part>{Pose<Cell, Part>::identity()}), Pose<Flange, Head>::identity(),
        AnyHead(MirrorPair<>{0.04, 0.49, 8, {-0.17, 0.17}, {-0.17, 0.17}, {-0.01, 0.01}, 0.12})};
    Plane<> const lid{Pose<Part, Face>::identity()};
    AnySeam const seams[] = {
        at_speed(polyline({{0, 0}, {0.02, 0.01}, {0.03, -0.01}, {0.05, 0}}, 0.004), lid, 0.1),
        at_speed(straight_between({0, 0}, {0.05, 0.01}), lid, 0.1, Weave{20, 0.001})};
    using T = Taylor<double, 2>;
    using TP = Taylor<P, 2>;
    int ok = 0, without_data = 0;
    for (auto const& seam : seams)
        for (std::size_t run = 0; run < runs(60); ++run) {
            P time;
            for (int i = 0; i < lanes; ++i)
                time.set_lane(i, random.uniform(0, 0.75)); // the recording ends at 0.6 s
            auto const all = chain.follow(seam, TP::variable(time * 0.7), TP::variable(time));
            for (int i = 0; i < lanes; ++i) {
                auto const one =
                    chain.follow(seam, T::variable(time.lane(i) * 0.7), T::variable(time.lane(i)));
                auto const lane = lane_of(all.aim, i);
                CHECK(all.status.lane[i] == one.status);
                ok += one.status == Status::ok;
                without_data += one.status == Status::no_data;
                for (int k = 0; k <= 2; ++k) {
                    CHECK(lane.command.x_mirror.coefficient[k] == one.aim.command.x_mirror.coefficient[k]);
                    CHECK(lane.command.y_mirror.coefficient[k] == one.aim.command.y_mirror.coefficient[k]);
                }
            }
        }
    CHECK(ok > 200);
    CHECK(without_data > 50);
}
