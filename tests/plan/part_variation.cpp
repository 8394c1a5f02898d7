#include "seamhold/plan/part_variation.hpp"

#include <doctest/doctest.h>

#include "plan/plan_jobs.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Six stitches in two rows along the sweep; the part's frame stands at their middle.
Job six_stitches(double drawn_at = 0.2) {
    Job job = gliding(0.2);
    for (int i = 0; i < 6; ++i)
        job.seams.push_back(stitch_about("S" + std::to_string(i + 1), 0.05 * (i / 2 * 2) + 0.1 - drawn_at,
                                         i % 2 == 0 ? -0.06 : 0.06, 0.4 * i));
    Pose<Cell, Part> pose = Pose<Cell, Part>::identity();
    pose.origin = {drawn_at, 0.01, 0.002};
    job.chain.cell_from_part = Rest<Cell, Part>{pose};
    return job;
}

PlanSettings boxed(double part_shift, double part_turn) {
    auto settings = settings_of(-2, 4, SweepPace::varied);
    settings.air_share = 0.8;       // gaps that may grow
    settings.proof.tolerance = 0.2; // a box leaves peaks as wide as it is
    settings.proof.change.box = {.part_shift = part_shift, .part_turn = part_turn};
    return settings;
}

// One plan for most of what follows.
Plan const& six_planned() {
    static Plan const plan = planned(six_stitches(), {}, boxed(1e-3, 1e-3));
    return plan;
}

// A pose near the planned one: shifted in the cell and turned about the axis (a, b, c) of the part's origin.
// The rotation's matrix is written out by hand, by Rodrigues' formula.
Pose<Cell, Part> displaced(Pose<Cell, Part> pose, Direction<Cell> const& shift, Direction<Part> axis,
                           double angle) {
    double const s = std::sin(angle), v = 1 - std::cos(angle), x = axis.x, y = axis.y, z = axis.z;
    double const r[3][3] = {{1 - v * (y * y + z * z), v * x * y - s * z, v * x * z + s * y},
                            {v * x * y + s * z, 1 - v * (x * x + z * z), v * y * z - s * x},
                            {v * x * z - s * y, v * y * z + s * x, 1 - v * (x * x + y * y)}};
    auto const before = pose.rotation;
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            pose.rotation.m[i][k] =
                before.m[i][0] * r[0][k] + before.m[i][1] * r[1][k] + before.m[i][2] * r[2][k];
    pose.origin = {pose.origin.x + shift.x, pose.origin.y + shift.y, pose.origin.z + shift.z};
    return pose;
}

Point<Cell> by_hand(Pose<Cell, Part> const& pose, Point<Part> const& p) {
    auto const& m = pose.rotation.m;
    auto const row = [&](int i) { return m[i][0] * p.x + m[i][1] * p.y + m[i][2] * p.z; };
    return {row(0) + pose.origin.x, row(1) + pose.origin.y, row(2) + pose.origin.z};
}

// The largest share of a limit that samples of a job use, whether every one of them is `ok`, and the shares
// of single limits: asked of the chain in doubles, rates by Taylor numbers, no interval and no proof.
struct Sampled {
    bool ok = true;
    double most = 0;
    double x_angle = 0, y_angle = 0, x_velocity = 0, y_velocity = 0, x_acceleration = 0, focus = 0,
           incidence = 0;
};
Sampled sampled(Job const& job, ScheduledSeam const& seam) {
    Sampled all;
    auto const ranges = job.chain.head.ranges();
    constexpr int count = 400;
    for (int k = 0; k <= count; ++k) {
        double const time = seam.seam.duration() * k / count;
        using Rates = Taylor<double, 3>;
        auto const f = job.chain.follow(seam.seam, Rates::variable(time), Rates::variable(seam.start + time));
        all.ok = all.ok && f.status == Status::ok;
        auto const use = [&](double& which, double share) {
            which = std::max(which, share);
            all.most = std::max(all.most, share);
        };
        auto const& c = f.aim.command;
        auto const& d = job.dynamics;
        use(all.x_angle, ranges.x_mirror.utilisation(value_of(c.x_mirror)));
        use(all.y_angle, ranges.y_mirror.utilisation(value_of(c.y_mirror)));
        use(all.focus, ranges.focus.utilisation(value_of(c.focus)));
        use(all.x_velocity, std::abs(c.x_mirror.derivative(1)) / d.mirror_velocity);
        use(all.y_velocity, std::abs(c.y_mirror.derivative(1)) / d.mirror_velocity);
        use(all.x_acceleration, std::abs(c.x_mirror.derivative(2)) / d.mirror_acceleration);
        double other = 0;
        use(other, std::abs(c.y_mirror.derivative(2)) / d.mirror_acceleration);
        use(other, std::abs(c.x_mirror.derivative(3)) / d.mirror_jerk);
        use(other, std::abs(c.y_mirror.derivative(3)) / d.mirror_jerk);
        use(other, std::abs(c.focus.derivative(1)) / d.focus_velocity);
        use(other, std::abs(c.focus.derivative(2)) / d.focus_acceleration);
        use(all.incidence, std::acos(cosine_of_incidence(job.chain, seam.seam, time, seam.start + time)) /
                               job.largest_incidence);
    }
    return all;
}
bool holds_in_samples(Job const& job) {
    return std::all_of(job.seams.begin(), job.seams.end(), [&](ScheduledSeam const& seam) {
        auto const s = sampled(job, seam);
        return s.ok && s.most <= 1;
    });
}

// Whether the axes get from each seam to the next one with the whole of what the head can do.
bool has_air_ways(Job const& job) {
    for (std::size_t i = 0; i + 1 < job.seams.size(); ++i)
        if (!room_between(job, job.seams[i].seam, job.seams[i].end(), job.seams[i + 1].seam,
                          job.seams[i + 1].start)
                 .way)
            return false;
    return true;
}

std::string refused_with(Plan const& plan, PartVariation const& variation,
                         VariationOptions const& options = {}) {
    try {
        (void)vary_part(plan, variation, options);
    } catch (BadInput const& e) {
        return e.what();
    }
    return {};
}

bool has(std::string const& text, std::string const& part) { return text.find(part) != std::string::npos; }

} // namespace

TEST_CASE("a displacement's angle, its parts, and its share of a box are as by hand") {
    for (double const angle : {0.0, 1e-9, 1e-3, 0.7, 3.1}) {
        auto const r = about_axis<Part, Part>(Direction<Part>{2.0 / 3, -1.0 / 3, 2.0 / 3}, angle);
        CHECK(std::abs(angle_of(r) - angle) <= 1e-15); // rounding of entries near 1
        Pose<Part, Part> const all{r, {0.3, -0.2, 0.1}};
        auto const third = scaled(all, 1.0 / 3);
        CHECK(std::abs(angle_of(third.rotation) - angle / 3) <= 1e-15);
        CHECK(third.origin.y == doctest::Approx(-0.2 / 3));
        auto const thrice = third.rotation * third.rotation * third.rotation;
        for (int i = 0; i < 3; ++i)
            for (int k = 0; k < 3; ++k)
                CHECK(std::abs(thrice.m[i][k] - r.m[i][k]) <= 4e-15);
        CHECK(angle_of(scaled(all, 0).rotation) == 0);
    }
    auto by = Pose<Part, Part>::identity();
    CHECK(share_of_box(by, {}) == 0);
    by.origin = {1e-3, -2e-3, 0.5e-3};
    CHECK(share_of_box(by, {}) == std::numeric_limits<double>::infinity());
    CHECK(share_of_box(by, {.part_shift = 2e-3}) == doctest::Approx(1).epsilon(1e-15));
    CHECK(share_of_box(by, {.part_shift = 2e-3}) <= 1);
    CHECK(share_of_box(by, {.part_shift = 4e-3}) == doctest::Approx(0.5));
    CHECK(share_of_box(by, {.part_shift = 4e-3}, 1e-3) == doctest::Approx(0.75));
    CHECK(share_of_box(by, {.part_shift = 2e-3 - 1e-9}) > 1);
    by = {about_axis<Part, Part>(Direction<Part>{0, 0, 1}, 0.004), {0, 0, 0}};
    CHECK(share_of_box(by, {.part_turn = 0.005}) == doctest::Approx(0.8));
    CHECK(share_of_box(by, {.part_turn = 0.005}, 0, 0.0005) == doctest::Approx(0.9));
    CHECK(share_of_box(by, {.part_shift = 1}) == std::numeric_limits<double>::infinity());
    // Along the turned axes it may be less: 1 mm along the part's x and y after a turn by 0.1 rad is 1.09 mm
    // along y as given.
    by = {about_axis<Part, Part>(Direction<Part>{0, 0, 1}, 0.1),
          {1e-3 * (std::cos(0.1) - std::sin(0.1)), 1e-3 * (std::cos(0.1) + std::sin(0.1)), 1e-3}};
    CHECK(share_of_box(by, {.part_shift = 1e-3, .part_turn = 0.1}) <= 1);
    by.rotation = Rotation<Part, Part>::identity();
    CHECK(share_of_box(by, {.part_shift = 1e-3, .part_turn = 0.1}) > 1.09);
}

TEST_CASE("a part within the proven box: the plan holds with the measured pose put in") {
    auto const& plan = six_planned();
    PartVariation variation;
    auto const planned_pose = plan.job.chain.cell_from_part.at(0.0);
    variation.part = displaced(planned_pose, {9e-4, -8e-4, 5e-4}, {2.0 / 3, -1.0 / 3, 2.0 / 3}, 9e-4);
    variation.seams = {seam_shifted("S3", {5e-5, 0, -5e-5})};
    auto const answer = vary_part(plan, variation);
    INFO(answer.text());
    REQUIRE(answer.verdict == VariationVerdict::holds);
    REQUIRE(answer.may_run());
    CHECK(answer.proofs.empty());
    CHECK(answer.open.empty());
    CHECK(answer.box_used > 0.85);
    CHECK(answer.box_used <= 1);
    REQUIRE(answer.job->seams.size() == plan.job.seams.size());
    for (std::size_t i = 0; i < plan.job.seams.size(); ++i) {
        auto const &before = plan.job.seams[i], &after = answer.job->seams[i];
        CHECK(after.name == before.name);
        CHECK(after.start == before.start);
        for (int k = 0; k <= 4; ++k) {
            double const t = before.seam.duration() * k / 4;
            auto p = spot(before.seam, t);
            if (before.name == "S3")
                p = {p.x + 5e-5, p.y, p.z - 5e-5};
            auto const wanted = by_hand(*variation.part, p);
            auto const is = answer.job->chain.cell_from_part.at(0.0) * spot(after.seam, t);
            CHECK(norm(is - wanted) <= 1e-15);
        }
    }
    CHECK(holds_in_samples(*answer.job));
    CHECK(has_air_ways(*answer.job));
    // As planned: nothing to do at all.
    auto const same = vary_part(plan, {});
    CHECK(same.verdict == VariationVerdict::holds);
    CHECK(same.box_used == 0);
}

TEST_CASE("what is said to lie in the box uses no more of any limit than was proven for the box") {
    auto const& plan = six_planned();
    auto const planned_pose = plan.job.chain.cell_from_part.at(0.0);
    Random random(90125);
    std::size_t held = 0;
    for (std::size_t i = 0; i < runs(40); ++i) {
        auto const axis = random.on_sphere<3>();
        auto const shift = [&] { return random.uniform(-1.2e-3, 1.2e-3); };
        PartVariation variation;
        variation.part = displaced(planned_pose, {shift(), shift(), shift()}, {axis[0], axis[1], axis[2]},
                                   random.uniform(0, 1.2e-3));
        auto by = Pose<Part, Part>::identity();
        by.rotation = about_axis<Part, Part>(Direction<Part>{0, 0, 1}, random.uniform(-5e-4, 5e-4));
        by.origin = {0.3 * shift(), 0.3 * shift(), 0};
        variation.seams.push_back({"S" + std::to_string(1 + random.index(6)), by});
        auto const answer = vary_part(plan, variation);
        REQUIRE(answer.may_run());
        if (answer.verdict != VariationVerdict::holds)
            continue;
        ++held;
        for (std::size_t k = 0; k < plan.job.seams.size(); ++k) {
            auto const s = sampled(*answer.job, answer.job->seams[k]);
            auto const within = [&](double used, Limit limit) {
                auto const* proven = plan.proofs[k].of(limit);
                REQUIRE(proven != nullptr);
                CHECK(used <= proven->utilisation.high + 1e-9);
            };
            CHECK(s.ok);
            within(s.x_angle, Limit::x_angle);
            within(s.y_angle, Limit::y_angle);
            within(s.focus, Limit::focus_range);
            within(s.x_velocity, Limit::x_velocity);
            within(s.y_velocity, Limit::y_velocity);
            within(s.x_acceleration, Limit::x_acceleration);
            within(s.incidence, Limit::incidence);
        }
    }
    CHECK(held >= runs(40) / 8);
}

TEST_CASE("a part outside the box is proven again where its limits still hold") {
    auto const& plan = six_planned();
    PartVariation variation;
    variation.part = displaced(plan.job.chain.cell_from_part.at(0.0), {4e-3, -3e-3, 1e-3}, {0, 0, 1}, 0.01);
    auto const answer = vary_part(plan, variation);
    INFO(answer.text());
    REQUIRE(answer.verdict == VariationVerdict::proven_again);
    CHECK(answer.box_used == doctest::Approx(10)); // the turn
    REQUIRE(answer.proofs.size() == 6);
    for (std::size_t i = 0; i < 6; ++i) {
        CHECK(answer.proofs[i].name == plan.job.seams[i].name); // in order of time
        CHECK(answer.proofs[i].verdict() == Verdict::within);
        CHECK(answer.proofs[i].box.part_shift == 0);
    }
    CHECK(holds_in_samples(*answer.job));
    CHECK(has_air_ways(*answer.job));
    // What is not known of the pose is covered by the proofs.
    variation.shift_error = 2e-4;
    variation.turn_error = 1e-4;
    auto const rough = vary_part(plan, variation);
    REQUIRE(rough.verdict == VariationVerdict::proven_again);
    CHECK(rough.proofs.front().box.part_shift == 2e-4);
    CHECK(rough.proofs.front().box.part_turn == 1e-4);
    // And takes its share of the box: 0.9 mm and 0.2 mm along each axis, whichever way the part lies.
    variation.part = displaced(plan.job.chain.cell_from_part.at(0.0), {9e-4, 0, 0}, {0, 0, 1}, 0);
    CHECK(vary_part(plan, variation).verdict == VariationVerdict::proven_again);
    variation.shift_error = 5e-5;
    CHECK(vary_part(plan, variation).verdict == VariationVerdict::holds);
}

TEST_CASE("only the seams that a correction takes out of the box are proven again") {
    auto const& plan = six_planned();
    PartVariation variation;
    variation.seams = {seam_shifted("S2", {0, 1.5e-3, 0}), seam_shifted("S5", {9e-4, 9e-4, -9e-4})};
    auto answer = vary_part(plan, variation);
    REQUIRE(answer.verdict == VariationVerdict::proven_again);
    REQUIRE(answer.proofs.size() == 1);
    CHECK(answer.proofs.front().name == "S2");
    CHECK(answer.farthest == "S2");
    CHECK(answer.box_used == doctest::Approx(1.5));
    CHECK(holds_in_samples(*answer.job));
    // A turn of 0.9 mrad about the seam's own middle is within the box; its lever is not where the seam is 2
    // m from the part's origin: 1.8 mm. Twice that far is half the turn.
    auto const far = planned(six_stitches(2), {}, boxed(1e-3, 1e-3));
    double const turn = 9e-4;
    double const x = 0.1 - 2, y = -0.06; // the middle of S1
    Pose<Part, Part> about{about_axis<Part, Part>(Direction<Part>{0, 0, 1}, turn), {0, 0, 0}};
    about.origin = {x - (x * std::cos(turn) - y * std::sin(turn)),
                    y - (x * std::sin(turn) + y * std::cos(turn)), 0};
    variation.seams = {{"S1", about}};
    answer = vary_part(far, variation);
    REQUIRE(answer.verdict == VariationVerdict::proven_again);
    CHECK(answer.proofs.size() == 1);
    CHECK(answer.box_used == doctest::Approx(1.9 * turn / 1e-3).epsilon(1e-3));
    // Two displacements that undo each other leave nothing.
    PartVariation undone;
    auto const pose = far.job.chain.cell_from_part.at(0.0);
    undone.part = displaced(pose, {2e-3, 0, 0}, {0, 0, 1}, 0);
    for (int i = 1; i <= 6; ++i)
        undone.seams.push_back(seam_shifted("S" + std::to_string(i), {-2e-3, 0, 0}));
    answer = vary_part(far, undone);
    CHECK(answer.verdict == VariationVerdict::holds);
    CHECK(answer.box_used <= 1e-9);
}

TEST_CASE("a part too far off is refused, with the seam, the limit, and the share that would do") {
    auto const& plan = six_planned();
    PartVariation variation;
    variation.part = displaced(plan.job.chain.cell_from_part.at(0.0), {0, 0.01, -0.3}, {0, 0, 1}, 0.02);
    auto const answer = vary_part(plan, variation);
    INFO(answer.text());
    REQUIRE(answer.verdict == VariationVerdict::refused);
    CHECK_FALSE(answer.may_run());
    REQUIRE(answer.fault);
    CHECK(answer.fault->verdict == Verdict::exceeds);
    // By samples, the limit that is named is passed by as much on the seam that is named.
    auto const job_of = [&](double share) {
        Job job = plan.job;
        job.chain.cell_from_part = Rest<Cell, Part>{displaced(
            plan.job.chain.cell_from_part.at(0.0), {0, 0.01 * share, -0.3 * share}, {0, 0, 1}, 0.02 * share)};
        return job;
    };
    auto const job = job_of(1);
    auto const& seam = job.seams[place_of(plan, answer.fault->seam)];
    auto const s = sampled(job, seam);
    double const used = answer.fault->limit == Limit::focus_range ? s.focus : no_limit;
    CHECK(used > 1);
    CHECK(answer.fault->passed_by() <= used - 1 + 1e-9);
    CHECK(answer.fault->passed_by() > 0);
    CHECK(answer.fault->utilisation.high >= used - 1e-9);
    CHECK(has(answer.text(), "seam " + answer.fault->seam));
    CHECK(has(answer.text(), to_string(answer.fault->limit)));
    // Scaled back it holds, and a little less far back it does not.
    REQUIRE(answer.scale);
    CHECK(*answer.scale > 0.1);
    CHECK(*answer.scale < 1);
    CHECK(holds_in_samples(job_of(*answer.scale)));
    CHECK(has_air_ways(job_of(*answer.scale)));
    CHECK_FALSE(holds_in_samples(job_of(*answer.scale + 0.04)));
    variation.part = job_of(*answer.scale).chain.cell_from_part.at(0.0);
    CHECK(vary_part(plan, variation).may_run());
}

TEST_CASE("a part behind the head, or one that nothing can be said of, is refused") {
    auto const& plan = six_planned();
    PartVariation variation;
    variation.part = displaced(plan.job.chain.cell_from_part.at(0.0), {0, 0, 3}, {0, 0, 1}, 0);
    auto const answer = vary_part(plan, variation);
    CHECK(answer.verdict == VariationVerdict::refused);
    CHECK_FALSE(answer.may_run());
    CHECK(answer.fault);
    variation.part = displaced(plan.job.chain.cell_from_part.at(0.0), {0, 0, 0}, {1, 0, 0}, 3);
    CHECK_FALSE(vary_part(plan, variation).may_run());
}

TEST_CASE("a correction that the air move before a seam has no time for is refused") {
    auto const& plan = six_planned();
    std::size_t const k = 3;
    auto const name = plan.seams[k].name;
    double const side = spot(plan.job.seams[k - 1].seam, 0).y < spot(plan.job.seams[k].seam, 0).y ? 1 : -1;
    PartVariation variation;
    variation.seams = {seam_shifted(name, {0, 0.09 * side, 0})};
    auto const answer = vary_part(plan, variation);
    INFO(answer.text());
    REQUIRE(answer.verdict == VariationVerdict::refused);
    CHECK(answer.fault->limit == Limit::air_move);
    CHECK(answer.fault->seam == name);
    CHECK(answer.fault->passed_by() > 0);
    REQUIRE(answer.scale);
    CHECK(*answer.scale < 1);
    CHECK(has(answer.text(), "air move"));
    Job farther = plan.job; // by a little more than the share that would do
    auto by = Pose<Part, Part>::identity();
    by.origin.y = 0.09 * side * (*answer.scale + 0.04);
    farther.seams[k].seam = moved(farther.seams[k].seam, by);
    CHECK_FALSE(has_air_ways(farther));
    variation.seams = {seam_shifted(name, {0, 0.09 * side * *answer.scale, 0})};
    auto const less = vary_part(plan, variation);
    REQUIRE(less.may_run());
    CHECK(has_air_ways(*less.job));
}

TEST_CASE("the caller's clock bounds the work, and what is open is named") {
    auto const& plan = six_planned();
    PartVariation variation;
    variation.part = displaced(plan.job.chain.cell_from_part.at(0.0), {3e-3, 0, 0}, {0, 0, 1}, 0);
    for (std::size_t const allowed : {0U, 1U, 4U, 6U}) {
        std::size_t asked = 0;
        VariationOptions options;
        options.time_left = [&] { return asked++ < allowed; };
        auto const answer = vary_part(plan, variation, options);
        CHECK(answer.proofs.size() == allowed);
        if (allowed == 6) {
            CHECK(answer.verdict == VariationVerdict::proven_again);
            continue;
        }
        CHECK(answer.verdict == VariationVerdict::out_of_time);
        CHECK_FALSE(answer.may_run());
        REQUIRE(answer.open.size() == 6 - allowed);
        for (std::size_t i = allowed; i < 6; ++i)
            CHECK(answer.open[i - allowed] == plan.seams[i].name);
        CHECK(has(answer.text(), "lack of time"));
    }
    // The search for the share that would do ends too: what is left is what needs no proof.
    variation.part = displaced(plan.job.chain.cell_from_part.at(0.0), {0, 0.16, 0}, {0, 0, 1}, 0);
    bool first = true;
    std::size_t others = 0;
    VariationOptions options;
    options.time_left = [&] {
        others += first ? 0 : 1;
        return std::exchange(first, false);
    };
    auto const answer = vary_part(plan, variation, options);
    CHECK(answer.verdict != VariationVerdict::proven_again);
    CHECK(others <= 1);
    if (answer.scale) // within the box: 1 mm of 160
        CHECK(*answer.scale <= 1e-3 / 0.16 + 1e-9);
}

TEST_CASE("a part that moves: its displacement is the same all along its motion") {
    Job job = six_stitches();
    Pose<Cell, Part> pose = job.chain.cell_from_part.at(0.0);
    job.chain.cell_from_part = Steady<Cell, Part>{pose, {0.02, 0.01, 0}, 0};
    auto settings = boxed(1e-3, 1e-3);
    settings.pace = SweepPace::as_given;
    auto const plan = planned(job, {}, settings);
    for (double const size : {0.5, 4.0}) { // in the box, and beyond it
        PartVariation variation;
        variation.measured_at = 0.7;
        auto const then = plan.job.chain.cell_from_part.at(0.7);
        variation.part = displaced(then, {size * 1e-3, 0, 0}, {0, 0, 1}, size * 1e-3);
        auto const answer = vary_part(plan, variation);
        INFO(answer.text());
        REQUIRE(answer.may_run());
        CHECK((answer.verdict == VariationVerdict::holds) == (size < 1));
        for (std::size_t i = 0; i < plan.job.seams.size(); ++i)
            for (double const t : {0.0, 0.03}) {
                double const time = plan.job.seams[i].start + t;
                auto measured = *variation.part; // moved on with the part
                measured.origin = {measured.origin.x + 0.02 * (time - 0.7),
                                   measured.origin.y + 0.01 * (time - 0.7), measured.origin.z};
                auto const wanted = by_hand(measured, spot(plan.job.seams[i].seam, t));
                auto const is =
                    answer.job->chain.cell_from_part.at(time) * spot(answer.job->seams[i].seam, t);
                CHECK(norm(is - wanted) <= 1e-15);
            }
        CHECK(holds_in_samples(*answer.job));
    }
}

TEST_CASE("poses and corrections that are none are refused by name") {
    auto const& plan = six_planned();
    double const nan = std::numeric_limits<double>::quiet_NaN();
    PartVariation variation;
    variation.seams = {seam_shifted("S9", {0, 0, 0})};
    CHECK(has(refused_with(plan, variation), "S9"));
    variation.seams = {seam_shifted("S2", {0, 0, 0}), seam_shifted("S2", {0, 0, 0})};
    CHECK(has(refused_with(plan, variation), "S2 is corrected twice"));
    variation.seams = {seam_shifted("S2", {0, nan, 0})};
    CHECK(has(refused_with(plan, variation), "seam S2 is not finite"));
    variation.seams.clear();
    auto pose = plan.job.chain.cell_from_part.at(0.0);
    pose.rotation.m[0][1] = 0.1;
    variation.part = pose;
    CHECK(has(refused_with(plan, variation), "rigid"));
    pose.rotation.m[0][1] = nan;
    variation.part = pose;
    CHECK(has(refused_with(plan, variation), "rigid"));
    variation.part.reset();
    variation.shift_error = -1;
    CHECK(has(refused_with(plan, variation), "-1"));
    variation.shift_error = 0;
    variation.turn_error = nan;
    CHECK_FALSE(refused_with(plan, variation).empty());
    variation.turn_error = 0;
    VariationOptions options;
    options.budget = 0;
    CHECK_FALSE(refused_with(plan, variation, options).empty());
    options = {};
    options.tolerance = nan;
    CHECK_FALSE(refused_with(plan, variation, options).empty());
    Plan none = plan;
    none.proofs.clear();
    CHECK(has(refused_with(none, variation), "proof"));
}
