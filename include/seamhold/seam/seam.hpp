#ifndef SEAMHOLD_SEAM_SEAM_HPP
#define SEAMHOLD_SEAM_SEAM_HPP

#include "seamhold/seam/path.hpp"
#include "seamhold/seam/power.hpp"
#include "seamhold/seam/shapes.hpp"
#include "seamhold/seam/travel.hpp"
#include "seamhold/seam/weave.hpp"
#include "seamhold/surface/plane.hpp"

#include <algorithm>
#include <numbers>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// What a seam has besides its path and its travel.
struct SeamOptions {
    Weave weave = {};
    double focus_offset = 0;            ///< along the beam, positive beyond the surface, m
    std::optional<PowerLaw> power = {}; ///< where it is not the job's
};

/// A seam: a path, travelled along its arc length (the weave comes on top), with the focus held at a signed
/// offset along the beam, positive beyond the surface.
template <class Path, class S = double> struct Seam {
    Path path;
    Travel<S> travel;
    S focus_offset; ///< m
    Weave weave;
    std::optional<PowerLaw> power = {}; ///< where it is not the job's

    /// Of its parts; unchecked.
    Seam(Path some_path, Travel<S> some_travel, S const& some_focus_offset = S(0),
         Weave const& some_weave = {}, std::optional<PowerLaw> some_power = {})
        : path(std::move(some_path)), travel(std::move(some_travel)), focus_offset(some_focus_offset),
          weave(some_weave), power(std::move(some_power)) {}

    /// The same seam with its path chosen at run time.
    template <class P>
    requires(!std::same_as<P, Path> && std::constructible_from<Path, P>) Seam(Seam<P, S> const& other)
        : Seam(other.path, other.travel, other.focus_offset, other.weave, other.power) {}

    /// The seam's length along the path, without the weave, m.
    double length() const { return path.length(); }

    /// How long it lasts, s.
    double duration() const { return travel.duration(); }

    /// Arc length along the path at `time` seconds after the seam's start, m.
    template <class T> Common<S, T> arc_length(T const& time) const { return travel.arc_length(time); }

    /// The speed along the path, without the weave, m/s.
    double feed(double time) const { return travel.feed(time); }

    /// Where the spot belongs `time` seconds after the seam's start, with the surface's normal, in the part
    /// frame. Not clipped: before 0 and after the duration the path runs on.
    template <class T> [[gnu::always_inline]] auto at(T const& time) const {
        auto const s = travel.arc_length(time);
        if (!weave.moves())
            return path.at(s);
        auto const swing = weave.at(time);
        if (weave.runs_along())
            return swung(narrowed(s + swing.along, time), swing.across);
        return swung(s, swing.across);
    }

    /// The laser's power `time` seconds after the start, W; `otherwise` where the seam has none of its own.
    double power_at(double time, double otherwise) const {
        return power ? power->at_feed(feed(time)) * power->ramp(time, duration()) : otherwise;
    }

    /// When a derivative by time may jump, s after the start, increasing, ends left out: at breaks of the
    /// travel, and where the spot, with a weave that runs along too, passes a break of the path. A pass and
    /// its way back within a sixty-fourth of the weave's period may be left out.
    std::vector<double> breaks() const {
        auto times = travel.breaks();
        for (double const s : path.breaks())
            if (weave.runs_along())
                add_passes(times, s);
            else
                times.push_back(travel.time_at(s));
        std::sort(times.begin(), times.end());
        times.erase(std::unique(times.begin(), times.end()), times.end());
        return times;
    }

private:
    /// How far along the path the spot is, weave and all, less `s`, m.
    double beyond(double s, double time) const {
        return value_of(travel.arc_length(time)) + weave.at(time).along - s;
    }

    /// The times at which the spot passes the arc length s, m.
    void add_passes(std::vector<double>& times, double s) const {
        double const reach = weave.largest_amplitude(duration());
        double const last = travel.time_at(s + reach);
        double const step = 1 / (64 * std::max(weave.highest_frequency(duration()), 1e-3));
        for (double from = travel.time_at(s - reach); from < last; from += step) {
            double low = from, high = std::min(from + step, last);
            bool const rises = beyond(s, low) < 0;
            if (rises == (beyond(s, high) < 0))
                continue;
            while (true) {
                double const middle = low + (high - low) / 2;
                if (!(middle > low && middle < high))
                    break;
                ((beyond(s, middle) < 0) == rises ? low : high) = middle;
            }
            times.push_back(high);
        }
    }

    /// The way along with the weave, over intervals as narrow as its ends say where it only runs on or back:
    /// its two parts mostly go against each other.
    template <class R, class T> R narrowed(R way, T const& time) const {
        if constexpr (requires { way.coefficient[1]; } && detail::is_of_intervals<R>) {
            Interval const times = detail::values_of(time);
            if (times.low < times.high && detail::values_of(time.coefficient[1]).low > 0 &&
                !detail::values_of(way.coefficient[1]).contains(0.0)) {
                auto const at = [&](double t) {
                    return travel.arc_length(Interval(t)) + weave.at(Interval(t)).along;
                };
                Interval const ends = hull(at(times.low), at(times.high));
                if constexpr (detail::is_interval<std::remove_cvref_t<decltype(way.coefficient[0])>>)
                    way.coefficient[0] = {std::max(way.coefficient[0].low, ends.low),
                                          std::min(way.coefficient[0].high, ends.high)};
            }
        }
        return way;
    }

    template <class A, class B> [[gnu::always_inline]] auto swung(A const& s, B const& across) const {
        using T = Common<A, B>;
        return path.at(number_cast<T>(s), number_cast<T>(across));
    }
};

/// A seam chosen at run time.
using AnySeam = Seam<AnyPath>;

namespace detail {
/// Throws BadInput unless a seam's weave and focus offset are possible.
inline void check_options(double duration, SeamOptions const& options) {
    checked(options.weave, duration);
    if (!is_finite(options.focus_offset))
        throw BadInput("a seam's focus offset must be finite");
}

/// Throws BadInput, saying where and how sharp, for a path with corners.
template <class Path> void refuse_corners(Path const& path) {
    std::string places;
    for (auto const& corner : path.corners())
        places += (places.empty() ? "" : ", ") + text_of(corner.arc_length * 1e3) + " mm (" +
                  text_of(corner.angle * 180 / std::numbers::pi) + " degrees)";
    if (!places.empty())
        throw BadInput("the path has corners at " + places +
                       ": round them, or say by a speed law that they are passed slowly or with a stop");
}
} // namespace detail

/// A path travelled at constant speed, m/s. Throws BadInput unless the speed is above 0 and the weave is
/// possible, and for a path with corners, saying where and how sharp.
template <class Path>
requires requires(Path const& path) { path.at(0.0).normal; }
Seam<Path> at_speed(Path const& path, double speed, SeamOptions const& options = {}) {
    if (!(speed > 0) || !is_finite(speed))
        throw BadInput("a seam's speed must be above 0; given was " + detail::text_of(speed) + " m/s");
    double const duration = path.length() / speed;
    detail::refuse_corners(path);
    detail::check_options(duration, options);
    return {path, {speed, duration}, options.focus_offset, options.weave, options.power};
}

/// A shape on a face that does not stretch it, at constant speed; see above.
template <class Flat, class Surface>
Seam<OnFace<Flat, Surface>> at_speed(Flat const& shape, Surface const& surface, double speed,
                                     Weave const& weave = {}, double focus_offset = 0) {
    return at_speed(OnFace<Flat, Surface>{shape, surface}, speed, {weave, focus_offset, {}});
}

/// The spot held on one place of a face for a time, s. Throws BadInput unless the time is above 0.
template <class Surface>
Seam<OnFace<Still<>, Surface>> held(FacePoint place, Surface const& surface, double time,
                                    Weave const& weave = {}, double focus_offset = 0) {
    if (!(time > 0) || !is_finite(time))
        throw BadInput("a point must be held for a time above 0; given was " + detail::text_of(time) + " s");
    return {{{place.x, place.y}, surface}, {0, time}, focus_offset, checked(weave, time)};
}

} // namespace seamhold

#endif
