#include "seamhold/motion/pose_log.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Log = PoseLog<Cell, Flange>;
double const pi = std::numbers::pi;

std::string message_of(std::vector<PoseRow<Cell>> const& rows,
                       double max_gap = std::numeric_limits<double>::infinity()) {
    return refusal_of([&] { return Log(rows, max_gap); });
}

// Largest errors of a log against the motion that it was taken from: over everything, and over the first and
// last piece.
struct Errors {
    double place = 0, angle = 0, first = 0, last = 0, velocity = 0, turning = 0;
};

template <class M> Errors errors_of(M const& motion, Log const& log) {
    Errors errors;
    auto const times = log.times();
    for (std::size_t i = 0; i + 1 < times.size(); ++i)
        for (int k = 0; k <= 16; ++k) {
            double const t = times[i] + (times[i + 1] - times[i]) * k / 16;
            auto const time = Taylor<double, 1>::variable(t);
            auto const got = log.at(time);
            auto const want = motion.at(time);
            double const place = norm(value_of(got).origin - value_of(want).origin);
            double const angle = angle_between(value_of(got).rotation, value_of(want).rotation);
            errors.place = std::max(errors.place, place);
            errors.angle = std::max(errors.angle, angle);
            if (i == 0)
                errors.first = std::max(errors.first, std::max(place, angle));
            if (i + 2 == times.size())
                errors.last = std::max(errors.last, std::max(place, angle));
            errors.velocity = std::max(errors.velocity, norm(twist_of(got).linear - twist_of(want).linear));
            errors.turning = std::max(errors.turning, norm(twist_of(got).angular - twist_of(want).angular));
        }
    return errors;
}

// A steady spin about a slanted axis at 1 rad/s.
struct Spin {
    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        return {about_axis<Cell, Flange>(Direction<Cell>{0, 0.6, 0.8}, t), {T(0.0), T(0.0), T(0.0)}};
    }
};

double order_of(double coarse, double fine) { return std::log2(coarse / fine); }

// The rows as seen after a fixed pose on the left, cell' ← cell, or on the right, flange ← tool.
std::vector<PoseRow<Cell>> multiplied(std::vector<PoseRow<Cell>> rows, Pose<Cell, Cell> const& left,
                                      Pose<Flange, Flange> const& right) {
    for (auto& row : rows) {
        auto const& q = row.rotation;
        Pose<Cell, Flange> const pose{from_wxyz<Cell, Flange>(q.w, q.x, q.y, q.z), row.origin};
        auto const moved = left * pose * right;
        row.origin = moved.origin;
        row.rotation = quaternion_of(moved.rotation);
    }
    return rows;
}

} // namespace

TEST_CASE("a log goes through its rows") {
    auto const rows = rows_of(Sweep{}, uneven_times(40, 2));
    Log const log(rows);
    REQUIRE(log.times().size() == rows.size());
    for (auto const& row : rows) {
        auto const pose = log.at(row.time);
        // A cubic piece meets its last value to a few roundings.
        CHECK(difference(pose.origin, row.origin) <= 20 * epsilon);
        CHECK(angle_between(pose.rotation, rotation_of<Cell, Flange>(row.rotation)) <= 20 * epsilon);
        CHECK(log.covers(row.time));
    }
}

TEST_CASE("the error falls as h⁴ in place and angle, up to both ends, with uneven stamps") {
    // C. de Boor, "A Practical Guide to Splines", chapter V: value h⁴, first derivative h³. Halving twice;
    // within 0.3.
    Sweep const sweep;
    Errors coarse = errors_of(sweep, Log(rows_of(sweep, uneven_times(100, 2))));
    MESSAGE("100 rows over 2 s: " << coarse.place << " m, " << coarse.angle << " rad");
    for (std::size_t const pieces : {200U, 400U}) {
        Errors const fine = errors_of(sweep, Log(rows_of(sweep, uneven_times(pieces, 2))));
        MESSAGE(pieces << " rows: " << fine.place << " m, " << fine.angle << " rad; orders: place "
                       << order_of(coarse.place, fine.place) << ", angle "
                       << order_of(coarse.angle, fine.angle) << ", first piece "
                       << order_of(coarse.first, fine.first) << ", last piece "
                       << order_of(coarse.last, fine.last) << ", velocity "
                       << order_of(coarse.velocity, fine.velocity) << ", angular velocity "
                       << order_of(coarse.turning, fine.turning));
        CHECK(order_of(coarse.place, fine.place) > 3.7);
        CHECK(order_of(coarse.angle, fine.angle) > 3.7);
        CHECK(order_of(coarse.first, fine.first) > 3.7);
        CHECK(order_of(coarse.last, fine.last) > 3.7);
        CHECK(order_of(coarse.velocity, fine.velocity) > 2.7);
        CHECK(order_of(coarse.turning, fine.turning) > 2.7);
        coarse = fine;
    }
}

TEST_CASE("laws of a motion: a rotation at every time, true rates, no jump up to the second derivative") {
    Sweep const sweep;
    Log const log(rows_of(sweep, uneven_times(200, 2)));
    std::vector<double> times;
    for (int i = 1; i < 100; ++i)
        times.push_back(0.02 * i + 0.0003);
    MotionLaws<Cell, Flange, Log> const laws(log, times, 1e-5);
    CHECK(laws.finite);
    CHECK(laws.not_rotation <= 20 * epsilon);
    CHECK(laws.value_apart <= 20 * epsilon);
    // A central difference is wrong by step²/6 times the third derivative, below 1.2³ + 2 · 2.2 · … ≈ 20
    // here, and by epsilon/step = 2e-11, which is 0.2 of step².
    CHECK(laws.slope_apart <= 5);
    // At a knot: rounding of values, of slopes over the shortest step (4 ms) and of bends over its square.
    CHECK(laws.jump[0] <= 20 * epsilon);
    CHECK(laws.jump[1] <= 100 * epsilon / 0.004);
    CHECK(laws.jump[2] <= 400 * epsilon / (0.004 * 0.004));
}

TEST_CASE("the sign of a quaternion does not matter") {
    auto rows = rows_of(Sweep{}, uneven_times(60, 2));
    Log const plain(rows);
    Random random(631);
    for (auto& row : rows)
        if (random.unit() < 0.5)
            row.rotation = {-row.rotation.w, -row.rotation.x, -row.rotation.y, -row.rotation.z};
    Log const mixed(rows);
    for (int i = 0; i <= 200; ++i)
        CHECK(difference(plain.at(0.01 * i), mixed.at(0.01 * i)) == 0);
}

TEST_CASE("several full turns on one way round") {
    // 40° from row to row for six turns: the four components wind on through −1 and back.
    std::vector<double> times;
    for (double angle = 0; angle < 12 * pi; angle += degrees(40))
        times.push_back(angle);
    auto const errors = errors_of(Spin{}, Log(rows_of(Spin{}, times)));
    // Half angles of 20° = 0.35 rad: 0.35⁴ = 0.015 times a constant that is 0.02 to 0.1 at a not-a-knot end.
    CHECK(errors.angle <= 2e-3);
    CHECK(errors.place == 0);
    times.clear();
    for (double angle = 0; angle < 4 * pi; angle += degrees(10))
        times.push_back(angle);
    Log const fine(rows_of(Spin{}, times));
    double inside = 0;
    for (std::size_t i = 10; i + 11 < times.size(); ++i)
        for (double const part : {0.1, 0.25, 0.5, 0.8})
            inside = std::max(inside, angle_between(fine.at(times[i] + part * degrees(10)).rotation,
                                                    Spin{}.at(times[i] + part * degrees(10)).rotation));
    MESSAGE("steady spin at 10° a row: error inside " << inside << " rad, with the ends "
                                                      << errors_of(Spin{}, fine).angle << " rad");
    CHECK(inside <= 2e-8); // the header says: about 1e-8 rad
}

TEST_CASE("a pose on the left gives the multiplied log to rounding") {
    Random random(632);
    auto const rows =
        rows_of(Sweep{}, uneven_times(30, 2)); // coarse on purpose: interpolation errors would show
    Log const log(rows);
    for (std::size_t n = 0; n < runs(20); ++n) {
        auto const left = random_pose<Cell, Cell>(random);
        Log const moved(multiplied(rows, left, Pose<Flange, Flange>::identity()));
        for (int i = 0; i <= 200; ++i) {
            double const t = 0.01 * i;
            auto const want = left * log.at(t);
            // Rows are rounded once more, and the spline passes that on by a factor of two or so.
            CHECK(difference(moved.at(t), want) <= 40 * epsilon);
        }
    }
}

TEST_CASE("a rotation on the right gives the multiplied log to rounding") {
    Random random(633);
    auto const rows = rows_of(Sweep{}, uneven_times(30, 2));
    Log const log(rows);
    for (std::size_t n = 0; n < runs(20); ++n) {
        Pose<Flange, Flange> const right{random_rotation<Flange, Flange>(random), {0, 0, 0}};
        Log const moved(multiplied(rows, Pose<Cell, Cell>::identity(), right));
        for (int i = 0; i <= 200; ++i)
            CHECK(difference(moved.at(0.01 * i), log.at(0.01 * i) * right) <= 40 * epsilon);
    }
}

TEST_CASE("a pose on the right gives the multiplied log: the rotation to rounding, the place to O(h⁴)") {
    // Another point of the tool runs on a curve that is no cubic spline where the flange's is one.
    Pose<Flange, Flange> const right{about_axis<Flange, Flange>(Direction<Flange>{0.6, 0.8, 0}, 0.7),
                                     {0.1, -0.2, 0.4}};
    double coarse = 0;
    for (std::size_t const pieces : {100U, 200U, 400U}) {
        auto const rows = rows_of(Sweep{}, uneven_times(pieces, 2));
        Log const log(rows);
        Log const moved(multiplied(rows, Pose<Cell, Cell>::identity(), right));
        double place = 0, turn = 0;
        for (int i = 0; i <= 4000; ++i) {
            double const t = 0.0005 * i;
            auto const want = log.at(t) * right;
            place = std::max(place, norm(moved.at(t).origin - want.origin));
            turn = std::max(turn, difference(moved.at(t).rotation, want.rotation));
        }
        CHECK(turn <= 40 * epsilon);
        if (coarse > 0) {
            MESSAGE(pieces << " rows over 2 s, lever 0.46 m: places differ by " << place << " m, order "
                           << order_of(coarse, place));
            CHECK(order_of(coarse, place) > 3.7);
        }
        coarse = place;
    }
}

TEST_CASE("holes have no data, and the two sides know nothing of each other") {
    Sweep const sweep;
    std::vector<double> times;
    for (int i = 0; i <= 100; ++i)
        if (i < 40 || i > 60)
            times.push_back(0.02 * i);
    auto rows = rows_of(sweep, times);
    Log const log(rows, 0.1);
    CHECK(log.covers(0));
    CHECK(log.covers(0.5));
    CHECK(log.covers(0.78)); // the last row before the hole
    CHECK_FALSE(log.covers(std::nextafter(0.78, 1.0)));
    CHECK_FALSE(log.covers(1.0));
    CHECK_FALSE(log.covers(std::nextafter(rows[40].time, 0.0)));
    CHECK(log.covers(rows[40].time)); // the first row after it
    CHECK(log.covers(2.0));
    CHECK_FALSE(log.covers(-1e-6));
    CHECK_FALSE(log.covers(2.0 + 1e-6));
    CHECK_FALSE(log.covers(std::numeric_limits<double>::quiet_NaN()));
    // Finite all the same.
    for (double const t : {-10.0, 0.9, 1.0, 1.2, 50.0})
        CHECK(is_finite(log.at(Taylor<double, 2>::variable(t)).origin));
    // What happens after the hole does not change a bit before it.
    for (std::size_t i = 40; i < rows.size(); ++i)
        rows[i].origin.x += 5;
    Log const other(rows, 0.1);
    for (double t = 0; t <= 0.78; t += 0.003)
        CHECK(difference(log.at(t), other.at(t)) == 0);
    // Without a longest gap the hole is bridged.
    CHECK(Log(rows).covers(1.0));
}

TEST_CASE("at the last row before a hole the rates are still those of the motion") {
    // 2026-11-25: the instant belonged to the hole's own piece, which stands still, and the rates came out as
    // zero while covers() said that there were data.
    Sweep const sweep;
    std::vector<double> times;
    for (int i = 0; i <= 200; ++i)
        if (i < 80 || i > 120)
            times.push_back(0.01 * i);
    Log const log(rows_of(sweep, times), 0.1);
    double const edge = times[79];
    REQUIRE(log.covers(edge));
    auto const got = log.at(Taylor<double, 2>::variable(edge));
    auto const want = sweep.at(Taylor<double, 2>::variable(edge));
    // h³ and h² of the spline's rates with h = 0.01 s and derivatives up to 3⁴.
    CHECK(difference(rate_of(got, 1), rate_of(want, 1)) <= 81 * 1e-6);
    CHECK(difference(rate_of(got, 2), rate_of(want, 2)) <= 81 * 1e-4);
}

TEST_CASE("a row alone between two holes is no data: it says no rates") {
    auto const rows = rows_of(Sweep{}, {0, 0.01, 0.02, 0.5, 1.0, 1.01, 1.02});
    Log const log(rows, 0.1);
    CHECK_FALSE(log.covers(0.5));
    CHECK(log.covers(0.02));
    CHECK(log.covers(1.0));
    auto const first = rows_of(Sweep{}, {0, 0.5, 0.51, 0.52});
    CHECK_FALSE(Log(first, 0.1).covers(0));
    auto const last = rows_of(Sweep{}, {0, 0.01, 0.02, 0.5});
    CHECK_FALSE(Log(last, 0.1).covers(0.5));
}

TEST_CASE("both ends belong to the log, with the last bit's allowance") {
    std::vector<double> times;
    for (int i = 0; i <= 10; ++i)
        times.push_back(1.7e9 + 0.1 * i); // seconds since 1970
    Log const log(rows_of(Sweep{}, times));
    CHECK(log.covers(times.front()));
    CHECK(log.covers(times.back()));
    CHECK(log.covers(std::nextafter(times.back(), 2e9)));
    CHECK(log.covers(std::nextafter(times.front(), 0.0)));
    CHECK_FALSE(log.covers(times.back() + 1e-4));
}

TEST_CASE("a log of two rows is a straight glide, of three a parabola") {
    Pose<Cell, Flange> const a = Pose<Cell, Flange>::identity();
    std::vector<PoseRow<Cell>> rows{{0, a.origin, {1, 0, 0, 0}}, {2, {2, 4, 6}, {1, 0, 0, 0}}};
    CHECK(difference(Log(rows).at(0.5).origin, Point<Cell>{0.5, 1, 1.5}) <= 4 * epsilon);
    rows.push_back({4, {0, 0, 0}, {1, 0, 0, 0}});
    CHECK(difference(Log(rows).at(1.0).origin, Point<Cell>{1.5, 3, 4.5}) <=
          16 * epsilon); // 2·x·(1 − x/4), x = 1
}

TEST_CASE("what cannot be interpolated is refused, and the message names the row and the cause") {
    auto const good = rows_of(Sweep{}, uneven_times(10, 1));
    CHECK(message_of(good).empty());
    auto rows = good;
    rows[3].rotation = {0.5, 0.5, 0, 0};
    CHECK(message_of(rows).find("row 3") != std::string::npos);
    CHECK(message_of(rows).find("norm 0.707") != std::string::npos);
    rows = good;
    rows[4].rotation.y = std::numeric_limits<double>::quiet_NaN();
    CHECK(message_of(rows).find("row 4") != std::string::npos);
    rows = good;
    rows[5].origin.y = std::numeric_limits<double>::infinity();
    CHECK(message_of(rows).find("row 5") != std::string::npos);
    rows = good;
    rows[6].time = rows[5].time;
    CHECK_FALSE(message_of(rows).empty());
    rows[6].time = rows[4].time;
    CHECK(message_of(rows).find("6") != std::string::npos);
    rows[6].time = std::numeric_limits<double>::quiet_NaN();
    CHECK(message_of(rows).find("6") != std::string::npos);
    CHECK_FALSE(message_of({}).empty());
    CHECK_FALSE(message_of({good[0]}).empty());
    CHECK_FALSE(message_of(good, 1e-9).empty()); // every row stands alone
    CHECK_FALSE(message_of(good, std::numeric_limits<double>::quiet_NaN()).empty());
    CHECK_FALSE(message_of(good, 0).empty());
}

TEST_CASE("more than 45° from row to row is refused, unless a hole lies between") {
    auto const two = [](double angle) {
        auto const q = quaternion_of(about_axis<Cell, Flange>(Direction<Cell>{0.6, 0, 0.8}, degrees(angle)));
        return std::vector<PoseRow<Cell>>{{0, {0, 0, 0}, {1, 0, 0, 0}}, {1, {0, 0, 0}, q}};
    };
    CHECK(message_of(two(44.9)).empty());
    CHECK(message_of(two(45.1)).find("row 1") != std::string::npos);
    CHECK(message_of(two(45.1)).find("45.1") != std::string::npos);
    CHECK(message_of(two(300)).find("60") != std::string::npos); // the shorter way round
    CHECK(message_of(two(320)).empty());
    auto rows = two(120);
    rows.insert(rows.begin(), {-1, {0, 0, 0}, {1, 0, 0, 0}});
    rows[2].time = 10;
    rows.push_back({11, {0, 0, 0}, rows[2].rotation});
    CHECK(message_of(rows, 2).empty());
    CHECK_FALSE(message_of(rows).empty());
}

TEST_CASE("a quaternion within the tolerance of files is normalised") {
    std::vector<PoseRow<Cell>> const rows{{0, {0, 0, 0}, {0.7071067, 0.7071067, 0, 0}},
                                          {1, {0, 0, 0}, {0.7071068, 0.7071068, 0, 0}}};
    for (double const t : {0.0, 0.3, 1.0})
        CHECK(distance_from_rotation(Log(rows).at(t).rotation) <= 20 * epsilon);
}

TEST_CASE("copies share the rows, and asking does not touch the heap") {
    Log const log(rows_of(Sweep{}, uneven_times(1000, 2)));
    AllocationGuard guard;
    Log const copy = log;
    auto const pose = copy.at(Taylor<double, 2>::variable(1.234));
    bool const covered = copy.covers(1.234);
    CHECK(guard.count() == 0);
    CHECK(covered);
    CHECK(difference(value_of(pose), log.at(1.234)) <= 10 * epsilon);
}

TEST_CASE("a log is a Motion") {
    static_assert(Motion<Log, Cell, Flange>);
    static_assert(Log::continuity == 2);
    Log const log(rows_of(Sweep{}, uneven_times(10, 1)));
    CHECK(breaks_of(log).size() == 11);
    CHECK(has_data(log, 0.5));
    CHECK_FALSE(has_data(log, 1.5));
}
