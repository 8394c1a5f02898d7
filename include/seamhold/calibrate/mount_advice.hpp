#ifndef SEAMHOLD_CALIBRATE_MOUNT_ADVICE_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_ADVICE_HPP

#include "seamhold/calibrate/mount_fit.hpp"
#include "seamhold/calibrate/mount_model.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

/// What the data do not tell of a mount, and which further observation would tell it.
namespace seamhold::detail {

/// A vector's direction in words: an axis where it is near one.
inline std::string axis_in_words(double x, double y, double z) {
    double const length = std::sqrt(sqr(x) + sqr(y) + sqr(z));
    std::array<double, 3> const v{x / length, y / length, z / length};
    for (std::size_t k = 0; k < 3; ++k)
        if (std::abs(v[k]) > 0.97)
            return std::string("its ") + "xyz"[k] + " axis";
    std::size_t largest = 0;
    for (std::size_t k = 1; k < 3; ++k)
        if (std::abs(v[k]) > std::abs(v[largest]))
            largest = k;
    std::string text = "(";
    for (std::size_t k = 0; k < 3; ++k)
        text += (k > 0 ? ", " : "") + text_of(std::round(100 * v[k] * (v[largest] < 0 ? -1 : 1)) / 100 + 0.0);
    return text + ") in its axes";
}

/// Names of things one after the other: "a, b and c".
inline std::string listed(std::vector<std::string> const& names, std::string const& last = " and ") {
    std::string text;
    for (std::size_t i = 0; i < names.size(); ++i)
        text += (i == 0 ? "" : i + 1 == names.size() ? last : ", ") + names[i];
    return text;
}

/// One step of the mount in words.
inline std::string step_in_words(std::array<double, 6> const& step) {
    double const turn = std::sqrt(sqr(step[0]) + sqr(step[1]) + sqr(step[2]));
    double const shift = std::sqrt(sqr(step[3]) + sqr(step[4]) + sqr(step[5]));
    std::string text;
    if (turn > 0.2 * shift) // a radian as a metre: a head works at some tenths of a metre
        text = "a turn of the head about " + axis_in_words(step[0], step[1], step[2]);
    if (shift > 0.2 * turn)
        text += (text.empty() ? "a shift of the head along " : " with a shift along ") +
                axis_in_words(step[3], step[4], step[5]);
    return text;
}

/// The size of a step of the mount in words.
inline std::string size_in_words(std::array<double, 6> const& step) {
    double const turn = std::sqrt(sqr(step[0]) + sqr(step[1]) + sqr(step[2]));
    double const shift = std::sqrt(sqr(step[3]) + sqr(step[4]) + sqr(step[5]));
    std::vector<std::string> parts;
    if (turn > 0.2 * shift)
        parts.push_back(text_of(std::round(100 * in_degrees(turn)) / 100) + "°");
    if (shift > 0.2 * turn)
        parts.push_back(text_of(std::round(10 * in_millimetres(shift)) / 10) + " mm");
    return listed(parts);
}

/// Several open directions in words: the mount's numbers that have a part in them.
inline std::string shares_in_words(std::array<double, 6> const& shares) {
    std::vector<std::string> parts;
    for (std::size_t first : {std::size_t{0}, std::size_t{3}}) {
        std::vector<std::string> axes;
        for (std::size_t k = 0; k < 3; ++k)
            if (shares[first + k] > 0.05)
                axes.push_back(std::string(1, "xyz"[k]));
        if (!axes.empty())
            parts.push_back((first == 0 ? "turns of the head about its " : "shifts of the head along its ") +
                            listed(axes) + (axes.size() > 1 ? " axes" : " axis"));
    }
    return listed(parts);
}

/// A further observation that is looked at, and what it stands for.
struct FurtherObservation {
    MountAdvice advice;
    MountBeam beam;
};

/// Which further observations would close what is open, the best first: each round the one that makes the
/// sum of the mount's six variances least. `jacobian` is of the observations that count; `rows_of(candidate)`
/// gives the rows that a candidate adds. In `left` stands the sum after each, as a share of that before any.
struct Advised {
    std::vector<MountAdvice> advice;
    std::vector<double> left;
};
template <class Candidates, class RowsOf>
Advised advised(Eigen::MatrixXd const& jacobian, Candidates const& candidates, RowsOf const& rows_of,
                int most) {
    // Scaled, and a faint hold on every direction, so that open ones have a large variance and not none.
    constexpr double weak_hold = 1e-10;
    Eigen::VectorXd const lengths = column_lengths(jacobian);
    Eigen::MatrixXd const scaled = jacobian * lengths.cwiseInverse().asDiagonal();
    Eigen::MatrixXd information = scaled.transpose() * scaled;
    information.diagonal().array() += weak_hold;
    Eigen::MatrixXd covariance =
        information.llt().solve(Eigen::MatrixXd::Identity(information.rows(), information.cols()));
    Eigen::VectorXd const counts = lengths.head<6>().cwiseInverse();
    auto const sum = [&] { return covariance.diagonal().head<6>().dot(counts.cwiseAbs2()); };
    std::vector<Eigen::MatrixXd> rows;
    rows.reserve(candidates.size());
    for (auto const& candidate : candidates)
        rows.push_back(rows_of(candidate) * lengths.cwiseInverse().asDiagonal());
    Advised result;
    double const before = sum();
    for (int round = 0; round < most; ++round) {
        double best_gain = -1;
        std::size_t best = 0;
        for (std::size_t i = 0; i < rows.size(); ++i) {
            if (!rows[i].allFinite())
                continue;
            Eigen::MatrixXd const gain = rows[i] * covariance; // k × m
            Eigen::MatrixXd const spread =
                Eigen::MatrixXd::Identity(gain.rows(), gain.rows()) + gain * rows[i].transpose();
            Eigen::MatrixXd const counted = gain.leftCols(6) * counts.asDiagonal();
            double const falls = counted.cwiseProduct(spread.llt().solve(counted)).sum();
            if (falls > best_gain) {
                best_gain = falls;
                best = i;
            }
        }
        if (best_gain < 0)
            break;
        Eigen::MatrixXd const gain = rows[best] * covariance;
        Eigen::MatrixXd const spread =
            Eigen::MatrixXd::Identity(gain.rows(), gain.rows()) + gain * rows[best].transpose();
        covariance -= gain.transpose() * spread.llt().solve(gain);
        auto const advice = candidates[best].advice;
        if (std::find(result.advice.begin(), result.advice.end(), advice) == result.advice.end())
            result.advice.push_back(advice);
        result.left.push_back(sum() / before);
        if (result.left.back() < 1e-4)
            break;
    }
    return result;
}

/// Further observations like those given: the flange turned by 20° about each of its axes to both sides with
/// what is met kept in the beam, the head a fifth nearer and farther, and each mirror deflected by 0.14 rad
/// to both sides. `ray_of(command)` is the head's.
template <class RayOf>
std::vector<FurtherObservation> candidates_near(MountProblem const& problem,
                                                std::vector<Command<>> const& commands,
                                                MountState const& state, RayOf const& ray_of) {
    auto const& beams = problem.beams;
    Met const met = problem.met;
    std::vector<FurtherObservation> all;
    std::size_t const looked_at = std::min<std::size_t>(3, beams.size());
    for (std::size_t j = 0; j < looked_at; ++j) {
        std::size_t const i = j * (beams.size() - 1) / std::max<std::size_t>(1, looked_at - 1);
        MountBeam const& beam = beams[i];
        double const distance = met_at(met, beam, state).distance;
        Point<Cell> const place = met == Met::target
                                      ? state.cell_from_plate.origin
                                      : state.cell_from_plate * Point<Plate>{beam.x, beam.y, 0};
        // The flange so that the beam of a ray meets the place at a distance.
        auto const meeting = [&](Rotation<Cell, Flange> const& rotation, Ray<double> const& ray, double at) {
            auto const p = state.flange_from_head * (ray.origin + at * ray.direction);
            return Pose<Cell, Flange>{rotation, place - rotation * Direction<Flange>{p.x, p.y, p.z}};
        };
        auto const& rotation = beam.cell_from_flange.rotation;
        for (double const side : {-1.0, 1.0}) {
            for (int k = 0; k < 3; ++k) {
                Direction<Flange> const axis{k == 0 ? 1.0 : 0, k == 1 ? 1.0 : 0, k == 2 ? 1.0 : 0};
                auto const turned = rotation * about_axis<Flange, Flange>(axis, side * degrees(20));
                all.push_back({static_cast<MountAdvice>(k),
                               {meeting(turned, beam.ray, distance), beam.ray, beam.x, beam.y}});
            }
            all.push_back(
                {MountAdvice::distance,
                 {meeting(rotation, beam.ray, distance * (1 + 0.2 * side)), beam.ray, beam.x, beam.y}});
            for (auto const advice : {MountAdvice::deflect_x, MountAdvice::deflect_y}) {
                Command<> command = commands[i];
                (advice == MountAdvice::deflect_x ? command.x_mirror : command.y_mirror) = 0.14 * side;
                auto const ray = ray_of(command);
                all.push_back({advice, {meeting(rotation, ray, distance), ray, beam.x, beam.y}});
            }
        }
    }
    return all;
}

/// The rows of one beam.
inline Eigen::MatrixXd rows_of_beam(Met met, MountBeam const& beam, MountState const& state) {
    std::vector<MountBeam> const one{beam};
    return MountProblem{met, one}(state).jacobian;
}

/// Pieces of advice in one sentence.
inline std::string advice_in_words(std::vector<MountAdvice> const& advice) {
    std::vector<std::string> parts;
    parts.reserve(advice.size());
    for (MountAdvice const one : advice)
        parts.push_back(to_string(one));
    return listed(parts);
}

/// The open directions of a fit: how much part each number of the mount has in them, from 0 to 1.
struct OpenDirections {
    int count;
    std::array<double, 6> shares;
    std::array<double, 6> weakest; ///< the mount's part of the weakest one, rad and m
};
template <class State>
OpenDirections open_directions(LeastSquaresFit<State> const& fit, double rank_tolerance) {
    Eigen::MatrixXd const used = fit.weights.cwiseSqrt().asDiagonal() * fit.jacobian;
    Eigen::VectorXd const lengths = column_lengths(used);
    Eigen::MatrixXd const scaled = used * lengths.cwiseInverse().asDiagonal();
    Eigen::JacobiSVD<Eigen::MatrixXd> const svd(scaled.transpose() * scaled, Eigen::ComputeFullV);
    OpenDirections open{0, {}, {}};
    Eigen::Index const m = scaled.cols();
    for (Eigen::Index k = 0; k < m; ++k)
        open.count += fit.singular_values(k) > rank_tolerance * fit.singular_values(0) ? 0 : 1;
    for (Eigen::Index k = m - std::max(1, open.count); k < m; ++k)
        for (Eigen::Index i = 0; i < 6; ++i)
            open.shares[static_cast<std::size_t>(i)] += sqr(svd.matrixV()(i, k));
    for (Eigen::Index i = 0; i < 6; ++i)
        open.weakest[static_cast<std::size_t>(i)] = fit.weakest(i);
    return open;
}

/// Throws BadInput that says what is open and what would close it.
template <class State, class Candidates, class RowsOf>
[[noreturn]] void refuse_undetermined(std::string const& observations, LeastSquaresFit<State> const& fit,
                                      double rank_tolerance, Candidates const& candidates,
                                      RowsOf const& rows_of) {
    auto const open = open_directions(fit, rank_tolerance);
    Eigen::MatrixXd const used = fit.weights.cwiseSqrt().asDiagonal() * fit.jacobian;
    auto const what = open.count == 1 ? step_in_words(open.weakest) : shares_in_words(open.shares);
    throw BadInput(observations + " do not determine the mount: open " + (open.count == 1 ? "is " : "are ") +
                   what + " (" + std::to_string(open.count) + " of " + std::to_string(used.cols()) +
                   " numbers); " + advice_in_words(advised(used, candidates, rows_of, 6).advice));
}

/// What is known least of a mount that is determined. `covariance` is of the mount's six numbers.
template <class Candidates, class RowsOf>
MountWeakness weakness(PoseCovariance const& covariance, double most_deviation,
                       Eigen::MatrixXd const& jacobian, Candidates const& candidates, RowsOf const& rows_of) {
    Eigen::JacobiSVD<Eigen::MatrixXd> const svd(covariance, Eigen::ComputeFullV);
    Eigen::VectorXd const direction = svd.matrixV().col(0);
    Eigen::VectorXd const step = std::sqrt(svd.singularValues()(0)) * direction;
    std::array<double, 6> of_one_deviation{}, of_length_one{};
    for (std::size_t k = 0; k < 6; ++k) {
        of_one_deviation[k] = step(static_cast<Eigen::Index>(k));
        of_length_one[k] = direction(static_cast<Eigen::Index>(k));
    }
    auto const next = advised(jacobian, candidates, rows_of, 1);
    return {of_one_deviation, step.norm() / most_deviation, step_in_words(of_length_one), next.advice.at(0),
            next.left.at(0)};
}

} // namespace seamhold::detail

#endif
