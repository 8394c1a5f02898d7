#ifndef SEAMHOLD_RECORD_LIVE_JUDGE_HPP
#define SEAMHOLD_RECORD_LIVE_JUDGE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/channel.hpp"
#include "seamhold/record/faulty_stretch.hpp"
#include "seamhold/record/judge.hpp"
#include "seamhold/record/live_knots.hpp"
#include "seamhold/record/live_seam_record.hpp"
#include "seamhold/record/sample_block.hpp"
#include "seamhold/record/sample_runs.hpp"
#include "seamhold/record/tick_places.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// How the judge beside the loop works.
struct LiveJudgeSettings {
    TickTiming timing; ///< of the loop
    JudgeRules rules;  ///< of verdicts
    /// More than this length bad within one pass over a seam, and the judge asks to stop, m. A place is bad
    /// where a channel lies outside of its band; it counts once, however many do. Good parts have some such
    /// places too, as far as the rules allow it. None: it never asks.
    std::optional<double> stop_after = {};
    bool unseen_counts = false; ///< as bad too: places with light that a channel did not see
    /// How much later than the light that they saw samples may come, s: more than the delay, the length of a
    /// block and its way here together. The spot's way is kept that long.
    double longest_lateness = 0.1;
    double clock_tolerance = 20e-6;         ///< as in `PlaceOptions`, s
    std::size_t samples_per_block = 10'000; ///< at most
    std::size_t faults_kept = 64;           ///< stretches of faulty samples, a seam; more are only counted
};

/// What became of a block.
enum class BlockTaken : std::uint8_t {
    taken,          ///< with all its samples
    not_yet,        ///< nothing was taken: the ticks have not come so far; give it again after the next ones
    too_long,       ///< nothing was taken: more samples than the settings allow
    unknown_channel ///< nothing was taken
};

/// The same in words.
constexpr char const* to_string(BlockTaken taken) {
    constexpr char const* names[] = {"taken", "not yet", "too long", "unknown channel"};
    return names[static_cast<std::size_t>(taken)];
}

/// How a seam stands.
struct LiveSeamState {
    std::uint64_t pass; ///< the last one over it, counted over all seams, from 1; 0: none yet
    bool complete;      ///< the light is out, and each channel's samples, and one block more, have come, or
                        ///< would be too late
    double bad;         ///< length that counts for the stop so far, m
    std::uint64_t faults_not_kept; ///< stretches of faulty samples for which there was no room
};

/// Why the judge asks to stop.
struct LiveStop {
    std::uint32_t seam; ///< from 0
    std::uint64_t pass; ///< as in LiveSeamState
    double bad;         ///< length that was bad then, m
    double at;          ///< end of the cell with which it was too much, along the seam, m
};

/// The judge beside the tick loop: it is told every tick and every block of samples, in one thread that is
/// not the ticking one, says of each pass whether the weld lies in its band, and asks to stop after too many
/// bad millimetres. Samples are placed and cells filled as a batch does it (`TickPlaces`, `SampleRuns`,
/// `CellFiller`), so its verdict on the same samples is the same.
///
/// Rows of the loop's trace go to `tick` in their order, then blocks to `take`; then
///
///     if (judge.asks_to_stop()) link.stop();
///
/// with the loop's `LiveLink`: from then on no light is wanted. That is a stop of the process, late by the
/// way of the samples to here. It is no emergency stop and protects nobody: emergency stops, interlocks and
/// guards stay with the licensed safety systems, under local codes.
///
/// `tick`, `take`, `state` and `asks_to_stop` neither throw, allocate, lock nor call the system. The work of
/// a tick is a few operations, and where a pass begins the cells of its seam; that of a block is its samples,
/// the knots that they pass, at most those kept, and the cells that they fill.
class LiveJudge {
public:
    /// Takes all memory: some 40 bytes a tick of the longest lateness, and 16 bytes a cell and channel of
    /// each seam with a band. Throws BadInput for what `check_live_seam` (a wrong band), `check_channels`,
    /// `check_judge_rules` (a band for the whole part and other rules), `cell_rules` and `TickPlaces` refuse,
    /// for a channel that answers later than the longest lateness, and for settings that are not possible.
    LiveJudge(std::vector<LiveSeam> seams, std::vector<Channel> channels, LiveJudgeSettings const& settings)
        : channels_(std::move(channels)), settings_(settings), places_(settings.timing),
          knots_(knots_needed(settings)) {
        check_channels(channels_);
        if (seams.empty())
            throw BadInput("a judge beside the loop needs the seams of the plan that is loaded");
        for (auto& seam : seams) {
            check_live_seam(seam, channels_);
            if (seam.band) {
                check_judge_rules(*seam.band, settings_.rules);
                (void)cell_rules(settings_.rules, seam.band->cells);
            }
            seams_.push_back(
                {LiveSeamRecord(std::move(seam), channels_.size(),
                                {settings_.rules.least_covered, settings_.unseen_counts,
                                 settings_.faults_kept, settings_.stop_after.value_or(HUGE_VAL)}),
                 0, 0, false});
        }
        for (auto const& channel : channels_)
            if (!(channel.delay < settings_.longest_lateness))
                throw BadInput("channel " + channel.name + " answers " + detail::text_of(channel.delay) +
                               " s late, and samples later than " +
                               detail::text_of(settings_.longest_lateness) +
                               " s are not placed: the longest lateness must be above the delay, the length "
                               "of a block and its way here together");
        for (auto const& channel : channels_)
            feeds_.push_back(
                {SampleRuns(channel, settings_.clock_tolerance), -HUGE_VAL, -HUGE_VAL, 0, 0, {}});
    }

    /// Tells the next tick: its time, seam, arc length in m, and whether its gate was open to the laser; as
    /// in a `TraceRow`. A seam that the plan does not have counts as no light.
    void tick(ScannerTime time, std::uint32_t seam, double arc_length, bool open) noexcept {
        bool const known = seam < seams_.size();
        auto const added = places_.take(time, known ? seam : 0, arc_length, open && known);
        for (std::size_t i = 0; i < added.count; ++i)
            add(added.place[i]);
        if (is_finite(time.seconds) && time.seconds > last_tick_)
            last_tick_ = time.seconds;
        while (closed_ < knots_.written() &&
               knots_.knot(closed_).time.seconds < last_tick_ - settings_.longest_lateness)
            close(knots_.knot(closed_++));
    }

    /// Takes the next block of a channel, once the ticks have come as far as its samples. Samples that come
    /// later than the longest lateness are counted and not placed; their cells stay unseen.
    BlockTaken take(SampleBlock const& block) noexcept {
        if (block.channel >= channels_.size())
            return BlockTaken::unknown_channel;
        if (block.values.size() > settings_.samples_per_block)
            return BlockTaken::too_long;
        if (!is_finite(last_tick_))
            return BlockTaken::not_yet; // of any tick
        auto const& channel = channels_[block.channel];
        double const ahead = block.time.seconds - channel.delay +
                             (static_cast<double>(block.values.size()) - 0.5) / channel.rate - horizon();
        // A stamp far ahead is a clock that jumped, which no later tick would explain.
        if (ahead > 0 && ahead <= settings_.longest_lateness)
            return BlockTaken::not_yet;
        auto& feed = feeds_[block.channel];
        double const before = feed.placed_until;
        auto const count = feed.runs.count().taken;
        feed.runs.add(block, [&](SampleRun const& run) { place(block.channel, run); });
        // A clock step takes back the block before it, so only the next block makes a block certain.
        if (feed.runs.count().taken > count)
            feed.certain_until = std::max(feed.certain_until, before);
        return BlockTaken::taken;
    }

    /// How a seam stands; all of none where the plan does not have it.
    LiveSeamState state(std::uint32_t seam) const noexcept {
        if (seam >= seams_.size())
            return {0, false, 0, 0};
        auto const& s = seams_[seam];
        bool const complete =
            s.record.pass() > 0 && !s.lit && std::all_of(feeds_.begin(), feeds_.end(), [&](Feed const& feed) {
                return feed.certain_until >= s.lit_until;
            });
        return {s.record.pass(), complete, s.record.bad(), s.record.faults_not_kept()};
    }

    /// Why to stop; none where nothing asks for it. It stays until `allow_again`.
    std::optional<LiveStop> const& asks_to_stop() const noexcept { return stop_; }

    /// Forgets that it asked to stop, after people looked into it. In a pass that goes on, the next bad place
    /// makes it ask again.
    void allow_again() noexcept { stop_.reset(); }

    /// How many samples of a channel came. The number must be below that of the channels.
    SampleCount const& count(std::size_t channel) const noexcept { return feeds_[channel].runs.count(); }

    /// Samples of a channel that came too late to be placed. The number must be below that of the channels.
    std::uint64_t late(std::size_t channel) const noexcept { return feeds_[channel].late; }

    /// The trace of the last pass over a seam with a band, as far as it has come. Its faults are those of
    /// samples; stretches without light, and samples that never came at its ends, show as cells that are not
    /// covered. Uses the heap. Throws BadInput for a seam that the plan does not have, without a band, or
    /// without a pass.
    SeamTrace trace(std::uint32_t seam, std::string const& part, double date) const {
        if (seam >= seams_.size())
            throw BadInput("the plan has " + std::to_string(seams_.size()) + " seams; asked was for number " +
                           std::to_string(seam) + ", counted from 0");
        return seams_[seam].record.trace(part, date);
    }

    /// The verdict on the last pass over a seam, as `judge` says it of that trace. To be asked when the pass
    /// is complete and before the seam begins again; earlier, what has not come is unseen. Uses the heap.
    /// Throws as `trace` does.
    SeamVerdict verdict(std::uint32_t seam, std::string const& part, double date) const {
        auto const seen = trace(seam, part, date);
        return judge(*seams_[seam].record.seam().band, seen, settings_.rules);
    }

private:
    struct Seam {
        LiveSeamRecord record;
        double lit_until;  ///< time of the last place that was told of the pass, s
        double last_place; ///< that place, m
        bool lit;
    };

    struct Feed {
        SampleRuns runs;
        double placed_until;  ///< s
        double certain_until; ///< s
        std::uint64_t near;   ///< the knot where it was last
        std::uint64_t late;
        detail::StepMarks marks;
    };

    static std::size_t knots_needed(LiveJudgeSettings const& settings) {
        using detail::text_of;
        auto const check = [](bool fine, std::string const& what, double given) {
            if (!fine || !is_finite(given))
                throw BadInput("the judge beside the loop: " + what + "; given was " + text_of(given));
        };
        double const lateness = settings.longest_lateness;
        check(lateness > 0, "the longest lateness must be above 0 s", lateness);
        check(settings.clock_tolerance > 0, "the clock's tolerance must be above 0 s",
              settings.clock_tolerance);
        if (settings.stop_after)
            check(*settings.stop_after >= 0, "the bad length after which it asks to stop must be 0 m or more",
                  *settings.stop_after);
        check(settings.samples_per_block > 0, "samples in a block must be 1 or more", 0);
        TickPlaces const checked(settings.timing);
        auto const& t = settings.timing;
        double const needed = std::ceil((lateness + t.on + t.off) / t.period) + 16;
        check(needed <= 1e7, "the longest lateness may hold 1e7 ticks at most", lateness);
        return static_cast<std::size_t>(needed);
    }

    /// Up to when it is known where the spot is, s.
    double horizon() const noexcept {
        return knots_.written() > 0 && knots_.last().light ? knots_.last().time.seconds : last_tick_;
    }

    /// A place that the ticks told: a pass begins, goes on or ends. Light that comes on again where it went
    /// out or farther on, with no other seam between, goes on with the pass, as in `passes_of`.
    void add(TickPlace const& place) noexcept {
        auto& s = seams_[place.seam];
        double const arc_length = std::clamp(place.arc_length, 0.0, s.record.seam().length);
        if (place.begins && !(s.record.pass() == pass_ && pass_ > 0 && arc_length >= s.last_place - 1e-6)) {
            s.record.begin(++pass_);
            s.lit_until = place.time.seconds;
        }
        s.lit = place.light;
        s.lit_until = std::max(s.lit_until, place.time.seconds);
        s.last_place = arc_length;
        if (closed_ < knots_.written() && closed_ == knots_.leaving())
            close(knots_.knot(closed_++));
        knots_.add({place.time, s.record.pass(), place.seam, arc_length, place.light});
        if (!place.light)
            for (std::size_t c = 0; c < feeds_.size(); ++c)
                if (feeds_[c].placed_until >= s.lit_until)
                    look(place.seam, c, arc_length, true);
    }

    /// What has not come of the way up to a knot comes too late.
    void close(LiveKnot const& knot) noexcept {
        for (std::size_t c = 0; c < feeds_.size(); ++c) {
            feeds_[c].certain_until = std::max(feeds_[c].certain_until, knot.time.seconds);
            if (!(feeds_[c].placed_until < knot.time.seconds))
                continue;
            feeds_[c].placed_until = knot.time.seconds;
            if (seams_[knot.seam].record.pass() == knot.pass)
                look(knot.seam, c, knot.arc_length, !knot.light);
        }
    }

    void place(std::size_t channel, SampleRun const& run) noexcept {
        auto& feed = feeds_[channel];
        bool const step = run.fault == SampleFault::clock_step;
        if (step)
            feed.marks.step();
        if (run.to.seconds <= last_tick_ - settings_.longest_lateness) {
            feed.late += run.fault == SampleFault::missing ? 0 : run.samples;
            return;
        }
        knots_.walk(run.from, run.to, feed.near, [&](LiveStretch const& stretch) {
            auto& s = seams_[stretch.seam];
            if (step)
                feed.marks.touched(stretch.pass);
            bool const mark = !step && run.fault != SampleFault::missing && feed.marks.marks(stretch.pass);
            if (stretch.pass != s.record.pass())
                return;
            if (mark)
                s.record.mark_step(channel, stretch.from);
            s.record.add(channel, run, stretch);
            look(stretch.seam, channel, stretch.to, !s.lit && run.to.seconds >= s.lit_until);
        });
        feed.placed_until = std::max(feed.placed_until, std::min(run.to.seconds, horizon()));
    }

    void look(std::uint32_t seam, std::size_t channel, double place, bool ends) noexcept {
        auto& record = seams_[seam].record;
        if (auto const too_much = record.look(channel, place, ends);
            too_much && !stop_ && settings_.stop_after)
            stop_ = {seam, record.pass(), record.bad(), *too_much};
    }

    std::vector<Channel> channels_;
    LiveJudgeSettings settings_;
    TickPlaces places_;
    LiveKnots knots_;
    std::vector<Seam> seams_;
    std::vector<Feed> feeds_;      ///< one a channel
    std::uint64_t pass_ = 0;       ///< the last one
    std::uint64_t closed_ = 0;     ///< knots that are too old for samples to come
    double last_tick_ = -HUGE_VAL; ///< s
    std::optional<LiveStop> stop_;
};

} // namespace seamhold

#endif
