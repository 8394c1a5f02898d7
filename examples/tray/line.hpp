// How far a spot is from the line of a seam.
#ifndef TRAY_LINE_HPP
#define TRAY_LINE_HPP

#include "drawing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace tray {

/// The drawn line of a seam for finding its point nearest to a spot: weave included where the drawing knows
/// the speed, by time; else by the way along it.
class Line {
public:
    Line(Drawing const& drawing, Seam const& seam) : drawing_(drawing), seam_(seam) {
        end_ = seam.speed ? duration_of(seam) : seam.track.length();
        step_ = seam.speed ? 5e-5 : 5e-5 * 16 / 60; // s or m: 13 um of seam, a sixty-sixth of a fast weave
        auto const steps = static_cast<std::size_t>(std::ceil(end_ / step_));
        for (std::size_t i = 0; i <= steps; ++i)
            points_.push_back(point(place(i)));
    }

    /// A point of the line, its distance, and where it is: seconds after the seam's start or metres along it.
    struct Nearest {
        double distance, where;
    };

    /// The nearest point to a spot: where the speed is known, not far (12 ms) from where the drawing wants
    /// the spot `since` the start of the seam. A line may come near more than once, a woven one in every
    /// swing: each dip of the distance in a table of points is narrowed by the golden section.
    Nearest nearest(double since, Vector spot) const {
        double constexpr search = 0.012;
        std::size_t const last = points_.size() - 1;
        std::size_t from = 0;
        std::size_t to = last;
        if (seam_.speed) {
            from = std::min(last, static_cast<std::size_t>(std::max(0.0, since - search) / step_));
            to = std::min(last, static_cast<std::size_t>((since + search) / step_));
        }
        std::vector<double> apart;
        for (std::size_t i = from; i <= to; ++i)
            apart.push_back(length(spot - points_[i]));
        Nearest best{std::numeric_limits<double>::infinity(), 0};
        for (std::size_t i = from; i <= to; ++i) {
            std::size_t const k = i - from;
            bool const dip = (i == from || apart[k] <= apart[k - 1]) && (i == to || apart[k] <= apart[k + 1]);
            // Beside a dip of the table the line may come nearer by the distance of its neighbours.
            std::size_t const before = i == 0 ? 0 : i - 1;
            std::size_t const after = std::min(i + 1, last);
            if (!dip || apart[k] - length(points_[after] - points_[before]) > best.distance)
                continue;
            Nearest const found = narrowed(place(before), place(after), spot);
            if (found.distance < best.distance)
                best = found;
        }
        return best;
    }

private:
    double place(std::size_t i) const { return std::min(step_ * static_cast<double>(i), end_); }
    Vector point(double where) const {
        return seam_.speed ? drawn_point(drawing_, seam_, seam_.start_s + where)
                           : line_point(drawing_, seam_, where);
    }

    Nearest narrowed(double from, double to, Vector spot) const {
        auto const distance_at = [&](double u) { return length(spot - point(u)); };
        double constexpr golden = 0.6180339887498949;
        double const tolerance = 2e-6 * step_; // 0.1 ns or 0.03 nm
        double left = to - golden * (to - from);
        double right = from + golden * (to - from);
        double at_left = distance_at(left);
        double at_right = distance_at(right);
        while (to - from > tolerance) {
            if (at_left < at_right) {
                to = right;
                right = left;
                at_right = at_left;
                left = to - golden * (to - from);
                at_left = distance_at(left);
            } else {
                from = left;
                left = right;
                at_left = at_right;
                right = from + golden * (to - from);
                at_right = distance_at(right);
            }
        }
        Nearest best{at_left, left};
        for (double const u : {right, from, to}) {
            double const distance = distance_at(u);
            if (distance < best.distance)
                best = {distance, u};
        }
        return best;
    }

    Drawing const& drawing_;
    Seam const& seam_;
    double end_, step_;
    std::vector<Vector> points_;
};

} // namespace tray

#endif
