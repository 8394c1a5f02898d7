#ifndef SEAMHOLD_MOTION_TIME_LAW_HPP
#define SEAMHOLD_MOTION_TIME_LAW_HPP

#include "seamhold/curve/open_knots.hpp"
#include "seamhold/curve/spline.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/lift.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// How a motion is run through: its own time u (s of the motion as it was made) at the time t of the clock
/// (s). The speed u′ is a number: 1 is as it was made, 2 twice as fast; it is never below 0. Piecewise cubic
/// and C²: u″ is linear between knots. Before the first and after the last knot it runs on at its end speeds.
/// Times are best small: where |t| times the speed, or |u|, is above some 1000 s, the last bit of a time is
/// more than the picosecond to which proofs know breaks; they stay true, but may remain undecided there.
class TimeLaw {
public:
    /// Continuity in time: derivatives up to this order have no jump.
    static constexpr int continuity = 2;

    /// A constant speed `factor` > 0, with u = path_time at `time`. Throws BadInput for a factor that is not
    /// above 0, or a number that is not finite.
    static TimeLaw steady(double factor, double time = 0, double path_time = 0) {
        if (!(factor > 0))
            throw BadInput("a constant speed through a motion must be above 0; given was " +
                           detail::text_of(factor));
        return TimeLaw({time, time + 1}, {0, 0}, path_time, factor);
    }

    /// From two or more increasing times, s, the accelerations u″ there, 1/s, of which the first and the last
    /// are 0, and u (s) and the speed u′ at the first time. Throws BadInput, naming the time, for a speed
    /// that falls below 0, and for what else makes no law. A speed below 0 by the last bits of the speeds is
    /// taken for 0.
    TimeLaw(std::vector<double> times, std::vector<double> const& accelerations, double path_time,
            double speed) {
        if (times.size() != accelerations.size())
            throw BadInput("a time law of " + std::to_string(times.size()) + " times has " +
                           std::to_string(accelerations.size()) + " accelerations");
        knots_ = Knots(std::move(times));
        auto const places = knots_.places();
        for (double const x : accelerations)
            if (!is_finite(x))
                throw BadInput("an acceleration of a time law is not finite");
        if (!is_finite(path_time) || !is_finite(speed) || accelerations.front() != 0 ||
            accelerations.back() != 0)
            throw BadInput("a time law must begin at a finite time and speed, and begin and end without "
                           "acceleration");
        double largest = std::abs(speed), u = path_time, v = speed, least = speed, least_at = places[0];
        std::size_t const last = places.size() - 1;
        pieces_.push_back({places[0], {{u}, {v}, {0}, {0}}});
        for (std::size_t i = 0; i < last; ++i) {
            double const h = places[i + 1] - places[i], a = accelerations[i], b = accelerations[i + 1];
            pieces_.push_back({places[i], {{u}, {v}, {a / 2}, {(b - a) / (6 * h)}}});
            auto const note = [&](double time, double value) {
                if (value < least) {
                    least = value;
                    least_at = time;
                }
            };
            if (a < 0 && b > 0) // slowest inside
                note(places[i] + h * a / (a - b), v + h * a / (a - b) * a / 2);
            u += h * (v + h * (2 * a + b) / 6);
            v += h * (a + b) / 2;
            if (!is_finite(u))
                throw BadInput("a time law's times and accelerations are too large to add up");
            note(places[i + 1], v);
            largest = std::max(largest, std::abs(v));
        }
        pieces_.push_back({places[last], {{u}, {v}, {0}, {0}}});
        double const last_bits =
            8 * std::numeric_limits<double>::epsilon() * static_cast<double>(last) * largest;
        if (least < -last_bits)
            throw BadInput("a time law runs backwards: at " + detail::text_of(least_at) + " s its speed is " +
                           detail::text_of(least) + ", it must be 0 or more");
        for (auto* const end : {&pieces_.front(), &pieces_.back()}) // a standing end stands
            end->coefficient[1][0] = std::max(end->coefficient[1][0], 0.0);
        slack_ = last_bits * (places[last] - places[0]) +
                 4 * std::numeric_limits<double>::epsilon() * (std::abs(path_time) + std::abs(u));
    }

    /// The motion's own time u at time t, with t's derivatives. Intervals get all that lies between its
    /// values at their two ends, however wide they are, because it never runs back; and the last bits.
    template <class T> T at(T const& t) const {
        T u = detail::with_open_piece(knots_, t, [&](std::size_t i) { return pieces_[i].at(t)[0]; });
        if constexpr (detail::is_of_intervals<T>) {
            Interval const values = detail::values_of(t);
            if (is_finite(values) && !(values.low == values.high)) {
                Interval const ends = hull(at(Interval(values.low)), at(Interval(values.high)));
                detail::hold_values(u, Interval(ends.low - slack_, ends.high + slack_));
            }
        }
        return u;
    }

    /// The speed u′ at time t.
    double speed(double t) const { return at(Taylor<double, 1>::variable(t)).coefficient[1]; }

    /// The acceleration u″ at time t, 1/s.
    double acceleration(double t) const { return at(Taylor<double, 2>::variable(t)).derivative(2); }

    /// The first time at which the motion's own time is u, s; ∞ or −∞ for what a law that stands still at its
    /// end never comes to. Right to the last bits of u over the speed there.
    double time_at(double u) const {
        std::size_t const last = pieces_.size() - 1;
        auto const after =
            std::lower_bound(pieces_.begin(), pieces_.end(), u,
                             [](auto const& piece, double x) { return piece.coefficient[0][0] < x; });
        auto const index = static_cast<std::size_t>(after - pieces_.begin());
        if (index == 0 || index > last) {
            auto const& end = index == 0 ? pieces_.front() : pieces_.back();
            double const way = u - end.coefficient[0][0];
            return way == 0 ? end.start : end.start + way / end.coefficient[1][0];
        }
        // u lies behind the start of piece index − 1 and not behind its end.
        auto const& piece = pieces_[index - 1];
        auto const& c = piece.coefficient;
        double low = 0, high = pieces_[index].start - piece.start;
        double const way = u - c[0][0];
        double x = high * std::min(1.0, way / (after->coefficient[0][0] - c[0][0]));
        for (int i = 0; i < 100 && low < high; ++i) {
            double const off = ((x * c[3][0] + c[2][0]) * x + c[1][0]) * x - way;
            (off < 0 ? low : high) = x;
            double const slope = (3 * x * c[3][0] + 2 * c[2][0]) * x + c[1][0];
            double next = x - off / slope;
            if (!(next > low && next < high) || i % 8 == 7) // a bisection now and then bounds the steps
                next = low + (high - low) / 2;
            if (next == x || off == 0 || next == low || next == high)
                break;
            x = next;
        }
        return piece.start + x;
    }

    /// Where the third derivative may jump, s, increasing; none for a constant speed.
    std::vector<double> breaks() const {
        std::vector<double> times;
        for (std::size_t i = 1; i < pieces_.size(); ++i)
            if (pieces_[i].coefficient[3][0] != pieces_[i - 1].coefficient[3][0])
                times.push_back(pieces_[i].start);
        return times;
    }

    /// The times of the knots, s, two or more.
    std::span<double const> times() const { return knots_.places(); }

private:
    Knots knots_;
    std::vector<CubicPiece<1>> pieces_; ///< the first and the last straight, without end
    double slack_ = 0;                  ///< by how much rounding may let u run back
};

} // namespace seamhold

#endif
