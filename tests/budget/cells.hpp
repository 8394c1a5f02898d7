#ifndef SEAMHOLD_TESTS_BUDGET_CELLS_HPP
#define SEAMHOLD_TESTS_BUDGET_CELLS_HPP

#include "follow/chains.hpp"
#include "seamhold/budget/sources.hpp"
#include "seamhold/budget/spot_under_errors.hpp"
#include "seamhold/head/any_head.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

// Random cells with moving robots, moving parts, three kinds of heads and leaning faces, and where the spot
// is in them when something is off, by plain vectors: mirrors are traced, frames turned by Rodrigues'
// formula, the face met by hand. Nothing of budget/ and no chain is used for it.

namespace seamhold::test {

using BudgetChain = Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, AnyHead>;

/// A cell with one straight seam on a plane.
struct BudgetCell {
    BudgetChain chain;
    Plane<> face;
    FacePoint from, to;
    AnySeam seam;
    double start;
    std::vector<PlainHead> plain; ///< the head in plain numbers; none for an ideal one
};

/// Sums of sines about a pose: `down` looks along the cell's −z.
template <class From> SineMotion<Cell, From> swinging(Random& random, double z, bool down) {
    auto const q = [&](bool main) { return random_sines(random, main ? 1 : 0, 0.01); };
    auto const w = q(!down), x = q(down), y = q(false), r = q(false);
    return {{random_sines(random, 0, 0.008), random_sines(random, 0, 0.008), random_sines(random, z, 0.008)},
            {w, x, y, r}};
}

/// A cell that the head can follow at both ends and in the middle. `kind`: 0 ideal, 1 misaligned mirrors
/// without a lens, 2 with a flat-field lens and a field map.
inline BudgetCell random_cell(Random& random, std::size_t kind) {
    while (true) {
        std::vector<PlainHead> plain;
        if (kind == 1)
            plain.push_back(random_open_head(random));
        if (kind == 2) {
            plain.push_back(random_lens_head(random));
            plain.back().map = random_map(random);
        }
        AnyHead const model = kind == 0   ? AnyHead(head())
                              : kind == 1 ? AnyHead(open_head_of(plain[0]))
                                          : AnyHead(lens_head_of(plain[0]));
        double const tilt = random.uniform(0, degrees(45)), toward = random.uniform(-3.1, 3.1);
        Plane<> const face{{about_axis<Part, Face>({std::cos(toward), std::sin(toward), 0}, tilt),
                            {random.uniform(-0.003, 0.003), random.uniform(-0.003, 0.003), 0.002}}};
        double const half = 0.01, angle = random.uniform(-3.1, 3.1);
        double const x = half * std::cos(angle), y = half * std::sin(angle);
        FacePoint const from{-x, -y}, to{x, y};
        AnySeam const seam =
            at_speed(straight_between(from, to), face, 0.1, {}, random.uniform(-0.002, 0.002));
        BudgetCell cell{{swinging<Flange>(random, model.working_distance() + 0.01, true),
                         swinging<Part>(random, 0, false), mount(), model},
                        face,
                        from,
                        to,
                        seam,
                        random.uniform(0, 3),
                        plain};
        bool reached = true;
        for (int i = 0; i <= 10; ++i)
            reached = reached &&
                      cell.chain.follow(seam, seam.duration() * i / 10, cell.start + seam.duration() * i / 10)
                              .status == Status::ok;
        if (reached)
            return cell;
    }
}

/// A spot by hand.
struct PlainSpot {
    double along, across, defocus;
};

/// A vector turned as a step of three numbers says: by 2 atan(|v|/2) about v.
inline Vector<> turned_by_step(std::array<double, 3> const& step, Vector<> const& v) {
    Vector<> const axis{step[0], step[1], step[2]};
    double const size = length(axis);
    return size > 0 ? turned_about(times(1 / size, axis), v, 2 * std::atan(size / 2)) : v;
}

/// The spot of a cell at a share of its seam, with errors.
inline PlainSpot plain_spot(BudgetCell const& cell, double share, ErrorNumbers<> const& e) {
    double const seam_time = share * cell.seam.duration(), t = cell.start + seam_time;
    auto const command = cell.chain.follow(cell.seam, seam_time, t).aim.command;
    double const x = command.x_mirror * (1 + e[2]) + e[0], y = command.y_mirror * (1 + e[3]) + e[1];
    double const lens = command.focus + e[4];
    Line<> line{};
    double way_to_focus = 0;
    if (cell.plain.empty()) {
        auto const& h = std::get<MirrorPair<>>(cell.chain.head.choice());
        auto const beam = traced(h.separation, x, y);
        line = beam.line;
        way_to_focus = h.focus_path + h.focus_ratio * lens - beam.path;
    } else {
        auto const beam = beam_of(cell.plain[0], x, y);
        line = beam.line;
        way_to_focus = test::way_to_focus(cell.plain[0], beam, lens);
    }
    way_to_focus += e[7];
    line.point = line.point + Vector<>{e[5], e[6], 0};

    auto const moved = [&e](std::size_t first, Vector<> const& v, bool point) {
        auto const turned = turned_by_step({e[first], e[first + 1], e[first + 2]}, v);
        return point ? turned + Vector<>{e[first + 3], e[first + 4], e[first + 5]} : turned;
    };
    auto const turn_only = [](auto pose) {
        pose.origin = {0, 0, 0};
        return pose;
    };
    auto const flange = cell.chain.cell_from_flange.at(t + e[20]);
    auto const part = cell.chain.cell_from_part.at(t + e[21]);
    auto const place = [&](Vector<> const& v, bool point) {
        auto const& mount_pose = cell.chain.flange_from_head;
        auto const on_head = moved(8, v, point);
        auto const on_flange =
            moved(14, point ? carried(mount_pose, on_head) : carried(turn_only(mount_pose), on_head), point);
        auto const in_cell = point ? carried(flange, on_flange) : carried(turn_only(flange), on_flange);
        auto in_part = point ? carried_back(part, in_cell) : carried_back(turn_only(part), in_cell);
        if (point)
            in_part = in_part - Vector<>{e[25], e[26], e[27]};
        return turned_by_step({-e[22], -e[23], -e[24]}, in_part);
    };
    auto const origin = place(line.point, true), direction = place(line.direction, false);

    auto const& m = cell.face.part_from_face.rotation.m;
    Vector<> const axis_x{m[0][0], m[1][0], m[2][0]}, axis_y{m[0][1], m[1][1], m[2][1]},
        normal{m[0][2], m[1][2], m[2][2]};
    double const dx = cell.to.x - cell.from.x, dy = cell.to.y - cell.from.y, size = std::hypot(dx, dy);
    Vector<> const wanted =
        carried(cell.face.part_from_face, {cell.from.x + share * dx, cell.from.y + share * dy, 0});
    Vector<> const along = times(dx / size, axis_x) + times(dy / size, axis_y);
    Vector<> const across = cross_product(normal, along);
    double const way = product(normal, wanted - origin) / product(normal, direction);
    auto const off = origin + times(way, direction) - wanted;
    return {product(along, off) + e[28], product(across, off) + e[29],
            way_to_focus - way - cell.seam.focus_offset};
}

/// A covariance of n numbers with correlations and these deviations.
inline Eigen::MatrixXd random_covariance(Random& random, std::vector<double> const& deviations) {
    auto const n = static_cast<Eigen::Index>(deviations.size());
    Eigen::MatrixXd root(n, n);
    for (Eigen::Index i = 0; i < n; ++i) {
        for (Eigen::Index k = 0; k < n; ++k)
            root(i, k) = random.normal();
        root.row(i) *= deviations[static_cast<std::size_t>(i)] / root.row(i).norm();
    }
    return root * root.transpose();
}

/// Six deviations of a pose.
inline std::vector<double> pose_deviations(double turn, double shift) {
    return {turn, 2 * turn, 0.5 * turn, shift, 0.7 * shift, 1.5 * shift};
}

/// Sources of every kind and place, of ordinary size; three with correlations.
inline std::vector<ErrorSource> every_source(Random& random) {
    return {
        pose_repeatability({50e-6, 20e-6}),
        source_at("path accuracy", error_on_flange,
                  random_covariance(random, pose_deviations(100e-6, 80e-6))),
        clock_error(0.3e-3),
        part_clock_error(0.4e-3),
        mirror_resolution(100e-6),
        mirror_noise(20e-6),
        mirror_drift(20e-6, 100e-6, 5),
        lens_error(20e-6),
        focus_error(0.2e-3),
        field_residual(20e-6, 30e-6),
        field_residual_of_angles(20e-6, 10e-6, "field in angles"),
        source_at("mount", error_on_head, random_covariance(random, pose_deviations(100e-6, 50e-6))),
        drifting(source_at("part", error_on_part, random_covariance(random, pose_deviations(100e-6, 50e-6))),
                 0.1),
        joint_position(30e-6, 50e-6)};
}

} // namespace seamhold::test

#endif
