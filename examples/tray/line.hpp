// How far a spot is from the line of a seam.
#ifndef TRAY_LINE_HPP
#define TRAY_LINE_HPP

#include "drawing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace tray {

/// The drawn line of a seam, weave included, for finding its point nearest to a spot.
class Line {
public:
    explicit Line(Seam const& seam) : seam_(seam), end_(end_of(seam)) {
        auto const pieces = static_cast<std::size_t>(std::ceil((end_ - seam.start_s) / step));
        for (std::size_t i = 0; i <= pieces; ++i)
            points_.push_back(drawn_point(seam, time_of(i)));
    }
    /// Distance to the nearest point not far (12 ms) from where the drawing wants the spot at `time`. The
    /// points in the table are scanned first, since a woven line comes near more than once; then the best
    /// one's surroundings are narrowed by the golden section to 10 ns, which is 3 nm along the seam and far
    /// less in distance.
    double distance(double time, Vector spot) const {
        double constexpr search = 0.012;
        double const since = time - seam_.start_s;
        std::size_t const last = points_.size() - 1;
        std::size_t const from = static_cast<std::size_t>(std::max(0.0, since - search) / step);
        std::size_t const to = std::min(last, static_cast<std::size_t>((since + search) / step));
        std::size_t best = from;
        double nearest = std::numeric_limits<double>::infinity();
        for (std::size_t i = from; i <= to; ++i) {
            Vector const apart = spot - points_[i];
            double const square = dot(apart, apart);
            if (square < nearest) {
                nearest = square;
                best = i;
            }
        }
        return narrowed(time_of(best == 0 ? 0 : best - 1), time_of(std::min(best + 1, last)), spot);
    }

private:
    static constexpr double step = 5e-5; // s: 13 um of seam, a sixty-sixth of a weave

    double time_of(std::size_t i) const {
        return std::min(seam_.start_s + step * static_cast<double>(i), end_);
    }

    double narrowed(double from, double to, Vector spot) const {
        auto const distance_at = [&](double u) { return length(spot - drawn_point(seam_, u)); };
        double constexpr golden = 0.6180339887498949;
        double left = to - golden * (to - from);
        double right = from + golden * (to - from);
        double at_left = distance_at(left);
        double at_right = distance_at(right);
        while (to - from > 1e-8) {
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
        return std::min({at_left, at_right, distance_at(from), distance_at(to)});
    }

    Seam const& seam_;
    double end_;
    std::vector<Vector> points_;
};

} // namespace tray

#endif
