#ifndef SEAMHOLD_MOTION_PACED_HPP
#define SEAMHOLD_MOTION_PACED_HPP

#include "seamhold/motion/motion.hpp"
#include "seamhold/motion/time_law.hpp"

#include <algorithm>
#include <cmath>
#include <concepts>
#include <memory>
#include <utility>
#include <vector>

namespace seamhold {

/// A motion that is run through as a time law says: its pose at time t is the motion's at law.at(t). Without
/// a law it is the motion itself. Immutable; the law is shared between copies.
template <class M> class Paced {
public:
    /// From a motion, or whatever becomes one, without a law.
    template <class A>
    requires(std::convertible_to<A, M> && !std::same_as<A, Paced>) Paced(A motion)
        : motion_(std::move(motion)) {}

    /// From a motion and the law that drives it.
    Paced(M motion, TimeLaw law)
        : motion_(std::move(motion)), law_(std::make_shared<TimeLaw const>(std::move(law))) {}

    /// The pose at time t.
    template <class T> auto at(T const& t) const {
        if (law_) [[unlikely]]
            return driven_at(t);
        return motion_.at(t);
    }

    /// What `use` makes of the pose at time t; see `seamhold::with_pose`.
    template <class T, class Use> auto with_pose(T const& t, Use const& use) const {
        if (law_) [[unlikely]]
            return driven_with_pose(t, use);
        return seamhold::with_pose(motion_, t, use);
    }

    /// The motion's own time at time t, s.
    template <class T> T path_time(T const& t) const { return law_ ? law_->at(t) : t; }

    /// Whether the motion has data where it is at time t.
    bool covers(double t) const { return has_data(motion_, path_time(t)); }

    /// The times at which a derivative may jump, s, increasing: when the motion comes to its breaks, and the
    /// law's own.
    std::vector<double> breaks() const {
        auto times = breaks_of(motion_);
        if (!law_)
            return times;
        for (double& time : times)
            time = law_->time_at(time);
        times.erase(std::remove_if(times.begin(), times.end(), [](double t) { return !is_finite(t); }),
                    times.end());
        return detail::merged(times, law_->breaks());
    }

    /// The motion as it was made, without its law.
    M const& motion() const { return motion_; }

    /// The law that drives it; null where there is none.
    TimeLaw const* law() const { return law_.get(); }

    /// The chosen motion as it was made, where it was chosen from a list.
    auto const& choice() const requires requires(M const& m) { m.choice(); }
    { return motion_.choice(); }

private:
    template <class T> [[gnu::noinline]] auto driven_at(T const& t) const { return motion_.at(law_->at(t)); }

    template <class T, class Use> [[gnu::noinline]] auto driven_with_pose(T const& t, Use const& use) const {
        return seamhold::with_pose(motion_, law_->at(t), use);
    }

    M motion_;
    std::shared_ptr<TimeLaw const> law_;
};

/// A motion driven by a law, which takes the place of the one it may have had: the law is always that of the
/// motion as it was made.
template <class M> Paced<M> paced(M const& motion, TimeLaw law) { return {motion, std::move(law)}; }
template <class M> Paced<M> paced(Paced<M> const& motion, TimeLaw law) {
    return {motion.motion(), std::move(law)};
}

} // namespace seamhold

#endif
