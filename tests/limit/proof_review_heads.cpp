#include "seamhold/limit/proof.hpp"

#include "limit/scenarios.hpp"
#include "support/real_heads.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

// 2026-11-26, a review of proofs: where a lens's depth or a focus table ended inside of the focus axis's own
// range, a seam was proven within that every tick calls out of reach. Cause: no check asked for the focus
// clearance, in which both ends stand; only the command was held against the axis's range. And the same day:
// what has no end answered ∞, which for intervals is the whole line, so that no such head was within.

namespace {

using namespace seamhold;
using namespace seamhold::test;

using LensHead = RealHead<FlatFieldLens<>>;
using LensChain = Chain<Rest<Cell, Flange>, Rest<Cell, Part>, LensHead>;

double const focal_z = 0.5; // in the head frame, m
double const infinite_depth = std::numeric_limits<double>::infinity();

/// Straight mirrors, ±10 mm of the lens, which would be 80 mm at the work.
LensHead head_with(double depth, AnyFocus const& focus) {
    FlatFieldLens<> const lens{0.5, 0.06, 0.44, depth};
    return real_head(HeadParts<FlatFieldLens<>>{
        ideal_mirrors(0.04), checked(lens), focus, {{-0.17, 0.17}, {-0.17, 0.17}, {-0.01, 0.01}}});
}

/// The focus from 5 mm before the focal plane to 5 mm beyond it.
AnyFocus short_table() {
    return FocusTable({0.435, 0.438, 0.44, 0.442, 0.445}, {-0.000625, -0.00025, 0, 0.00025, 0.000625});
}

/// The head looks straight down, with its focal plane `below` m above the part's middle.
ProofJob<LensChain> job_of(LensHead const& head, double below) {
    return {{{{about_axis<Cell, Flange>({1, 0, 0}, std::numbers::pi), {0, 0, focal_z + below}}},
             {Pose<Cell, Part>::identity()},
             Pose<Flange, Head>::identity(),
             head},
            {20, 15000, 4000, 0, 0, 1, 0}};
}

/// 20 mm along x in 0.2 s, which fall by `fall` m, half of it before the middle.
ProofSeam<> line(double fall = 0) {
    Pose<Part, Face> const face{about_axis<Part, Face>({0, 1, 0}, std::asin(fall / 0.02)), {0, 0, 0}};
    return {"seam", 0,
            at_speed(FlatPath{DrawnShape(straight_between({-0.01, 0}, {0.01, 0})), Plane<>{face}}, 0.1)};
}

/// Whether ticks of 1 ms call the seam out of reach; how many of the 201 do.
int ticks_out_of_reach(ProofJob<LensChain> const& job, ProofSeam<> const& seam) {
    int count = 0;
    for (int i = 0; i <= 200; ++i) {
        double const t = std::min(i * 0.001, seam.seam.duration());
        count += job.chain.follow(seam.seam, t, t).status == Status::out_of_reach ? 1 : 0;
    }
    return count;
}

struct Reach {
    char const* name;
    LensHead head;
    double end; ///< of the focus on either side of the focal plane, m
};

} // namespace

TEST_CASE("the focus ends before the range of its axis: at a lens's depth, at the end of a focus table") {
    Reach const reaches[] = {{"depth", head_with(0.001, LinearFocus<>{0.44, 8}), 0.001},
                             {"table", head_with(0.1, short_table()), 0.005}};
    for (auto const& reach : reaches) {
        double const end = reach.end;
        CAPTURE(std::string(reach.name));
        for (double const side : {-1.0, 1.0})
            for (double const share : {0.3, 0.97, 1.03, 4.0}) {
                CAPTURE(side);
                CAPTURE(share);
                auto const job = job_of(reach.head, side * share * end);
                auto const seam = line();
                auto const proof = prove(job, seam);
                bool const reached = share < 1;
                CHECK(ticks_out_of_reach(job, seam) == (reached ? 0 : 201));
                CHECK((proof.verdict() == Verdict::within) == reached);
                CHECK(proof.of(Limit::focus_range)->verdict == Verdict::within);
                auto const* const found = proof.of(Limit::focus_reach);
                REQUIRE(found != nullptr);
                CHECK(found->verdict == (reached ? Verdict::within : Verdict::exceeds));
            }
        // From inside to beyond the end, which is passed three quarters of the way along.
        for (double const side : {-1.0, 1.0}) {
            auto const job = job_of(reach.head, side * 0.75 * end);
            auto const seam = line(side * end);
            int const out = ticks_out_of_reach(job, seam);
            CHECK(out > 40);
            CHECK(out < 60);
            auto const proof = prove(job, seam);
            CHECK(proof.verdict() == Verdict::exceeds);
            REQUIRE(proof.of(Limit::focus_reach) != nullptr);
            CHECK(proof.of(Limit::focus_reach)->time > 0.14);
        }
    }
}

TEST_CASE("a focus without an end of its own ends with the range of its axis") {
    auto const endless = head_with(infinite_depth, LinearFocus<>{0.44, 8});
    for (double const share : {0.97, 1.03}) {
        auto const job = job_of(endless, share * 0.08); // 10 mm of the lens are 80 mm
        auto const proof = prove(job, line());
        CHECK(proof.verdict() == (share < 1 ? Verdict::within : Verdict::exceeds));
        REQUIRE(proof.of(Limit::focus_reach) != nullptr);
        CHECK(proof.of(Limit::focus_reach)->verdict == proof.of(Limit::focus_range)->verdict);
    }
}
