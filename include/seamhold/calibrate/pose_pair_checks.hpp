#ifndef SEAMHOLD_CALIBRATE_POSE_PAIR_CHECKS_HPP
#define SEAMHOLD_CALIBRATE_POSE_PAIR_CHECKS_HPP

#include "seamhold/calibrate/mount_checks.hpp"
#include "seamhold/calibrate/pose_pair_fit.hpp"

#include <cstddef>
#include <functional>
#include <limits>
#include <string>
#include <vector>

/// Bad input of a calibration from pairs of poses, and further pairs that would help.
namespace seamhold::detail {

/// Throws BadInput for too few pairs and, naming the first, for what is no pose.
inline void check_pairs(std::vector<PosePair> const& pairs) {
    if (pairs.size() < 3)
        throw BadInput(
            "a mount from pairs of poses needs at least 3 pairs: two motions about different axes; "
            "given " +
            std::to_string(pairs.size()));
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        check_pose(pairs[i].cell_from_flange, "the flange's pose of pair " + std::to_string(i + 1));
        check_pose(pairs[i].head_from_target, "the target's pose of pair " + std::to_string(i + 1));
    }
    refuse_repeats(pairs, "pairs", [](PosePair const& a, PosePair const& b) {
        return same_pose(a.cell_from_flange, b.cell_from_flange) &&
               same_pose(a.head_from_target, b.head_from_target);
    });
}

/// Throws BadInput for options that mean nothing.
inline void check_options(PosePairOptions const& options) {
    if (options.turn_deviation.has_value() != options.shift_deviation.has_value())
        throw BadInput("of the deviations of turns and shifts both are given or neither");
    for (auto const& deviation : {options.turn_deviation, options.shift_deviation})
        if (deviation && !(*deviation > 0 && is_finite(*deviation)))
            throw BadInput("a deviation of turns or shifts must be above 0 and finite; given " +
                           text_of(*deviation));
    if (!(options.plausible_turn > 0) || !(options.plausible_shift > 0) || !(options.most_deviation > 0))
        throw BadInput("what counts as plausible or as determined must be above 0");
}

/// A further pair that is looked at.
struct PairCandidate {
    MountAdvice advice;
    PosePair pair;
};

/// Further pairs: the flange turned by 20° about each of its axes to both sides about the target.
inline std::vector<PairCandidate> candidates_near(std::vector<PosePair> const& pairs,
                                                  PairState const& state) {
    std::vector<PairCandidate> all;
    std::size_t const looked_at = std::min<std::size_t>(3, pairs.size());
    for (std::size_t j = 0; j < looked_at; ++j) {
        auto const& pair = pairs[j * (pairs.size() - 1) / std::max<std::size_t>(1, looked_at - 1)];
        auto const p = state.flange_from_head * pair.head_from_target.origin;
        for (double const side : {-1.0, 1.0})
            for (int k = 0; k < 3; ++k) {
                Direction<Flange> const axis{k == 0 ? 1.0 : 0, k == 1 ? 1.0 : 0, k == 2 ? 1.0 : 0};
                auto const turned =
                    pair.cell_from_flange.rotation * about_axis<Flange, Flange>(axis, side * degrees(20));
                Pose<Cell, Flange> const flange{turned, state.cell_from_target.origin -
                                                            turned * Direction<Flange>{p.x, p.y, p.z}};
                all.push_back({static_cast<MountAdvice>(k),
                               {flange, inverse(flange * state.flange_from_head) * state.cell_from_target}});
            }
    }
    return all;
}

/// The mix-ups after which the pairs fit, five times better in turns or in shifts and no worse in the other.
inline std::vector<std::string> slips_found(std::vector<PosePair> const& pairs,
                                            PosePairOptions const& options, SolvedPairs const& given) {
    struct Slip {
        std::string name;
        std::function<void(PosePair&)> put_right;
    };
    std::vector<Slip> slips{
        {"the flange's poses look inverted: the cell in the flange, or a sensor that stands in the cell",
         [](PosePair& p) { p.cell_from_flange = as<Cell, Flange>(inverse(p.cell_from_flange)); }},
        {"the target's poses look inverted: the head in the target",
         [](PosePair& p) { p.head_from_target = as<Head, Target>(inverse(p.head_from_target)); }},
        {"both poses look inverted", [](PosePair& p) {
             p.cell_from_flange = as<Cell, Flange>(inverse(p.cell_from_flange));
             p.head_from_target = as<Head, Target>(inverse(p.head_from_target));
         }}};
    struct Unit {
        char const* name;
        double factor;
    };
    for (Unit const unit :
         {Unit{"millimetres given as metres", 1e-3}, Unit{"metres taken for millimetres", 1e3},
          Unit{"inches given as metres", 0.0254}, Unit{"inches taken for millimetres", 25.4},
          Unit{"millimetres taken for inches", 1 / 25.4}}) {
        double const by = unit.factor;
        auto const scaled = [by](auto& p) { p = {by * p.x, by * p.y, by * p.z}; };
        slips.push_back({std::string("flange positions look like ") + unit.name,
                         [=](PosePair& p) { scaled(p.cell_from_flange.origin); }});
        slips.push_back({std::string("the target's positions look like ") + unit.name,
                         [=](PosePair& p) { scaled(p.head_from_target.origin); }});
    }
    std::vector<std::string> names;
    double best = std::numeric_limits<double>::infinity();
    for (Slip const& slip : slips) {
        auto tried = pairs;
        for (PosePair& pair : tried)
            slip.put_right(pair);
        auto const solved = solved_pairs(tried, options);
        if (!solved.fit.determined || !solved.plausible(options))
            continue;
        // In shares of what is plausible: one number for turns and shifts.
        auto const size = [&](SolvedPairs const& s) {
            return s.turns_left / options.plausible_turn + s.shifts_left / options.plausible_shift;
        };
        if (5 * size(solved) > size(given))
            continue;
        if (size(solved) < best / 2)
            names.clear();
        if (size(solved) <= 2 * best) {
            best = std::min(best, size(solved));
            names.push_back(slip.name);
        }
    }
    return names;
}

} // namespace seamhold::detail

#endif
