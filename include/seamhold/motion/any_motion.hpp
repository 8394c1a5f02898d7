#ifndef SEAMHOLD_MOTION_ANY_MOTION_HPP
#define SEAMHOLD_MOTION_ANY_MOTION_HPP

#include "seamhold/motion/joint_log.hpp"
#include "seamhold/motion/motion.hpp"
#include "seamhold/motion/paced.hpp"
#include "seamhold/motion/pose_log.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/motion/straight_move.hpp"
#include "seamhold/motion/turntable.hpp"

#include <variant>

namespace seamhold {

/// A motion chosen at run time from a closed list of motions that store doubles, the usual one first.
template <class... Motions> class OneOf {
public:
    /// From any motion of the list.
    template <class M>
    requires(std::same_as<M, Motions> || ...) OneOf(M motion)
        : choice_(std::move(motion)), always_covers_(!requires(M const& m) { m.covers(0.0); }) {}

    /// The chosen motion's pose at time t.
    template <class T> auto at(T const& t) const {
        return with_pose(t, [](auto const& pose) { return number_cast<Common<double, T>>(pose); });
    }

    /// What `use` makes of the chosen motion's pose at time t; see `seamhold::with_pose`. `use` must return
    /// one type for all motions.
    template <class T, class Use> auto with_pose(T const& t, Use const& use) const {
        auto const used = [&](auto const& motion) { return use(motion.at(t)); };
        if (auto const* first = std::get_if<0>(&choice_)) // the usual one; a guess costs less than the switch
            return used(*first);
        return std::visit(used, choice_);
    }

    /// Whether the chosen motion has data at time t.
    bool covers(double t) const {
        if (auto const* first = std::get_if<0>(&choice_))
            return has_data(*first, t);
        return always_covers_ || std::visit([t](auto const& motion) { return has_data(motion, t); }, choice_);
    }

    /// The chosen motion's breaks.
    std::vector<double> breaks() const {
        return std::visit([](auto const& motion) { return breaks_of(motion); }, choice_);
    }

    /// The chosen motion, for those who must know which.
    std::variant<Motions...> const& choice() const { return choice_; }

private:
    std::variant<Motions...> choice_;
    bool always_covers_;
};

/// How a job file's flange may move: as it was recorded or taught, or along that at another pace.
using AnyFlangeMotion = Paced<OneOf<PoseLog<Cell, Flange>, JointLog<6>, JointLog<7>,
                                    StraightMove<Cell, Flange>, Steady<Cell, Flange>, Rest<Cell, Flange>>>;

/// How a job file's part may move.
using AnyPartMotion = OneOf<Rest<Cell, Part>, Turntable<Cell, Part>, Steady<Cell, Part>, PoseLog<Cell, Part>>;

} // namespace seamhold

#endif
