#include "seamhold/budget/source_root.hpp"

#include <doctest/doctest.h>

#include "seamhold/budget/sources.hpp"
#include "seamhold/number/units.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <limits>
#include <string>

// What sources are taken, what they are refused for, and that a root of a covariance is one.

using namespace seamhold;
using namespace seamhold::test;

namespace {

ErrorSource mount_of(Eigen::MatrixXd const& covariance) { return {"mount", error_on_head, covariance}; }

Eigen::MatrixXd covariance_of_deviations(std::initializer_list<double> deviations) {
    Eigen::VectorXd v(static_cast<Eigen::Index>(deviations.size()));
    Eigen::Index i = 0;
    for (double const d : deviations)
        v(i++) = d * d;
    return v.asDiagonal();
}

} // namespace

TEST_CASE("every error number has a name of its own and a unit") {
    for (std::size_t i = 0; i < error_numbers; ++i)
        for (std::size_t k = 0; k < i; ++k)
            CHECK(error_number_name(i) != error_number_name(k));
    CHECK(error_number_name(error_numbers).empty());
    auto const unit = [](std::size_t i) { return std::string(error_number_unit(i)); };
    CHECK(unit(error_in_mirror_angles.first) == "rad");
    CHECK(unit(error_in_mirror_gains.first + 1).empty());
    CHECK(unit(error_in_lens.first) == "m");
    CHECK(unit(error_in_focus.first) == "m");
    for (auto const& place : {error_on_head, error_on_flange, error_on_part})
        for (std::size_t i = 0; i < 6; ++i)
            CHECK(unit(place.first + i) == (i < 3 ? "rad" : "m"));
    CHECK(unit(error_in_clocks.first + 1) == "s");
    CHECK(unit(error_on_face.first + 1) == "m");
    // The places follow each other without a gap.
    CHECK(error_in_mirrors.first + error_in_mirrors.count == error_in_lens.first);
    CHECK(error_in_lens.first + 1 == error_in_beam.first);
    CHECK(error_in_beam.first + 2 == error_in_focus.first);
    CHECK(error_in_focus.first + 1 == error_on_head.first);
    CHECK(error_on_head.first + 6 == error_on_flange.first);
    CHECK(error_on_flange.first + 6 == error_in_clocks.first);
    CHECK(error_in_clocks.first + 2 == error_on_part.first);
    CHECK(error_on_part.first + 6 == error_on_face.first);
    CHECK(error_on_face.first + 2 == error_numbers);
}

TEST_CASE("slips of units are recognised") {
    auto const said = [](ErrorSource const& source) { return refusal_of([&] { return checked(source); }); };
    auto const half_a_metre = said(mount_of(covariance_of_deviations({1e-3, 1e-3, 1e-3, 1e-4, 0.5, 1e-4})));
    CHECK(has(half_a_metre, "mount"));
    CHECK(has(half_a_metre, "0.5 m for the shift of the head along its y axis"));
    CHECK(has(half_a_metre, "are these millimetres?"));
    auto const three_radians = said(mount_of(covariance_of_deviations({1e-3, 1e-3, 3, 1e-4, 1e-4, 1e-4})));
    CHECK(has(three_radians, "3 rad for the turn of the head about its z axis"));
    CHECK(has(three_radians, "are these degrees"));
    CHECK(has(refusal_of([] { return clock_error(2); }), "milliseconds"));
    CHECK(has(refusal_of([] { return mirror_drift(1e-6, 0.5, 1); }), "in percent?"));
    ErrorSource far = mount_of(covariance_of_deviations({0, 0, 0, 0, 0, 0}));
    far.mean = Eigen::VectorXd::Constant(6, 0.15);
    CHECK(has(said(far), "a mean of 0.15 m for the shift of the head along its x axis"));
    CHECK(said(mount_of(covariance_of_deviations({0.19, 0, 0, 0.09, 0, 0}))).empty());
}

TEST_CASE("what is no covariance is refused, and why") {
    auto const said = [](ErrorSource const& source) { return refusal_of([&] { return checked(source); }); };
    Eigen::MatrixXd c = covariance_of_deviations({1e-3, 1e-3, 1e-3, 1e-4, 1e-4, 1e-4});
    CHECK(said(mount_of(c)).empty());
    CHECK(has(said({"", error_on_head, c}), "name"));
    CHECK(has(said({"mount", error_in_clocks, c}), "6 by 6; its place has 2 numbers"));
    CHECK(has(said({"mount", {28, 6}, c}), "place does not exist"));
    c(0, 3) = 5e-8;
    CHECK(has(said(mount_of(c)), "not symmetric: 5e-08 and 0 at row 0, column 3"));
    c(3, 0) = 5e-8;
    CHECK(said(mount_of(c)).empty());
    // A correlation of 2: eigenvalues 1 ± 2.
    c(3, 0) = c(0, 3) = 2e-7;
    CHECK(has(said(mount_of(c)), "smallest eigenvalue of its correlations is -1,"));
    c(3, 0) = c(0, 3) = 0;
    c(2, 2) = -1e-6;
    CHECK(has(said(mount_of(c)), "variance of the turn of the head about its z axis is negative: -1e-06"));
    c(2, 2) = 0;
    c(2, 4) = c(4, 2) = 1e-9;
    CHECK(has(said(mount_of(c)), "one of them has no variance"));
    c(2, 4) = c(4, 2) = std::numeric_limits<double>::quiet_NaN();
    CHECK(has(said(mount_of(c)), "not finite"));
    c(2, 4) = c(4, 2) = 0;
    c(5, 5) = std::numeric_limits<double>::infinity();
    CHECK(has(said(mount_of(c)), "not finite"));
    c(5, 5) = 0;
    ErrorSource mean = mount_of(c);
    mean.mean = Eigen::VectorXd::Zero(3);
    CHECK(has(said(mean), "its mean has 3 numbers"));
    mean.mean = Eigen::VectorXd::Constant(6, std::numeric_limits<double>::quiet_NaN());
    CHECK(has(said(mean), "not finite"));
}

TEST_CASE("kinds and shapes that cannot be") {
    CHECK(has(refusal_of([] { return drifting(mount_error({1e-4, 1e-4}), 0); }), "correlation time above 0"));
    CHECK(has(refusal_of([] { return drifting(mirror_resolution(1e-5), 1); }), "spread evenly"));
    ErrorSource tied = clock_error(1e-4);
    tied.shape = ErrorShape::uniform;
    CHECK(has(refusal_of([&] { return checked(tied); }), "must not be correlated"));
    CHECK(has(refusal_of([] { return detail::rooted({}); }), "one error source or more"));
    CHECK(has(refusal_of([] {
                  return detail::rooted({clock_error(1e-4), clock_error(1e-5)});
              }),
              "two error sources are named clock"));
}

TEST_CASE("negative deviations are refused by every maker") {
    CHECK(has(refusal_of([] { return pose_repeatability({-1e-4, 1e-5}); }), "pose repeatability"));
    CHECK(has(refusal_of([] { return path_accuracy({1e-4, -1e-5}); }), "-1e-05"));
    CHECK(has(refusal_of([] { return clock_error(-1e-4); }), "must not be negative"));
    CHECK(has(refusal_of([] { return part_clock_error(-1e-4); }), "must not be negative"));
    CHECK(has(refusal_of([] { return mirror_resolution(-1e-6); }), "must not be negative"));
    CHECK(has(refusal_of([] { return mirror_noise(-1e-6); }), "must not be negative"));
    CHECK(has(refusal_of([] { return mirror_drift(-1e-6, 0, 1); }), "must not be negative"));
    CHECK(has(refusal_of([] { return lens_error(-1e-6); }), "must not be negative"));
    CHECK(has(refusal_of([] { return focus_error(-1e-6); }), "must not be negative"));
    CHECK(has(refusal_of([] { return field_residual(1e-6, -1e-6); }), "must not be negative"));
    CHECK(has(refusal_of([] { return field_residual_of_angles(-1e-6, 0); }), "must not be negative"));
    CHECK(has(refusal_of([] { return mount_error({-1, 0}); }), "must not be negative"));
    CHECK(has(refusal_of([] { return part_placement({0, -1}); }), "must not be negative"));
    CHECK(has(refusal_of([] { return joint_position(0, -1); }), "must not be negative"));
    double const nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(has(refusal_of([&] { return mirror_noise(nan); }), "not finite"));
}

TEST_CASE("makers give what they are named for") {
    auto const step = mirror_resolution(12e-6);
    CHECK(step.covariance(0, 0) == doctest::Approx(12e-12).epsilon(1e-12)); // step²/12
    CHECK(step.covariance(1, 1) == doctest::Approx(12e-12).epsilon(1e-12));
    CHECK(step.shape == ErrorShape::uniform);
    CHECK(step.kind == ErrorKind::random);
    auto const drift = mirror_drift(10e-6, 30e-6, -5);
    CHECK(drift.deviation_of(0) == doctest::Approx(50e-6).epsilon(1e-12));
    CHECK(drift.deviation_of(3) == doctest::Approx(150e-6).epsilon(1e-12));
    CHECK(drift.place.first == error_in_mirror_angles.first);
    auto const clock = clock_error(2e-3);
    CHECK(clock.covariance(0, 1) == clock.covariance(0, 0));
    CHECK(part_clock_error(1e-3).place.first == 21);
    CHECK(drifting(clock, 3).correlation_time == 3);
    CHECK(drifting(clock, 3).kind == ErrorKind::slow);
    auto const mean = with_mean(mirror_noise(1e-6), Eigen::Vector2d(1e-5, -2e-5));
    CHECK(mean.mean_of(1) == -2e-5);
    CHECK(mirror_noise(1e-6).mean_of(1) == 0);
    CHECK(pose_repeatability({1e-4, 1e-5}).kind == ErrorKind::random);
    CHECK(path_accuracy({1e-4, 1e-5}).kind == ErrorKind::systematic);
}

TEST_CASE("a root times itself is the covariance, of whatever rank") {
    Random random(88201);
    for (std::size_t run = 0; run < runs(200); ++run) {
        Eigen::Index const rank = 1 + static_cast<Eigen::Index>(random.index(6));
        Eigen::MatrixXd factor(6, rank);
        for (Eigen::Index i = 0; i < 6; ++i)
            for (Eigen::Index k = 0; k < rank; ++k)
                factor(i, k) = random.normal() * (i < 3 ? 1e-6 : 1e-2);
        Eigen::MatrixXd covariance = factor * factor.transpose();
        if (run % 4 == 0)
            covariance = Eigen::MatrixXd(covariance.diagonal().asDiagonal());
        auto const root = detail::root_of(checked(mount_of(covariance)));
        Eigen::MatrixXd back = Eigen::MatrixXd::Zero(6, 6);
        for (auto const& column : root) {
            ErrorNumbers<> e{};
            column.add_to(e, 1);
            Eigen::Map<Eigen::Matrix<double, 6, 1> const> const v(e.data() + error_on_head.first);
            back += v * v.transpose();
        }
        for (Eigen::Index i = 0; i < 6; ++i)
            for (Eigen::Index k = 0; k < 6; ++k) {
                double const scale = std::sqrt(covariance(i, i) * covariance(k, k));
                CHECK(std::abs(back(i, k) - covariance(i, k)) < 1e-11 * scale);
            }
        CHECK(root.size() == static_cast<std::size_t>(run % 4 == 0 ? 6 : rank));
    }
    // What does not scatter has no columns.
    CHECK(detail::root_of(mirror_drift(0, 1e-5, 1)).size() == 2);
    CHECK(detail::root_of(clock_error(1e-3)).size() == 1);
}
