#include "seamhold/live/block_commands.hpp"

#include "live/block_jobs.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>

using namespace seamhold;
using namespace seamhold::test;

// What an axis must be told is y + first·y′ + second·y″ of the chain its delay later: written out here from
// the chain's own first two derivatives.
TEST_CASE("blocks for axes that answer late are as near to what the chain asks for as they say") {
    Random random(66'201);
    double largest_bound = 0, largest_share = 0;
    int blocks = 0;
    int const count = static_cast<int>(runs(100));
    for (int run = 0; run < count; ++run) {
        auto const pass = random_sweep(random, 0.6);
        auto chain = chain_of(ideal_head(), pass);
        auto const box = ordinary_box();
        OnFace<Straight<>, Plane<>> const path{straight_between({-0.02, 0.01}, {0.02, 0.015}),
                                               leaning_face(random)};
        auto const seam =
            at_speed(path, 0.2, {run % 2 == 0 ? Weave{300, 0.5e-3} : random_weave(random), 0, {}});
        BlockBounds<8> const bounds(chain, seam, pass, box);
        auto& forecast = chain.cell_from_flange.forecast;
        forecast = random_forecast(random, pass, box, seam_start + 0.1, false);
        auto const response = [&](double frequency) {
            return AxisResponse::second_order(random.uniform(frequency, 2 * frequency),
                                              random.uniform(0.5, 1), random.uniform(0, 0.2e-3));
        };
        auto x = response(1500), y = response(1500), focus = response(100);
        if (run % 3 == 0)
            y.delay = x.delay;
        if (run % 4 == 1) { // nothing but a lag of first order
            x = AxisResponse{x.delay, 5e-4, 0};
            y = AxisResponse{y.delay, 0, 1e-8};
        }
        std::array<AxisResponse, 3> const axes{x, y, focus};
        auto const middle = moment_in(forecast, program_start, forecast.clock.scanner + 0.002);
        auto const block = commands_of(chain, seam, bounds, middle, block_half, x, y, focus);
        REQUIRE_MESSAGE(block.status == BlockStatus::ok, std::string(to_string(block.status)));
        ++blocks;
        for (int i = 0; i < ticks; ++i) {
            auto const now = middle + (-block_half + tick * i);
            auto const told = axes_of(block.at(now.scanner));
            for (std::size_t k = 0; k < 3; ++k) {
                auto const at = now + axes[k].delay;
                Taylor<double, 2> seam_time(at.seam), robot(at.robot.seconds);
                seam_time.coefficient[1] = at.seam_rate;
                robot.coefficient[1] = at.robot_rate;
                auto const c = chain.follow(seam, seam_time, robot).aim.command;
                auto const& answer = k == 0 ? c.x_mirror : k == 1 ? c.y_mirror : c.focus;
                double const expected = answer.coefficient[0] + axes[k].first * answer.coefficient[1] +
                                        axes[k].second * 2 * answer.coefficient[2];
                double const off = std::abs(told[k] - expected);
                CHECK(off <= block.bound[k]);
                largest_share = std::max(largest_share, off / block.bound[k]);
            }
        }
        largest_bound = std::max({largest_bound, block.bound[0], block.bound[1]});
    }
    MESSAGE(blocks << " blocks, largest bound " << largest_bound << " rad, largest share " << largest_share);
    CHECK(largest_bound < 1e-9);
    CHECK(largest_share > 0.05);
}

TEST_CASE("an axis without a block has no commands, and a bound that grows beyond the tolerance says so") {
    Random random(66'202);
    auto const pass = random_sweep(random, 0.6);
    auto chain = chain_of(ideal_head(), pass);
    auto const box = ordinary_box();
    OnFace<Straight<>, Plane<>> const path{straight_between({-0.02, 0.01}, {0.02, 0.015}),
                                           leaning_face(random)};
    auto const seam = at_speed(path, 0.2, {{300, 0.5e-3}, 0, {}});
    BlockBounds<7> const bounds(chain, seam, pass, box);
    auto& forecast = chain.cell_from_flange.forecast;
    forecast = random_forecast(random, pass, box, seam_start + 0.1, false);
    auto const middle = moment_in(forecast, program_start, forecast.clock.scanner + 0.002);
    auto const at_once = AxisResponse::pure_delay(0), late = AxisResponse::pure_delay(1);
    CHECK(commands_of(chain, seam, bounds, middle, block_half, at_once, at_once, at_once).status ==
          BlockStatus::ok);
    CHECK(commands_of(chain, seam, bounds, middle, block_half, late, at_once, at_once).status ==
          BlockStatus::outside_seam);
    CHECK(commands_of(chain, seam, bounds, middle, block_half, at_once, late, at_once).status ==
          BlockStatus::outside_seam);
    CHECK(commands_of(chain, seam, bounds, middle, block_half, at_once, at_once, late).status ==
          BlockStatus::outside_seam);
    auto const slow = AxisResponse::second_order(200, 1, 0);
    CHECK(commands_of(chain, seam, bounds, middle, block_half, slow, slow, at_once).status ==
          BlockStatus::too_wide);
}
