#ifndef SEAMHOLD_TESTS_SUPPORT_ROBOT_LINK_HPP
#define SEAMHOLD_TESTS_SUPPORT_ROBOT_LINK_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/live/message.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

// A simulated robot and its link: a motion that is known exactly, and the messages that speak of it, late,
// noisy, and some of them lost. It shares no code with what predicts.

namespace seamhold::test {

/// How the spot's point is swept.
struct SweepSettings {
    double speed = 0.2;                 ///< swept at this, at rest, or at this backwards, m/s
    double acceleration = 2;            ///< at most, m/s²
    double jerk = 20;                   ///< m/s³; 0 where acceleration may jump
    double shortest = 0.05;             ///< at one speed, s
    double longest = 0.5;               ///< at one speed, s
    double turn = 0.2;                  ///< the head swings about a slanted axis by so much, rad
    double turn_period = 3;             ///< s
    Direction<Cell> along{0.8, 0.6, 0}; ///< unit vector
};

/// Where the seam is worked, as the flange sees it.
constexpr Point<Flange> swept_point{0.05, -0.02, 0.45};

/// A point of the tool that goes along a straight line, from speed to speed, each change as fast as
/// acceleration and jerk allow, while the head turns about that point.
class Sweep {
public:
    /// Of `duration` s, from a seed.
    Sweep(SweepSettings const& settings, double duration, std::uint64_t seed) : settings_(settings) {
        Random random(seed);
        Piece now{0, 0, 0, 0, 0};
        double speed = 0;
        auto const go_on = [&](double acceleration, double jerk, double time) {
            now.acceleration = acceleration;
            now.jerk = jerk;
            pieces_.push_back(now);
            now.way += time * (now.speed + time * (acceleration / 2 + time * jerk / 6));
            now.speed += time * (acceleration + time * jerk / 2);
            now.time += time;
        };
        while (now.time <= duration) {
            now.speed = speed;
            go_on(0, 0, random.uniform(settings.shortest, settings.longest));
            double next = speed;
            while (next == speed)
                next = settings.speed * (static_cast<double>(random.index(3)) - 1);
            if (std::abs(now.way) > 0.3 && next * now.way > 0)
                next = speed == -next ? 0 : -next; // back towards the middle
            double const change = std::abs(next - speed);
            double const sign = next > speed ? 1 : -1;
            if (settings.jerk == 0)
                go_on(sign * settings.acceleration, 0, change / settings.acceleration);
            else {
                double const ramp =
                    std::min(settings.acceleration / settings.jerk, std::sqrt(change / settings.jerk));
                double const peak = settings.jerk * ramp;
                go_on(0, sign * settings.jerk, ramp);
                if (change / peak > ramp)
                    go_on(sign * peak, 0, change / peak - ramp);
                go_on(sign * peak, -sign * settings.jerk, ramp);
            }
            speed = next;
        }
    }

    /// Of the flange at robot time t, s; before 0 and after the end as the first and last piece go on.
    Quaternion<double> rotation(double t) const {
        double const half = settings_.turn / 2 * std::sin(2 * pi / settings_.turn_period * t);
        double const s = std::sin(half) / 3; // about (2, −1, 2)/3
        Quaternion<double> const start{0.1, 0.7, -0.7, 0.1};
        return Quaternion<double>{std::cos(half), 2 * s, -s, 2 * s} * start;
    }

    /// The point that is swept.
    Point<Cell> spot(double t) const {
        double const s = way(t);
        return {1.2 + s * settings_.along.x, 0.3 + s * settings_.along.y, 0.8 + s * settings_.along.z};
    }

    /// The flange.
    Pose<Cell, Flange> flange(double t) const {
        auto const rotation_now = rotation_of<Cell, Flange>(rotation(t));
        return {rotation_now,
                spot(t) - rotation_now * Direction<Flange>{swept_point.x, swept_point.y, swept_point.z}};
    }

    /// How far along its line the point is, m.
    double way(double t) const {
        Piece const& piece = at(t);
        double const s = t - piece.time;
        return piece.way + s * (piece.speed + s * (piece.acceleration / 2 + s * piece.jerk / 6));
    }

    /// Its speed, m/s.
    double speed(double t) const {
        Piece const& piece = at(t);
        double const s = t - piece.time;
        return piece.speed + s * (piece.acceleration + s * piece.jerk / 2);
    }

private:
    struct Piece {
        double time, way, speed, acceleration, jerk;
    };
    static constexpr double pi = 3.14159265358979323846;

    Piece const& at(double t) const {
        auto const after = std::upper_bound(pieces_.begin(), pieces_.end(), t,
                                            [](double x, Piece const& piece) { return x < piece.time; });
        return after == pieces_.begin() ? pieces_.front() : *(after - 1);
    }

    SweepSettings settings_;
    std::vector<Piece> pieces_;
};

/// What the link does to messages.
struct LinkSettings {
    double period = 0.004;  ///< of sampling, by the robot's clock, s
    double latency = 0.008; ///< from the moment spoken of to the arrival, s; negative for set-points ahead
    double jitter = 0;      ///< of arrivals, evenly spread by ± this, s
    double place_noise = 0; ///< of the flange's origin, each axis, 1 standard deviation, m
    double turn_noise = 0;  ///< of its rotation about each axis, 1 standard deviation, rad
    double loss = 0;        ///< share of messages after which some are lost
    int lost = 1;           ///< how many are lost then
    double duplicated = 0;  ///< share of messages that come twice
    double late = 0;        ///< share of messages that come late, behind later ones perhaps
    double lateness = 0.01; ///< by so much, s
    double drift = 0;       ///< how much faster the robot's clock goes than the scanner's, a second a second
    double offset = 0;      ///< what the scanner's clock shows at the robot's 0, s
    std::int64_t epoch = 1'700'000'000'000'000'000; ///< the robot's stamp at its 0, ns
    std::uint32_t first_number = 0xFFFFFFF0U;       ///< soon counts over
    bool has_stamp = true;
    bool has_rates = false;
    double rate_noise = 0; ///< of velocities, m/s; the same number of rad/s of turning
    SampleKind kind = SampleKind::measured;
};

/// Noise of a flange's pose that puts `at_spot` m on the swept point, 1 standard deviation on each axis
/// across the beam: half its variance from the origin, half from the rotation.
inline LinkSettings with_noise(LinkSettings settings, double at_spot) {
    settings.place_noise = at_spot / std::sqrt(2.0);
    settings.turn_noise =
        settings.place_noise / std::sqrt(swept_point.x * swept_point.x + swept_point.y * swept_point.y +
                                         swept_point.z * swept_point.z);
    return settings;
}

/// A message, and when it arrives by the scanner's clock, s.
struct Arrival {
    double time;
    double sampled; ///< what the message speaks of, by the robot's clock, s: not for the receiver to know
    PoseMessage message;
};

/// All messages of `duration` s of a motion that has flange(t), rotation(t), spot(t), in order of arrival.
template <class Motion>
std::vector<Arrival> arrivals(Motion const& motion, LinkSettings const& link, double duration,
                              std::uint64_t seed) {
    Random random(seed);
    std::vector<Arrival> all;
    auto const count = static_cast<std::size_t>(duration / link.period);
    all.reserve(count);
    auto const normal = [&](double deviation) { return deviation * random.normal(); };
    int lost = 0;
    for (std::size_t i = 0; i < count; ++i) {
        double const t = static_cast<double>(i) * link.period;
        PoseMessage m{};
        m.head.stamp = link.epoch + std::llround(1e9 * t);
        m.head.number = link.first_number + static_cast<std::uint32_t>(i);
        m.head.has_stamp = link.has_stamp;
        m.head.has_number = true;
        m.head.has_rates = link.has_rates;
        m.head.kind = link.kind;
        auto const flange = motion.flange(t);
        m.origin = {flange.origin.x + normal(link.place_noise), flange.origin.y + normal(link.place_noise),
                    flange.origin.z + normal(link.place_noise)};
        Quaternion<double> const wobble{1, normal(link.turn_noise / 2), normal(link.turn_noise / 2),
                                        normal(link.turn_noise / 2)};
        auto q = wobble * motion.rotation(t);
        double const length = std::sqrt(squared_norm(q));
        m.rotation = {q.w / length, q.x / length, q.y / length, q.z / length};
        double const e = 1e-6; // central differences: 1e-12·jerk, and rounding of 1e-10
        auto const before = motion.flange(t - e);
        auto const after = motion.flange(t + e);
        auto const p = motion.rotation(t - e);
        auto const r = motion.rotation(t + e);
        // turning = 2·q′·q*
        auto const turn =
            Quaternion<double>{(r.w - p.w) / e, (r.x - p.x) / e, (r.y - p.y) / e, (r.z - p.z) / e} *
            Quaternion<double>{q.w, -q.x, -q.y, -q.z};
        auto const v = after.origin - before.origin;
        m.velocity = {v.x / (2 * e) + normal(link.rate_noise), v.y / (2 * e) + normal(link.rate_noise),
                      v.z / (2 * e) + normal(link.rate_noise)};
        m.turning = {turn.x + normal(link.rate_noise), turn.y + normal(link.rate_noise),
                     turn.z + normal(link.rate_noise)};
        double arrival = t + link.latency + link.jitter * random.uniform(-1, 1);
        if (random.unit() < link.late)
            arrival += link.lateness;
        bool const twice = random.unit() < link.duplicated;
        if (lost == 0 && random.unit() < link.loss)
            lost = link.lost;
        if (lost > 0) {
            --lost;
            continue;
        }
        Arrival const a{link.offset + arrival / (1 + link.drift), t, m};
        all.push_back(a);
        if (twice)
            all.push_back(a);
    }
    std::stable_sort(all.begin(), all.end(),
                     [](Arrival const& a, Arrival const& b) { return a.time < b.time; });
    return all;
}

} // namespace seamhold::test

#endif
