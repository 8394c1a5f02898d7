#ifndef SEAMHOLD_TESTS_LIVE_BLOCK_JOBS_HPP
#define SEAMHOLD_TESTS_LIVE_BLOCK_JOBS_HPP

#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/live/block.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/shapes.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

// Random sweeps, seams on faces that lean, and forecasts near the sweep. All numbers are invented.

namespace seamhold::test {

inline constexpr double tick = 10e-6;
inline constexpr int ticks = 50;
inline constexpr double block_half = tick * (ticks - 1) / 2;
inline constexpr double seam_start = 0.7;     ///< of the seam, by the robot's clock
inline constexpr double program_start = 0.15; ///< of the seam, by the pass

/// When the seam is to be so far.
inline BlockMoment moment_at(Forecast<7> const& f, double seam_time) {
    double const robot = f.about.seconds + (seam_time + program_start - f.program_time) / f.program_rate;
    return moment_in(f, program_start, f.clock.scanner_at({robot}));
}

/// A sweep as it was recorded or planned: 0.2 m/s and some swings, block_half a metre above the part.
inline PoseLog<Cell, Flange> random_sweep(Random& random, double end, double work = 0.5) {
    std::vector<PoseRow<Cell>> rows;
    double const heading = random.uniform(-3, 3), a = random.uniform(1, 5), b = random.uniform(1, 5);
    for (double t = -0.1; t < end; t += 0.004 * random.uniform(0.8, 1.2)) {
        auto const r = about_axis<Cell, Cell>({0.6, 0.8, 0}, 0.03 * std::sin(a * t)) *
                       about_axis<Cell, Cell>({0, 0, 1}, heading) *
                       about_axis<Cell, Flange>({1, 0, 0}, std::numbers::pi);
        double const way = 0.2 * (t - end / 3);
        rows.push_back({t,
                        {way * std::cos(heading), way * std::sin(heading) + 0.002 * std::sin(b * t), work},
                        quaternion_of(r)});
    }
    return PoseLog<Cell, Flange>(rows);
}

inline Pose<Flange, Head> small_mount() {
    return {about_axis<Flange, Head>({0.6, 0, 0.8}, degrees(2)), {0.002, -0.003, 0.01}};
}

inline MirrorPair<> ideal_head() {
    return checked(MirrorPair<>{0.04,
                                0.53,
                                10,
                                {degrees(-12.5), degrees(12.5)},
                                {degrees(-12.5), degrees(12.5)},
                                {millimetres(-15), millimetres(15)},
                                std::numeric_limits<double>::infinity()});
}

inline Plane<> leaning_face(Random& random) {
    return {{about_axis<Part, Face>({0.6, 0.8, 0}, random.uniform(-degrees(35), degrees(35))),
             {random.uniform(-0.01, 0.01), random.uniform(-0.01, 0.01), random.uniform(-0.01, 0.01)}}};
}

/// ±4 mm and 0.2° at rest and what a robot may do in addition.
inline ForecastBox ordinary_box() { return {{0.004, 0.05, 3, 200}, {0.004, 0.05, 3, 200}, program_start}; }

/// One that lies within `ordinary_box`, good at robot times up to 5 ms after `about`, where the seam starts
/// at about the robot time `seam_start`.
inline Forecast<7> random_forecast(Random& random, PoseLog<Cell, Flange> const& pass, ForecastBox const& box,
                                   double about, bool on_pass) {
    Forecast<7> f{};
    f.clock = {{about + 40}, {about}, 1 + random.uniform(-1e-4, 1e-4)};
    f.about = {about};
    f.on_pass = on_pass;
    f.program_time = about - seam_start + box.program_start + random.uniform(-1e-3, 1e-3);
    f.program_rate = random.uniform(0.97, 1.03);
    auto const base = pass.components(Taylor<double, 3>::variable(f.program_time));
    double const sign = !on_pass && random.unit() < 0.5 ? -1 : 1;
    double factorial = 1;
    for (std::size_t k = 0; k < 4; ++k) {
        factorial *= k == 0 ? 1 : static_cast<double>(k);
        for (std::size_t d = 0; d < 7; ++d) {
            double const most = 0.3 * (d < 3 ? box.place[k] : box.turn[k]) / factorial;
            f.coefficient[k][d] = random.uniform(-most, most);
            if (!on_pass)
                f.coefficient[k][d] += base[d].coefficient[k];
            if (d >= 3)
                f.coefficient[k][d] *= sign;
        }
    }
    return f;
}

template <class HeadModel> using BlockChain = Chain<ForecastFlange, Rest<Cell, Part>, HeadModel>;

template <class HeadModel, class PartMotion = Rest<Cell, Part>>
Chain<ForecastFlange, PartMotion, HeadModel>
chain_of(HeadModel head, PoseLog<Cell, Flange> const& pass,
         PartMotion const& part = {Pose<Cell, Part>::identity()}) {
    return {{pass, {}}, part, small_mount(), std::move(head)};
}

/// A weave up to 300 Hz, 0.2 to 0.5 mm to each side.
inline Weave random_weave(Random& random) {
    return {random.uniform(50, 300), random.uniform(0.2e-3, 0.5e-3)};
}

inline std::array<double, 3> axes_of(Command<> const& c) { return {c.x_mirror, c.y_mirror, c.focus}; }

inline OnFace<Straight<>, Plane<>> line_on(Plane<> const& face) {
    return {straight_between({-0.02, 0.01}, {0.02, 0.015}), face};
}

struct Tally {
    int blocks = 0;
    double largest_bound = 0;
    double largest_share = 0; ///< of a bound that was used
};

/// Random forecasts over a seam: no tick may be further from the chain than the block says.
template <int N, class AnySeamType, class Moves>
Tally follow_in_blocks(Random& random, AnySeamType const& seam, Moves chain, ForecastBox const& box,
                       int count, BlockStatus skipped = BlockStatus::across_break) {
    auto const& pass = *chain.cell_from_flange.pass;
    BlockBounds<N> const bounds(chain, seam, pass, box);
    auto& forecast = chain.cell_from_flange.forecast;
    Tally tally;
    for (int run = 0; run < count; ++run) {
        double const middle = random.uniform(block_half * 1.1, seam.duration() - block_half * 1.1);
        forecast =
            random_forecast(random, pass, box, seam_start + middle - random.uniform(0, 0.004), run % 2 == 0);
        auto const moment = moment_at(forecast, middle);
        auto const block = block_of(chain, seam, bounds, moment, block_half);
        if (block.status == BlockStatus::across_break || block.status == skipped)
            continue;
        REQUIRE_MESSAGE(block.status == BlockStatus::ok, std::string(to_string(block.status))
                                                             << " at " << middle << ", bound "
                                                             << block.bound[0] << " " << block.bound[1]);
        ++tally.blocks;
        for (int i = 0; i < ticks; ++i) {
            auto const at = moment + (-block_half + tick * i);
            auto const exact = chain.follow(seam, at.seam, at.robot.seconds);
            CHECK(exact.status == Status::ok);
            auto const a = axes_of(exact.aim.command), b = axes_of(block.at(at.scanner));
            for (std::size_t k = 0; k < 3; ++k) {
                CHECK(std::abs(a[k] - b[k]) <= block.bound[k]);
                tally.largest_share = std::max(tally.largest_share, std::abs(a[k] - b[k]) / block.bound[k]);
            }
        }
        for (std::size_t k = 0; k < 2; ++k)
            tally.largest_bound = std::max(tally.largest_bound, block.bound[k]);
    }
    return tally;
}

/// Most of the blocks there were, and tight ones: a bound that no tick comes near to would prove little.
inline void check_tally(Tally const& tally, double count, double least_share) {
    MESSAGE(tally.blocks << " of " << count << " blocks, largest bound " << tally.largest_bound
                         << " rad, largest share of a bound " << tally.largest_share);
    CHECK(tally.blocks >
          0.7 * count); // block_half are on a pass with rows every 4 ms, of which each cuts 0.5 ms
    CHECK(tally.largest_bound < 1e-9);
    CHECK(tally.largest_share > least_share);
}

} // namespace seamhold::test

#endif
