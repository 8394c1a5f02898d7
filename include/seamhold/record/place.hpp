#ifndef SEAMHOLD_RECORD_PLACE_HPP
#define SEAMHOLD_RECORD_PLACE_HPP

#include "seamhold/record/cell_filler.hpp"
#include "seamhold/record/faulty_stretch.hpp"
#include "seamhold/record/pass_timeline.hpp"
#include "seamhold/record/sample_runs.hpp"
#include "seamhold/record/seam_pass.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// Where on a seam's path what a sample says happened, m: of a sample stamped at `stamp`, with the channel's
/// delay taken off. None where the spot was not on the seam then, or without light.
inline std::optional<double> place_of(SeamPass const& pass, Channel const& channel, ScannerTime stamp) {
    return pass.lit_place(stamp + -channel.delay);
}

/// How samples are placed.
struct PlaceOptions {
    double resolution = 0.5e-3; ///< of traces along the seam, m: cells are as wide at most
    /// How far a block's stamp may be from where its numbers put it, s, beside 200 ppm of the time since the
    /// block before; beyond it is a clock step. 20 µs are 10 µm at 0.5 m/s.
    double clock_tolerance = 20e-6;
};

/// What became of one channel's samples.
struct ChannelAccount {
    SampleCount count;        ///< of all that came
    double off_seam = 0;      ///< of these, samples taken while the spot was on no seam
    double without_light = 0; ///< and while it was on one, in the dark
    /// And while it stood in the light, slower than 0.1 mm/s along the path: they stand for no length, or
    /// next to none, so no trace shows what happened then, but for faults of the samples.
    double while_it_stood = 0;
    /// Samples that were wanted of a seam in the light and are not there, for whatever reason: numbers left
    /// out, an acquisition that was started anew, samples that began too late or ended too early.
    double missing_in_light = 0;
};

/// Traces, and what is not in them.
struct PlacedSamples {
    std::vector<SeamTrace> traces;        ///< one a pass, in the order of passes
    std::vector<ChannelAccount> accounts; ///< one a channel
};

/// Places samples on the seams that were under the spot when they were taken: from blocks of any number of
/// channels with rates and delays of their own, and passes that say where the spot was, to a trace a pass
/// with one number a cell (see `CellFiller`: the mean over the cell's length, whatever the sweep's speed).
/// Faulty samples (see `SampleRuns`) are in no mean; they stand in the traces as faults with their place and
/// number. A stretch of the seam that had no light, longer than half a cell, is a fault too, and so are
/// samples of a lit stretch that never came, be it before the first block or after the last. Faults of one
/// kind less than a cell apart are one.
///
/// A cell's mean is over its length, so what happens while the spot stands is in no trace: a dwell in a
/// corner is not seen, however long. Such samples are counted (`ChannelAccount::while_it_stood`); their
/// faults stand in the trace with `from` = `to`.
///
/// After a clock step nobody knows which side of it is right, so a step is a fault (`clock_step`) wherever it
/// may have been: of the place that its blocks touched, and, since it may have been in the dark or between
/// seams, of the next place that the channel sees in the light (`from` = `to` there, no samples). Where that
/// is in the pass in which it saw before, the next pass has it at its beginning too. A trace with it is not
/// learnt (`why_not`), and its verdict names it. Traces after that do not say it again;
/// `ChannelAccount::count` has how often the clock stepped.
///
/// A sample is placed as well as its pass and its stamp say: the pass to its knots' error (`planned_pass`,
/// `passes_of`: 1 µm), the stamp to its own error times the speed of the spot. Work of a block is its samples
/// and the knots passed; what is kept does not grow with samples.
class SamplePlacer {
public:
    /// Throws BadInput without passes (samples without a plan have no place), for passes that overlap in time
    /// or what `check_pass` refuses, for channels that `check_channels` refuses, and for a resolution or a
    /// tolerance that is not above 0.
    SamplePlacer(std::vector<SeamPass> const& passes, std::vector<Channel> channels,
                 PlaceOptions const& options = {})
        : timeline_(passes), channels_(std::move(channels)) {
        using detail::text_of;
        check_channels(channels_);
        if (!(options.clock_tolerance > 0) || !is_finite(options.clock_tolerance))
            throw BadInput("a clock's tolerance must be above 0; given was " +
                           text_of(options.clock_tolerance) + " s");
        for (auto const& pass : passes)
            for (std::size_t c = 0; c < channels_.size(); ++c)
                lanes_.push_back({CellFiller(cells_of(pass.length, options.resolution)), {}});
        for (auto const& pass : passes)
            passes_.push_back({pass.key, cells_of(pass.length, options.resolution)});
        for (auto const& channel : channels_)
            feeds_.push_back({SampleRuns(channel, options.clock_tolerance), 0, {}, {}});
    }

    /// Takes the next block of a channel in. Throws BadInput for a channel that was not declared.
    void add(SampleBlock const& block) {
        if (block.channel >= channels_.size())
            throw BadInput("samples came for channel number " + std::to_string(block.channel) +
                           ", counted from 0; declared are " + std::to_string(channels_.size()));
        feeds_[block.channel].runs.add(block, [&](SampleRun const& run) { place(block.channel, run, true); });
    }

    /// The traces of all that has come, for a part and the date of its weld, days (see `SeamTrace`). What has
    /// not come by now is missing. More blocks may be taken in afterwards.
    PlacedSamples placed(std::string const& part, double date) const {
        auto all = *this;
        return all.end(part, date);
    }

private:
    /// One channel on one pass.
    struct Lane {
        CellFiller filler;
        std::vector<detail::FaultyStretch> faults;
    };

    struct Pass {
        SeamKey key;
        Cells cells;
    };

    struct Feed {
        SampleRuns runs;
        std::size_t near = 0; ///< the stretch of the timeline where it was last
        ChannelAccount account;
        detail::StepMarks marks;
    };

    Lane& lane(std::size_t pass, std::size_t channel) { return lanes_[pass * channels_.size() + channel]; }

    static constexpr double standing = 1e-4; ///< m/s: slower is standing

    /// `came`: the run is of samples that count in the account, or of numbers that were left out.
    void place(std::size_t channel, SampleRun const& run, bool came) {
        auto& feed = feeds_[channel];
        auto& account = feed.account;
        bool const step = run.fault == SampleFault::clock_step;
        bool const missing = run.fault == SampleFault::missing;
        came = came && !missing;
        if (step)
            feed.marks.step();
        auto const samples = static_cast<double>(run.samples);
        double on_seams = 0;
        timeline_.walk(run.from, run.to, feed.near, [&](PassStretch const& s) {
            auto& l = lane(s.pass, channel);
            double const there = s.share * samples;
            on_seams += there;
            if (!s.light) {
                account.without_light += came ? there : 0;
                note(l, SampleFault::no_light, channel, s, there);
                return;
            }
            if (step)
                feed.marks.touched(s.pass);
            else if (!missing && feed.marks.marks(s.pass))
                note(l, SampleFault::clock_step, channel, {s.pass, s.light, s.from, s.from, 0}, 0);
            account.missing_in_light += missing ? there : 0;
            bool const stands = std::abs(s.to - s.from) < standing * s.share * (run.to - run.from);
            account.while_it_stood += came && stands ? there : 0;
            if (!run.fault)
                l.filler.add(static_cast<double>(run.value), s.from, s.to);
            else
                note(l, *run.fault, channel, s, there);
            if (step)
                l.filler.forget(s.from, s.to);
        });
        account.off_seam += came ? samples - on_seams : 0;
    }

    static void note(Lane& l, SampleFault fault, std::size_t channel, PassStretch const& s, double samples) {
        detail::FaultyStretch const next{fault, channel, std::min(s.from, s.to), std::max(s.from, s.to),
                                         samples};
        auto const last = std::find_if(l.faults.rbegin(), l.faults.rend(),
                                       [&](detail::FaultyStretch const& f) { return f.fault == fault; });
        if (last == l.faults.rend() || !last->join(next, l.filler.cells().width()))
            l.faults.push_back(next);
    }

    PlacedSamples end(std::string const& part, double date) {
        PlacedSamples all;
        for (std::size_t c = 0; c < channels_.size(); ++c) {
            auto& feed = feeds_[c];
            feed.runs.finish([&](SampleRun const& run) { place(c, run, true); });
            auto const never_came = [&](ScannerTime from, ScannerTime to) {
                if (!(to > from))
                    return;
                auto const samples =
                    static_cast<std::uint64_t>(std::llround((to - from) * channels_[c].rate));
                place(c, {from, to, 0, samples, SampleFault::missing}, false);
            };
            auto const start = feed.runs.start();
            never_came(timeline_.start(), start ? std::min(*start, timeline_.end()) : timeline_.end());
            if (start)
                never_came(std::max(feed.runs.end(), timeline_.start()), timeline_.end());
            all.accounts.push_back(feed.account);
            all.accounts.back().count = feed.runs.count();
        }
        for (std::size_t p = 0; p < passes_.size(); ++p)
            all.traces.push_back(trace(p, part, date));
        return all;
    }

    SeamTrace trace(std::size_t p, std::string const& part, double date) {
        auto const& pass = passes_[p];
        SeamTrace t{pass.key, part, date, pass.cells, {}, {}, {}};
        auto const dark = timeline_.dark_stretches(p, pass.cells.length, pass.cells.width() / 2);
        std::vector<detail::FaultyStretch> faults;
        for (std::size_t c = 0; c < channels_.size(); ++c) {
            auto const& l = lane(p, c);
            faults.insert(faults.end(), l.faults.begin(), l.faults.end());
            for (auto const& s : dark)
                faults.push_back({SampleFault::no_light, c, s.from, s.to, 0});
            t.channels.push_back(channels_[c].name);
            t.traces.push_back(l.filler.trace());
        }
        t.faults = detail::fault_spans(std::move(faults), pass.cells.width());
        return t;
    }

    PassTimeline timeline_;
    std::vector<Channel> channels_;
    std::vector<Pass> passes_;
    std::vector<Lane> lanes_; ///< channels of the first pass, of the second, …
    std::vector<Feed> feeds_; ///< one a channel
};

} // namespace seamhold

#endif
