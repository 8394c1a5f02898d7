#include "seamhold/limit/window.hpp"

#include <doctest/doctest.h>

#include "seamhold/motion/pose_log.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/curves.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

// Windows against ends worked out by hand or by plain plane geometry, and against jobs in which what a window
// varies was changed for real: another start, rows at other times, a head mounted in another place.

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

template <class Motion> struct PlainJob {
    Chain<Motion, Rest<Cell, Part>, MirrorPair<>> chain;
    HeadDynamics dynamics;
    double largest_incidence = no_limit;
    std::optional<Process> process = {};
    SeamLimits limits = {};
};
using GlidingJob = PlainJob<Steady<Cell, Flange>>;
using LoggedJob = PlainJob<PoseLog<Cell, Flange>>;

template <class Path> struct PlainSeam {
    std::string name;
    double start;
    Seam<Path> seam;
};
using HeldSeam = PlainSeam<OnFace<Still<>, Plane<>>>;
using ArcSeam = PlainSeam<OnFace<Arc<>, Plane<>>>;

double const separation = 0.04, height = 0.5, mirror_range = degrees(10);
// The ends are found to tolerance / 64 and by rounding; what is proven lies half a tolerance further inside.
double const tolerance = 1e-6, root_error = tolerance / 32;

HeadDynamics unlimited() {
    return {no_limit, no_limit, no_limit, milliseconds(0.5), milliseconds(2), no_limit, milliseconds(5)};
}

MirrorPair<> pair_of_mirrors(double field_radius = no_limit) {
    return {separation,
            height + separation,
            10,
            {-mirror_range, mirror_range},
            {-mirror_range, mirror_range},
            {millimetres(-8), millimetres(8)},
            field_radius};
}

Plane<> const table{Pose<Part, Face>::identity()};

Pose<Cell, Flange> looking_down(double x, double y) {
    return {{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {x, y, height}};
}

// A head that looks down from above and glides along x, at x0 at time 0.
GlidingJob gliding(double x0, double speed, MirrorPair<> const& head = pair_of_mirrors()) {
    return {{Steady<Cell, Flange>{looking_down(x0, 0), {speed, 0, 0}},
             {Pose<Cell, Part>::identity()},
             Pose<Flange, Head>::identity(),
             head},
            unlimited()};
}

HeldSeam held_at(double x, double start, double duration) {
    return {"held", start, held({x, 0}, table, duration)};
}

template <class Windows> void check_single(Windows const& found, double low, double high) {
    REQUIRE(found.size() == 1);
    auto const& w = found[0];
    CHECK(std::abs(w.low_root - low) <= root_error);
    CHECK(std::abs(w.high_root - high) <= root_error);
    CHECK(w.proven);
    CHECK(w.low >= low); // never a value too many
    CHECK(w.high <= high);
    CHECK(w.low <= low + tolerance);
    CHECK(w.high >= high - tolerance);
    CHECK(w.best >= w.low);
    CHECK(w.best <= w.high);
    CHECK(w.margin >= 0);
}

} // namespace

TEST_CASE(
    "start times of a held point while the head glides over it: from edge to edge of the mirror's range") {
    double const x0 = -0.4, speed = 0.25, place = 0.05, start = 1, duration = 0.3;
    auto const job = gliding(x0, speed);
    auto const seam = held_at(place, start, duration);
    // tan 2θ = x / (e + z), and x falls with the head's way.
    double const edge = std::tan(2 * mirror_range) * (separation + height);
    double const low = (place - edge - x0) / speed - start,
                 high = (place + edge - x0) / speed - start - duration;
    auto const found = windows(job, seam, Vary::start, {-1, 3});
    check_single(found, low, high);
    CHECK(found[0].low_limit == Limit::x_angle);
    CHECK(found[0].high_limit == Limit::x_angle);

    SUBCASE("the search range ends inside") {
        auto const part = windows(job, seam, Vary::start, {low + 0.1, high - 0.1});
        REQUIRE(part.size() == 1);
        CHECK(part[0].low == low + 0.1);
        CHECK(part[0].high == high - 0.1);
        CHECK(part[0].low_root == low + 0.1);
        CHECK(part[0].high_root == high - 0.1);
        CHECK_FALSE(part[0].low_limit.has_value());
        CHECK_FALSE(part[0].high_limit.has_value());
        CHECK(part[0].proven);
    }
    SUBCASE("nothing where the search range lies outside") {
        CHECK(windows(job, seam, Vary::start, {high + 0.01, high + 2}).empty());
        CHECK(windows(job, seam, Vary::start, {low - 2, low - 0.01}).empty());
    }
    SUBCASE("a box of poses takes its part") {
        WindowOptions options;
        options.change.box.path_shift = millimetres(2);
        options.change.box.delay = milliseconds(1);
        auto const boxed = windows(job, seam, Vary::start, {-1, 3}, options);
        REQUIRE(boxed.size() == 1);
        // 2 mm along x, and 2 mm nearer to the head, in the worst corner; and 1 ms.
        double const loss = 0.002 * (1 + std::tan(2 * mirror_range)) / speed + 0.001;
        CHECK(std::abs(boxed[0].low_root - low) <= root_error); // in doubles there is no box
        CHECK(boxed[0].low >= low + loss);
        CHECK(boxed[0].high <= high - loss);
        CHECK(boxed[0].low <= low + loss + tolerance);
        CHECK(boxed[0].high >= high - loss - tolerance);
        CHECK_FALSE(boxed[0].proven);
        CHECK(boxed[0].low_limit == Limit::x_angle);
    }
    SUBCASE("the other changes are kept") {
        WindowOptions options;
        options.change.standoff = 0.02;
        double const wider = std::tan(2 * mirror_range) * (separation + height + 0.02);
        check_single(windows(job, seam, Vary::start, {-1, 3}, options), (place - wider - x0) / speed - start,
                     (place + wider - x0) / speed - start - duration);
    }
}

TEST_CASE("a window narrower than the steps is found, and one narrower than the tolerance claims nothing") {
    double const speed = 0.25, edge = std::tan(2 * mirror_range) * (separation + height);
    auto const job = gliding(-0.123, speed);
    for (double const width : {1e-2, 1e-4}) {
        double const duration = 2 * edge / speed - width;
        double const low = (-edge + 0.123) / speed; // steps are 40 ms
        auto const found = windows(job, held_at(0, 0, duration), Vary::start, {-2, 2});
        check_single(found, low, low + width);
    }
    for (auto const& w : windows(job, held_at(0, 0, 2 * edge / speed - 1e-7), Vary::start, {-2, 2}))
        CHECK(w.low > w.high);
    CHECK(windows(job, held_at(0, 0, 2 * edge / speed + 1e-6), Vary::start, {-2, 2}).empty());
}

TEST_CASE("sweep speed: the first mirror is quickest where the beam is straight, at v / (2 (e + z))") {
    double const speed = 0.25, duration = 0.4, allowed = 0.3;
    auto job = gliding(-speed * duration / 2, speed);
    job.dynamics.mirror_velocity = allowed;
    auto const seam = held_at(0, 0, duration);
    double const quickest = 2 * (separation + height) * allowed;
    auto const found = windows(job, seam, Vary::speed, {0, 5});
    REQUIRE(found.size() == 1);
    CHECK(found[0].low == 0.0); // the robot may stand still
    CHECK_FALSE(found[0].low_limit.has_value());
    CHECK(std::abs(found[0].high_root - quickest / speed) <= root_error);
    CHECK(found[0].high <= quickest / speed);
    CHECK(found[0].high >= quickest / speed - tolerance);
    CHECK(found[0].high_limit == Limit::x_velocity);

    auto const fastest = fastest_sweep(job, seam);
    REQUIRE(fastest.has_value());
    CHECK(fastest->limit == Limit::x_velocity);
    CHECK(fastest->factor <= quickest / speed);
    CHECK(fastest->factor >= quickest / speed - tolerance);
    CHECK(fastest->down_to == 0.1);
    CHECK(std::abs(fastest->flange_speed - quickest) <= tolerance * speed);

    // With quick mirrors the way binds: the point must stay in range from end to end.
    job.dynamics.mirror_velocity = 20;
    auto const longest = fastest_sweep(job, seam);
    REQUIRE(longest.has_value());
    CHECK(longest->limit == Limit::x_angle);
    double const edge = std::tan(2 * mirror_range) * (separation + height);
    CHECK(std::abs(longest->root - 2 * edge / (speed * duration)) <= root_error);

    job.dynamics.mirror_velocity = 1e-3;
    CHECK_FALSE(fastest_sweep(job, seam).has_value());
}

TEST_CASE("standoff: as far as the focus reaches") {
    double const aside = 0.06;
    auto const job = gliding(0, 0);
    // path √(x² + (e + z)²) = focus path + ratio · lens
    auto const standoff = [&](double lens) {
        double const path = height + separation + 10 * lens;
        return std::sqrt(path * path - aside * aside) - separation - height;
    };
    auto const found = windows(job, held_at(aside, 0, 0.1), Vary::standoff, {-0.2, 0.2});
    check_single(found, standoff(-0.008), standoff(0.008));
    CHECK(found[0].low_limit == Limit::focus_range);
    CHECK(found[0].high_limit == Limit::focus_range);
}

TEST_CASE("tilt about the spot is incidence, tilt about the head is mirror angle") {
    auto job = gliding(0, 0);
    job.largest_incidence = degrees(20);
    auto const seam = held_at(0, 0, 0.1);
    WindowOptions options;
    options.change.pivot = height;
    for (auto const vary : {Vary::tilt_x, Vary::tilt_y}) {
        auto const found = windows(job, seam, vary, {-0.6, 0.6}, options);
        check_single(found, -degrees(20), degrees(20));
        CHECK(found[0].low_limit == Limit::incidence);
        CHECK(found[0].high_limit == Limit::incidence);
    }

    // A beam too square to the face would come straight back: two windows.
    job.limits.least_incidence = degrees(5);
    auto const two = windows(job, seam, Vary::tilt_x, {-0.6, 0.6}, options);
    REQUIRE(two.size() == 2);
    check_single(std::vector{two[0]}, -degrees(20), -degrees(5));
    check_single(std::vector{two[1]}, degrees(5), degrees(20));
    CHECK(two[0].high_limit == Limit::incidence);
    // The gap in the middle is found though it is narrower than the steps.
    job.limits.least_incidence = degrees(0.02);
    auto const split = windows(job, seam, Vary::tilt_x, {-0.61, 0.6}, options);
    REQUIRE(split.size() == 2);
    CHECK(std::abs(split[0].high_root + degrees(0.02)) <= root_error);
    CHECK(std::abs(split[1].low_root - degrees(0.02)) <= root_error);

    job.limits.least_incidence = 0;
    job.largest_incidence = degrees(60);
    options.change.pivot = 0;
    auto const about_head = windows(job, seam, Vary::tilt_x, {-0.6, 0.6}, options);
    check_single(about_head, -2 * mirror_range, 2 * mirror_range);
    CHECK(about_head[0].low_limit == Limit::y_angle);
}

TEST_CASE("start times of a circle while a round field sweeps over it, against plane geometry") {
    double const sweep = 0.2, spot_speed = metres_per_minute(15), radius = 0.1;
    auto const job = gliding(0, sweep, pair_of_mirrors(radius));
    double const pi = std::numbers::pi;
    for (double const start_angle : {0.0, 1.0, 2.5, 4.0}) {
        double const diameter = 0.06;
        ArcSeam const seam{"circle", 0,
                           at_speed(circle_around({0, 0}, diameter, start_angle), table, spot_speed)};
        // The largest distance of the spot from the field's middle, which is at x = lead at first. Between
        // two of so many points it is larger by less than the bend of a chord, 1e-9 m.
        auto const farthest = [&](double lead) {
            int const steps = 20000;
            double most = 0;
            for (int i = 0; i <= steps; ++i) {
                double const share = static_cast<double>(i) / steps, angle = start_angle + 2 * pi * share;
                double const x =
                    diameter / 2 * std::cos(angle) - (lead + sweep * share * pi * diameter / spot_speed);
                most = std::max(most, std::hypot(x, diameter / 2 * std::sin(angle)));
            }
            return most;
        };
        // A largest distance is convex in the place that it is measured from.
        auto const edge = [&](double inside, double outside) {
            for (int i = 0; i < 50; ++i) {
                double const middle = (inside + outside) / 2;
                (farthest(middle) <= radius ? inside : outside) = middle;
            }
            return inside;
        };
        double from = -0.3, to = 0.1;
        for (int i = 0; i < 40; ++i) {
            double const a = from + (to - from) / 3, b = to - (to - from) / 3;
            (farthest(a) < farthest(b) ? to : from) = farthest(a) < farthest(b) ? b : a;
        }
        double const middle = (from + to) / 2;
        REQUIRE(farthest(middle) < radius);
        auto const found = windows(job, seam, Vary::start, {-1.5, 1.5});
        check_single(found, edge(middle, middle - 0.3) / sweep, edge(middle, middle + 0.3) / sweep);
        CHECK(found[0].low_limit == Limit::field);
        CHECK(found[0].high_limit == Limit::field);

        // Above 79.6 mm there is no moment for it.
        ArcSeam const large{"circle", 0,
                            at_speed(circle_around({0, 0}, 0.0797, start_angle), table, spot_speed)};
        CHECK(windows(job, large, Vary::start, {-1.5, 1.5}).empty());
    }
}

namespace {

// Rows of 12 ms of a sweep that wobbles.
std::vector<PoseRow<Cell>> sweep_rows(std::size_t count, double speed, double wobble) {
    std::vector<PoseRow<Cell>> rows;
    for (std::size_t i = 0; i < count; ++i) {
        double const t = 0.012 * static_cast<double>(i);
        auto const turn = about_axis<Cell, Cell>(Direction<Cell>{0, 1, 0},
                                                 0.1 * std::sin(2 * t) + 0.3 * wobble * std::sin(31 * t)) *
                          looking_down(0, 0).rotation;
        rows.push_back({t,
                        {speed * (t - 0.5), wobble * std::sin(23 * t), height + wobble * std::cos(19 * t)},
                        quaternion_of(turn)});
    }
    return rows;
}

LoggedJob logged(std::vector<PoseRow<Cell>> const& rows, MirrorPair<> const& head,
                 Pose<Flange, Head> const& mount = Pose<Flange, Head>::identity()) {
    return {{PoseLog<Cell, Flange>(rows), {Pose<Cell, Part>::identity()}, mount, head}, unlimited()};
}

// The largest utilisation at an instant of a job as it is, and over a seam at many.
double used_at(LoggedJob const& job, ArcSeam const& seam, double time) {
    auto const checks = checks_of(job, seam);
    auto const d = demand_of(job, seam, Taylor<double, 3>::variable(time), wanted_by(checks));
    double most = 0;
    for (auto const& check : checks)
        most = std::max(most, check.utilisation(check.read(d[check.measure].derivative(check.derivative))));
    return most;
}
double used_over(LoggedJob const& job, ArcSeam const& seam, int steps) {
    double most = 0;
    for (int i = 0; i <= steps; ++i)
        most = std::max(most, used_at(job, seam, seam.seam.duration() * i / steps));
    return most;
}

} // namespace

TEST_CASE("where the record begins, ends or has a hole, a window ends") {
    auto rows = sweep_rows(101, 0.1, 0); // from 0 to 1.2 s
    ArcSeam const seam{"circle", 0.5, at_speed(circle_around({0, 0}, 0.02 / std::numbers::pi), table, 0.1)};
    double const low = -0.5, high = 1.2 - 0.7; // it lasts 0.2 s
    auto const job = logged(rows, pair_of_mirrors());
    auto const found = windows(job, seam, Vary::start, {-1, 1});
    check_single(found, low, high);
    CHECK(found[0].low_limit == Limit::reach);
    CHECK(found[0].high_limit == Limit::reach);

    WindowOptions options;
    options.change.box.delay = 0.001;
    auto const boxed = windows(job, seam, Vary::start, {-1, 1}, options);
    REQUIRE(boxed.size() == 1);
    CHECK(boxed[0].low >= low + 0.001);
    CHECK(boxed[0].low <= low + 0.001 + tolerance);
    CHECK(boxed[0].high <= high - 0.001);
    CHECK(boxed[0].high >= high - 0.001 - tolerance);
    CHECK(boxed[0].low_limit == Limit::reach);

    // Without the row at 0.6 s, and with steps of 12 ms at most counting as data.
    double const before = rows[49].time, after = rows[51].time;
    rows.erase(rows.begin() + 50);
    auto torn = job;
    torn.chain.cell_from_flange = PoseLog<Cell, Flange>(rows, 0.0125);
    auto const two = windows(torn, seam, Vary::start, {-1, 1});
    REQUIRE(two.size() == 2);
    check_single(std::vector{two[0]}, low, before - 0.7);
    check_single(std::vector{two[1]}, after - 0.5, high);
}

TEST_CASE("a box around a recorded sweep takes its part, breaks of the record inside or not") {
    // The glide of the first test, as rows: a spline through a line is that line.
    double const x0 = -0.4, speed = 0.25, place = 0.05, start = 1, duration = 0.3;
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= 300; ++i) {
        double const t = 0.012 * i;
        auto const pose = looking_down(x0 + speed * t, 0);
        rows.push_back({t, pose.origin, quaternion_of(pose.rotation)});
    }
    auto const job = logged(rows, pair_of_mirrors());
    auto const seam = held_at(place, start, duration);
    double const slope = std::tan(2 * mirror_range), edge = slope * (separation + height);
    double const low = (place - edge - x0) / speed - start,
                 high = (place + edge - x0) / speed - start - duration;
    check_single(windows(job, seam, Vary::start, {-0.9, 2}), low, high);
    for (double const shift : {0.0003, 0.005}) {
        WindowOptions options;
        options.change.box.path_shift = shift;
        options.change.box.delay = 0.0004;
        auto const boxed = windows(job, seam, Vary::start, {-0.9, 2}, options);
        REQUIRE(boxed.size() == 1);
        double const loss = shift * (1 + slope) / speed + 0.0004;
        CHECK(boxed[0].low >= low + loss);
        CHECK(boxed[0].high <= high - loss);
        CHECK(boxed[0].low <= low + loss + tolerance);
        CHECK(boxed[0].high >= high - loss - tolerance);
    }
}

TEST_CASE(
    "random sweeps: no value in a window passes a limit in a job changed for real, a value outside does") {
    Random random(20261126);
    std::size_t ends = 0;
    for (std::size_t run = 0; run < runs(200); ++run) {
        auto const vary = static_cast<Vary>(run % 5);
        double const speed = random.uniform(0.1, 0.4), wobble = random.uniform(0, 5e-4);
        auto const rows = sweep_rows(110, speed, wobble);
        auto const head = pair_of_mirrors(random.uniform(0.06, 0.12));
        Pose<Flange, Head> const mount{Rotation<Flange, Head>::identity(), {0.01, -0.02, 0.03}};
        auto job = logged(rows, head, mount);
        double const diameter = random.uniform(0.005, 0.03), feed = random.uniform(0.1, 0.3);
        double const x = random.uniform(-0.03, 0.03), y = random.uniform(-0.03, 0.03);
        double const angle = random.uniform(0, 6), start = random.uniform(0.3, 0.6);
        ArcSeam const seam{"circle", start, at_speed(circle_around({x, y}, diameter, angle), table, feed)};
        Change change;
        change.pivot = random.uniform(0, height);
        // Limits a little above what is needed at first.
        auto const room = [&] { return random.uniform(1.01, 1.5); };
        job.largest_incidence = degrees(random.uniform(15, 30));
        Wanted all;
        all.choice.fill(true);
        double x_rate = 0, y_rate = 0, acceleration = 0, jerk = 0;
        for (int i = 0; i <= 200; ++i) {
            auto const d =
                demand_of(job, seam, Taylor<double, 3>::variable(seam.seam.duration() * i / 200), all);
            auto const more = [](double& most, double value) { most = std::max(most, std::abs(value)); };
            for (auto const m : {Measure::x, Measure::y}) {
                more(m == Measure::x ? x_rate : y_rate, d[m].derivative(1));
                more(acceleration, d[m].derivative(2));
                more(jerk, d[m].derivative(3));
            }
        }
        job.dynamics.mirror_velocity = std::max(x_rate, y_rate) * room();
        job.dynamics.mirror_acceleration = acceleration * room();
        job.dynamics.mirror_jerk = jerk * room();

        double const widths[5] = {0.3, 0.5, 0.1, 0.3, 0.3};
        double const middle = vary == Vary::speed ? 1 : 0, width = widths[static_cast<std::size_t>(vary)];
        WindowOptions options;
        options.change = change;
        options.steps = 40;
        auto const found = windows(job, seam, vary, {middle - width, middle + width}, options);

        // The same job with the value built in.
        auto const with = [&](double value) {
            auto other = rows;
            auto on = mount;
            if (vary == Vary::speed) {
                double const still = seam.start + seam.seam.duration() / 2;
                for (auto& row : other)
                    row.time = still + (row.time - still) / value;
            } else if (vary == Vary::standoff) {
                on = on * Pose<Head, Head>{Rotation<Head, Head>::identity(), {0, 0, -value}};
            } else if (vary == Vary::tilt_x || vary == Vary::tilt_y) {
                Direction<Head> const axis =
                    vary == Vary::tilt_x ? Direction<Head>{1, 0, 0} : Direction<Head>{0, 1, 0};
                on = on * Pose<Head, Head>{Rotation<Head, Head>::identity(), {0, 0, change.pivot}} *
                     Pose<Head, Head>{about_axis<Head, Head>(axis, value), {0, 0, 0}} *
                     Pose<Head, Head>{Rotation<Head, Head>::identity(), {0, 0, -change.pivot}};
            }
            auto changed = logged(other, head, on);
            changed.dynamics = job.dynamics;
            changed.largest_incidence = job.largest_incidence;
            return changed;
        };
        auto const at = [&](double value) {
            auto moved = seam;
            moved.start += vary == Vary::start ? value : 0;
            return moved;
        };
        INFO("run ", run, ", vary ", to_string(vary));
        // Equal counts as kept by 1e-9; a spline through rows at other times differs in its last digits,
        // which its third derivative feels.
        double const equal = equal_share + 1e-8;
        for (auto const& w : found) {
            CHECK(w.proven);
            for (int k = 0; k < 8; ++k) {
                double const value = k == 0 ? w.low : k == 1 ? w.high : random.uniform(w.low, w.high);
                auto const used = used_over(with(value), at(value), 400);
                CHECK(used <= 1 + equal);
            }
            auto const outside = [&](double value) {
                auto const margin = sweep_margin(job, seam, with_value(change, vary, value));
                CHECK(margin.margin < 0);
                if (margin.limit != Limit::reach)
                    CHECK(used_at(with(value), at(value), margin.time) > 1);
                ++ends;
            };
            if (w.low_limit)
                outside(w.low_root - 2 * tolerance);
            if (w.high_limit)
                outside(w.high_root + 2 * tolerance);
        }
        // And where no window is, something is passed.
        for (int k = 0; k < 8; ++k) {
            double const value = random.uniform(middle - width, middle + width);
            bool const inside = std::any_of(found.begin(), found.end(), [&](Window const& w) {
                return value >= w.low_root - tolerance && value <= w.high_root + tolerance;
            });
            if (!inside) {
                auto const margin = sweep_margin(job, seam, with_value(change, vary, value));
                CHECK(margin.margin < 0);
            }
        }
    }
    CHECK(ends >= runs(200) / 2); // the scenarios do reach limits
}

TEST_CASE("what cannot be looked for is refused") {
    auto const job = gliding(0, 0.1);
    auto const seam = held_at(0, 0, 0.1);
    auto const refusal = [&](Vary vary, Range const& search, WindowOptions const& options = {}) {
        return refusal_of([&] { return windows(job, seam, vary, search, options); });
    };
    CHECK(has(refusal(Vary::start, {1, 1}), "window of start"));
    CHECK(has(refusal(Vary::standoff, {0.1, -0.1}), "standoff"));
    CHECK(has(refusal(Vary::start, {0, no_limit}), "finite"));
    CHECK(has(refusal(Vary::speed, {-1, 1}), "factor"));
    WindowOptions options;
    options.tolerance = 0;
    CHECK(has(refusal(Vary::start, {0, 1}, options), "tolerance"));
    options.tolerance = 1e-6;
    options.steps = 0;
    CHECK(has(refusal(Vary::start, {0, 1}, options), "step"));
}
