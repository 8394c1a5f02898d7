#ifndef SEAMHOLD_SEAM_ROUNDED_CORNERS_HPP
#define SEAMHOLD_SEAM_ROUNDED_CORNERS_HPP

#include "seamhold/seam/drawn_shape.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string>
#include <vector>

namespace seamhold::detail {

/// Throws BadInput unless a dimension, m, is above 0 and finite.
inline void check_dimension(char const* shape, char const* name, double value) {
    if (!(value > 0) || !is_finite(value))
        throw BadInput(std::string(shape) + ": its " + name + " must be above 0; given was " +
                       text_of(value * 1e3) + " mm");
}

/// Throws BadInput unless a dimension, m, lies in low … high; the last bits do not count.
inline void check_range(char const* shape, char const* name, double value, double low, double high) {
    double const slack = 1e-12 * std::max(std::abs(low), std::abs(high));
    if (!(value >= low - slack && value <= high + slack) || !is_finite(value))
        throw BadInput(std::string(shape) + ": its " + name + " must be " + text_of(low * 1e3) + " to " +
                       text_of(high * 1e3) + " mm; given was " + text_of(value * 1e3) + " mm");
}

/// Straight pieces through corners, each rounded to an arc.
class RoundedCorners {
public:
    RoundedCorners(char const* shape, std::span<FacePoint const> points, double radius, bool closed)
        : shape_(shape), points_(points), radius_(radius), closed_(closed), cut_back_(points.size(), 0.0) {
        std::size_t const least = closed ? 3 : 2;
        if (points.size() < least)
            throw BadInput(std::string(shape) + " needs " + std::to_string(least) +
                           " points or more; given were " + std::to_string(points.size()));
        if (!(radius >= 0) || !is_finite(radius))
            throw BadInput(std::string(shape) + ": its corner radius must be 0 or above; given was " +
                           text_of(radius * 1e3) + " mm");
        for (std::size_t i = 0; i < legs(); ++i) {
            auto const a = points_[i], b = next(i);
            double const length = std::hypot(b.x - a.x, b.y - a.y);
            if (!(length > 0) || !is_finite(length))
                throw BadInput(std::string(shape) + ": points " + std::to_string(i) + " and " +
                               std::to_string((i + 1) % points.size()) + " at " + text_of_mm({a.x, a.y}) +
                               (is_finite(length) ? " are one place" : " are not finite"));
            leg_.push_back({(b.x - a.x) / length, (b.y - a.y) / length, length});
        }
        if (radius > 0)
            check_corners();
    }

    /// The pieces; a closed one starts and ends in the middle of what is straight of its first leg.
    std::vector<DrawnShape::Piece> pieces() const {
        std::vector<DrawnShape::Piece> made;
        double const middle = (cut_back_[0] + leg_[0].length - cut_back_[1]) / 2;
        for (std::size_t i = 0; i < legs(); ++i) {
            bool const first = closed_ && i == 0;
            double const from = first ? middle : cut_back_[i];
            add_straight(made, i, from, leg_[i].length - cut_back_[(i + 1) % points_.size()]);
            if (closed_ || i + 1 < legs())
                add_arc(made, (i + 1) % points_.size());
        }
        if (closed_)
            add_straight(made, 0, cut_back_[0], middle);
        return made;
    }

private:
    struct Leg {
        double x, y, length;
    };

    std::size_t legs() const { return closed_ ? points_.size() : points_.size() - 1; }
    FacePoint next(std::size_t i) const { return points_[(i + 1) % points_.size()]; }
    Leg const& leg_before(std::size_t corner) const { return leg_[(corner + legs() - 1) % legs()]; }

    double turn(std::size_t corner) const {
        auto const& a = leg_before(corner);
        auto const& b = leg_[corner];
        return std::atan2(a.x * b.y - a.y * b.x, a.x * b.x + a.y * b.y);
    }
    bool is_corner(std::size_t i) const { return closed_ || (i > 0 && i + 1 < points_.size()); }

    /// What a corner takes from each leg for a radius of 1.
    double share(std::size_t i) const { return is_corner(i) ? std::abs(std::tan(turn(i) / 2)) : 0; }

    void check_corners() {
        for (std::size_t i = 0; i < points_.size(); ++i)
            cut_back_[i] = radius_ * share(i);
        for (std::size_t i = 0; i < points_.size(); ++i) {
            if (!is_corner(i))
                continue;
            double allowed = std::numeric_limits<double>::infinity();
            for (std::size_t const leg : {(i + legs() - 1) % legs(), i}) {
                std::size_t const other = leg == i ? (i + 1) % points_.size() : leg;
                double const shares = share(i) + share(other);
                if (shares > 0)
                    allowed = std::min(allowed, leg_[leg].length / shares);
            }
            if (share(i) > 0 && radius_ > allowed * (1 + 1e-12))
                throw BadInput(std::string(shape_) + ": corner " + std::to_string(i) + " at " +
                               text_of_mm({points_[i].x, points_[i].y}) + " cannot be rounded to " +
                               text_of(radius_ * 1e3) + " mm: its legs allow " +
                               text_of(std::floor(allowed * 1e9 * (1 + 1e-9)) / 1e6) + " mm at most");
        }
    }

    void add_straight(std::vector<DrawnShape::Piece>& made, std::size_t i, double from, double to) const {
        if (to - from > 1e-9 * leg_[i].length) // arcs that meet leave nothing between them
            made.emplace_back(Straight<>{points_[i].x + from * leg_[i].x, points_[i].y + from * leg_[i].y,
                                         leg_[i].x, leg_[i].y, to - from});
    }

    void add_arc(std::vector<DrawnShape::Piece>& made, std::size_t corner) const {
        if (!(cut_back_[corner] > 1e-9 * leg_[corner].length))
            return;
        double const angle = turn(corner), side = angle > 0 ? 1 : -1;
        auto const& a = leg_before(corner);
        auto const& p = points_[corner];
        made.emplace_back(Arc<>{p.x - cut_back_[corner] * a.x - side * radius_ * a.y,
                                p.y - cut_back_[corner] * a.y + side * radius_ * a.x, radius_,
                                std::atan2(-side * a.x, side * a.y), angle});
    }

    char const* shape_;
    std::span<FacePoint const> points_;
    double radius_;
    bool closed_;
    std::vector<double> cut_back_; ///< what a corner takes from both its legs, m
    std::vector<Leg> leg_;         ///< from point i to the next
};

} // namespace seamhold::detail

#endif
