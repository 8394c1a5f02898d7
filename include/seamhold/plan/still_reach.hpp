#ifndef SEAMHOLD_PLAN_STILL_REACH_HPP
#define SEAMHOLD_PLAN_STILL_REACH_HPP

#include "seamhold/limit/sweep_margin.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

namespace seamhold {

namespace detail {

/// What `demand_of` needs of a job, with flange and part held still.
struct StillJob {
    Chain<Rest<Cell, Flange>, Rest<Cell, Part>, AnyHead> chain;
    HeadDynamics dynamics;
    double largest_incidence;
    std::optional<Process> process;
    SeamLimits limits;
};

/// What `demand_of` needs of a scheduled seam.
struct StillSeam {
    AnySeam const& seam;
    double start = 0;
};

/// Whether a limit belongs to a place alone: no speed takes part in it.
inline bool is_of_place(Check const& check) { return check.derivative == 0 && check.measure < Measure::area; }

} // namespace detail

/// Whether a head that is held still reaches a place of a seam: of all of a job's limits those that belong to
/// a place (ranges of the axes, field, aperture, incidence, spot size, defocus), with flange and part where
/// one says. What takes speed or time, the arm, and line of sight are not looked at. In doubles: a search,
/// and no proof. Each thread needs its own.
class StillReach {
public:
    /// Of a job's head, mount, process and limits.
    explicit StillReach(Job const& job)
        : job_{{Rest<Cell, Flange>{Pose<Cell, Flange>::identity()},
                Rest<Cell, Part>{Pose<Cell, Part>::identity()}, job.chain.flange_from_head, job.chain.head},
               job.dynamics,
               job.largest_incidence,
               job.process,
               job.limits} {}

    /// A seam and what is asked of its places. Keeps a reference to the seam.
    class Asked {
    public:
        /// The seam.
        AnySeam const& seam() const { return *seam_; }

        /// How long it lasts, s.
        double duration() const { return seam_->duration(); }

    private:
        friend class StillReach;
        AnySeam const* seam_;
        std::vector<Check> checks_;
        Wanted wanted_;
    };

    /// What is to be asked of a seam, which must live as long.
    Asked asked_of(AnySeam const& seam) const {
        Asked asked;
        asked.seam_ = &seam;
        asked.checks_ = checks_of(job_, detail::StillSeam{seam});
        asked.checks_.erase(std::remove_if(asked.checks_.begin(), asked.checks_.end(),
                                           [](Check const& c) { return !detail::is_of_place(c); }),
                            asked.checks_.end());
        asked.wanted_ = wanted_by(asked.checks_);
        return asked;
    }

    /// What is used most at a place.
    struct Answer {
        double margin; ///< 1 − the largest utilisation; −∞ where the head has no command for the place
        Limit limit;   ///< that is used most
    };

    /// Of the place of a seam `seam_time` s after its start, with flange and part at rest in these poses.
    Answer at(Asked const& asked, double seam_time, Pose<Cell, Flange> const& cell_from_flange,
              Pose<Cell, Part> const& cell_from_part = Pose<Cell, Part>::identity()) {
        job_.chain.cell_from_flange.pose = cell_from_flange;
        job_.chain.cell_from_part.pose = cell_from_part;
        auto const d = demand_of(job_, detail::StillSeam{asked.seam()},
                                 Taylor<double, 1>::variable(seam_time), asked.wanted_);
        Answer worst{1, Limit::reach};
        if (d.status == Status::not_finite || !(value_of(d[Measure::in_front]) > 0) ||
            !(value_of(d[Measure::solved]) > 0))
            return {-no_limit, Limit::reach};
        for (auto const& check : asked.checks_) {
            double const used = check.utilisation(check.read(value_of(d[check.measure])));
            if (!(1 - used >= worst.margin))
                worst = {is_finite(used) ? 1 - used : -no_limit, check.limit};
        }
        return worst;
    }

    /// The least of a whole seam, looked at in `places` places that lie evenly in its time (2 or more), from
    /// one pose.
    Answer over(Asked const& asked, std::size_t places, Pose<Cell, Flange> const& cell_from_flange,
                Pose<Cell, Part> const& cell_from_part = Pose<Cell, Part>::identity()) {
        Answer worst{1, Limit::reach};
        for (std::size_t i = 0; i < places; ++i) {
            double const time = asked.duration() * static_cast<double>(i) /
                                static_cast<double>(std::max<std::size_t>(places, 2) - 1);
            auto const here = at(asked, time, cell_from_flange, cell_from_part);
            if (here.margin < worst.margin)
                worst = here;
            if (!is_finite(worst.margin))
                break;
        }
        return worst;
    }

    /// In how many places a seam is looked at: one each 8 mm, between 3 and 33.
    static std::size_t places_of(AnySeam const& seam) {
        return std::clamp<std::size_t>(static_cast<std::size_t>(seam.length() / 0.008) + 2, 3, 33);
    }

private:
    detail::StillJob job_;
};

} // namespace seamhold

#endif
