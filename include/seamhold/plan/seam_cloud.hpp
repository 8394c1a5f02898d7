#ifndef SEAMHOLD_PLAN_SEAM_CLOUD_HPP
#define SEAMHOLD_PLAN_SEAM_CLOUD_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/plan/still_reach.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <variant>
#include <vector>

/// All the seams of a job as one cloud of places and normals, and how a head is held over it.
namespace seamhold {

/// How a head is held over a place of the cloud. The beam that is not deflected meets that place; lengths in
/// m, angles in rad.
struct HeadStance {
    double standoff = 0;    ///< from the place to the head's origin; 0: the head's working distance
    double tilt_along = 0;  ///< of the head towards the main direction, kept on all passes
    double tilt_across = 0; ///< of the head towards the direction across it
    double yaw = 0;         ///< of the head's x axis from the main direction, about its z axis
    double largest_lean = degrees(30); ///< of the smoothed normal from the cloud's mean normal
    double smoothing = 0.1;            ///< of heights and normals: the deviation of the bell that weighs them
};

/// A place of the cloud, smoothed, in the part frame.
struct CloudPlace {
    Point<Part> point;      ///< m
    Direction<Part> normal; ///< unit, leans at most `largest_lean` from the cloud's
};

/// The cloud of a job's seams in a frame of its own: `along` its main direction, `across` it, and its mean
/// normal. Coordinates along and across are from the cloud's mean place, m. Seams count by their length.
class SeamCloud {
public:
    /// Of a job's seams; their start times do not matter. `direction`: the main direction, in the part frame;
    /// without it that in which the cloud spreads most, so that it has no negative largest component. Throws
    /// BadInput for a job without seams, normals that cancel out, a direction along the mean normal, and a
    /// part that moves.
    explicit SeamCloud(Job const& job, std::optional<Direction<Part>> const& direction = {}) {
        if (job.seams.empty())
            throw BadInput("a job without seams has no cloud of seams to hold a head over");
        if (!std::holds_alternative<Rest<Cell, Part>>(job.chain.cell_from_part.choice()))
            throw BadInput("a head can be placed over a part that rests; this job's part moves");
        cell_from_part_ = job.chain.cell_from_part.at(0.0);
        head_from_flange_ = inverse(job.chain.flange_from_head);
        working_distance_ = job.chain.head.working_distance();
        gather(job);
        find_frame(direction);
    }

    /// The main direction, unit vector.
    Direction<Part> const& along() const { return along_; }

    /// Across it, unit vector: normal × along.
    Direction<Part> const& across() const { return across_; }

    /// The mean normal, unit vector.
    Direction<Part> const& normal() const { return normal_; }

    /// From where to where the cloud goes in the main direction, m.
    Range const& range_along() const { return range_along_; }

    /// From where to where it goes across, m.
    Range const& range_across() const { return range_across_; }

    /// The coordinates of a place: along, across and above the mean place, m.
    Direction<Part> coordinates(Point<Part> const& p) const {
        auto const d = p - middle_;
        return {dot(d, along_), dot(d, across_), dot(d, normal_)};
    }

    /// The place of the cloud at these coordinates: heights and normals of the seams about it are weighed by
    /// a bell, smooth in the coordinates. Far outside it is as at the nearest seam.
    CloudPlace place(double a, double c, HeadStance const& stance = {}) const {
        double height = 0;
        Direction<Part> sum{0, 0, 0};
        if (flat_) {
            sum = {0, 0, 1};
        } else {
            double nearest = no_limit, weights = 0;
            for (auto const& s : spots_)
                nearest = std::min(nearest, sqr(s.at.x - a) + sqr(s.at.y - c));
            for (auto const& s : spots_) {
                double const d = sqr(s.at.x - a) + sqr(s.at.y - c) - nearest;
                double const w = s.weight * std::exp(-d / (2 * sqr(stance.smoothing)));
                height += w * s.at.z;
                sum = sum + w * s.normal;
                weights += w;
            }
            height /= weights;
        }
        auto const leaning = leaned(sum, stance.largest_lean);
        return {middle_ + a * along_ + c * across_ + height * normal_,
                leaning.x * along_ + leaning.y * across_ + leaning.z * normal_};
    }

    /// Where the flange is with the head held over the place at these coordinates.
    Pose<Cell, Flange> flange_over(double a, double c, HeadStance const& stance) const {
        auto const at = place(a, c, stance);
        // Up from the place, leaned by the tilts; x as near to the main direction as that leaves it.
        auto const ahead = unit(along_ - dot(along_, at.normal) * at.normal);
        auto const aside = cross(at.normal, ahead);
        auto const up =
            unit(at.normal + std::tan(stance.tilt_along) * ahead + std::tan(stance.tilt_across) * aside);
        auto const x0 = unit(along_ - dot(along_, up) * up);
        auto const z = -up;
        auto const turned = sin_cos(stance.yaw);
        auto const x = turned.cos * x0 + turned.sin * cross(z, x0);
        auto const y = cross(z, x);
        double const standoff = stance.standoff > 0 ? stance.standoff : working_distance_;
        Pose<Part, Head> const part_from_head{{{{x.x, y.x, z.x}, {x.y, y.y, z.y}, {x.z, y.z, z.z}}},
                                              at.point + standoff * up};
        return cell_from_part_ * part_from_head * head_from_flange_;
    }

    /// Where the part rests.
    Pose<Cell, Part> const& cell_from_part() const { return cell_from_part_; }

    /// Throws BadInput, naming the number, unless a head can be held so.
    static void check(HeadStance const& stance) {
        auto const within = [](char const* what, double given, double low, double high) {
            if (!(given >= low && given <= high))
                throw BadInput("a head's " + std::string(what) + " over the seams of " +
                               detail::text_of(given) + " is not possible: it must be from " +
                               detail::text_of(low) + " to " + detail::text_of(high));
        };
        within("standoff, m,", stance.standoff, 0, 100);
        within("tilt along, rad,", stance.tilt_along, -1.2, 1.2);
        within("tilt across, rad,", stance.tilt_across, -1.2, 1.2);
        within("yaw, rad,", stance.yaw, -7, 7);
        within("largest lean, rad,", stance.largest_lean, 0, 1.2);
        within("smoothing, m,", stance.smoothing, 1e-6, 100);
    }

private:
    struct Spot {
        Direction<Part> at;     ///< along, across, above, m
        Direction<Part> normal; ///< by the cloud's axes
        double weight;
    };

    void gather(Job const& job) {
        constexpr int places = 5;
        double weights = 0;
        Direction<Part> sum{0, 0, 0};
        Direction<Part> mean{0, 0, 0};
        for (auto const& s : job.seams)
            for (int k = 0; k < places; ++k) {
                auto const p = value_of_place(s.seam, s.seam.duration() * k / (places - 1));
                double const weight = std::max(s.seam.length(), 1e-3);
                spots_.push_back({{p.point.x, p.point.y, p.point.z}, p.normal, weight});
                sum = sum + weight * p.normal;
                mean = mean + weight * spots_.back().at;
                weights += weight;
            }
        if (!(norm(sum) > 0.05 * weights))
            throw BadInput("the normals of the seams cancel each other out: no head sees them from one side");
        normal_ = unit(sum);
        mean = 1 / weights * mean;
        middle_ = {mean.x, mean.y, mean.z};
    }

    static CloudPlace value_of_place(AnySeam const& seam, double time) {
        auto const p = seam.at(time);
        return {p.position, p.normal};
    }

    void find_frame(std::optional<Direction<Part>> const& direction) {
        // Any two axes across the normal, then the main axis of the spread in them.
        Direction<Part> const helper =
            std::abs(normal_.x) < 0.9 ? Direction<Part>{1, 0, 0} : Direction<Part>{0, 1, 0};
        auto const first = unit(helper - dot(helper, normal_) * normal_);
        auto const second = cross(normal_, first);
        if (direction) {
            auto const flat = *direction - dot(*direction, normal_) * normal_;
            if (!(norm(flat) > 1e-3 * norm(*direction)))
                throw BadInput("the main direction stands square on the seams: it must run along them");
            along_ = unit(flat);
        } else {
            double xx = 0, xy = 0, yy = 0;
            for (auto const& s : spots_) {
                Direction<Part> const d = s.at - Direction<Part>{middle_.x, middle_.y, middle_.z};
                double const x = dot(d, first), y = dot(d, second);
                xx += s.weight * x * x;
                xy += s.weight * x * y;
                yy += s.weight * y * y;
            }
            auto const turn = sin_cos(std::atan2(2 * xy, xx - yy) / 2);
            along_ = turn.cos * first + turn.sin * second;
            double const parts[3] = {along_.x, along_.y, along_.z};
            double const largest = *std::max_element(
                parts, parts + 3, [](double a, double b) { return std::abs(a) < std::abs(b); });
            if (largest < 0)
                along_ = -along_;
        }
        across_ = cross(normal_, along_);
        range_along_ = range_across_ = {no_limit, -no_limit};
        flat_ = true;
        auto const widen = [](Range& r, double x) {
            r.low = std::min(r.low, x);
            r.high = std::max(r.high, x);
        };
        for (auto& s : spots_) {
            s.at = coordinates(Point<Part>{s.at.x, s.at.y, s.at.z});
            s.normal = {dot(s.normal, along_), dot(s.normal, across_), dot(s.normal, normal_)};
            widen(range_along_, s.at.x);
            widen(range_across_, s.at.y);
            flat_ = flat_ && std::abs(s.at.z) < 1e-9 && s.normal.z > 1 - 1e-15;
        }
    }

    /// A vector by the cloud's axes as a unit vector that leans from (0, 0, 1) by at most `most`: smoothly,
    /// so that half of it is kept to some 1 %.
    static Direction<Part> leaned(Direction<Part> const& v, double most) {
        double const side = std::hypot(v.x, v.y);
        double const angle = std::atan2(side, v.z);
        if (!(side > 0) || !(most > 0))
            return {0, 0, 1};
        double const share = angle / most;
        double const kept = angle / std::sqrt(std::sqrt(1 + sqr(sqr(share))));
        auto const turn = sin_cos(kept);
        return {turn.sin * v.x / side, turn.sin * v.y / side, turn.cos};
    }

    Pose<Cell, Part> cell_from_part_{};
    Pose<Head, Flange> head_from_flange_{};
    double working_distance_ = 0;
    std::vector<Spot> spots_;
    Point<Part> middle_{};
    Direction<Part> along_{}, across_{}, normal_{};
    Range range_along_{}, range_across_{};
    bool flat_ = false;
};

} // namespace seamhold

#endif
