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

#include <array>
#include <cmath>
#include <cstdint>
#include <exception>
#include <string>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

using Rates = Taylor<double, 2>;
using Blocks = std::vector<std::vector<Question>>;

/// One tick's answer for time as a T.
template <class T> auto answer(AnyChain const& chain, Question const& q, T const& seam_time, T const& time) {
    return chain.follow(*q.seam, seam_time, time);
}

auto position(AnyChain const& chain, Question const& q) { return answer(chain, q, q.seam_time, q.time); }

auto rates(AnyChain const& chain, Question const& q) {
    return answer(chain, q, Rates::variable(q.seam_time), Rates::variable(q.time));
}

auto boost_rates(AnyChain const& chain, Question const& q) {
    using boost::math::differentiation::make_fvar;
    return answer(chain, q, make_fvar<double, 2>(q.seam_time), make_fvar<double, 2>(q.time));
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

    Blocks const scattered = scene.scattered(100, 1000);
    Duel const far_apart =
        duel(10, scattered.size(), 1000, over(scattered, with_rates), over(scattered, with_position));
    print("rates_vs_position", far_apart.ratio(), "ratio");
    print("position_tick_ns", median(far_apart.ours), "ns");
    print("rates_tick_ns", median(far_apart.baseline), "ns");

    Blocks const runs = scene.runs(99, 1000);
    Duel const in_order = duel(10, runs.size(), 1000, over(runs, with_rates), over(runs, with_position));
    print("position_tick_in_order_ns", median(in_order.ours), "ns");
    print("rates_tick_in_order_ns", median(in_order.baseline), "ns");

    // Single ticks, each timed on its own: what the scanner waits.
    auto const single = [&](auto way) {
        return one_by_one(100000, [&](std::size_t i) {
            auto result = way(scattered[i / 1000][i % 1000]);
            benchmark::DoNotOptimize(result);
        });
    };
    print_spread("position_single_tick", single(with_position));
    print_spread("rates_single_tick", single(with_rates));
}

template <class Solver> void bench_solver(Scene const& scene, std::string const& name) {
    auto const& chain = scene.chain();
    std::size_t const length = 500;
    Blocks const runs = scene.runs(55, length);
    SolvingFollower<Solver> follower(chain);

    // Both must say the same; the differenced rates are as good as differences are.
    double angle = 0, focus = 0, velocity = 0, acceleration = 0;
    for (auto const& run : runs) {
        follower.start(run.front());
        Followed<Rates> last = rates(chain, run.front());
        for (std::size_t i = 0; i < run.size(); ++i) {
            auto const solved = follower.tick(run[i]);
            auto const exact = rates(chain, run[i]);
            auto const& command = exact.aim.command;
            angle = std::max({angle, std::abs(solved.angles[0] - command.x_mirror.value()),
                              std::abs(solved.angles[1] - command.y_mirror.value())});
            focus = std::max(focus, std::abs(solved.focus - command.focus.value()));
            if (i > 0) {
                auto const& middle = last.aim.command;
                velocity = std::max({velocity, std::abs(solved.velocity[0] - middle.x_mirror.derivative(1)),
                                     std::abs(solved.velocity[1] - middle.y_mirror.derivative(1))});
                acceleration =
                    std::max({acceleration, std::abs(solved.acceleration[0] - middle.x_mirror.derivative(2)),
                              std::abs(solved.acceleration[1] - middle.y_mirror.derivative(2))});
            }
            last = exact;
        }
    }

    Duel const times = duel(
        4, runs.size(), length,
        [&](std::size_t block) {
            for (Question const& q : runs[block]) {
                auto result = follower.tick(q);
                benchmark::DoNotOptimize(result);
            }
        },
        over(runs, [&chain](Question const& q) { return rates(chain, q); }));
    print("follow_vs_" + name, times.ratio(), "ratio");
    print_spread(name + "_tick", times.baseline);
    print_spread(name + "_follow_tick", times.ours);
    print("follow_" + name + "_agreement_rad", angle, "rad");
    print("follow_" + name + "_focus_agreement_m", focus, "m");
    print(name + "_velocity_error_rad_s", velocity, "rad/s");
    print(name + "_acceleration_error_rad_s2", acceleration, "rad/s2");
}

void bench_boost(Scene const& scene) {
    auto const& chain = scene.chain();
    Blocks const blocks = scene.scattered(40, 500);
    double difference = 0;
    for (auto const& block : blocks)
        for (auto const& q : block) {
            auto const ours = rates(chain, q).aim.command;
            auto const other = boost_rates(chain, q).aim.command;
            for (int k = 0; k <= 2; ++k) {
                auto const order = static_cast<std::size_t>(k);
                auto const compare = [&](double a, double b, double scale) {
                    difference = std::max(difference, std::abs(a - b) / (std::abs(b) + scale));
                };
                double const scales[3] = {0.1, 1, 100};
                compare(ours.x_mirror.derivative(k), other.x_mirror.derivative(order), scales[k]);
                compare(ours.y_mirror.derivative(k), other.y_mirror.derivative(order), scales[k]);
            }
        }
    Duel const times = duel(10, blocks.size(), 500,
                            over(blocks, [&chain](Question const& q) { return boost_rates(chain, q); }),
                            over(blocks, [&chain](Question const& q) { return rates(chain, q); }));
    print("follow_vs_boost_autodiff", times.ratio(), "ratio");
    print_spread("boost_autodiff_tick", times.baseline);
    print_spread("boost_autodiff_follow_tick", times.ours);
    print("follow_boost_agreement_relative", difference, "1");
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
    print_spread("kdl_forward", times.baseline);
    print_spread("arm_forward", times.ours);
    print("arm_kdl_agreement", difference, "m");
}

} // namespace

int main() {
    try {
        Scene const scene;
        bench_ticks(scene);
        bench_boost(scene);
        bench_solver<CeresSolver>(scene, "ceres");
        bench_solver<TinySolver>(scene, "ceres_tiny");
        bench_arm();
    } catch (std::exception const& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 1;
    }
    return 0;
}
