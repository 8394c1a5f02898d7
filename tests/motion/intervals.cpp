#include "seamhold/motion/any_motion.hpp"

#include <doctest/doctest.h>

#include "seamhold/motion/compose.hpp"
#include "seamhold/motion/joint_move.hpp"
#include "support/arms.hpp"
#include "support/enclosures.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// Every motion over stretches of time holds pose and rates at the instants in them, as they are at doubles;
// and where a break lies inside, it knows nothing above the third derivative.

using namespace seamhold;
using namespace seamhold::test;

namespace {

template <class To, class From, class T> std::array<T, 12> numbers_of(Pose<To, From, T> const& p) {
    auto const& m = p.rotation.m;
    return {m[0][0], m[0][1], m[0][2], m[1][0],    m[1][1],    m[1][2],
            m[2][0], m[2][1], m[2][2], p.origin.x, p.origin.y, p.origin.z};
}

template <class M>
void check_motion(M const& motion, std::string const& name, double first, double last, Random& random) {
    CAPTURE(name);
    constexpr int N = 5;
    using Over = Taylor<Interval, N>;
    using At = Taylor<double, 3>;
    Misses misses;
    auto const breaks = breaks_of(motion);
    for (std::size_t n = 0; n < runs(30); ++n)
        for (double const width : {0.0, 1e-6, 1e-3, 0.05, 0.4}) {
            // Anywhere; and about a break, from it on, up to it.
            double from = random.uniform(first, last);
            if (!breaks.empty() && random.unit() < 0.5)
                from = breaks[random.index(breaks.size())] - width * static_cast<double>(random.index(3)) / 2;
            double const to = from + width;
            auto const over = numbers_of(number_cast<Over>(motion.at(Over::variable(Interval(from, to)))));
            std::size_t inside = 0;
            double nearest = infinity; // from an end to a break; the last bit of a time decides nothing
            for (double const b : breaks) {
                // Before the first row of a log and behind its last the piece there goes on.
                inside += from < b && b < to && first < b && b < last ? 1 : 0;
                nearest = std::min({nearest, std::abs(b - from), std::abs(b - to)});
            }
            for (int k = 0; k < 5; ++k) {
                double const t = k == 0 ? from : k == 1 ? to : random.uniform(from, to);
                if (k < 2 && width > 0 && nearest < 1e-9)
                    continue; // rates at a break are those behind it
                auto const at = numbers_of(number_cast<At>(motion.at(At::variable(t))));
                for (std::size_t i = 0; i < 12; ++i)
                    for (int d = 0; d <= 3; ++d) {
                        double const x = at[i].coefficient[d];
                        auto const& c = over[i].coefficient[d];
                        // Of doubles: some hundred roundings, with each rate over gaps of some 20 ms.
                        double const off = 1e-12 * (1 + std::abs(x)) * std::pow(50, d);
                        misses.expect(c.low <= x + off && x - off <= c.high, "number", i, "rate", d, "over",
                                      from, to, "is", c, "without", x, "at", t);
                    }
            }
            std::size_t whole = 0;
            for (auto const& x : over) {
                for (auto const& c : x.coefficient)
                    misses.expect(is_sound(c), c);
                whole += is_whole(x.coefficient[4]) || is_whole(x.coefficient[5]) ? 1 : 0;
                for (int d = 0; d <= 3; ++d)
                    misses.expect(is_finite(x.coefficient[d]), "rate", d, "over", from, to);
            }
            if (inside == 0)
                misses.expect(whole == 0, "no break between", from, to);
            else if (width > 1e-4 && nearest > 1e-9)
                misses.expect(whole > 0, "a break between", from, to);
        }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

struct Table;

Pose<Cell, Base> const cell_from_base{about_axis<Cell, Base>(Direction<Cell>{0, 0, 1}, 0.4),
                                      {0.2, -0.1, 0.8}};
std::array<double, 6> const start{0.1, -0.7, 2.0, 0.4, -0.5, 1.2};
std::array<double, 6> const end{-0.6, -0.3, 1.5, 0.4, 0.5, 2.0};

} // namespace

TEST_CASE("law: motions over stretches of time hold those at doubles") {
    Random random(68'501);
    check_motion(Sweep{}, "sweep", -2, 2, random);
    check_motion(Rest<Cell, Part>{random_pose<Cell, Part>(random)}, "rest", -2, 2, random);
    check_motion(Steady<Cell, Flange>{random_pose<Cell, Flange>(random), {0.2, -0.1, 0.3}, 0.5}, "steady", -2,
                 2, random);
    Turntable<Cell, Table> const table{
        random_pose<Cell, Table>(random), {0.1, 0.2, 0.3}, {0, 0.6, 0.8}, 0.7, 1.0};
    check_motion(table, "turntable", -2, 2, random);
    check_motion(compose(table, Rest<Table, Part>{random_pose<Table, Part>(random)}), "composed", -2, 2,
                 random);

    PoseLog<Cell, Flange> const log(rows_of(Sweep{}, uneven_times(50, 2)));
    check_motion(log, "log of poses", 0, 2, random);
    check_motion(AnyFlangeMotion(log), "any motion", 0, 2, random);
    RateLimits const way{0.5, 2, 20}, turn{1.5, 4, 50};
    StraightMove<Cell, Flange> const straight(random_pose<Cell, Flange>(random),
                                              random_pose<Cell, Flange>(random), way, turn, 0.5);
    check_motion(straight, "straight move", 0, straight.end_time() + 0.5, random);
}

TEST_CASE("law: motions of an arm over stretches of time hold those at doubles") {
    Random random(68'502);
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    std::array<RateLimits, 6> limits;
    limits.fill({1, 3, 30});
    JointMove<6> const move(cell_from_base, arm, start, end, limits, 0.5);
    check_motion(move, "joint move", 0, move.end_time() + 0.5, random);
    std::vector<double> const times = uneven_times(40, 2);
    std::vector<std::array<double, 6>> rows;
    for (double const t : times) {
        rows.push_back(start);
        for (std::size_t i = 0; i < 6; ++i)
            rows.back()[i] += 0.3 * std::sin((1 + 0.2 * static_cast<double>(i)) * t);
    }
    check_motion(JointLog<6>(cell_from_base, arm, times, rows), "log of joints", 0, 2, random);
}
