#ifndef SEAMHOLD_LIVE_INTAKE_HPP
#define SEAMHOLD_LIVE_INTAKE_HPP

#include "seamhold/live/message_order.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <type_traits>

namespace seamhold {

/// What an `Intake` allows.
struct IntakeOptions {
    OrderOptions order;
    int frozen_count = 3;     ///< so many repeats in a row that cannot be are a frozen sender
    double braking = 10;      ///< no robot brakes harder: of the flange's origin, m/s²
    double turn_braking = 50; ///< of the flange's turning, and of each joint, rad/s² (of sliding joints m/s²)
};

/// What came of a message; the sample is to be read only where the status is `accepted`.
template <int D> struct Taken {
    IntakeStatus status;
    Sample<D> sample;
    std::uint32_t lost; ///< messages missing between this and the one accepted before
};

namespace detail {

/// Numbers of a message that are neither finite nor of this world: a stream's own limit is far below.
inline bool is_sane(double x) { return is_finite(x) && x >= -1e6 && x <= 1e6; }

/// How one kind of message becomes D numbers, and how far two of them lie apart.
template <class Message> struct MessageValues;

template <> struct MessageValues<PoseMessage> {
    static constexpr int size = 7;
    static constexpr std::size_t ways = 2; ///< of the origin, m, and turned, rad

    static IntakeStatus read(PoseMessage const& m, double const* before, Sample<7>& sample) {
        double const numbers[13] = {m.origin.x,   m.origin.y,   m.origin.z,   m.rotation.w, m.rotation.x,
                                    m.rotation.y, m.rotation.z, m.velocity.x, m.velocity.y, m.velocity.z,
                                    m.turning.x,  m.turning.y,  m.turning.z};
        for (std::size_t i = 0; i < (m.head.has_rates ? 13 : 7); ++i)
            if (!is_sane(numbers[i]))
                return IntakeStatus::not_finite;
        double const norm = std::sqrt(squared_norm(m.rotation));
        if (!(std::abs(norm - 1) <= 1e-3))
            return IntakeStatus::not_a_rotation;
        auto const& r = m.rotation;
        bool const other_sign =
            before != nullptr && r.w * before[3] + r.x * before[4] + r.y * before[5] + r.z * before[6] < 0;
        double const scale = (other_sign ? -1 : 1) / norm;
        Quaternion<double> const q{r.w * scale, r.x * scale, r.y * scale, r.z * scale};
        double const value[7] = {m.origin.x, m.origin.y, m.origin.z, q.w, q.x, q.y, q.z};
        std::copy(value, value + 7, sample.value);
        if (m.head.has_rates) {
            // q' = ½·ω·q for ω in the axes that q leads to: e.g. W. Breckenridge, "Quaternions: proposed
            // standard conventions", JPL 1979 (from memory).
            auto const turned = Quaternion<double>{0, m.turning.x, m.turning.y, m.turning.z} * q;
            double const rate[7] = {m.velocity.x,   m.velocity.y,   m.velocity.z,  0.5 * turned.w,
                                    0.5 * turned.x, 0.5 * turned.y, 0.5 * turned.z};
            std::copy(rate, rate + 7, sample.rate);
        }
        return IntakeStatus::accepted;
    }

    static std::array<double, 2> way(double const* d) {
        return {std::sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2]),
                2 * std::sqrt(d[3] * d[3] + d[4] * d[4] + d[5] * d[5] + d[6] * d[6])};
    }

    static double braking(IntakeOptions const& options, std::size_t way) {
        return way == 0 ? options.braking : options.turn_braking;
    }
};

template <int N> struct MessageValues<JointMessage<N>> {
    static constexpr int size = N;
    static constexpr std::size_t ways = N;

    static IntakeStatus read(JointMessage<N> const& m, double const* /*before*/, Sample<N>& sample) {
        for (std::size_t i = 0; i < ways; ++i) {
            if (!is_sane(m.joint[i]) || (m.head.has_rates && !is_sane(m.rate[i])))
                return IntakeStatus::not_finite;
            sample.value[i] = m.joint[i];
            sample.rate[i] = m.head.has_rates ? m.rate[i] : 0;
        }
        return IntakeStatus::accepted;
    }

    static std::array<double, ways> way(double const* d) {
        std::array<double, ways> r;
        for (std::size_t i = 0; i < ways; ++i)
            r[i] = std::abs(d[i]);
        return r;
    }

    static double braking(IntakeOptions const& options, std::size_t /*way*/) { return options.turn_braking; }
};

} // namespace detail

/// Makes checked samples of messages as they arrive, a `PoseMessage` or a `JointMessage<N>`; one Intake for
/// each stream. Bounded time, no heap, no exception after it is made. Accepted samples are finite, in order
/// of time, and of a unit quaternion that goes on without a change of sign (a wrong sign is mended, and so is
/// a norm off by up to 1e-3).
///
/// Values that stay the same to the last bit while the stamps move on are a rest, or a sender that reads old
/// data. It can be no rest if, after the last change, the robot was still too fast: slower by half a period's
/// hardest braking than its mean speed then, it would go on by more than 10 µm (10 µrad) before it stands.
/// Message rates near 0 say that it does stand. A sender that freezes at a lower speed is not told from a
/// rest; what was predicted differs then.
template <class Message> class Intake {
    using Values = detail::MessageValues<Message>;

public:
    /// How many quantities a sample has: 7 for a pose, or the joints.
    static constexpr int size = Values::size;

    /// Throws BadInput where an option is not what it can be.
    explicit Intake(IntakeOptions const& options) : options_(options), order_(options.order) {
        auto const require = [](bool good, char const* what, double given) {
            if (!good)
                throw BadInput(std::string("intake: ") + what + " must be above 0; given was " +
                               detail::text_of(given));
        };
        require(options.frozen_count >= 1, "the count of repeats", options.frozen_count);
        require(options.braking > 0 && is_finite(options.braking), "the hardest braking", options.braking);
        require(options.turn_braking > 0 && is_finite(options.turn_braking), "the hardest braking of a turn",
                options.turn_braking);
    }

    /// Takes the next message to arrive. After `clock_step` and `restarted` times are counted anew, from the
    /// next message: what was made of samples before is to be forgotten, clock estimates included.
    Taken<size> take(Message const& message, ScannerTime arrival) {
        Taken<size> taken{IntakeStatus::not_finite, {}, 0};
        if (!is_finite(arrival.seconds))
            return taken;
        taken.status = Values::read(message, known_ ? value_.data() : nullptr, taken.sample);
        if (taken.status != IntakeStatus::accepted)
            return taken;
        bool const same = known_ && std::equal(value_.begin(), value_.end(), taken.sample.value);
        auto const place = order_.take(message.head, arrival, same);
        taken.status = place.status;
        if (place.status == IntakeStatus::clock_step || place.status == IntakeStatus::restarted)
            restart();
        if (place.status != IntakeStatus::accepted)
            return taken;
        taken.lost = place.lost;
        taken.sample.time = place.time;
        taken.sample.has_rates = message.head.has_rates;
        taken.sample.kind = message.head.kind;
        if (same && moving_ && !says_rest(taken.sample)) {
            repeats_ = std::min(repeats_ + 1, options_.frozen_count);
            taken.status = repeats_ >= options_.frozen_count ? IntakeStatus::frozen : IntakeStatus::repeated;
            return taken;
        }
        repeats_ = 0;
        moving_ = known_ && !same && must_move_on(taken.sample);
        std::copy(taken.sample.value, taken.sample.value + size, value_.begin());
        changed_ = place.time;
        known_ = true;
        return taken;
    }

    /// Forgets everything.
    void restart() {
        order_.restart();
        known_ = moving_ = false;
        repeats_ = 0;
    }

    /// The time of any stamp, ns, as times are counted now; nothing overflows. Read only after a message with
    /// a stamp was accepted.
    RobotTime time_of(std::int64_t stamp) const { return order_.time_of(stamp); }

    /// The stamp that times are counted from, ns; read only after a message with a stamp was accepted.
    std::int64_t first_stamp() const { return order_.first_stamp(); }

private:
    // The speed from which the hardest braking still takes 10 µm or µrad.
    double least_speed(std::size_t way) const {
        return std::sqrt(2 * Values::braking(options_, way) * 10e-6);
    }

    bool must_move_on(Sample<size> const& sample) const {
        double difference[size];
        for (std::size_t i = 0; i < size; ++i)
            difference[i] = sample.value[i] - value_[i];
        auto const way = Values::way(difference);
        double const time = sample.time - changed_;
        for (std::size_t i = 0; i < way.size(); ++i)
            if (way[i] > time * (0.5 * time * Values::braking(options_, i) + least_speed(i)))
                return true;
        return false;
    }

    bool says_rest(Sample<size> const& sample) const {
        if (!sample.has_rates)
            return false;
        auto const way = Values::way(sample.rate);
        for (std::size_t i = 0; i < way.size(); ++i)
            if (way[i] > least_speed(i))
                return false;
        return true;
    }

    IntakeOptions options_;
    MessageOrder order_;
    bool known_ = false;               ///< whether there is a value before
    std::array<double, size> value_{}; ///< of the newest accepted sample
    RobotTime changed_{0};             ///< and its time
    bool moving_ = false;              ///< whether it must have moved on from there
    int repeats_ = 0;
};

} // namespace seamhold

#endif
