#include "live/block_jobs.hpp"
#include "support/real_heads.hpp"

#include <doctest/doctest.h>

using namespace seamhold;
using namespace seamhold::test;

// A head behind a lens is solved by steps, for intervals as for doubles: its box must be narrower than that
// of an ideal head for the solution to be proven. On a recorded pass that is no restriction.

TEST_CASE("blocks of a head out of true with a flat-field lens") {
    Random random(66'401);
    int const count = static_cast<int>(runs(40));
    for (int run = 0; run < 3; ++run) {
        CAPTURE(run);
        auto const plain = random_lens_head(random);
        auto const pass = random_sweep(random, 0.6, plain.lens->exit_z + plain.lens->working_distance);
        auto const chain = chain_of(lens_head_of(plain), pass);
        auto box = ordinary_box();
        box.place[0] = box.turn[0] = 0.0005;
        auto const seam = at_speed(line_on(leaning_face(random)), 0.2, {{300, 0.4e-3}, 0, {}});
        check_tally(follow_in_blocks<8>(random, seam, chain, box, count), count, 0);
    }
}

TEST_CASE("with a field map there are blocks between the places where a derivative of the map jumps") {
    Random random(66'402);
    auto plain = random_lens_head(random);
    plain.map = random_map(random);
    auto const pass = random_sweep(random, 0.6, plain.lens->exit_z + plain.lens->working_distance);
    auto const chain = chain_of(lens_head_of(plain), pass);
    auto box = ordinary_box();
    box.place[0] = box.turn[0] = 0.0002;
    auto const seam = at_speed(line_on(Plane<>{Pose<Part, Face>::identity()}), 0.2, {{300, 0.4e-3}, 0, {}});
    BlockBounds<8> const bounds(chain, seam, pass, box);
    double proven = 0;
    for (std::size_t i = 0; i < bounds.stretches().size(); ++i)
        if (bounds.stretches()[i].proven)
            proven += bounds.places()[i + 1] - bounds.places()[i];
    MESSAGE("proven is " << proven / seam.duration() << " of the seam's time");
    CHECK(proven > 0.3 * seam.duration());
    check_tally(follow_in_blocks<8>(random, seam, chain, box, 60, BlockStatus::not_proven),
                60 * proven / seam.duration(), 0);
}
