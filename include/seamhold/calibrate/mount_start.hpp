#ifndef SEAMHOLD_CALIBRATE_MOUNT_START_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_START_HPP

#include "seamhold/calibrate/mount_model.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <vector>

/// A start for the mount from nothing. With the mount's rotation given, everything else (its origin, the
/// target, or the plate's origin and its two axes taken as free vectors) is linear in the cross product of
/// each beam's direction with what it misses. So rotations are tried all over, with the rest solved each
/// time, and the best are refined.
namespace seamhold::detail {

/// `count` rotations that cover all rotations evenly. Source: M. Alexa, "Super-Fibonacci spirals: fast,
/// low-discrepancy sampling of SO(3)", CVPR 2022 (from memory).
template <class To, class From> std::vector<Rotation<To, From>> spread_rotations(int count) {
    double const first = std::sqrt(2.0);
    double const second = 1.533751168755204288; // ψ⁴ = ψ + 4
    std::vector<Rotation<To, From>> all;
    for (int i = 0; i < count; ++i) {
        double const s = i + 0.5;
        double const r = std::sqrt(s / count);
        double const q = std::sqrt(1 - s / count);
        double const a = 2 * std::numbers::pi * s / first;
        double const b = 2 * std::numbers::pi * s / second;
        all.push_back(rotation_of<To, From>(
            Quaternion<double>{q * std::cos(b), r * std::sin(a), r * std::cos(a), q * std::sin(b)}));
    }
    return all;
}

/// The square root of the mean of the smaller squares of a list, some 70 % of them: what gross outliers do
/// not reach.
inline double trimmed_root(std::vector<double> squares) {
    auto const kept = (7 * squares.size() + 9) / 10;
    std::nth_element(squares.begin(), squares.begin() + static_cast<std::ptrdiff_t>(kept - 1), squares.end());
    double sum = 0;
    for (std::size_t i = 0; i < kept; ++i)
        sum += squares[i];
    return std::sqrt(sum / static_cast<double>(kept));
}

/// Weights that take the squares to the absolute values, soft below the middle one.
inline Eigen::VectorXd softened(std::vector<double> const& squares) {
    std::vector<double> sorted = squares;
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2),
                     sorted.end());
    double const middle = std::sqrt(sorted[sorted.size() / 2]) + std::numeric_limits<double>::min();
    Eigen::VectorXd weights(static_cast<Eigen::Index>(squares.size()));
    for (std::size_t i = 0; i < squares.size(); ++i)
        weights(static_cast<Eigen::Index>(i)) = 1 / (1 + squares[i] / sqr(2 * middle));
    return weights;
}

/// A start, and how well it fits already.
struct MountStart {
    MountState state;
    double miss; ///< a root of trimmed squares, m; ∞ if most beams would come from behind
};

/// Everything else for a given rotation of the mount. With F the cell's axes in the flange, d the beam's
/// direction there and P = 1 − d dᵀ, what a beam misses is P (place − u + F (c + x X + y Y)), where u is the
/// mount's origin and c, X, Y are the target, or the plate's origin and axes.
class GivenRotation {
public:
    GivenRotation(Met met, std::vector<MountBeam> const& beams, Pose<Cell, Plate> const& plate)
        : met_(met), plate_(plate) {
        for (MountBeam const& beam : beams) {
            Row row{as_vector(beam.ray.origin),
                    as_vector(beam.ray.direction),
                    as_matrix(beam.cell_from_flange.rotation).transpose(),
                    {},
                    {1, beam.x, beam.y}};
            Point<Cell> known{0, 0, 0};
            if (met == Met::known_plate)
                known = plate * Point<Plate>{beam.x, beam.y, 0};
            row.place = row.flange_from_cell * (as_vector(known) - as_vector(beam.cell_from_flange.origin));
            rows_.push_back(row);
        }
    }

    /// The state that fits best, by a few rounds that weigh outliers down.
    MountStart operator()(Rotation<Flange, Head> const& rotation) const {
        Eigen::Matrix3d const turn = as_matrix(rotation);
        // How many of c, X, Y are unknown.
        int const free = met_ == Met::target ? 1 : met_ == Met::plate ? 3 : 0;
        Eigen::VectorXd weights = Eigen::VectorXd::Ones(static_cast<Eigen::Index>(rows_.size()));
        std::vector<double> squares(rows_.size());
        Eigen::VectorXd unknown;
        std::size_t behind = 0;
        for (int round = 0; round < 3; ++round) {
            Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(3 + 3 * free, 3 + 3 * free);
            Eigen::VectorXd right = Eigen::VectorXd::Zero(3 + 3 * free);
            for (std::size_t i = 0; i < rows_.size(); ++i) {
                Row const& row = rows_[i];
                Eigen::Vector3d const d = turn * row.direction;
                double const weight = weights(static_cast<Eigen::Index>(i));
                Eigen::Matrix3d const across = weight * (Eigen::Matrix3d::Identity() - d * d.transpose());
                Eigen::Vector3d const known = across * (row.place - turn * row.origin);
                normal.block<3, 3>(0, 0) += across;
                right.segment<3>(0) += known;
                if (free == 0)
                    continue;
                // The lower triangle only.
                Eigen::Matrix3d const beside = row.flange_from_cell.transpose() * across;
                Eigen::Matrix3d const below = beside * row.flange_from_cell;
                Eigen::Vector3d const turned = row.flange_from_cell.transpose() * known;
                for (int k = 0; k < free; ++k) {
                    auto const a = static_cast<std::size_t>(k);
                    normal.block<3, 3>(3 + 3 * k, 0) -= row.factor[a] * beside;
                    right.segment<3>(3 + 3 * k) -= row.factor[a] * turned;
                    for (int j = 0; j <= k; ++j)
                        normal.block<3, 3>(3 + 3 * k, 3 + 3 * j) +=
                            row.factor[a] * row.factor[static_cast<std::size_t>(j)] * below;
                }
            }
            normal.diagonal().array() += 1e-13 * normal.trace();
            unknown = normal.llt().solve(right);
            behind = 0;
            for (std::size_t i = 0; i < rows_.size(); ++i) {
                Row const& row = rows_[i];
                Eigen::Vector3d const d = turn * row.direction;
                Eigen::Vector3d met = Eigen::Vector3d::Zero();
                for (int k = 0; k < free; ++k)
                    met += row.factor[static_cast<std::size_t>(k)] * unknown.segment<3>(3 + 3 * k);
                Eigen::Vector3d const off =
                    row.place - turn * row.origin - unknown.head<3>() + row.flange_from_cell * met;
                double const along = d.dot(off);
                squares[i] = (off - along * d).squaredNorm();
                behind += along > 0 ? 0 : 1;
            }
            weights = softened(squares);
        }
        double const miss =
            2 * behind > rows_.size() ? std::numeric_limits<double>::infinity() : trimmed_root(squares);
        return {state_of(rotation, unknown), miss};
    }

private:
    struct Row {
        Eigen::Vector3d origin, direction; ///< of the beam, in the head
        Eigen::Matrix3d flange_from_cell;
        Eigen::Vector3d place;        ///< what is known of the met point, in the flange
        std::array<double, 3> factor; ///< of c, X and Y
    };

    MountState state_of(Rotation<Flange, Head> const& rotation, Eigen::VectorXd const& unknown) const {
        MountState state{{rotation, point_from<Flange>(unknown.head<3>())}, plate_};
        if (met_ != Met::known_plate)
            state.cell_from_plate.origin = point_from<Cell>(unknown.segment<3>(3));
        if (met_ == Met::plate) {
            Eigen::Vector3d const x = unknown.segment<3>(6), y = unknown.segment<3>(9);
            Eigen::Matrix3d axes;
            axes << x, y, x.cross(y) / (1e-9 + std::sqrt(x.norm() * y.norm()));
            if (is_finite(axes.sum()))
                state.cell_from_plate.rotation = fit_to_matrix<Cell, Plate>(axes).rotation;
        }
        return state;
    }

    Met met_;
    Pose<Cell, Plate> plate_;
    std::vector<Row> rows_;
};

/// A state refined by a few steps with outliers weighed down.
inline MountStart refined_start(MountProblem const& problem, MountState const& state) {
    auto const& beams = problem.beams;
    auto const squares_of = [&](MountState const& at) {
        Eigen::VectorXd const rows = problem.residuals(at);
        std::vector<double> squares(beams.size());
        for (std::size_t i = 0; i < beams.size(); ++i)
            squares[i] = rows.segment<2>(2 * static_cast<Eigen::Index>(i)).squaredNorm();
        return squares;
    };
    MountStart best{state, std::numeric_limits<double>::infinity()};
    auto squares = squares_of(state);
    for (int round = 0; round < 4; ++round) {
        Eigen::VectorXd const soft = softened(squares);
        Eigen::VectorXd weights(2 * soft.size());
        for (Eigen::Index i = 0; i < soft.size(); ++i)
            weights(2 * i) = weights(2 * i + 1) = soft(i);
        LeastSquaresOptions few;
        few.most_steps = 8;
        if (!is_finite(problem.residuals(best.state).sum()))
            break;
        auto const fit = least_squares(best.state, problem, MountMove{problem.met}, few, weights);
        best.state = fit.state;
        squares = squares_of(best.state);
    }
    std::size_t behind = 0;
    for (MountBeam const& beam : beams)
        behind += met_at(problem.met, beam, best.state).from_front ? 0 : 1;
    bool const finite = is_finite(problem.residuals(best.state).sum());
    best.miss = 2 * behind > beams.size() || !finite ? std::numeric_limits<double>::infinity()
                                                     : trimmed_root(squares);
    return best;
}

/// Starts for the mount, the best first. `plate` is used where it is known.
inline std::vector<MountStart> mount_starts(MountProblem const& problem, Pose<Cell, Plate> const& plate) {
    auto const& beams = problem.beams;
    std::size_t const most = 60; // observations that are looked at
    std::vector<MountBeam> some;
    for (std::size_t i = 0; i < std::min(most, beams.size()); ++i)
        some.push_back(beams[i * beams.size() / std::min(most, beams.size())]);
    GivenRotation const solve(problem.met, some, plate);
    std::vector<MountStart> tried;
    for (auto const& rotation : spread_rotations<Flange, Head>(576))
        tried.push_back(solve(rotation));
    auto const better = [](MountStart const& a, MountStart const& b) { return a.miss < b.miss; };
    std::sort(tried.begin(), tried.end(), better);
    std::vector<MountStart> refined;
    for (std::size_t i = 0; i < std::min<std::size_t>(12, tried.size()); ++i)
        refined.push_back(refined_start({problem.met, some}, tried[i].state));
    std::sort(refined.begin(), refined.end(), better);
    return refined;
}

} // namespace seamhold::detail

#endif
