// Times of the chain: what one tick costs, and what the same answer costs by a solver and by a general
// library for automatic differentiation; and of an arm's forward pose. Prints one figure a line, `name value
// unit`.

// Ceres and KDL come built for any machine. With Eigen's own alignment under -march=native, memory taken here
// and given back there (or the other way round) would not fit together.
#define EIGEN_MAX_ALIGN_BYTES 16

#include "ceres_follow.hpp"
#include "measure.hpp"
#include "scene.hpp"

#include "../tests/support/boost_autodiff.hpp"

#include "seamhold/arm/serial_arm.hpp"

#include <benchmark/benchmark.h>
#include <kdl/chain.hpp>
#include <kdl/chainfksolverpos_recursive.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <exception>
#include <numbers>
#include <random>
#include <string>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

using Rates = Taylor<double, 2>;
using Blocks = std::vector<std::vector<Question>>;

auto position(AnyChain const& chain, Question const& q) { return chain.follow(*q.seam, q.seam_time, q.time); }

auto rates(AnyChain const& chain, Question const& q) {
    return chain.follow(*q.seam, Rates::variable(q.seam_time), Rates::variable(q.time));
}

auto boost_rates(AnyChain const& chain, Question const& q) {
    using boost::math::differentiation::make_fvar;
    return chain.follow(*q.seam, make_fvar<double, 2>(q.seam_time), make_fvar<double, 2>(q.time));
}

/// Runs one way of answering over a block.
template <class Way> auto over(Blocks const& blocks, Way way) {
    return [&blocks, way](std::size_t block) {
        for (Question const& q : blocks[block]) {
            auto result = way(q);
            benchmark::DoNotOptimize(result);
        }
    };
}

void bench_ticks(Scene const& scene) {
    auto const& chain = scene.chain();
    auto const with_position = [&chain](Question const& q) { return position(chain, q); };
    auto const with_rates = [&chain](Question const& q) { return rates(chain, q); };

    // Ticks as the scanner asks for them.
    Blocks const in_order = scene.in_order(100);
    std::size_t const length = in_order[0].size();
    Duel const ticks =
        duel(20, in_order.size(), length, over(in_order, with_rates), over(in_order, with_position));
    print("rates_vs_position", ticks.ratio(), "ratio");
    print("position_tick_ns", median(ticks.ours), "ns");
    print("rates_tick_ns", median(ticks.baseline), "ns");
    print_spread("position_tick_block", ticks.ours);
    print_spread("rates_tick_block", ticks.baseline);

    // Ticks all over the job: nothing is in the nearest cache, no branch is foreseen.
    Blocks const scattered = scene.scattered(100);
    Duel const far =
        duel(10, scattered.size(), length, over(scattered, with_rates), over(scattered, with_position));
    print("position_tick_scattered_ns", median(far.ours), "ns");
    print("rates_tick_scattered_ns", median(far.baseline), "ns");

    // Single ticks by the wall clock: what a caller waits for one, on this machine with all that runs on it.
    auto const single = [&](auto way) {
        return one_by_one(in_order.size() * length, [&](std::size_t i) {
            auto result = way(in_order[i / length][i % length]);
            benchmark::DoNotOptimize(result);
        });
    };
    print_spread("position_tick_single", single(with_position));
    print_spread("rates_tick_single", single(with_rates));
}

/// The largest differences between what the solver and the chain say.
struct Differences {
    double angle = 0;        ///< rad
    double focus = 0;        ///< m
    double velocity = 0;     ///< of the mirrors, rad/s
    double acceleration = 0; ///< of the mirrors, rad/s²
};

template <class Solver> void bench_solver(Scene const& scene, std::string const& name, std::size_t rounds) {
    auto const& chain = scene.chain();
    Blocks const blocks = scene.in_order(20);
    std::size_t const length = blocks[0].size();
    SolvingFollower<Solver> follower(chain);
    using Past = typename SolvingFollower<Solver>::Past;
    std::vector<std::vector<Past>> pasts(blocks.size());
    for (std::size_t block = 0; block < blocks.size(); ++block)
        for (std::size_t i = 0; i < length; i += Scene::stretch)
            pasts[block].push_back(follower.past_of(blocks[block][i]));

    Differences worst;
    auto const widen = [](double& largest, double difference) {
        largest = std::max(largest, std::abs(difference));
    };
    for (std::size_t block = 0; block < blocks.size(); ++block)
        for (std::size_t i = 0; i < length; ++i) {
            if (i % Scene::stretch == 0)
                follower.resume(pasts[block][i / Scene::stretch]);
            Question const& q = blocks[block][i];
            auto const solved = follower.tick(q);
            auto const exact = rates(chain, q).aim.command;
            auto const middle =
                rates(chain, {q.seam, q.seam_time - Scene::period, q.time - Scene::period}).aim.command;
            widen(worst.angle, solved.angles[0] - exact.x_mirror.value());
            widen(worst.angle, solved.angles[1] - exact.y_mirror.value());
            widen(worst.focus, solved.focus - exact.focus.value());
            widen(worst.velocity, solved.velocity[0] - middle.x_mirror.derivative(1));
            widen(worst.velocity, solved.velocity[1] - middle.y_mirror.derivative(1));
            widen(worst.acceleration, solved.acceleration[0] - middle.x_mirror.derivative(2));
            widen(worst.acceleration, solved.acceleration[1] - middle.y_mirror.derivative(2));
        }

    Duel const times = duel(
        rounds, blocks.size(), length,
        [&](std::size_t block) {
            for (std::size_t i = 0; i < length; ++i) {
                if (i % Scene::stretch == 0)
                    follower.resume(pasts[block][i / Scene::stretch]);
                auto result = follower.tick(blocks[block][i]);
                benchmark::DoNotOptimize(result);
            }
        },
        over(blocks, [&chain](Question const& q) { return rates(chain, q); }));
    print("follow_vs_" + name, times.ratio(), "ratio");
    print_spread("follow_vs_" + name + "_baseline", times.baseline);
    print_spread("follow_vs_" + name + "_ours", times.ours);
    print("follow_" + name + "_agreement_rad", worst.angle, "rad");
    print("follow_" + name + "_focus_agreement_m", worst.focus, "m");
    print("follow_" + name + "_velocity_difference_rad_s", worst.velocity, "rad/s");
    print("follow_" + name + "_acceleration_difference_rad_s2", worst.acceleration, "rad/s2");
}

void bench_boost(Scene const& scene) {
    auto const& chain = scene.chain();
    Blocks const blocks = scene.in_order(40);
    double difference = 0;
    auto const compare = [&difference](Rates const& ours, BoostNumber<2> const& other) {
        // Relative to the number itself, and to sizes that mirrors have (rad, rad/s, rad/s²) where it crosses
        // zero.
        double const sizes[3] = {0.1, 1, 100};
        for (int k = 0; k <= 2; ++k) {
            double const theirs = other.derivative(static_cast<std::size_t>(k));
            difference =
                std::max(difference, std::abs(ours.derivative(k) - theirs) / (std::abs(theirs) + sizes[k]));
        }
    };
    for (auto const& block : blocks)
        for (auto const& q : block) {
            auto const ours = rates(chain, q).aim.command;
            auto const other = boost_rates(chain, q).aim.command;
            compare(ours.x_mirror, other.x_mirror);
            compare(ours.y_mirror, other.y_mirror);
        }
    Duel const times = duel(10, blocks.size(), blocks[0].size(),
                            over(blocks, [&chain](Question const& q) { return boost_rates(chain, q); }),
                            over(blocks, [&chain](Question const& q) { return rates(chain, q); }));
    print("follow_vs_boost_autodiff", times.ratio(), "ratio");
    print_spread("follow_vs_boost_autodiff_baseline", times.baseline);
    print_spread("follow_vs_boost_autodiff_ours", times.ours);
    print("follow_boost_autodiff_agreement_relative", difference, "1");
}

void bench_arm() {
    // PUMA 560, standard Denavit-Hartenberg, as in P. Corke, Robotics Toolbox, model "puma560".
    double const quarter = std::numbers::pi / 2;
    std::array<DhRow, 6> const rows{{{0, 0, quarter},
                                     {0, 0.4318, 0},
                                     {0.15005, 0.0203, -quarter},
                                     {0.4318, 0, quarter},
                                     {0, 0, -quarter},
                                     {0, 0, 0}}};
    auto const arm = SerialArm<6>::standard_dh(rows);
    KDL::Chain chain;
    for (auto const& row : rows)
        chain.addSegment(
            KDL::Segment(KDL::Joint(KDL::Joint::RotZ), KDL::Frame::DH(row.a, row.alpha, row.d, 0)));
    KDL::ChainFkSolverPos_recursive solver(chain);

    std::size_t const count = 1000, blocks = 20;
    std::mt19937_64 random(20240613);
    std::vector<std::array<double, 6>> joints(count * blocks);
    std::vector<KDL::JntArray> same(joints.size(), KDL::JntArray(6));
    for (std::size_t i = 0; i < joints.size(); ++i)
        for (unsigned k = 0; k < 6; ++k)
            same[i](k) = joints[i][k] = (2 * uniform(random) - 1) * std::numbers::pi;

    double difference = 0;
    for (std::size_t i = 0; i < joints.size(); ++i) {
        auto const ours = arm.forward(joints[i]);
        KDL::Frame theirs;
        solver.JntToCart(same[i], theirs);
        double const origin[3] = {ours.origin.x, ours.origin.y, ours.origin.z};
        for (int r = 0; r < 3; ++r) {
            difference = std::max(difference, std::abs(theirs.p(r) - origin[r]));
            for (int c = 0; c < 3; ++c)
                difference = std::max(difference, std::abs(theirs.M(r, c) - ours.rotation.m[r][c]));
        }
    }
    Duel const times = duel(
        50, blocks, count,
        [&](std::size_t block) {
            for (std::size_t i = block * count; i < (block + 1) * count; ++i) {
                KDL::Frame pose;
                solver.JntToCart(same[i], pose);
                benchmark::DoNotOptimize(pose);
            }
        },
        [&](std::size_t block) {
            for (std::size_t i = block * count; i < (block + 1) * count; ++i) {
                auto pose = arm.forward(joints[i]);
                benchmark::DoNotOptimize(pose);
            }
        });
    print("arm_vs_kdl", times.ratio(), "ratio");
    print_spread("arm_vs_kdl_baseline", times.baseline);
    print_spread("arm_vs_kdl_ours", times.ours);
    print("arm_kdl_agreement_m", difference, "m");
}

} // namespace

int main() {
    try {
        Scene const scene;
        bench_ticks(scene);
        bench_boost(scene);
        bench_solver<CeresSolver<>>(scene, "ceres", 10);
        bench_solver<TinySolver>(scene, "ceres_tiny", 20);
        bench_arm();
    } catch (std::exception const& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 1;
    }
    return 0;
}
