#ifndef SEAMHOLD_FRAME_EIGEN_HPP
#define SEAMHOLD_FRAME_EIGEN_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/frame/twist.hpp"

#include <Eigen/Geometry>
#include <Eigen/SVD>

/// Views and conversions between seamhold's frame types and Eigen's. The frame types own their numbers.
namespace seamhold {

namespace detail {
template <class S> using RowMajor3 = Eigen::Matrix<S, 3, 3, Eigen::RowMajor>;
}

/// A read-only view of a point's coordinates; valid as long as the point is.
template <class F, class S> Eigen::Map<Eigen::Matrix<S, 3, 1> const> as_vector(Point<F, S> const& p) {
    return Eigen::Map<Eigen::Matrix<S, 3, 1> const>(&p.x);
}

/// A read-only view of a vector's coordinates; valid as long as the vector is.
template <class F, class S> Eigen::Map<Eigen::Matrix<S, 3, 1> const> as_vector(Direction<F, S> const& d) {
    return Eigen::Map<Eigen::Matrix<S, 3, 1> const>(&d.x);
}

/// A read-only view of a rotation's matrix; valid as long as the rotation is.
template <class To, class From, class S>
Eigen::Map<detail::RowMajor3<S> const> as_matrix(Rotation<To, From, S> const& r) {
    return Eigen::Map<detail::RowMajor3<S> const>(&r.m[0][0]);
}

/// A point from any Eigen vector of three.
template <class F, class Derived>
Point<F, typename Derived::Scalar> point_from(Eigen::MatrixBase<Derived> const& v) {
    return {v(0), v(1), v(2)};
}

/// A free vector from any Eigen vector of three.
template <class F, class Derived>
Direction<F, typename Derived::Scalar> direction_from(Eigen::MatrixBase<Derived> const& v) {
    return {v(0), v(1), v(2)};
}

/// A rotation from a matrix. Throws BadInput, naming the deviation, unless it is orthogonal with determinant
/// 1 within `tolerance` (largest entry of RᵀR − 1).
template <class To, class From>
Rotation<To, From> from_matrix(Eigen::Matrix3d const& matrix, double tolerance = 1e-9) {
    double const deviation =
        (matrix.transpose() * matrix - Eigen::Matrix3d::Identity()).cwiseAbs().maxCoeff();
    if (!(deviation <= tolerance) || !(matrix.determinant() > 0))
        throw BadInput("a matrix that differs from orthogonal by " + detail::text_of(deviation) +
                       " with determinant " + detail::text_of(matrix.determinant()) +
                       " is not a rotation: allowed are " + detail::text_of(tolerance) + " and +1");
    Rotation<To, From> r{};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            r.m[i][k] = matrix(i, k);
    return r;
}

/// The rotation nearest to a matrix, and how far the matrix was from it (Frobenius norm).
template <class To, class From> struct FittedRotation {
    Rotation<To, From> rotation;
    double moved; ///< Frobenius norm of the change
};

/// The rotation nearest to any matrix of rank two or more, in the Frobenius norm.
/// Source: singular values with the determinant's sign, S. Umeyama, IEEE PAMI 13(4), 1991 (from memory).
template <class To, class From> FittedRotation<To, From> fit_to_matrix(Eigen::Matrix3d const& matrix) {
    Eigen::JacobiSVD<Eigen::Matrix3d> const svd(matrix, Eigen::ComputeFullU | Eigen::ComputeFullV);
    Eigen::Vector3d signs(1, 1, 1);
    signs(2) = (svd.matrixU() * svd.matrixV().transpose()).determinant() < 0 ? -1 : 1;
    Eigen::Matrix3d const nearest = svd.matrixU() * signs.asDiagonal() * svd.matrixV().transpose();
    return {from_matrix<To, From>(nearest), (nearest - matrix).norm()};
}

/// A rotation from a unit Eigen quaternion; the same check as `from_wxyz`.
template <class To, class From> Rotation<To, From> from_quaternion(Eigen::Quaterniond const& q) {
    return from_wxyz<To, From>(q.w(), q.x(), q.y(), q.z());
}

/// A rotation as a unit Eigen quaternion with w ≥ 0.
template <class To, class From> Eigen::Quaterniond eigen_quaternion(Rotation<To, From> const& r) {
    auto const q = quaternion_of(r);
    return {q.w, q.x, q.y, q.z};
}

/// A pose from an Eigen isometry; the rotation is checked as in `from_matrix`.
template <class To, class From> Pose<To, From> from_isometry(Eigen::Isometry3d const& isometry) {
    return {from_matrix<To, From>(isometry.linear()), point_from<To>(isometry.translation())};
}

/// A pose as an Eigen isometry.
template <class To, class From> Eigen::Isometry3d isometry_of(Pose<To, From> const& pose) {
    Eigen::Isometry3d isometry = Eigen::Isometry3d::Identity();
    isometry.linear() = as_matrix(pose.rotation);
    isometry.translation() = as_vector(pose.origin);
    return isometry;
}

} // namespace seamhold

#endif
