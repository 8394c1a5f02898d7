// Times of a real head: what a tick costs with misaligned mirrors, a measured field map and a focus table
// against the ideal pair in closed form, and what the same inversion costs by a solver. Prints one figure a
// line, `name value unit`.

// Ceres comes built for any machine: see follow.cpp.
#define EIGEN_MAX_ALIGN_BYTES 16

#include "ceres_follow.hpp"
#include "measure.hpp"
#include "scene.hpp"

#include "seamhold/head/real_head.hpp"

#include <benchmark/benchmark.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <exception>
#include <random>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

using Rates = Taylor<double, 2>;
using Blocks = std::vector<std::vector<Question>>;

// Mirrors out of true by up to half a degree and a millimetre. All numbers are invented.
TracedMirrors<> mirrors() {
    auto const ideal = ideal_mirrors(0.04);
    auto first = ideal.first();
    auto last = ideal.last();
    first.axis = unit(Direction<Head>{0.004, -0.003, 1});
    first.normal = unit(Direction<Head>{-1, 1.006, 0.005});
    first.offset = 0.0006;
    last.axis = unit(Direction<Head>{1, 0.005, -0.004});
    last.normal = unit(Direction<Head>{0.003, -1, 1.004});
    last.offset = -0.0008;
    last.turn = -1.004;
    return traced_mirrors({0.0004, -0.0403, 0.0005}, unit(Direction<Head>{1, 0.004, -0.006}), first, last);
}

AxisRanges ranges() {
    Range const mirror{degrees(-10.5), degrees(10.5)};
    return {mirror, mirror, {millimetres(-11), millimetres(11)}};
}

// Marks on a grid of 17 x 17 commands, found up to 0.7 mrad beside them.
FieldMap field_map() {
    std::vector<FieldMark> marks;
    for (int i = 0; i < 17; ++i)
        for (int k = 0; k < 17; ++k) {
            double const x = degrees(-11 + 22 * i / 16.0), y = degrees(-11 + 22 * k / 16.0);
            marks.push_back({marks.size() + 2,
                             {x, y},
                             {x + 7e-4 * std::sin(9 * x + 4 * y), y + 6e-4 * std::cos(7 * y - 5 * x)}});
        }
    return fit_field_map(marks);
}

// A lens whose focus moves a little more where it is further away.
FocusTable focus_table() {
    std::vector<double> paths, lenses;
    for (int i = -6; i <= 6; ++i) {
        double const beyond = 0.016 * i;
        paths.push_back(0.54 + beyond);
        lenses.push_back(beyond / 8 - 0.15 * beyond * beyond);
    }
    return {paths, lenses};
}

RealHead<OpenBeam> whole_head() {
    HeadParts<OpenBeam> parts{mirrors(), {}, focus_table(), ranges()};
    parts.map = field_map();
    parts.outline = circle_outline(0.2, OutlineIn::focal_plane);
    return real_head(std::move(parts));
}

void bench_ticks(Scene const& scene) {
    auto const& ideal = scene.chain();
    AnyChain const real{ideal.cell_from_flange, ideal.cell_from_part, ideal.flange_from_head, whole_head()};
    auto const with_rates = [](AnyChain const& chain, Question const& q) {
        return chain.follow(*q.seam, Rates::variable(q.seam_time), Rates::variable(q.time));
    };
    auto const position = [](AnyChain const& chain, Question const& q) {
        return chain.follow(*q.seam, q.seam_time, q.time);
    };
    Blocks const blocks = scene.in_order(100);
    for (auto const& block : blocks)
        for (Question const& q : block)
            if (position(real, q).status != Status::ok)
                throw std::runtime_error("the bench's real head cannot follow a seam");
    auto const over = [&](AnyChain const& chain, auto way) {
        return [&chain, &blocks, way](std::size_t block) {
            for (Question const& q : blocks[block]) {
                auto result = way(chain, q);
                benchmark::DoNotOptimize(result);
            }
        };
    };
    Duel const rates =
        duel(20, blocks.size(), blocks[0].size(), over(real, with_rates), over(ideal, with_rates));
    print("real_head_vs_ideal", rates.ratio(), "ratio");
    print("real_head_rates_tick_ns", median(rates.baseline), "ns");
    print("ideal_head_rates_tick_ns", median(rates.ours), "ns");
    print_spread("real_head_rates_tick_block", rates.baseline);
    Duel const places =
        duel(20, blocks.size(), blocks[0].size(), over(real, position), over(ideal, position));
    print("real_head_vs_ideal_position", places.ratio(), "ratio");
    print("real_head_position_tick_ns", median(places.baseline), "ns");
}

// What an engineer writes who has a solver: the beam traced through the mirrors of `mirrors()`, by how much
// it misses a point in the plane through it.
struct TracedMiss {
    Point<Head> target;
    Point<Head> entry;
    Direction<Head> incoming;
    TurningMirror<> first, last;

    template <class T> using Triple = std::array<T, 3>;

    template <class T, class U> static T product(Triple<T> const& a, Triple<U> const& b) {
        return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    }

    template <class T>
    static void reflect(Triple<T>& o, Triple<T>& d, TurningMirror<> const& m, T const& angle) {
        using std::cos;
        using std::sin;
        T const c = cos(angle * m.turn), s = sin(angle * m.turn);
        double const along = m.axis.x * m.normal.x + m.axis.y * m.normal.y + m.axis.z * m.normal.z;
        auto const turned = cross(m.axis, m.normal);
        Triple<T> const n{m.normal.x * c + turned.x * s + m.axis.x * along * (1.0 - c),
                          m.normal.y * c + turned.y * s + m.axis.y * along * (1.0 - c),
                          m.normal.z * c + turned.z * s + m.axis.z * along * (1.0 - c)};
        Triple<T> const to{m.pivot.x - o[0], m.pivot.y - o[1], m.pivot.z - o[2]};
        T const toward = product(n, d);
        T const way = (product(n, to) + m.offset) / toward;
        for (std::size_t i = 0; i < 3; ++i) {
            o[i] += way * d[i];
            d[i] -= 2.0 * toward * n[i];
        }
    }

    template <class T> bool operator()(T const* angles, T* miss) const {
        Triple<T> o{T(entry.x), T(entry.y), T(entry.z)};
        Triple<T> d{T(incoming.x), T(incoming.y), T(incoming.z)};
        reflect(o, d, first, angles[0]);
        reflect(o, d, last, angles[1]);
        T const way = (target.z - o[2]) / d[2];
        miss[0] = o[0] + way * d[0] - target.x;
        miss[1] = o[1] + way * d[1] - target.y;
        return true;
    }
};

void bench_inversion() {
    auto const m = mirrors();
    auto const head = real_head(HeadParts<OpenBeam>{m, {}, LinearFocus<>{0.54, 8}, ranges()});
    MirrorPair<> const ideal{0.04, 0.54, 8, ranges().x_mirror, ranges().y_mirror, ranges().focus, 1};
    std::size_t const count = 500, blocks = 20;
    std::mt19937_64 random(20240614);
    std::vector<Point<Head>> points(count * blocks);
    for (auto& p : points)
        p = {0.3 * (uniform(random) - 0.5), 0.3 * (uniform(random) - 0.5), 0.45 + 0.1 * uniform(random)};
    CeresSolver<TracedMiss> solver;
    auto const solved = [&](Point<Head> const& p) {
        auto const start = ideal.command(p);
        std::array<double, 2> angles{start.x_mirror, start.y_mirror};
        solver.solve(TracedMiss{p, m.entry(), m.incoming(), m.first(), m.last()}, angles);
        return angles;
    };
    double difference = 0;
    for (auto const& p : points) {
        auto const theirs = solved(p);
        auto const ours = head.command(p);
        difference =
            std::max({difference, std::abs(theirs[0] - ours.x_mirror), std::abs(theirs[1] - ours.y_mirror)});
    }
    Duel const times = duel(
        10, blocks, count,
        [&](std::size_t block) {
            for (std::size_t i = block * count; i < (block + 1) * count; ++i) {
                auto angles = solved(points[i]);
                benchmark::DoNotOptimize(angles);
            }
        },
        [&](std::size_t block) {
            for (std::size_t i = block * count; i < (block + 1) * count; ++i) {
                auto aim = head.aim(points[i]);
                benchmark::DoNotOptimize(aim);
            }
        });
    print("real_head_vs_ceres", times.ratio(), "ratio");
    print("real_head_ceres_agreement_rad", difference, "rad");
    print_spread("real_head_vs_ceres_baseline", times.baseline);
    print_spread("real_head_vs_ceres_ours", times.ours);
}

} // namespace

int main() {
    try {
        bench_ticks(Scene());
        bench_inversion();
    } catch (std::exception const& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 1;
    }
    return 0;
}
