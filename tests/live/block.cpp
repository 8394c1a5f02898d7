#include "seamhold/live/block.hpp"

#include "live/block_jobs.hpp"
#include "support/allocation_guard.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>

using namespace seamhold;
using namespace seamhold::test;

namespace {

struct Turning {
    template <class T> Pose<Cell, Part, T> at(T const& t) const {
        return {about_axis<Cell, Part>({0, 0, 1}, T(t * 1.5 - 1.2)),
                {number_cast<T>(0), number_cast<T>(0), number_cast<T>(0)}};
    }
};

/// A chain, a seam with the quickest weave and its bounds, and a forecast in the middle of it.
struct Quick {
    PoseLog<Cell, Flange> pass;
    BlockChain<MirrorPair<>> chain;
    Seam<OnFace<Straight<>, Plane<>>> seam;
    ForecastBox box;
    BlockBounds<7> bounds;
    BlockMoment moment;

    explicit Quick(Random& random, bool on_pass = false)
        : pass(random_sweep(random, 0.6)), chain(chain_of(ideal_head(), pass)),
          seam(at_speed(line_on(leaning_face(random)), 0.2, {{300, 0.5e-3}, 0.001, {}})), box(ordinary_box()),
          bounds(chain, seam, pass, box), moment{} {
        auto& forecast = chain.cell_from_flange.forecast;
        forecast = random_forecast(random, pass, box, seam_start + 0.1, on_pass);
        forecast.program_time = program_start + 0.1;
        forecast.program_rate = 1;
        // Away from the rows.
        auto const rows = pass.times();
        auto const row = *std::lower_bound(rows.begin(), rows.end(), program_start + 0.101);
        moment = moment_at(forecast, row + 0.001 - program_start);
    }
    Block<7> block() const { return block_of(chain, seam, bounds, moment, block_half); }
};

} // namespace

TEST_CASE("blocks of an ideal head are as near to the chain as they say, with weaves up to 300 Hz") {
    Random random(66'001);
    int const count = static_cast<int>(runs(120));
    for (auto const form : {WeaveForm::sine, WeaveForm::circle}) {
        for (int shape = 0; shape < 3; ++shape) {
            CAPTURE(shape);
            SeamOptions options{random_weave(random), random.uniform(-0.002, 0.002), {}};
            options.weave.form = form;
            auto const pass = random_sweep(random, 0.6);
            auto const chain = chain_of(ideal_head(), pass);
            auto const box = ordinary_box();
            auto const face = leaning_face(random);
            double const speed = random.uniform(0.15, 0.35);
            if (shape == 0) {
                auto const seam = at_speed(line_on(face), speed, options);
                check_tally(follow_in_blocks<7>(random, seam, chain, box, count), count, 0.02);
            } else {
                double const turn = shape == 1 ? 2 * std::numbers::pi : -2;
                auto const arc = arc_around({0.002, -0.003}, random.uniform(0.008, 0.02), 0.3, turn);
                auto const seam = at_speed(OnFace<Arc<>, Plane<>>{arc, face}, speed, options);
                check_tally(follow_in_blocks<7>(random, seam, chain, box, count), count, 0.02);
            }
        }
    }
}

TEST_CASE("the quickest weave, 300 Hz and 0.5 mm to each side, in blocks of 50 ticks") {
    Random random(66'002);
    int const count = static_cast<int>(runs(60));
    auto const pass = random_sweep(random, 0.6);
    auto const chain = chain_of(ideal_head(), pass);
    auto const box = ordinary_box();
    auto const seam = at_speed(line_on(leaning_face(random)), 0.2, {{300, 0.5e-3}, 0, {}});
    auto const seven = follow_in_blocks<7>(random, seam, chain, box, count);
    check_tally(seven, count, 0.3);
    auto const eight = follow_in_blocks<8>(random, seam, chain, box, count);
    check_tally(eight, count, 0.1);
    CHECK(eight.largest_bound < seven.largest_bound / 8);
    // Without a weave an order less is enough.
    auto const calm = at_speed(line_on(leaning_face(random)), 0.2);
    check_tally(follow_in_blocks<6>(random, calm, chain, box, count), count, 0);
}

TEST_CASE("blocks where the part turns too") {
    Random random(66'003);
    int const count = static_cast<int>(runs(60));
    auto const pass = random_sweep(random, 0.6);
    auto const chain = chain_of(ideal_head(), pass, Turning{});
    auto const seam = at_speed(line_on(leaning_face(random)), 0.2, {{200, 0.4e-3}, 0, {}});
    auto box = ordinary_box();
    box.start = {seam_start - 0.03, seam_start + 0.03};
    check_tally(follow_in_blocks<7>(random, seam, chain, box, count), count, 0.1);
    // A seam that starts at another time meets another part.
    BlockBounds<7> const bounds(chain, seam, pass, box);
    auto other = chain;
    auto& forecast = other.cell_from_flange.forecast;
    forecast = random_forecast(random, pass, box, seam_start + 0.1, false);
    auto moment = moment_at(forecast, 0.1015);
    CHECK(block_of(other, seam, bounds, moment, block_half).status == BlockStatus::ok);
    moment.seam -= 0.05;
    CHECK(block_of(other, seam, bounds, moment, block_half).status == BlockStatus::outside_box);
}

TEST_CASE("a block says why there is none") {
    Random random(66'004);
    Quick const quick(random);
    REQUIRE(quick.block().status == BlockStatus::ok);
    auto const with = [&](auto const& change) {
        Quick other = quick;
        change(other);
        return other.block().status;
    };
    auto const coefficient = [&](std::size_t k, std::size_t d, double by) {
        return with([&](Quick& q) { q.chain.cell_from_flange.forecast.coefficient[k][d] += by; });
    };
    double const nan = std::numeric_limits<double>::quiet_NaN();
    double const infinity = std::numeric_limits<double>::infinity();
    for (std::size_t d = 0; d < 7; ++d) {
        CHECK(coefficient(0, d, 0.02) == BlockStatus::outside_box);
        CHECK(coefficient(1, d, 0.2) == BlockStatus::outside_box);
        CHECK(coefficient(2, d, -6) == BlockStatus::outside_box);
        CHECK(coefficient(3, d, 1000) == BlockStatus::outside_box);
        for (std::size_t k = 0; k < 4; ++k) {
            CHECK(coefficient(k, d, nan) == BlockStatus::outside_box);
            CHECK(coefficient(k, d, -infinity) == BlockStatus::outside_box);
        }
    }
    CHECK(block_of(quick.chain, quick.seam, quick.bounds, quick.moment, 0.26e-3).status ==
          BlockStatus::too_long);
    CHECK(block_of(quick.chain, quick.seam, quick.bounds, quick.moment, 0).status == BlockStatus::too_long);
    CHECK(with([](Quick& q) { q.moment.seam = block_half / 2; }) == BlockStatus::outside_seam);
    CHECK(with([](Quick& q) { q.moment.seam = q.seam.duration(); }) == BlockStatus::outside_seam);
    CHECK(with([](Quick& q) { q.moment.seam_rate = 1.2; }) == BlockStatus::outside_box);
    CHECK(with([](Quick& q) { q.moment.robot_rate = 1.01; }) == BlockStatus::outside_box);
    for (double const bad : {nan, infinity}) {
        CHECK(with([&](Quick& q) { q.moment.seam = bad; }) == BlockStatus::not_finite);
        CHECK(with([&](Quick& q) { q.moment.robot.seconds = bad; }) == BlockStatus::not_finite);
        CHECK(with([&](Quick& q) { q.moment.scanner.seconds = bad; }) == BlockStatus::not_finite);
        CHECK(with([&](Quick& q) { q.moment.seam_rate = bad; }) == BlockStatus::not_finite);
        CHECK(with([&](Quick& q) { q.chain.cell_from_flange.forecast.about.seconds = bad; }) ==
              BlockStatus::outside_box);
    }
    CHECK(block_of(quick.chain, quick.seam, quick.bounds, quick.moment, nan).status ==
          BlockStatus::not_finite);

    // A row of the pass, and the end of it.
    Quick on_pass(random, true);
    CHECK(on_pass.block().status == BlockStatus::ok);
    on_pass.moment = on_pass.moment + -0.001;
    CHECK(on_pass.block().status == BlockStatus::across_break);
    on_pass.chain.cell_from_flange.forecast.program_time = 10;
    CHECK(on_pass.block().status == BlockStatus::across_break);

    // A weave that is too quick for the order and the length has no blocks, and no wrong ones.
    auto const seam = at_speed(line_on(Plane<>{Pose<Part, Face>::identity()}), 0.2, {{900, 0.5e-3}, 0, {}});
    BlockBounds<7> const bounds(quick.chain, seam, quick.pass, quick.box);
    CHECK(block_of(quick.chain, seam, bounds, quick.moment, block_half).status == BlockStatus::too_wide);
    CHECK(block_of(quick.chain, seam, bounds, quick.moment, block_half / 4).status == BlockStatus::ok);
}

TEST_CASE("breaks of the seam cut blocks; up to the next break there is one") {
    Random random(66'005);
    auto const pass = random_sweep(random, 0.6);
    auto chain = chain_of(ideal_head(), pass);
    auto const box = ordinary_box();
    // Jagged in its travel: two speeds by cubics, with a break in between.
    CubicPiece<1> const slow{0, {{0}, {0.1}, {0}, {0}}}, quick{0.1, {{0.01}, {0.1}, {0.5}, {0}}};
    auto const path = line_on(leaning_face(random));
    Seam<OnFace<Straight<>, Plane<>>> const seam{path, Travel<>(0.3, 0.2, {slow, quick})};
    BlockOptions options;
    options.before = 0.01;
    BlockBounds<7> const bounds(chain, seam, pass, box, options);
    CHECK(bounds.places().front() == -0.01);
    CHECK(bounds.places().back() == 0.2);
    CHECK(bounds.next_break(-0.005) == 0);
    CHECK(bounds.next_break(0) == 0.1);
    CHECK(bounds.next_break(0.05) == 0.1);
    CHECK(bounds.next_break(0.1) == 0.2);
    auto& forecast = chain.cell_from_flange.forecast;
    auto const status = [&](double from, double to) {
        forecast = random_forecast(random, pass, box, seam_start + from, false);
        return block_of(chain, seam, bounds, moment_at(forecast, (from + to) / 2), (to - from) / 2).status;
    };
    CHECK(status(0.09955, 0.09999) == BlockStatus::ok);
    CHECK(status(0.0997, 0.1001) == BlockStatus::across_break);
    CHECK(status(0.10001, 0.1005) == BlockStatus::ok);
    CHECK(status(-0.0002, 0.0002) == BlockStatus::across_break);
    CHECK(status(-0.0005, -0.0001) == BlockStatus::ok);
    CHECK(status(-0.0102, -0.0099) == BlockStatus::outside_seam);
}

TEST_CASE("building and evaluating blocks does not allocate") {
    Random random(66'006);
    for (bool const on_pass : {false, true}) {
        Quick const quick(random, on_pass);
        Block<7> block{};
        double sum = 0;
        std::size_t count = 0;
        {
            AllocationGuard const guard;
            block = quick.block();
            for (int i = 0; i < ticks; ++i)
                sum += block.at(quick.moment.scanner + (-block_half + tick * i)).x_mirror;
            count = guard.count();
        }
        CHECK(block.status == BlockStatus::ok);
        CHECK(is_finite(sum));
        CHECK(count == 0);
    }
}

TEST_CASE("the derivatives of a block are near to those of the chain") {
    Random random(66'007);
    Quick const quick(random);
    auto const block = quick.block();
    using T = Taylor<double, 2>;
    for (int i = 0; i < ticks; ++i) {
        double const tau = -block_half + tick * i;
        auto const at = quick.moment + tau;
        T seam_time(at.seam), robot(at.robot.seconds);
        seam_time.coefficient[1] = at.seam_rate;
        robot.coefficient[1] = at.robot_rate;
        auto const a = quick.chain.follow(quick.seam, seam_time, robot).aim.command.x_mirror;
        auto const b = block.after_middle(T::variable(tau)).x_mirror;
        // The remainder's own derivatives: 8/h and 8·7/h²/2 of 1e-10 rad, h = 0.25 ms.
        CHECK(std::abs(a.coefficient[1] - b.coefficient[1]) < 4e-6);
        CHECK(std::abs(a.coefficient[2] - b.coefficient[2]) < 0.05);
    }
}
