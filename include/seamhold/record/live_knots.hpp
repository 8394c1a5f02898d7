#ifndef SEAMHOLD_RECORD_LIVE_KNOTS_HPP
#define SEAMHOLD_RECORD_LIVE_KNOTS_HPP

#include "seamhold/live/clock_map.hpp"
#include "seamhold/record/tick_places.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace seamhold {

/// Where the spot was at a moment, in which pass of which seam.
struct LiveKnot {
    ScannerTime time;
    std::uint64_t pass; ///< counted over all seams, from 1
    std::uint32_t seam; ///< from 0
    double arc_length;  ///< m
    bool light;         ///< from here to the next knot
};

/// Between two knots of one pass with light: the spot goes straight in time.
struct LiveStretch {
    std::uint64_t pass;
    std::uint32_t seam;
    double from, to; ///< along the seam, m
    double share;    ///< of the time that was asked for
};

/// The last knots of the spot's way, a fixed number of them, with straight lines between. Memory is taken at
/// construction; afterwards nothing throws or allocates.
class LiveKnots {
public:
    /// Keeps `capacity` knots, two or more.
    explicit LiveKnots(std::size_t capacity) : knots_(capacity) {}

    /// How many came.
    std::uint64_t written() const noexcept { return written_; }
    /// The number of the oldest that is kept; meaningless before the first came.
    std::uint64_t oldest() const noexcept { return written_ > knots_.size() ? written_ - knots_.size() : 0; }
    /// The number of the knot whose place the next one takes; `written()` where there is room.
    std::uint64_t leaving() const noexcept {
        return written_ >= knots_.size() ? written_ - knots_.size() : written_;
    }
    /// Knot number n, which must be kept.
    LiveKnot const& knot(std::uint64_t n) const noexcept {
        return knots_[static_cast<std::size_t>(n % knots_.size())];
    }
    /// The last; one must be there.
    LiveKnot const& last() const noexcept { return knot(written_ - 1); }

    /// Adds a knot. One that is not after the last says only what is from there on, at the last one's moment.
    void add(LiveKnot const& next) noexcept {
        if (written_ > 0 && !(next.time > last().time)) {
            auto& here = knots_[static_cast<std::size_t>((written_ - 1) % knots_.size())];
            if (here.pass == next.pass)
                here.light = next.light;
            else
                here = {here.time, next.pass, next.seam, next.arc_length, next.light};
            return;
        }
        knots_[static_cast<std::size_t>(written_ % knots_.size())] = next;
        ++written_;
    }

    /// Hands every stretch with light between two moments to `take`, in order; of one moment alone, a
    /// way of no length. `near` is a knot's number from which the search begins, and where it ended. Work is
    /// the knots between `near` and `to`.
    template <class Take>
    void walk(ScannerTime from, ScannerTime to, std::uint64_t& near, Take&& take) const noexcept {
        if (written_ < 2 || !(to >= from))
            return;
        std::uint64_t const newest = written_ - 1;
        near = std::clamp(near, oldest(), newest - 1);
        while (near > oldest() && knot(near).time > from)
            --near;
        while (near + 1 < newest && !(knot(near + 1).time > from))
            ++near;
        for (;; ++near) {
            LiveKnot const &a = knot(near), &b = knot(near + 1);
            double const begin = std::max(from.seconds, a.time.seconds);
            double const end = std::min(to.seconds, b.time.seconds);
            bool const moment = from == to && begin == from.seconds && b.time > from;
            if (a.light && a.pass == b.pass && (end > begin || moment)) {
                double const speed = (b.arc_length - a.arc_length) / (b.time - a.time);
                auto const place = [&](double t) {
                    return t == b.time.seconds ? b.arc_length : a.arc_length + speed * (t - a.time.seconds);
                };
                take(LiveStretch{a.pass, a.seam, place(begin), place(end),
                                 moment ? 1 : (end - begin) / (to - from)});
            }
            if (near + 1 >= newest || !(knot(near + 1).time < to))
                return;
        }
    }

private:
    std::vector<LiveKnot> knots_;
    std::uint64_t written_ = 0;
};

} // namespace seamhold

#endif
