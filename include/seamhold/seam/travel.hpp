#ifndef SEAMHOLD_SEAM_TRAVEL_HPP
#define SEAMHOLD_SEAM_TRAVEL_HPP

#include "seamhold/curve/knots.hpp"
#include "seamhold/curve/spline.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <cstddef>
#include <memory>
#include <utility>
#include <vector>

namespace seamhold {

/// The way along a path by the time since the seam's start: at one speed, or by a profile of cubics that a
/// speed law made. Not clipped: before the start and after the end the way runs on at the speed it has there.
template <class S = double> class Travel {
public:
    /// At one speed, m/s, for a time, s; 0 for a point that is held.
    Travel(S const& speed, double duration) : speed_(speed), duration_(duration) {}

    /// By cubics of the arc length, m, over the time, s, the first of which runs before 0 and the last after
    /// `duration`; `speed` is the speed asked for. See `travel_by`.
    Travel(double speed, double duration, std::vector<CubicPiece<1>> pieces) requires BuiltIn<S>
        : speed_(speed), duration_(duration) {
        std::vector<double> starts;
        starts.reserve(pieces.size() + 1);
        for (auto const& piece : pieces)
            starts.push_back(piece.start);
        starts.push_back(std::max(duration, starts.back()) + duration);
        profile_ = std::make_shared<Profile const>(Profile{Knots(std::move(starts)), std::move(pieces)});
    }

    /// The duration, s.
    double duration() const { return duration_; }

    /// The speed asked for, m/s; it is not passed.
    S const& speed() const { return speed_; }

    /// Whether it is that speed throughout.
    bool is_constant() const { return profile_ == nullptr; }

    /// The arc length `time` s after the start, m.
    template <class T> [[gnu::always_inline]] Common<S, T> arc_length(T const& time) const {
        if constexpr (BuiltIn<S>)
            if (profile_ != nullptr)
                return profile_->starts.with_piece(
                    time, [&](std::size_t i) __attribute__((always_inline)) {
                        return number_cast<Common<S, T>>(profile_->pieces[i].at(time)[0]);
                    });
        return time * operand<T>(speed_);
    }

    /// The speed along the path `time` s after the start, m/s.
    double feed(double time) const {
        if (profile_ == nullptr)
            return value_of(speed_);
        return piece_at(time).at(Taylor<double, 1>::variable(time))[0].derivative(1);
    }

    /// Where a derivative by time may jump, s, increasing, between start and end.
    std::vector<double> breaks() const {
        std::vector<double> times;
        if (profile_ != nullptr)
            for (auto const& piece : profile_->pieces)
                if (piece.start > 0 && piece.start < duration_)
                    times.push_back(piece.start);
        return times;
    }

    /// The time at which the arc length s, m, is reached, s: to rounding of the duration. Nothing but 0 or
    /// the duration outside the path, and for a held point 0.
    double time_at(double s) const {
        double low = 0;
        double high = duration_;
        if (!(s > arc_length(0.0)))
            return 0;
        if (!(value_of(arc_length(high)) > s))
            return high;
        if (profile_ == nullptr)
            return s / value_of(speed_);
        while (true) { // the way never turns back
            double const middle = low + (high - low) / 2;
            if (!(middle > low && middle < high))
                return high;
            (value_of(arc_length(middle)) < s ? low : high) = middle;
        }
    }

private:
    struct Profile {
        Knots starts;
        std::vector<CubicPiece<1>> pieces;
    };

    CubicPiece<1> const& piece_at(double time) const {
        return profile_->pieces[profile_->starts.locate(time)];
    }

    S speed_;
    double duration_;
    std::shared_ptr<Profile const> profile_;
};

} // namespace seamhold

#endif
