#ifndef SEAMHOLD_RECORD_TICK_PLACES_HPP
#define SEAMHOLD_RECORD_TICK_PLACES_HPP

#include "seamhold/live/clock_map.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

namespace seamhold {

/// How far ticks are apart, and how late the laser's light follows the gate: as the steering's settings have
/// it (`SteeringSettings::period`, `LaserDelays`).
struct TickTiming {
    double period;             ///< of a tick, s
    double on = 0;             ///< from the gate's opening to light, s
    double off = 0;            ///< from its shutting to darkness, s
    double longest_gap = 1e-3; ///< between two ticks with light in one seam: over more nothing is said, s. A
                               ///< straight line over so long is off by 1/8 of it, squared, times the
                               ///< acceleration along the path: 1.3 µm at 10 m/s²
};

/// What ticks say of one seam from a moment on.
struct TickPlace {
    ScannerTime time;   ///< of the spot
    std::uint32_t seam; ///< from 0
    double arc_length;  ///< m
    bool light;         ///< from this moment on
    bool begins;        ///< light comes on here
};

/// What one tick adds: nothing, one place, or the end of one stretch of light and the begin of another.
struct TickPlacesAdded {
    std::array<TickPlace, 2> place; ///< in order of time
    std::size_t count;              ///< of places that are there
};

namespace detail {
/// Where the spot is at a moment, when it goes straight from one place at a moment to another.
constexpr double place_between(ScannerTime from, double begins, ScannerTime to, double ends,
                               ScannerTime at) noexcept {
    return begins + (ends - begins) * ((at - from) / (to - from));
}
} // namespace detail

/// Says when the spot was where, from ticks in their order. A tick's arc length does not belong to the moment
/// of the tick. The steering loop asks itself where the light will be when what this tick decides takes
/// effect:
///
/// - with the gate shut until now (the tick that opens it is one), at its moment + `on`: there light comes
///   on;
/// - with the gate open until now, at its moment + `period` + `off`: there light would go out if the next
///   tick shut the gate.
///
/// So light is on from (first open tick) + `on` to (first shut tick after it) + `off`, and arc lengths of
/// open ticks belong to the moments above; the shut tick's own arc length says nothing of the light. Where
/// the shut tick comes later than a period after the last open one, the spot is taken to have gone on with
/// its mean speed of the last millisecond. The first tick of all and the first after a gap are not used:
/// whether the gate was open before is not known. Taking a tick neither throws nor allocates; bounded work.
class TickPlaces {
public:
    /// Throws BadInput unless the period and the longest gap are above 0 and the delays 0 or more.
    explicit TickPlaces(TickTiming const& timing) : timing_(timing) {
        auto const& t = timing;
        if (!(t.period > 0) || !is_finite(t.period))
            throw BadInput("a tick's period must be above 0; given was " + detail::text_of(t.period) + " s");
        if (!(t.on >= 0) || !is_finite(t.on) || !(t.off >= 0) || !is_finite(t.off))
            throw BadInput("the laser's delays must be 0 s or above; given were " + detail::text_of(t.on) +
                           " s to light and " + detail::text_of(t.off) + " s to darkness");
        if (!(t.longest_gap >= t.period) || !is_finite(t.longest_gap))
            throw BadInput("the longest gap between ticks must be a tick's period or more; given was " +
                           detail::text_of(t.longest_gap) + " s at ticks of " + detail::text_of(t.period) +
                           " s");
    }

    /// Takes the next tick: its time, seam, arc length in m, and whether its gate is open to the laser (in a
    /// dry run it is not). A tick that is not after the one before, or not finite, is left out.
    TickPlacesAdded take(ScannerTime time, std::uint32_t seam, double arc_length, bool open) noexcept {
        TickPlacesAdded added{{}, 0};
        if (!is_finite(time.seconds) || !is_finite(arc_length) || (known_ && !(time > last_tick_)))
            return added;
        bool const bridged = known_ && time - last_tick_ <= timing_.longest_gap;
        if (open_ && !(bridged && open && seam == last_.seam))
            end(bridged ? time + timing_.off : last_.time, added);
        // After a gap nobody knows whether the gate was open before, and so not which moment is meant.
        if (open && bridged) {
            ScannerTime const at = time + (last_open_ ? timing_.period + timing_.off : timing_.on);
            if (!open_)
                begin({at, seam, arc_length, true, true}, added);
            else if (at - last_.time > timing_.period / 2)
                go_on({at, seam, arc_length, true, false}, added);
        }
        open_ = open && bridged;
        last_open_ = open;
        last_tick_ = time;
        known_ = true;
        return added;
    }

private:
    static constexpr double speed_window = 1e-3; ///< s

    static void add(TickPlace const& place, TickPlacesAdded& added) noexcept {
        added.place[added.count++] = place;
    }

    void begin(TickPlace const& place, TickPlacesAdded& added) noexcept {
        last_ = place;
        begun_ = place.time;
        speed_ = 0;
        add(last_, added);
    }

    void go_on(TickPlace const& place, TickPlacesAdded& added) noexcept {
        double const since = place.time - last_.time;
        double const share = std::min(1.0, since / std::min(speed_window, place.time - begun_));
        speed_ += share * ((place.arc_length - last_.arc_length) / since - speed_);
        last_ = place;
        add(last_, added);
    }

    /// Light goes out: at a moment, or where it was seen last if that is later.
    void end(ScannerTime at, TickPlacesAdded& added) noexcept {
        open_ = false;
        if (at > last_.time) {
            last_.arc_length += speed_ * (at - last_.time);
            last_.time = at;
        }
        last_.light = last_.begins = false;
        add(last_, added);
    }

    TickTiming timing_;
    TickPlace last_ = {};
    ScannerTime begun_ = {};
    double speed_ = 0; ///< mean of about the last `speed_window`, m/s
    ScannerTime last_tick_ = {};
    bool known_ = false;     ///< whether there was a tick
    bool last_open_ = false; ///< the gate of it
    bool open_ = false;      ///< whether places are being told
};

} // namespace seamhold

#endif
