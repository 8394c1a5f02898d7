#include "seamhold/budget/spot_under_errors.hpp"

#include <doctest/doctest.h>

#include "budget/cells.hpp"
#include "seamhold/frame/pose_step.hpp"
#include "support/poses.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

// The spot under errors against the same by plain vectors, and its sensitivities against differences of
// those.

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Sizes of the error numbers that are tried: turns and angles some mrad, shifts some tenths of a millimetre.
ErrorNumbers<> random_errors(Random& random) {
    ErrorNumbers<> e{};
    for (std::size_t i = 0; i < error_numbers; ++i) {
        std::string const unit = error_number_unit(i);
        e[i] = random.uniform(-1, 1) * (unit == "m" ? 0.5e-3 : unit == "s" ? 1e-3 : 3e-3);
    }
    return e;
}

} // namespace

TEST_CASE("the spot under errors is where plain vectors have it") {
    Random random(88101);
    for (std::size_t run = 0; run < runs(150); ++run) {
        auto const cell = random_cell(random, run % 3);
        double const share = random.unit(), time = share * cell.seam.duration();
        SpotUnderErrors const spot(cell.chain, cell.seam, time, cell.start + time);
        auto const none = spot.at(ErrorNumbers<>{});
        // The accuracy of a real head's aim, 1e-10 m across the beam, √2 of it on a face at 45°.
        CHECK(std::hypot(none.along, none.across) < 2e-10);
        CHECK(std::abs(none.defocus) < 1e-9);
        auto const e = random_errors(random);
        auto const ours = spot.at(e);
        auto const plain = plain_spot(cell, share, e);
        // The map of the third head is fitted to marks: 1e-8 m from its polynomial.
        double const allowed = run % 3 == 2 ? 2e-7 : 1e-11;
        CHECK(std::abs(ours.along - plain.along) < allowed);
        CHECK(std::abs(ours.across - plain.across) < allowed);
        CHECK(std::abs(ours.defocus - plain.defocus) < 5 * allowed);
    }
}

TEST_CASE("sensitivities are the slopes of the spot by plain vectors") {
    Random random(88102);
    for (std::size_t run = 0; run < runs(30); ++run) {
        auto const cell = random_cell(random, run % 3);
        double const share = random.unit(), time = share * cell.seam.duration();
        auto const by = SpotUnderErrors(cell.chain, cell.seam, time, cell.start + time).sensitivities();
        for (std::size_t i = 0; i < error_numbers; ++i) {
            CAPTURE(error_number_name(i));
            double const h = 1e-4;
            ErrorNumbers<> e{};
            e[i] = h;
            auto const after = plain_spot(cell, share, e);
            e[i] = -h;
            auto const before = plain_spot(cell, share, e);
            // Third derivatives are some 20 at most (the motions' sines): h² · 20 / 6, and the map's 1e-4 of
            // slope.
            double const allowed = run % 3 == 2 ? 2e-4 : 1e-6;
            CHECK(std::abs((after.along - before.along) / (2 * h) - by.along[i]) < allowed);
            CHECK(std::abs((after.across - before.across) / (2 * h) - by.across[i]) < allowed);
            CHECK(std::abs((after.defocus - before.defocus) / (2 * h) - by.defocus[i]) < 5 * allowed);
        }
    }
}

TEST_CASE("sensitivities are the slopes of the formula itself") {
    Random random(88103);
    for (std::size_t run = 0; run < runs(30); ++run) {
        auto const cell = random_cell(random, run % 3);
        double const time = random.unit() * cell.seam.duration();
        SpotUnderErrors const spot(cell.chain, cell.seam, time, cell.start + time);
        auto const by = spot.sensitivities();
        for (std::size_t i = 0; i < error_numbers; ++i) {
            CAPTURE(error_number_name(i));
            double const h = 1e-4;
            ErrorNumbers<> e{};
            e[i] = h;
            auto const after = spot.at(e);
            e[i] = -h;
            auto const before = spot.at(e);
            CHECK(std::abs((after.along - before.along) / (2 * h) - by.along[i]) < 1e-6);
            CHECK(std::abs((after.across - before.across) / (2 * h) - by.across[i]) < 1e-6);
            CHECK(std::abs((after.defocus - before.defocus) / (2 * h) - by.defocus[i]) < 1e-6);
        }
    }
}

TEST_CASE("what the first order leaves out grows with the square of the errors") {
    Random random(88104);
    for (std::size_t run = 0; run < runs(60); ++run) {
        auto const cell = random_cell(random, run % 3);
        double const time = random.unit() * cell.seam.duration();
        SpotUnderErrors const spot(cell.chain, cell.seam, time, cell.start + time);
        auto const by = spot.sensitivities();
        auto const e = random_errors(random);
        auto const left_out = [&](double scale) {
            ErrorNumbers<> scaled = e;
            double along = 0, across = 0;
            for (std::size_t i = 0; i < error_numbers; ++i) {
                scaled[i] *= scale;
                along += by.along[i] * scaled[i];
                across += by.across[i] * scaled[i];
            }
            auto const exact = spot.at(scaled);
            return std::hypot(exact.along - along, exact.across - across);
        };
        // Halving the errors: to a quarter, by the third order some per cent off.
        double const whole = left_out(1), half = left_out(0.5);
        CHECK(whole > 1e-8);
        CHECK(half / whole == doctest::Approx(0.25).epsilon(0.1));
    }
}

TEST_CASE("a small pose is what moved_by puts behind a pose") {
    Random random(88105);
    for (std::size_t run = 0; run < runs(100); ++run) {
        auto const pose = random_pose<Cell, Flange>(random);
        std::array<double, 6> step{};
        for (auto& s : step)
            s = random.uniform(-0.1, 0.1);
        CHECK(difference(pose * detail::small_pose<Flange>(step), moved_by(pose, step)) < 1e-15);
    }
}

TEST_CASE("the frame on the face: seams that weave, arcs, and points that are held") {
    Random random(88106);
    auto const cell = random_cell(random, 0);
    auto const check = [&](AnySeam const& seam, double time) {
        SpotUnderErrors const spot(cell.chain, seam, time, cell.start + time);
        // A part that is shifted along the seam's own tangent moves the spot back along the seam by as much.
        auto const frame =
            seam.length() > 0 ? frame_at(seam.path, seam.arc_length(time))
                              : PathFrame{{}, cell.face.part_from_face * Direction<Face>{1, 0, 0}, {}, {}, 0};
        ErrorNumbers<> e{};
        e[error_on_part.first + 3] = 1e-4 * frame.tangent.x;
        e[error_on_part.first + 4] = 1e-4 * frame.tangent.y;
        e[error_on_part.first + 5] = 1e-4 * frame.tangent.z;
        auto const moved = spot.at(e);
        CHECK(moved.along == doctest::Approx(-1e-4).epsilon(1e-9));
        CHECK(std::abs(moved.across) < 1e-13);
    };
    check(at_speed(straight_between({-0.01, 0}, {0.01, 0.003}), cell.face, 0.1, Weave{200, 0.5e-3}), 0.0313);
    check(at_speed(arc_around({0.001, 0.001}, 0.008, 0.3, 2), cell.face, 0.1), 0.05);
    check(held({0.001, 0.002}, cell.face, 0.2), 0.07);
}

TEST_CASE("where there is no budget") {
    Random random(88107);
    auto const cell = random_cell(random, 0);
    AnySeam const far = at_speed(straight_between({0, 0}, {0.4, 0}), cell.face, 1);
    auto const message = refusal_of([&] { return SpotUnderErrors(cell.chain, far, 0.3, 0.3); });
    CHECK(has(message, "out of reach"));
    CHECK(has(message, "300 mm"));
    // A face that is seen from behind.
    Plane<> const turned{{about_axis<Part, Face>({1, 0, 0}, degrees(150)), {0, 0, 0}}};
    AnySeam const behind = at_speed(straight_between({0, 0}, {0.01, 0}), turned, 0.1);
    CHECK(has(refusal_of([&] { return SpotUnderErrors(cell.chain, behind, 0, 0); }), "from behind"));
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i < 10; ++i)
        rows.push_back({0.01 * i, {0, 0, 0.5}, {0, 1, 0, 0}});
    Chain<PoseLog<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>> const logged{
        PoseLog<Cell, Flange>(rows), {Pose<Cell, Part>::identity()}, mount(), head()};
    AnySeam const seam =
        at_speed(straight_between({0, 0}, {0.01, 0}), Plane<>{Pose<Part, Face>::identity()}, 0.1);
    CHECK(has(refusal_of([&] { return SpotUnderErrors(logged, seam, 0, 0.5); }), "no data"));
    CHECK(refusal_of([&] { return SpotUnderErrors(logged, seam, 0, 0.05); }).empty());
}
