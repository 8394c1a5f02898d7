#ifndef SEAMHOLD_RECORD_PASS_TIMELINE_HPP
#define SEAMHOLD_RECORD_PASS_TIMELINE_HPP

#include "seamhold/record/seam_pass.hpp"

#include <algorithm>
#include <cstddef>
#include <vector>

namespace seamhold {

/// A way along a pass within one straight line of it.
struct PassStretch {
    std::size_t pass; ///< from 0
    bool light;
    double from, to; ///< along the seam, m
    double share;    ///< of the time that was asked for
};

/// A stretch along a seam, m.
struct SeamStretch {
    double from, to;
};

/// Passes one after the other in time: which ways the spot went between two moments. Immutable; walking
/// neither throws nor allocates.
class PassTimeline {
public:
    /// Throws BadInput without passes, for what `check_pass` refuses, and, naming both, for passes that are
    /// at one time.
    explicit PassTimeline(std::vector<SeamPass> const& passes) {
        if (passes.empty())
            throw BadInput("samples without a plan have no place: give one pass or more");
        std::vector<std::size_t> order(passes.size());
        for (std::size_t i = 0; i < order.size(); ++i) {
            check_pass(passes[i]);
            order[i] = i;
        }
        std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
            return passes[a].knots.front().time < passes[b].knots.front().time;
        });
        for (std::size_t i = 0; i < order.size(); ++i) {
            auto const& pass = passes[order[i]];
            if (i > 0 && pass.knots.front().time < passes[order[i - 1]].knots.back().time)
                throw BadInput("the passes over seams " + passes[order[i - 1]].key.seam + " and " +
                               pass.key.seam + " overlap in time; there is one spot");
            for (std::size_t k = 0; k + 1 < pass.knots.size(); ++k) {
                auto const &a = pass.knots[k], &b = pass.knots[k + 1];
                lines_.push_back({a.time, b.time, a.arc_length, b.arc_length,
                                  (b.arc_length - a.arc_length) / (b.time - a.time), order[i], a.light});
            }
        }
    }

    /// The first moment of the first pass.
    ScannerTime start() const noexcept { return lines_.front().from; }

    /// The last moment of the last pass.
    ScannerTime end() const noexcept { return lines_.back().to; }

    /// Hands every way between two moments to `take`, a function of a PassStretch, in order of time. `near`
    /// is where the last walk was and is moved on: a walk that follows the one before takes no search. Of one
    /// moment alone it hands over a way of no length.
    template <class Take> void walk(ScannerTime from, ScannerTime to, std::size_t& near, Take&& take) const {
        if (near > 0 && !(lines_[near - 1].to <= from))
            near = 0;
        if (near < lines_.size() && lines_[near].to <= from)
            near = after(from, near);
        double const time = to - from;
        for (std::size_t i = near; i < lines_.size() && is_touched(lines_[i], from, to); ++i) {
            auto const& l = lines_[i];
            auto const a = std::max(from, l.from), b = std::min(to, l.to);
            take(PassStretch{l.pass, l.light, l.at(a), l.at(b), time > 0 ? (b - a) / time : 1});
        }
    }

    /// The stretches of a seam of `length` m, longer than `least` m, over which a pass never had light.
    std::vector<SeamStretch> dark_stretches(std::size_t pass, double length, double least) const {
        std::vector<SeamStretch> lit;
        for (auto const& l : lines_)
            if (l.pass == pass && l.light)
                lit.push_back({std::min(l.begins, l.ends), std::max(l.begins, l.ends)});
        std::sort(lit.begin(), lit.end(),
                  [](SeamStretch const& a, SeamStretch const& b) { return a.from < b.from; });
        lit.push_back({length, length});
        std::vector<SeamStretch> dark;
        double reached = 0;
        for (auto const& s : lit) {
            if (s.from - reached > least)
                dark.push_back({reached, s.from});
            reached = std::max(reached, s.to);
        }
        return dark;
    }

private:
    /// From one knot to the next.
    struct Line {
        ScannerTime from, to;
        double begins, ends; ///< along the seam, m
        double speed;        ///< m/s
        std::size_t pass;
        bool light;

        double at(ScannerTime t) const noexcept { return t == to ? ends : begins + speed * (t - from); }
    };

    static bool is_touched(Line const& l, ScannerTime from, ScannerTime to) noexcept {
        return l.from < to || (from == to && l.from == from);
    }

    /// The first line that ends after a moment, not before line `first`, which ends before it.
    std::size_t after(ScannerTime t, std::size_t first) const noexcept {
        if (first + 1 < lines_.size() && t < lines_[first + 1].to)
            return first + 1;
        auto const found = std::partition_point(lines_.begin() + static_cast<std::ptrdiff_t>(first),
                                                lines_.end(), [&](Line const& l) { return l.to <= t; });
        return static_cast<std::size_t>(found - lines_.begin());
    }

    std::vector<Line> lines_;
};

} // namespace seamhold

#endif
