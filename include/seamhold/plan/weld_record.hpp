#ifndef SEAMHOLD_PLAN_WELD_RECORD_HPP
#define SEAMHOLD_PLAN_WELD_RECORD_HPP

#include "seamhold/plan/plan.hpp"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

/// What was welded before a stop.
namespace seamhold {

/// A seam that was welded to its end and is good.
struct WeldedSeam {
    std::string seam;
    std::optional<double> ended = {};  ///< s of the record's clock; unknown: no later than the stop
    std::optional<double> length = {}; ///< m, where the record has it: held against the plan's
};

/// The seam on which a weld stopped.
struct BrokenSeam {
    std::string seam;
    double good_to; ///< up to here it is good: arc length along its travel as it was run, m
    bool reversed;  ///< whether it was run from its end to its start: held against the plan
    std::optional<double> length = {}; ///< m, as above
};

/// Where a weld stopped. Seams that it does not name were not begun.
struct WeldRecord {
    std::vector<WeldedSeam> done;
    std::optional<BrokenSeam> broken; ///< none where it stopped between seams
    double stopped;                   ///< s of the record's clock
};

namespace detail {

/// How far a seam of a plan is.
enum class SeamState : std::uint8_t { open, broken, done };

/// A record held against a plan, and what follows for the seams that are left.
class HeldRecord {
public:
    /// Throws BadInput, naming the seam, for a record that is not one of this plan, or that contradicts
    /// itself.
    HeldRecord(Plan const& plan, WeldRecord const& record, double done_within)
        : plan_(plan), state_(plan.job.seams.size(), SeamState::open), ended_(state_.size(), record.stopped) {
        if (!is_finite(record.stopped))
            throw BadInput("a record must say when the weld stopped; given was " + text_of(record.stopped) +
                           " s");
        for (auto const& seam : record.done) {
            std::size_t const i = place_of(seam.seam, seam.length);
            if (state_[i] == SeamState::done)
                throw BadInput("the record says twice that seam " + seam.seam + " is done");
            state_[i] = SeamState::done;
            ended_[i] = seam.ended.value_or(record.stopped);
            if (!(ended_[i] <= record.stopped + 1e-9) || !is_finite(ended_[i]))
                throw BadInput("the record says that seam " + seam.seam + " ended at " + text_of(ended_[i]) +
                               " s, after the stop at " + text_of(record.stopped) + " s");
        }
        if (record.broken)
            add(*record.broken, done_within);
    }

    SeamState state(std::size_t i) const { return state_[i]; }

    /// When the welding of a seam that was begun ended, s of the record's clock, at the latest.
    double ended(std::size_t i) const { return ended_[i]; }

    /// The broken seam, where anything of it is left.
    std::optional<std::size_t> broken() const { return broken_; }

    /// The place of a name in the plan, or nothing.
    std::optional<std::size_t> find(std::string const& name) const {
        for (std::size_t i = 0; i < state_.size(); ++i)
            if (plan_.job.seams[i].name == name)
                return i;
        return std::nullopt;
    }

    /// Whether a name is that of a seam that is done.
    bool is_done(std::string const& name) const {
        auto const i = find(name);
        return i && state_[*i] == SeamState::done;
    }

private:
    std::size_t place_of(std::string const& name, std::optional<double> length) const {
        auto const i = find(name);
        if (!i)
            throw BadInput("the record names a seam " + name +
                           ", which the plan does not have: it belongs to "
                           "another plan");
        double const planned = plan_.job.seams[*i].seam.length();
        if (length && !(std::abs(*length - planned) <= 1e-6))
            throw BadInput("the record says that seam " + name + " is " + text_of(1e3 * *length) +
                           " mm long; in the plan it is " + text_of(1e3 * planned) +
                           " mm: the record belongs to another plan");
        return *i;
    }

    void add(BrokenSeam const& seam, double done_within) {
        std::size_t const i = place_of(seam.seam, seam.length);
        if (state_[i] == SeamState::done)
            throw BadInput("the record says that seam " + seam.seam + " is done, and that it is broken");
        if (seam.reversed != plan_.seams[i].reversed)
            throw BadInput("the record says that seam " + seam.seam + " was run " +
                           (seam.reversed ? "from its end to its start" : "as drawn") +
                           ", which is not as planned: the record belongs to another plan");
        double const length = plan_.job.seams[i].seam.length();
        if (!(seam.good_to >= 0 && seam.good_to <= length + 1e-9))
            throw BadInput("seam " + seam.seam + " is good up to " + text_of(1e3 * seam.good_to) +
                           " mm by the record; it runs from 0 to " + text_of(1e3 * length) + " mm");
        if (length > 0 && length - seam.good_to <= done_within) {
            state_[i] = SeamState::done;
            return;
        }
        state_[i] = SeamState::broken;
        broken_ = i;
    }

    Plan const& plan_;
    std::vector<SeamState> state_;
    std::vector<double> ended_;
    std::optional<std::size_t> broken_;
};

} // namespace detail

} // namespace seamhold

#endif
