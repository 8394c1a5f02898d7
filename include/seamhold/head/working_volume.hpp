#ifndef SEAMHOLD_HEAD_WORKING_VOLUME_HPP
#define SEAMHOLD_HEAD_WORKING_VOLUME_HPP

#include "seamhold/head/scan_head.hpp"
#include "seamhold/number/bad_input.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <utility>

namespace seamhold {

/// What is asked of a head beside its own limits, for a volume to count as reached.
struct ReachLimits {
    double margin = 0; ///< share of every axis's range, of the field and of the apertures that must stay
                       ///< free, 0 to 1
    double largest_angle = std::numbers::pi / 2; ///< of the beam to the head's z axis, rad: what an upright
                                                 ///< face sees as incidence
};

/// The part of space in which a head can put its focused spot, at given limits. It is asked, not stored: a
/// point costs one aim. For a picture draw the contour 0 of `share`. Keeps a copy of the head.
template <ScanHead HeadModel> class WorkingVolume {
public:
    /// Of a head at limits. Throws BadInput, naming the field, for a margin outside 0 to 1, a largest angle
    /// that is not above 0, and a head that does not reach the middle of its own field.
    explicit WorkingVolume(HeadModel head, ReachLimits const& limits = {})
        : head_(std::move(head)), limits_(limits) {
        if (!(limits.margin >= 0 && limits.margin < 1))
            throw BadInput("a working volume's margin of " + std::to_string(limits.margin) +
                           " is not possible: it must be from 0 to below 1");
        if (!(limits.largest_angle > 0))
            throw BadInput("a working volume's largest angle of " + std::to_string(limits.largest_angle) +
                           " rad is not possible: it must be above 0");
        // The focus of the undeflected beam, in the middle of all ranges.
        auto const r = head_.ranges();
        auto const middle = [](Range const& range) { return (range.low + range.high) / 2; };
        auto const beam = head_.ray(Command<>{middle(r.x_mirror), middle(r.y_mirror), middle(r.focus)});
        axis_ = {beam.origin, beam.direction};
        middle_ = beam.origin + (beam.focus_path - beam.path) * beam.direction;
        if (!contains(middle_))
            throw BadInput("a head does not reach the middle of its own ranges at these limits: " +
                           std::string(to_string(status_of(head_.aim(middle_)))));
    }

    /// How much of the tightest limit is left at p, as a share less the margin: 0 on the edge of the volume,
    /// negative outside, −1 or less where the head has no answer.
    double share(Point<Head> const& p) const {
        auto const aim = head_.aim(p);
        auto const& c = aim.clearance;
        if (status_of(aim) > Status::out_of_reach)
            return -1;
        auto const r = head_.ranges();
        auto const part = [](double clearance, Range const& range) {
            return clearance / ((range.high - range.low) / 2);
        };
        double const angle = std::acos(std::clamp(head_.ray(aim.command).direction.z, -1.0, 1.0));
        return std::min({part(c.x_mirror, r.x_mirror), part(c.y_mirror, r.y_mirror), part(c.focus, r.focus),
                         c.field, c.aperture, 1 - angle / limits_.largest_angle}) -
               limits_.margin;
    }

    /// Whether p belongs to the volume; a last bit outside still does.
    bool contains(Point<Head> const& p) const { return share(p) >= -1e-12; }

    /// The focus of the beam with all axes in the middle of their ranges, head frame, m.
    Point<Head> const& middle() const { return middle_; }

    /// How far the volume reaches from a point inside along a unit vector, m, right to a micrometre; 0 from a
    /// point outside. A gap on the way that is shorter than a sixty-fourth of the middle's height may be
    /// passed over.
    double reach(Point<Head> const& from, Direction<Head> const& direction) const {
        auto const inside = [&](double way) { return contains(from + way * direction); };
        if (!inside(0))
            return 0;
        double const step = std::abs(middle_.z) / 64;
        double low = 0;
        double high = step;
        while (inside(high) && high < farthest) {
            low = high;
            high += step;
        }
        while (high - low > 1e-6) {
            double const half = (low + high) / 2;
            (inside(half) ? low : high) = half;
        }
        return low;
    }

    /// The heights z, m, between which the volume lies along the undeflected beam.
    Range heights() const {
        auto const& d = axis_.direction;
        return {middle_.z - reach(middle_, -d) * d.z, middle_.z + reach(middle_, d) * d.z};
    }

private:
    static constexpr double farthest = 100; ///< m; no head reaches that far
    struct OpenAxis {
        Point<Head> origin;
        Direction<Head> direction;
    };

    HeadModel head_;
    ReachLimits limits_;
    OpenAxis axis_{};
    Point<Head> middle_{};
};

} // namespace seamhold

#endif
