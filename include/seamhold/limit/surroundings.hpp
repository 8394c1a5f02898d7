#ifndef SEAMHOLD_LIMIT_SURROUNDINGS_HPP
#define SEAMHOLD_LIMIT_SURROUNDINGS_HPP

#include "seamhold/limit/guarded_between_seams.hpp"
#include "seamhold/limit/guarded_directions.hpp"
#include "seamhold/limit/job_proof.hpp"
#include "seamhold/limit/line_of_sight.hpp"

#include <optional>
#include <string>
#include <vector>

/// Clamps, fixture and guards around a whole job.
namespace seamhold {

/// What stands around the work.
struct Surroundings {
    BeamCone beam;                                 ///< between the head and the spot
    std::vector<Obstacle<Part>> on_part = {};      ///< what goes with the part
    std::vector<Obstacle<Cell>> in_cell = {};      ///< what is bolted to the cell
    std::optional<GuardedDirections> guarded = {}; ///< where the beam may point, beam off or on
};

/// What is proven of one seam among its surroundings.
struct SightProof {
    LineOfSight<Part> past_part;          ///< past what goes with the part
    LineOfSight<Cell> past_cell;          ///< past what is bolted to the cell
    std::optional<Guarded> while_welding; ///< where directions are guarded
    std::optional<Guarded> before;        ///< on the way from the seam before, beam off

    /// The worst verdict of all.
    Verdict verdict() const {
        auto worst = worse(past_part.verdict, past_cell.verdict);
        for (auto const& guarded : {while_welding, before})
            if (guarded)
                worst = worse(worst, guarded->verdict);
        return worst;
    }

    /// What was found first that is not proven, in words: "clamp NAME at 1.2345 s"; empty where all is.
    std::string found() const;
};

namespace detail {

/// A pose's values, without rates.
template <class To, class From, int N>
Pose<To, From, Interval> values_of_pose(Pose<To, From, Taylor<Interval, N>> const& pose) {
    Pose<To, From, Interval> r{
        {}, {values_of(pose.origin.x), values_of(pose.origin.y), values_of(pose.origin.z)}};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            r.rotation.m[i][k] = values_of(pose.rotation.m[i][k]);
    return r;
}

/// The beam of a seam at one time, in the cell, the part and the head.
template <class T> struct SeamBeam {
    BeamEnds<Part, T> in_part;
    BeamEnds<Cell, T> in_cell;
    Direction<Cell, T> direction;
};

template <class AnyJob, class Scheduled, class T, class Changed = AsGiven>
SeamBeam<T> beam_of(AnyJob const& job, Scheduled const& scheduled, T const& seam_time,
                    Changed const& change = {}) {
    auto const& chain = job.chain;
    auto const& seam = scheduled.seam;
    T const t = change.time(scheduled.start, seam.duration(), seam_time);
    auto const place = number_cast<T>(seam.at(seam_time).position);
    auto const cell_from_flange = chain.cell_from_flange.at(t);
    auto const ray = chain.head.ray(
        chain.head.command(chain.in_head(place, t, cell_from_flange, change), seam.focus_offset));
    auto const origin = number_cast<T>(chain.head_in_cell(ray.origin, cell_from_flange, change));
    return {{number_cast<T>(chain.cell_in_part(origin, t, change)), place},
            {origin, number_cast<T>(chain.in_cell(place, t, change))},
            number_cast<T>(chain.head_in_cell(ray.direction, cell_from_flange, change))};
}

/// Proves one seam among its surroundings, stretch by stretch between breaks.
template <class AnyJob, class Scheduled> class SightProver {
    using T = Taylor<Interval, 6>;

public:
    SightProver(AnyJob const& job, Scheduled const& scheduled, Surroundings const& around,
                ProofOptions const& options)
        : job_(job), scheduled_(scheduled), around_(around), options_(options), breaks_(job.chain.breaks()) {
        auto inner = seam_breaks(scheduled);
        for (double const t : breaks_)
            inner.push_back(t - scheduled.start);
        ends_ = stretch_ends(std::move(inner), scheduled.seam.duration(), longest_stretch(scheduled, 0.05));
    }

    SightProof prove() const {
        SightProof proof{past(around_.on_part, [](auto const& beam) { return beam.in_part; }),
                         past(around_.in_cell, [](auto const& beam) { return beam.in_cell; }),
                         {},
                         {}};
        if (around_.guarded)
            proof.while_welding = each<Guarded>([&](double from, double to, HalvingBudget const& budget) {
                return guarded_while(
                    *around_.guarded, from, to, [&](double t) { return plain(t).direction; },
                    [&](Interval const& stretch) {
                        return expanded<6>(stretch, [&](T const& t) { return beam(t).direction; });
                    },
                    budget);
            });
        return proof;
    }

private:
    SeamBeam<T> beam(T const& t) const { return beam_of(job_, scheduled_, t, options_.change); }
    SeamBeam<double> plain(double t) const { return beam_of(job_, scheduled_, t, options_.change); }

    template <class F, class Part>
    auto past(std::vector<Obstacle<F>> const& obstacles, Part const& part) const {
        if (obstacles.empty())
            return LineOfSight<F>{Verdict::within, 0, "", scheduled_.start, 0, {0, 0, 0}, 0};
        return each<LineOfSight<F>>([&](double from, double to, HalvingBudget const& budget) {
            return line_of_sight(
                obstacles, around_.beam, from, to, [&](double t) { return part(plain(t)); },
                [&](Interval const& stretch) {
                    return expanded<6>(stretch, [&](T const& t) { return part(beam(t)); });
                },
                budget);
        });
    }

    /// The worst of all stretches' results, with its time by the robot's clock, and all pieces.
    template <class Result, class Prove> Result each(Prove const& prove) const {
        std::optional<Result> worst;
        std::size_t pieces = 0;
        for (std::size_t i = 0; i + 1 < ends_.size(); ++i) {
            HalvingBudget budget;
            budget.pieces = options_.budget > pieces ? options_.budget - pieces : 0;
            auto result = prove(ends_[i], ends_[i + 1], budget);
            if (result.verdict == Verdict::within && !is_known({ends_[i], ends_[i + 1]})) {
                result.verdict = Verdict::undecided;
                result.time = ends_[i];
            }
            pieces += result.pieces;
            result.time += scheduled_.start;
            if (!worst ||
                (worst->verdict != result.verdict && worse(worst->verdict, result.verdict) == result.verdict))
                worst = std::move(result);
            if (worst->verdict == Verdict::exceeds)
                break;
        }
        worst->pieces = pieces;
        return *worst;
    }

    /// Whether the motions have data all over a span, and the seam lies in front of the head.
    bool is_known(TimeSpan const& span) const {
        auto const& change = options_.change;
        auto const& chain = job_.chain;
        auto const& seam = scheduled_.seam;
        T const time = T::variable(Interval(span.from, span.to));
        T const t = change.time(scheduled_.start, seam.duration(), time);
        auto const target = chain.in_head(number_cast<T>(seam.at(time).position), t, change);
        return has_data_throughout(chain, breaks_, values_of(t)) && values_of(target.z).low > 0;
    }

    AnyJob const& job_;
    Scheduled const& scheduled_;
    Surroundings const& around_;
    ProofOptions const& options_;
    std::vector<double> breaks_; ///< of the motions, s of the robot's clock
    std::vector<double> ends_;
};

} // namespace detail

/// See the class.
inline std::string SightProof::found() const {
    auto const at = [](std::string const& what, double time) {
        return what + " at " + detail::text_of(time) + " s";
    };
    auto const reached = [&](auto const& sight) {
        return sight.verdict == Verdict::within
                   ? std::string()
                   : at((sight.verdict == Verdict::exceeds ? "reaches " : "undecided beside ") + sight.name,
                        sight.time);
    };
    if (past_part.verdict != Verdict::within)
        return reached(past_part);
    if (past_cell.verdict != Verdict::within)
        return reached(past_cell);
    if (while_welding && while_welding->verdict != Verdict::within)
        return at("leaves the guarded directions", while_welding->time);
    if (before && before->verdict != Verdict::within)
        return at("before it, beam off: may leave the guarded directions", before->time);
    return "";
}

/// Proves, for every seam of a job in order, that the beam with its clearance passes every clamp and stays in
/// the guarded directions; and for the beam-off moves between seams, with the mirrors and the lens anywhere
/// in their ranges, that it would stay in the guarded directions should it come on. The box of
/// `options.change` is covered while a seam is welded; between seams the motion is taken as given. Where a
/// motion has no data or a seam is not in front of the head nothing is within. Throws
/// BadInput for a beam without radius and clearance.
template <class AnyJob>
std::vector<SightProof> prove_sight(AnyJob const& job, Surroundings const& around,
                                    ProofOptions const& options = {}) {
    std::vector<SightProof> proofs;
    proofs.reserve(job.seams.size());
    using T = Taylor<Interval, 6>;
    for (std::size_t i = 0; i < job.seams.size(); ++i) {
        auto const& seam = job.seams[i];
        using Scheduled = std::remove_cvref_t<decltype(seam)>;
        proofs.push_back(detail::SightProver<AnyJob, Scheduled>(job, seam, around, options).prove());
        if (!around.guarded || i == 0 || !(job.seams[i - 1].end() < seam.start))
            continue;
        auto const ranges = job.chain.head.ranges();
        auto const all = [](Range const& r) { return Interval(r.low, r.high); };
        auto const& chain = job.chain;
        proofs.back().before = guarded_between_seams(
            *around.guarded, chain.head,
            Command<Interval>{all(ranges.x_mirror), all(ranges.y_mirror), all(ranges.focus)},
            job.seams[i - 1].end(), seam.start,
            [&](double t) { return value_of(chain.cell_from_flange.at(t)) * chain.flange_from_head; },
            [&](Interval const& t) {
                auto const pose = number_cast<T>(chain.cell_from_flange.at(T(t)));
                return detail::values_of_pose(pose) * number_cast<Interval>(chain.flange_from_head);
            });
    }
    auto const breaks = job.chain.breaks();
    for (std::size_t i = 1; i < proofs.size(); ++i) {
        auto& before = proofs[i].before;
        if (before && before->verdict == Verdict::within &&
            !detail::has_data_throughout(job.chain, breaks, {job.seams[i - 1].end(), job.seams[i].start}))
            before->verdict = Verdict::undecided;
    }
    return proofs;
}

} // namespace seamhold

#endif
