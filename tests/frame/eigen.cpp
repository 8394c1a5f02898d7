#include "seamhold/frame/eigen.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/poses.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <limits>
#include <string>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

struct A;
struct B;

namespace {

double const rounding = 25 * epsilon; // a product or two of 3 × 3 matrices with entries below one

std::string message_of(Eigen::Matrix3d const& matrix, double tolerance = 1e-9) {
    return refusal_of([&] { return from_matrix<A, B>(matrix, tolerance); });
}

} // namespace

TEST_CASE("views see the numbers where they are") {
    Point<A> p{1, 2, 3};
    Direction<A> const d{4, 5, 6};
    CHECK(as_vector(p).data() == &p.x);
    CHECK(as_vector(p) == Eigen::Vector3d(1, 2, 3));
    CHECK(as_vector(d).data() == &d.x);
    CHECK(as_vector(d) == Eigen::Vector3d(4, 5, 6));
    auto const view = as_vector(p);
    p.y = 7;
    CHECK(view(1) == 7);
    Rotation<A, B> const r{{{1, 2, 3}, {4, 5, 6}, {7, 8, 9}}};
    Eigen::Matrix3d expected;
    expected << 1, 2, 3, 4, 5, 6, 7, 8, 9;
    CHECK(as_matrix(r).data() == &r.m[0][0]);
    CHECK(as_matrix(r) == expected);
    Point<A, float> const single{1, 2, 3};
    CHECK(as_vector(single) == Eigen::Vector3f(1, 2, 3));
}

TEST_CASE("points and directions from Eigen vectors and expressions") {
    Eigen::Vector3d const v(1, 2, 3);
    CHECK(difference(point_from<A>(v), Point<A>{1, 2, 3}) == 0);
    CHECK(difference(point_from<A>(v + v), Point<A>{2, 4, 6}) == 0);
    CHECK(difference(direction_from<A>(2 * v), Direction<A>{2, 4, 6}) == 0);
    static_assert(std::is_same_v<decltype(point_from<A>(Eigen::Vector3f(1, 2, 3))), Point<A, float>>);
}

TEST_CASE("rotations agree with Eigen's, there and back") {
    Random random(81);
    for (auto const& asked : rotations_to_ask<A, B>(random)) {
        CAPTURE(asked.name);
        auto const& r = asked.rotation;
        Eigen::Matrix3d const m = as_matrix(r);
        CHECK(difference(from_matrix<A, B>(m), r) == 0);
        // Eigen's own conversions, written apart from ours.
        Eigen::Quaterniond const q = eigen_quaternion(r);
        CHECK((q.toRotationMatrix() - m).cwiseAbs().maxCoeff() <= rounding);
        CHECK(difference(from_quaternion<A, B>(Eigen::Quaterniond(m)), r) <= rounding);
        CHECK(q.w() >= 0);
        Eigen::AngleAxisd const turn(m);
        CHECK(difference(about_axis<A, B>(direction_from<A>(turn.axis()), turn.angle()), r) <= rounding);
        Eigen::Vector3d const v(0.3, -0.7, 0.5);
        CHECK((m * v - as_vector(r * direction_from<B>(v))).cwiseAbs().maxCoeff() <= rounding);
    }
}

TEST_CASE("poses agree with Eigen's isometries, there and back") {
    Random random(82);
    for (int i = 0; i < 100; ++i) {
        auto const a_from_b = random_pose<A, B>(random);
        auto const b_from_a = random_pose<B, A>(random);
        auto const isometry = isometry_of(a_from_b);
        CHECK(difference(from_isometry<A, B>(isometry), a_from_b) == 0);
        CHECK(isometry.matrix().row(3) == Eigen::RowVector4d(0, 0, 0, 1));
        Eigen::Isometry3d const product = isometry * isometry_of(b_from_a);
        CHECK(difference(from_isometry<A, A>(product), a_from_b * b_from_a) <= rounding);
        CHECK(difference(from_isometry<B, A>(isometry.inverse()), inverse(a_from_b)) <= rounding);
        Eigen::Vector3d const v(0.3, -0.7, 0.5);
        Eigen::Vector3d const moved = isometry * v;
        CHECK(difference(point_from<A>(moved), a_from_b * point_from<B>(v)) <= rounding);
    }
}

TEST_CASE("what is not a rotation is refused, and the message says by how much") {
    Eigen::Matrix3d const eye = Eigen::Matrix3d::Identity();
    CHECK(message_of(eye).empty());
    Eigen::Matrix3d skewed = eye;
    skewed(0, 1) = 0.25;
    CHECK(message_of(skewed).find("0.25") != std::string::npos);
    CHECK(message_of(skewed).find("not a rotation") != std::string::npos);
    Eigen::Matrix3d const mirrored = Eigen::Vector3d(1, 1, -1).asDiagonal();
    CHECK(message_of(mirrored).find("determinant -1") != std::string::npos);
    CHECK_FALSE(message_of(2 * eye).empty());
    CHECK_FALSE(message_of(Eigen::Matrix3d::Zero()).empty());
    Eigen::Matrix3d bad = eye;
    bad(2, 1) = std::numeric_limits<double>::quiet_NaN();
    CHECK_FALSE(message_of(bad).empty());
    bad(2, 1) = std::numeric_limits<double>::infinity();
    CHECK_FALSE(message_of(bad).empty());
    // Orthogonal to 1e-10 is taken; the tolerance is the caller's.
    Eigen::Matrix3d nearly = eye;
    nearly(0, 1) = 1e-10;
    CHECK(message_of(nearly).empty());
    nearly(0, 1) = 1e-8;
    CHECK_FALSE(message_of(nearly).empty());
    CHECK(message_of(nearly, 1e-6).empty());
    // 2026-11-25: fixed six places said "differs by 0.000000, allowed are 0.000000".
    CHECK(message_of(nearly).find("1e-08") != std::string::npos);
    CHECK(message_of(nearly).find("1e-09") != std::string::npos);
    Eigen::Isometry3d isometry = Eigen::Isometry3d::Identity();
    isometry.linear() = skewed;
    CHECK_THROWS_AS((from_isometry<A, B>(isometry)), BadInput);
    CHECK_THROWS_AS((from_quaternion<A, B>(Eigen::Quaterniond(0.5, 0.5, 0, 0))), BadInput);
}

TEST_CASE("fitting gives the nearest rotation and says how far it moved") {
    Random random(83);
    for (int i = 0; i < 100; ++i) {
        auto const r = random_rotation<A, B>(random);
        Eigen::Matrix3d const m = as_matrix(r);
        // A rotation fits itself, and stretched along its axes it still fits (polar decomposition).
        auto const itself = fit_to_matrix<A, B>(m);
        CHECK(difference(itself.rotation, r) <= rounding);
        CHECK(itself.moved <= rounding);
        auto const stretched = fit_to_matrix<A, B>(m * Eigen::Vector3d(1.1, 0.9, 1.2).asDiagonal());
        CHECK(difference(stretched.rotation, r) <= rounding);
        CHECK(std::abs(stretched.moved - std::sqrt(0.01 + 0.01 + 0.04)) <= rounding);
        // No rotation a little to either side is nearer.
        Eigen::Matrix3d noisy = m;
        for (int k = 0; k < 9; ++k)
            noisy(k % 3, k / 3) += 0.1 * random.normal();
        auto const fitted = fit_to_matrix<A, B>(noisy);
        CHECK(distance_from_rotation(fitted.rotation) <= rounding);
        CHECK(std::abs((as_matrix(fitted.rotation) - noisy).norm() - fitted.moved) <= rounding);
        for (int n = 0; n < 6; ++n) {
            Direction<A> const axis{n / 2 == 0 ? 1.0 : 0.0, n / 2 == 1 ? 1.0 : 0.0, n / 2 == 2 ? 1.0 : 0.0};
            auto const beside = about_axis<A, A>(axis, n % 2 == 0 ? 1e-3 : -1e-3) * fitted.rotation;
            CHECK((as_matrix(beside) - noisy).norm() > fitted.moved);
        }
    }
}

TEST_CASE("a mirrored or flat matrix is fitted by a proper rotation") {
    auto const mirrored = fit_to_matrix<A, B>(Eigen::Vector3d(1, 1, -0.5).asDiagonal().toDenseMatrix());
    CHECK(distance_from_rotation(mirrored.rotation) <= rounding);
    CHECK(difference(mirrored.rotation, Rotation<A, B>::identity()) <= rounding);
    auto const flat = fit_to_matrix<A, B>(Eigen::Vector3d(1, 1, 0).asDiagonal().toDenseMatrix());
    CHECK(difference(flat.rotation, Rotation<A, B>::identity()) <= rounding);
    CHECK(std::abs(flat.moved - 1) <= rounding);
}

TEST_CASE("conversions do not touch the heap") {
    Random random(84);
    auto const pose = random_pose<A, B>(random);
    AllocationGuard guard;
    auto const there = isometry_of(pose);
    auto const back = from_isometry<A, B>(there);
    auto const fitted = fit_to_matrix<A, B>(there.linear());
    CHECK(guard.count() == 0);
    CHECK(difference(back, pose) == 0);
    CHECK(fitted.moved <= rounding);
}
