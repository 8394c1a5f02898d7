#ifndef SEAMHOLD_CURVE_AXIS_MOVE_HPP
#define SEAMHOLD_CURVE_AXIS_MOVE_HPP

#include "seamhold/curve/spline.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/lift.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

namespace seamhold {

/// Where an axis is and how it moves, in m (or rad, or 1), and that per s and s².
struct AxisState {
    double position;
    double velocity;
    double acceleration;
};

/// The largest rates of a move, in m (or rad, or 1) per s, s², s³, and the span of its positions.
struct AxisExtremes {
    double velocity;     ///< largest |velocity|
    double acceleration; ///< largest |acceleration|
    double jerk;         ///< largest |jerk|
    double lowest;       ///< position
    double highest;      ///< position
};

/// A move of one axis: a row of cubics in time, C² from the first state to the last (jerk jumps). It stands
/// in itself and allocates nothing. Made by `axis_move`.
class AxisMove {
public:
    /// The most pieces a move has: two runs of seven, cut at each other's ends.
    static constexpr std::size_t most_pieces = 14;

    /// A move that starts at the time `begin`, s, in a state, and is to last `duration` s.
    AxisMove(double begin, double duration, AxisState const& from)
        : begin_(begin), duration_(duration), state_(from) {
        pieces_[0] = {0, {{from.position}, {from.velocity}, {from.acceleration / 2}, {0}}};
    }

    /// Adds a stretch of constant jerk of `length` s; nothing where it has none. At most `most_pieces` of
    /// them; together they last the duration, but for rounding.
    void go_on(double length, double jerk) {
        if (!(length > 0))
            return;
        pieces_[count_] = {reached_,
                           {{state_.position}, {state_.velocity}, {state_.acceleration / 2}, {jerk / 6}}};
        ++count_;
        reached_ += length;
        state_.position +=
            length * (state_.velocity + length * (state_.acceleration / 2 + length * jerk / 6));
        state_.velocity += length * (state_.acceleration + length * jerk / 2);
        state_.acceleration += length * jerk;
    }

    /// How long it lasts, s.
    double duration() const { return duration_; }

    /// When it begins, s.
    double begin() const { return begin_; }

    /// The position at time t, s, with t's derivatives. Before the begin the first cubic runs on, after the
    /// end the last one. Intervals: what any piece gives that the interval reaches into, by more than a
    /// picosecond, as `Knots::with_piece`.
    template <class T> T at(T const& t) const {
        T const local = t - detail::factor<T>(begin_);
        if constexpr (detail::is_of_intervals<T>) {
            Interval const all = detail::values_of(local);
            double const slack = 1e-12 + 4e-15 * (std::abs(begin_) + duration_);
            std::size_t const first = locate(all.low + std::min(slack, (all.high - all.low) / 2));
            std::size_t const last = std::max(first, locate(all.high - slack));
            using detail::either;
            T r = pieces_[first].at(local)[0];
            for (std::size_t i = first + 1; i <= last; ++i)
                r = either(r, T(pieces_[i].at(local)[0]));
            return r;
        } else {
            return pieces_[locate(value_of(local))].at(local)[0];
        }
    }

    /// Where the jerk may jump, s, increasing: from the begin to the end.
    std::vector<double> breaks() const {
        std::vector<double> times{begin_};
        for (std::size_t i = 1; i < count_; ++i)
            times.push_back(begin_ + pieces_[i].start);
        if (duration_ > 0)
            times.push_back(begin_ + duration_);
        return times;
    }

    /// The first of the breaks after time t, s; +∞ where there is none. Does not allocate.
    double next_break(double t) const {
        double const local = t - begin_;
        if (local < 0)
            return begin_;
        std::size_t const next = locate(local) + 1;
        if (next < count_)
            return begin_ + pieces_[next].start;
        return local < duration_ ? begin_ + duration_ : std::numeric_limits<double>::infinity();
    }

    /// The state at the end, in which the cubics arrive.
    AxisState end_state() const { return state_; }

    /// The extremes over the whole move, from the roots of the cubics' derivatives.
    AxisExtremes extremes() const {
        AxisExtremes e{0, 0, 0, state_.position, state_.position};
        for (std::size_t i = 0; i < std::max<std::size_t>(count_, 1); ++i) {
            auto const& c = pieces_[i].coefficient;
            double const length = (i + 1 < count_ ? pieces_[i + 1].start : reached_) - pieces_[i].start;
            double const velocity = c[1][0], acceleration = 2 * c[2][0], jerk = 6 * c[3][0];
            auto const look = [&](double t) {
                if (!(t >= 0 && t <= length))
                    return;
                double const position = ((c[3][0] * t + c[2][0]) * t + c[1][0]) * t + c[0][0];
                e.lowest = std::min(e.lowest, position);
                e.highest = std::max(e.highest, position);
                e.velocity = std::max(e.velocity, std::abs(velocity + t * (acceleration + t * jerk / 2)));
                e.acceleration = std::max(e.acceleration, std::abs(acceleration + t * jerk));
            };
            look(0);
            look(length);
            look(-acceleration / jerk); // NaN or infinite where there is no jerk: then not inside
            // Positions turn where velocity + acceleration t + jerk t²/2 = 0.
            double const root = std::sqrt(acceleration * acceleration - 2 * jerk * velocity);
            double const sum = -(acceleration + std::copysign(root, acceleration));
            look(sum / jerk);
            look(2 * velocity / sum);
            e.jerk = std::max(e.jerk, std::abs(jerk));
        }
        return e;
    }

private:
    std::size_t locate(double local) const {
        std::size_t i = 0;
        while (i + 1 < count_ && pieces_[i + 1].start <= local)
            ++i;
        return i;
    }

    double begin_;
    double duration_;
    double reached_ = 0; ///< s after the begin, with the pieces so far
    AxisState state_;    ///< there
    std::size_t count_ = 0;
    std::array<CubicPiece<1>, most_pieces> pieces_;
};

} // namespace seamhold

#endif
