#include "seamhold/record/live_judge.hpp"

#include "seamhold/live/live_link.hpp"
#include "seamhold/record/place.hpp"
#include "seamhold/record/trace_passes.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <optional>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;

// The judge beside the loop over ways that are formulas, against placing and judging the same samples as a
// batch, and against what was put into the signals. All numbers are invented.

namespace {

constexpr float no_number = std::numeric_limits<float>::quiet_NaN();

/// One tick as the loop's trace has it.
struct Tick {
    double time;
    std::uint32_t seam;
    double arc_length;
    bool open;
};

/// A stretch of the seam where a channel's signal is off by so many half widths.
struct Off {
    std::size_t pass, channel;
    double from, to, half_widths;
};

/// One way over a seam with an even speed that swings.
struct Way {
    std::uint32_t seam;
    double start, speed, share, frequency;
    double place(double t) const {
        return speed * (t - start + share / frequency * (1 - std::cos(frequency * (t - start))));
    }
};

/// Blocks of one channel with their values.
struct Block {
    std::size_t channel;
    std::uint64_t first;
    double time; ///< the stamp
    double arrives;
    std::vector<float> values;
    SampleBlock view() const { return {channel, first, {time}, values}; }
};

/// A loop and its sensors: what the ticks say, and what was seen.
struct World {
    TickTiming timing{10e-6, 150e-6, 80e-6};
    std::vector<double> lengths{0.012, 0.008, 0.015};
    std::vector<Channel> channels;
    std::vector<Way> ways;
    std::vector<Off> offs;
    double noise = 0.2; ///< of one sample, half widths
    double end = 0;
    std::vector<Tick> ticks;
    std::vector<Block> blocks; ///< in the order in which they arrive

    World() {
        channels = {{"plume light", 200e3}, {"heat", 20e3}, {"returned light", 50e3}};
        channels[1].delay = 1.3e-3;
        channels[2].delay = 40e-6;
    }

    /// Of the band: it changes along the seam, and its sides differ.
    static double centre(std::size_t channel, std::uint32_t seam, double s) {
        return 3 + static_cast<double>(channel) + 0.3 * seam + 20 * s;
    }
    static constexpr double half_below = 0.4, half_above = 0.25;

    double seen(std::size_t channel, double t, Random& random) const {
        for (std::size_t p = 0; p < ways.size(); ++p) {
            double const s = ways[p].place(t);
            if (t < ways[p].start || s > lengths[ways[p].seam])
                continue;
            double out = noise * random.normal();
            for (auto const& off : offs)
                if (off.pass == p && off.channel == channel && off.from <= s && s < off.to)
                    out += off.half_widths;
            return centre(channel, ways[p].seam, s) + out * (out < 0 ? half_below : half_above);
        }
        return 0.125 + 0.01 * random.unit(); // in the dark
    }

    SeamKey key(std::uint32_t seam) const {
        return {{{11, 12, 13, 14}}, "seam " + std::to_string(seam), 100 + seam};
    }

    SignalBand band(std::uint32_t seam) const {
        SignalBand band{key(seam), cells_of(lengths[seam], 0.5e-3), {}, {LimitRule::normal, 0.99, 0.95}, 3,
                        30};
        for (std::size_t c = 0; c < channels.size(); ++c) {
            ChannelBand limits{channels[c].name, {}, {}, {}};
            for (std::size_t i = 0; i < band.cells.count; ++i) {
                double const x = centre(c, seam, band.cells.middle(i));
                limits.centre.push_back(x);
                limits.low.push_back(x - half_below);
                limits.high.push_back(x + half_above);
            }
            band.channels.push_back(limits);
        }
        return band;
    }

    std::vector<LiveSeam> seams() const {
        std::vector<LiveSeam> all;
        for (std::uint32_t i = 0; i < lengths.size(); ++i)
            all.push_back({key(i), lengths[i], band(i)});
        return all;
    }

    /// A pass over a seam that begins a while after the last, or at a moment.
    void weld(std::uint32_t seam, double speed, double share = 0, double frequency = 100) {
        ways.push_back({seam, end + 0.01, speed, share, frequency});
        double t = ways.back().start;
        while (ways.back().place(t) < lengths[seam])
            t += 1e-4;
        end = t + 0.015;
    }

    /// Ticks of the whole time: the gate opens so that light comes on where the seam begins, and shuts so
    /// that it goes out before the seam ends.
    void make_ticks(std::function<bool(double time)> const& allowed = nullptr) {
        bool was_open = false;
        std::size_t done = 0; // ways that have ended do not begin again
        auto const count = static_cast<std::size_t>((end + 0.02) / timing.period);
        for (std::size_t n = 0; n < count; ++n) {
            double const t = static_cast<double>(n) * timing.period;
            Tick tick{t, 0, 0, false};
            double const at = t + (was_open ? timing.period + timing.off : timing.on);
            while (done < ways.size() && ways[done].place(at) > lengths[ways[done].seam])
                ++done;
            if (done < ways.size() && at >= ways[done].start)
                tick = {t, ways[done].seam, ways[done].place(at), !allowed || allowed(t)};
            was_open = tick.open;
            ticks.push_back(tick);
        }
    }

    /// All samples, in blocks of up to `longest` s which arrive up to `late` s after their last sample.
    void make_samples(Random& random, double longest = 0.003, double late = 0.004) {
        for (std::size_t c = 0; c < channels.size(); ++c) {
            auto const& channel = channels[c];
            auto const count = static_cast<std::uint64_t>((end - 0.002) * channel.rate);
            double arrived = 0;
            for (std::uint64_t n = 0; n < count;) {
                auto const size = std::min<std::uint64_t>(
                    count - n, 1 + random.index(static_cast<std::size_t>(longest * channel.rate)));
                double const stamp = 0.0005 + static_cast<double>(n) / channel.rate;
                Block block{c, n, stamp, 0, {}};
                for (std::uint64_t k = 0; k < size; ++k)
                    block.values.push_back(static_cast<float>(
                        seen(c, stamp + static_cast<double>(k) / channel.rate - channel.delay, random)));
                arrived = std::max(arrived, stamp + static_cast<double>(size) / channel.rate +
                                                random.uniform(0, late));
                block.arrives = arrived;
                n += size;
                blocks.push_back(block);
            }
        }
        sort_blocks();
    }

    void sort_blocks() {
        std::stable_sort(blocks.begin(), blocks.end(),
                         [](Block const& a, Block const& b) { return a.arrives < b.arrives; });
    }
};

/// What a run brought: the verdict on each pass when it was complete, and how much memory was asked for.
struct Run {
    std::vector<SeamVerdict> verdicts;
    std::vector<std::uint32_t> of_seam;
    std::optional<LiveStop> stop;
    double stopped = 0; ///< when it asked first, s
    std::size_t not_yet = 0;
    std::size_t allocations = 0;
};

Run run(World const& world, LiveJudge& judge, LiveLink<7>* link = nullptr) {
    Run result;
    std::vector<std::uint64_t> told(world.lengths.size(), 0);
    std::vector<double> complete(world.lengths.size(), 0);
    std::vector<std::vector<Block const*>> waiting(world.channels.size());
    std::size_t next = 0;
    for (auto const& tick : world.ticks) {
        AllocationGuard const guard;
        judge.tick({tick.time}, tick.seam, tick.arc_length, tick.open && !(link && link->stopped()));
        std::size_t used = guard.count();
        for (; next < world.blocks.size() && world.blocks[next].arrives <= tick.time; ++next)
            waiting[world.blocks[next].channel].push_back(&world.blocks[next]);
        for (auto& line : waiting)
            while (!line.empty()) {
                AllocationGuard const inner;
                auto const taken = judge.take(line.front()->view());
                used += inner.count();
                if (taken == BlockTaken::not_yet) {
                    ++result.not_yet;
                    break;
                }
                REQUIRE(taken == BlockTaken::taken);
                line.erase(line.begin());
            }
        {
            AllocationGuard const inner;
            if (judge.asks_to_stop() && link)
                link->stop();
            if (judge.asks_to_stop() && !result.stop) {
                result.stop = judge.asks_to_stop();
                result.stopped = tick.time;
            }
            used += inner.count();
        }
        result.allocations += used;
        // A clock that jumps back takes back what it had said before: give it 3 ms to do so.
        for (std::uint32_t s = 0; s < world.lengths.size(); ++s) {
            auto const state = judge.state(s);
            if (!state.complete || state.pass == told[s])
                complete[s] = tick.time;
            if (tick.time < complete[s] + 0.003)
                continue;
            told[s] = state.pass;
            result.verdicts.push_back(judge.verdict(s, "part 3", 20781));
            result.of_seam.push_back(s);
        }
    }
    return result;
}

/// The same samples as a batch.
std::vector<SeamVerdict> batch(World const& world, JudgeRules const& rules) {
    std::vector<NumberedRow<TraceRow>> rows;
    for (auto const& tick : world.ticks) {
        TraceRow row{};
        row.time = {tick.time};
        row.seam = tick.seam;
        row.arc_length = tick.arc_length;
        row.open = tick.open;
        rows.push_back({rows.size(), row});
    }
    std::vector<RecordedSeam> seams;
    for (std::uint32_t s = 0; s < world.lengths.size(); ++s)
        seams.push_back({world.key(s), world.lengths[s]});
    auto const passes = passes_of(rows, world.timing, seams, 0);
    SamplePlacer placer(passes, world.channels);
    for (auto const& block : world.blocks)
        placer.add(block.view());
    std::vector<SeamVerdict> all;
    for (auto const& trace : placer.placed("part 3", 20781).traces)
        for (std::uint32_t s = 0; s < world.lengths.size(); ++s)
            if (world.key(s) == trace.key)
                all.push_back(judge(world.band(s), trace, rules));
    return all;
}

/// Places and areas are sums of a few thousand products: the same to 1e-10.
void check_same(SeamVerdict const& live, SeamVerdict const& whole) {
    auto const near = [](double a, double b) { return std::abs(a - b) <= 1e-10 * (1 + std::abs(b)); };
    CHECK(live.key == whole.key);
    CHECK(live.part == whole.part);
    CHECK(live.judgement == whole.judgement);
    REQUIRE(live.findings.size() == whole.findings.size());
    for (std::size_t i = 0; i < live.findings.size(); ++i) {
        auto const &a = live.findings[i], &b = whole.findings[i];
        CHECK(a.channel == b.channel);
        CHECK(a.side == b.side);
        CHECK(a.rule == b.rule);
        CHECK(a.from == b.from);
        CHECK(a.to == b.to);
        CHECK(a.outside == b.outside);
        CHECK(near(a.area, b.area));
        CHECK(near(a.worst, b.worst));
        CHECK(a.worst_at == b.worst_at);
    }
    REQUIRE(live.unseen.size() == whole.unseen.size());
    for (std::size_t i = 0; i < live.unseen.size(); ++i) {
        CHECK(live.unseen[i].channel == whole.unseen[i].channel);
        CHECK(live.unseen[i].from == whole.unseen[i].from);
        CHECK(live.unseen[i].to == whole.unseen[i].to);
    }
    // What samples themselves showed; the batch also says where there never was light, or no sample.
    std::vector<FaultSpan> faults;
    for (auto const& fault : whole.faults)
        if (fault.fault != SampleFault::no_light)
            faults.push_back(fault);
    REQUIRE(live.faults.size() == faults.size());
    for (std::size_t i = 0; i < faults.size(); ++i) {
        CHECK(live.faults[i].fault == faults[i].fault);
        CHECK(live.faults[i].channel == faults[i].channel);
        CHECK(near(live.faults[i].from, faults[i].from));
        CHECK(near(live.faults[i].to, faults[i].to));
        CHECK(live.faults[i].samples == faults[i].samples);
    }
}

LiveJudgeSettings settings(World const& world, JudgeRules const& rules = {0.001, 0.2, {}, 0.5, 0.0006}) {
    LiveJudgeSettings all;
    all.timing = world.timing;
    all.rules = rules;
    return all;
}

} // namespace

TEST_CASE("good welds are good, and what was put in is found where it was put in") {
    Random random(921);
    World world;
    world.weld(0, 0.12, 0.3);
    world.weld(2, 0.2, 0.5, 300);
    world.weld(1, 0.08);
    world.offs = {{1, 0, 0.0040, 0.0070, -2}, {1, 2, 0.0100, 0.0125, 3}};
    world.make_ticks();
    world.make_samples(random);
    LiveJudge judge(world.seams(), world.channels, settings(world));
    auto const result = run(world, judge);
    REQUIRE(result.verdicts.size() == 3);
    CHECK(result.of_seam == std::vector<std::uint32_t>{0, 2, 1});
    CHECK(result.verdicts[0].judgement == Judgement::good);
    CHECK(result.verdicts[2].judgement == Judgement::good);
    auto const& found = result.verdicts[1];
    CHECK(found.judgement == Judgement::not_good);
    REQUIRE(found.findings.size() == 2);
    CHECK(found.findings[0].channel == 0);
    CHECK(found.findings[0].side == BandSide::below);
    // To a cell.
    CHECK(found.findings[0].from == doctest::Approx(0.004).epsilon(1e-12));
    CHECK(found.findings[0].to == doctest::Approx(0.007).epsilon(1e-12));
    CHECK(found.findings[1].channel == 2);
    CHECK(found.findings[1].side == BandSide::above);
    CHECK(found.findings[1].from == doctest::Approx(0.010).epsilon(1e-12));
    CHECK(found.findings[1].to == doctest::Approx(0.0125).epsilon(1e-12));
    CHECK(!result.stop); // nobody asked it to
    if (AllocationGuard::counts())
        CHECK(result.allocations == 0);
    // 5.5 mm are bad, in two channels at different places.
    CHECK(judge.state(2).bad == doctest::Approx(0.0055).epsilon(1e-12));
    CHECK(judge.state(0).bad == 0);
    CHECK(judge.late(0) == 0);
    CHECK(judge.count(0).missing == 0);
    CHECK(judge.count(0).taken == static_cast<std::uint64_t>((world.end - 0.002) * 200e3));
}

TEST_CASE("the verdict beside the loop is that of the batch, whatever is wrong with samples and light") {
    Random random(922);
    std::size_t good = 0, not_good = 0, not_judged = 0, faults = 0;
    for (std::size_t n = 0; n < test::runs(12); ++n) {
        World world;
        world.timing.on = random.uniform(0, 300e-6);
        world.timing.off = random.uniform(0, 300e-6);
        world.noise = 0.1;
        world.channels[0].rate = random.uniform(10e3, 200e3);
        world.channels[1].delay = random.uniform(0, 3e-3);
        world.channels[2].readable = {0, 100};
        world.channels[1].longest_same = 1e-3;
        for (std::size_t p = 0; p < 4; ++p) {
            auto const seam = static_cast<std::uint32_t>(random.index(3));
            double const speed = random.uniform(0.1, 0.4), share = random.uniform(0, 0.8);
            world.weld(seam, speed, share, random.uniform(50, 500));
            if (random.index(2) == 0)
                for (int k = 0; k < 3; ++k) {
                    double const from = random.uniform(0, 0.015);
                    world.offs.push_back(
                        {p, random.index(3), from, from + random.uniform(0, 0.003), random.uniform(-3, 3)});
                }
        }
        // The gate shuts for a moment within a seam, once in a while.
        double const dark = random.uniform(0, world.end), darkness = random.index(3) == 0 ? 0.003 : 0.0;
        world.make_ticks([&](double t) { return !(t > dark && t < dark + darkness); });
        world.make_samples(random);
        if (random.index(2) == 0)
            for (auto& block : world.blocks) {
                std::size_t const what = random.index(60);
                auto& values = block.values;
                if (what == 0)
                    values[random.index(values.size())] = no_number;
                if (what == 1)
                    std::fill(values.begin(), values.end(), block.channel == 2 ? 100.0F : no_number);
                if (what == 2)
                    std::fill(values.begin(), values.end(), 4.0F); // stuck where that is looked at
                if (what == 3)
                    values.resize(values.size() / 2 + 1); // the rest is lost
                if (what == 4)
                    block.time += random.uniform(-2e-3, 2e-3); // the clock jumps, and back
            }
        JudgeRules const rules{random.uniform(0, 0.002), 0.2, 0.004, 0.5, random.uniform(0, 0.003)};
        LiveJudge live(world.seams(), world.channels, settings(world, rules));
        auto const result = run(world, live);
        auto const whole = batch(world, rules);
        REQUIRE(result.verdicts.size() == whole.size());
        for (std::size_t i = 0; i < whole.size(); ++i) {
            INFO("run " << n << ", pass " << i << " of " << whole.size());
            check_same(result.verdicts[i], whole[i]);
            ++(whole[i].judgement == Judgement::good       ? good
               : whole[i].judgement == Judgement::not_good ? not_good
                                                           : not_judged);
            faults += result.verdicts[i].faults.size();
        }
        if (AllocationGuard::counts())
            CHECK(result.allocations == 0);
    }
    CHECK(good > 5); // each kind was tried
    CHECK(not_good > 5);
    CHECK(not_judged > 0);
    CHECK(faults > 20);
}

// 27 November 2026: the batch named a step between seams and in the dark, the judge beside the loop did not.
TEST_CASE("a clock step between seams or in the dark is named as the batch names it") {
    for (std::size_t const where : {0U, 1U}) {
        Random random(931 + where);
        World world;
        world.weld(0, 0.1);
        world.weld(2, 0.1);
        world.weld(1, 0.1);
        double const dark = world.ways[1].start + 0.05, darkness = 0.003;
        world.make_ticks([&](double t) { return !(t > dark && t < dark + darkness); });
        world.make_samples(random, 0.001);
        double const step = where == 0 ? world.ways[1].start - 0.008 : dark + 0.0012;
        for (auto& block : world.blocks)
            if (block.channel == 0 && block.time > step)
                block.time -= 60e-6;
        LiveJudge judge(world.seams(), world.channels, settings(world));
        auto const result = run(world, judge);
        auto const whole = batch(world, settings(world).rules);
        REQUIRE(result.verdicts.size() == 3);
        REQUIRE(whole.size() == 3);
        for (std::size_t i = 0; i < 3; ++i) {
            INFO("step " << where << ", pass " << i);
            check_same(result.verdicts[i], whole[i]);
            bool const named = i == 1 || (where == 1 && i == 2);
            CHECK(result.verdicts[i].faults.size() == (named ? 1 : 0));
            for (auto const& fault : result.verdicts[i].faults) {
                CHECK(fault.fault == SampleFault::clock_step);
                CHECK(fault.channel == 0);
                CHECK(std::abs(fault.from - (where == 1 && i == 1 ? 0.0053 : 0)) <= 0.1e-3);
                CHECK(fault.to == fault.from);
            }
        }
    }
}

TEST_CASE("it asks to stop after too many bad millimetres within one pass, and light goes out") {
    Random random(923);
    World world;
    world.weld(0, 0.1);
    world.weld(2, 0.1);
    // 2 mm are bad in the first seam, 1.5 mm in the second so far; then, in two channels at once, 2 mm more.
    world.offs = {{0, 0, 0.0050, 0.0070, -2},
                  {1, 0, 0.0010, 0.0025, 2},
                  {1, 1, 0.0050, 0.0070, -3},
                  {1, 2, 0.0050, 0.0070, 3}};
    world.make_ticks();
    world.make_samples(random);
    auto asked = settings(world);
    asked.stop_after = 0.0025;
    LiveJudge judge(world.seams(), world.channels, asked);
    LiveLink<7> link;
    auto const result = run(world, judge, &link);
    REQUIRE(result.stop);
    CHECK(result.stop->seam == 1 + 1);
    CHECK(result.stop->pass == 2);
    CHECK(result.stop->bad == doctest::Approx(0.003).epsilon(1e-12)); // cells of 0.5 mm: the first above 2.5
    CHECK(result.stop->at == doctest::Approx(0.0065).epsilon(1e-12));
    // When the spot was at 6.5 mm, plus the way of the samples: delay, a block, the sending.
    double const there = world.ways[1].start + 0.0065 / 0.1;
    CHECK(result.stopped > there);
    CHECK(result.stopped < there + 1.3e-3 + 0.003 + 0.004 + 1e-4);
    CHECK(link.stopped());
    if (AllocationGuard::counts())
        CHECK(result.allocations == 0);
    // The light went out there, and the rest of the seam is unseen.
    REQUIRE(result.verdicts.size() == 2);
    auto const& stopped = result.verdicts[1];
    CHECK(stopped.judgement == Judgement::not_good);
    REQUIRE(stopped.unseen.size() == 3);
    for (auto const& unseen : stopped.unseen) {
        CHECK(unseen.from >= 0.0065);
        CHECK(unseen.from <= 0.0065 + 0.1 * (result.stopped - there + 1e-3) + 0.0005);
        CHECK(unseen.to == doctest::Approx(0.015).epsilon(1e-12));
    }
    judge.allow_again();
    CHECK(!judge.asks_to_stop());

    // 4.5 mm would have been allowed in each.
    auto lenient = asked;
    lenient.stop_after = 0.0035;
    LiveJudge patient(world.seams(), world.channels, lenient);
    CHECK(!run(world, patient).stop);
    CHECK(patient.state(2).bad == doctest::Approx(0.0035).epsilon(1e-12));
    CHECK(patient.state(0).bad == doctest::Approx(0.002).epsilon(1e-12));
}

TEST_CASE("a sensor that falls silent: the pass is complete without it, unseen, and may count for the stop") {
    Random random(924);
    World world;
    world.weld(2, 0.1);
    world.make_ticks();
    world.make_samples(random);
    for (std::size_t n = 0; n < 3000; ++n) { // the loop ticks on
        auto tick = world.ticks.back();
        tick.time += 1e-5;
        world.ticks.push_back(tick);
    }
    double const silent = world.ways[0].start + 0.05; // at 5 mm
    world.blocks.erase(std::remove_if(world.blocks.begin(), world.blocks.end(),
                                      [&](Block const& b) { return b.channel == 1 && b.time > silent; }),
                       world.blocks.end());
    auto asked = settings(world);
    asked.longest_lateness = 0.02;
    asked.stop_after = 0.003;
    LiveJudge judge(world.seams(), world.channels, asked);
    auto const result = run(world, judge);
    REQUIRE(result.verdicts.size() == 1);
    CHECK(result.verdicts[0].judgement == Judgement::not_judged);
    REQUIRE(result.verdicts[0].unseen.size() == 1);
    CHECK(result.verdicts[0].unseen[0].channel == 1);
    CHECK(result.verdicts[0].unseen[0].from == doctest::Approx(0.005).epsilon(0.15)); // blocks of up to 3 ms
    CHECK(result.verdicts[0].unseen[0].to == doctest::Approx(0.015).epsilon(1e-12));
    CHECK(!result.stop);

    asked.unseen_counts = true;
    LiveJudge strict(world.seams(), world.channels, asked);
    auto const counted = run(world, strict);
    REQUIRE(counted.stop);
    // 3.5 mm after it fell silent, once its samples are too late; not at the seam's end.
    CHECK(counted.stopped < silent + 0.0046 / 0.1 + 0.02);
    CHECK(counted.stopped > silent + 0.02);
    CHECK(
        strict.state(2).bad ==
        doctest::Approx(counted.verdicts[0].unseen[0].to - counted.verdicts[0].unseen[0].from).epsilon(1e-9));
}

TEST_CASE("samples that come too late are counted and not placed, and the verdict does not guess") {
    Random random(925);
    World world;
    world.weld(0, 0.1);
    world.weld(1, 0.1);
    world.make_ticks();
    world.make_samples(random, 0.001, 0.0005);
    // Plume light of the first seam's middle comes 60 ms late, and the rest of that channel behind it.
    double const from = world.ways[0].start + 0.04;
    for (auto& block : world.blocks)
        if (block.channel == 0 && block.time > from)
            block.arrives = std::max(block.arrives, from + 0.06);
    world.sort_blocks();
    auto asked = settings(world);
    asked.longest_lateness = 0.03;
    LiveJudge judge(world.seams(), world.channels, asked);
    auto const result = run(world, judge);
    REQUIRE(result.verdicts.size() == 2);
    CHECK(result.verdicts[0].judgement == Judgement::not_judged);
    REQUIRE(result.verdicts[0].unseen.size() == 1);
    CHECK(result.verdicts[0].unseen[0].channel == 0);
    CHECK(result.verdicts[0].unseen[0].from == doctest::Approx(0.004).epsilon(0.15));
    // What is not older than 30 ms when it comes: from 30 ms after `from` on.
    CHECK(result.verdicts[0].unseen[0].to == doctest::Approx(0.007).epsilon(0.15));
    double const late = 0.03 * 200e3;
    CHECK(std::abs(static_cast<double>(judge.late(0)) - late) <= 0.0025 * 200e3);
    CHECK(judge.late(1) == 0);
    CHECK(result.verdicts[1].judgement == Judgement::good);
}

TEST_CASE("the next part over the same seam begins afresh, light that comes on again goes on") {
    Random random(926);
    World world;
    world.weld(0, 0.1);
    world.weld(0, 0.15);
    world.weld(0, 0.1);
    world.offs = {{0, 0, 0.0050, 0.0070, -2}, {2, 1, 0.0060, 0.0075, 2}};
    double const dark = world.ways[1].start + 0.02; // at 3 mm of the second part, for 2 ms: 0.3 mm
    world.make_ticks([&](double t) { return !(t > dark && t < dark + 0.002); });
    world.make_samples(random);
    LiveJudge judge(world.seams(), world.channels, settings(world));
    auto const result = run(world, judge);
    REQUIRE(result.verdicts.size() == 3);
    CHECK(result.verdicts[0].judgement == Judgement::not_good);
    // One cell lies half in the dark, or more: not more than 0.6 mm unseen are allowed.
    CHECK(result.verdicts[1].judgement == Judgement::good);
    CHECK(result.verdicts[2].judgement == Judgement::not_good);
    CHECK(judge.state(0).pass == 3);
    CHECK(judge.state(0).bad == doctest::Approx(0.0015).epsilon(1e-12));
    CHECK(judge.state(1).pass == 0);
    CHECK(!judge.state(1).complete);
}

TEST_CASE("samples of the part before do not get into the next one's cells") {
    Random random(930);
    World world;
    world.weld(0, 0.1);
    world.weld(0, 0.1);
    world.offs = {{0, 0, 0.0090, 0.0120, -3}};
    world.make_ticks();
    world.make_samples(random);
    for (auto& block : world.blocks)
        block.arrives += block.channel == 0 ? 0.06 : 0; // when the next part has begun
    world.sort_blocks();
    for (std::size_t n = 0; n < 8000; ++n) {
        auto tick = world.ticks.back();
        tick.time += 1e-5;
        world.ticks.push_back(tick);
    }
    LiveJudge judge(world.seams(), world.channels, settings(world));
    auto const result = run(world, judge);
    REQUIRE(result.verdicts.size() == 1); // the first was never complete
    CHECK(result.verdicts[0].judgement == Judgement::good);
    CHECK(result.verdicts[0].findings.empty());
    CHECK(judge.state(0).bad == 0);
    auto const whole = batch(world, settings(world).rules);
    REQUIRE(whole.size() == 2);
    CHECK(whole[0].judgement == Judgement::not_good);
    check_same(result.verdicts[0], whole[1]);
}

TEST_CASE("what cannot be taken is said, and nothing is taken of it") {
    World world;
    LiveJudge judge(world.seams(), world.channels, settings(world));
    std::vector<float> const values(20'000, 3.0F);
    std::span<float const> const some(values.data(), 200);
    // 27 November 2026: blocks that came before the first tick were taken and lost.
    CHECK(judge.take({0, 0, {0.0005}, some}) == BlockTaken::not_yet);
    judge.tick({0.001}, 0, 0, false);
    CHECK(judge.take({0, 0, {0.0005}, values}) == BlockTaken::too_long);
    CHECK(judge.take({3, 0, {0.0}, some}) == BlockTaken::unknown_channel);
    // 200 samples at 200 kHz: until 1.5 ms, and the ticks are at 1 ms.
    CHECK(judge.take({0, 0, {0.0005}, some}) == BlockTaken::not_yet);
    CHECK(judge.count(0).taken == 0);
    judge.tick({0.0016}, 0, 0, false);
    CHECK(judge.take({0, 0, {0.0005}, some}) == BlockTaken::taken);
    CHECK(judge.count(0).taken == 200);
    // Stamped from 2.5 to 2.85 ms, seen 1.3 ms before: until 1.575 ms.
    CHECK(judge.take({1, 0, {0.0025}, some.first(8)}) == BlockTaken::taken);
    CHECK(judge.take({1, 8, {0.0029}, some.first(8)}) == BlockTaken::not_yet);
    // A stamp a minute ahead is not waited for.
    CHECK(judge.take({0, 200, {60.0}, some}) == BlockTaken::taken);
    CHECK(judge.count(0).steps == 1);
    CHECK(std::string(to_string(BlockTaken::not_yet)) == "not yet");
    CHECK(std::string(to_string(BlockTaken::unknown_channel)) == "unknown channel");
    CHECK(has(refusal_of([&] { return judge.verdict(7, "x", 1); }),
              "the plan has 3 seams; asked was for number 7"));
    CHECK(has(refusal_of([&] { return judge.verdict(1, "x", 1); }), "seam seam 1 has not been welded yet"));
    CHECK(judge.state(7).pass == 0);
    static_assert(noexcept(judge.tick({0}, 0, 0, false))&& noexcept(judge.take({0, 0, {0}, some})));
    static_assert(noexcept(judge.state(0))&& noexcept(judge.asks_to_stop()));
}

TEST_CASE("faults beyond the room that there is are counted") {
    Random random(927);
    World world;
    world.weld(2, 0.1);
    world.make_ticks();
    world.make_samples(random);
    for (auto& block : world.blocks)
        if (block.channel == 0)
            block.values[0] = no_number; // some every 1.5 ms, 0.15 mm: they join; every other block no more
    std::size_t n = 0;
    for (auto& block : world.blocks)
        if (block.channel == 2 && ++n % 10 == 0)
            block.values[0] = no_number; // every 1.5 mm
    auto asked = settings(world);
    asked.faults_kept = 4;
    LiveJudge judge(world.seams(), world.channels, asked);
    auto const result = run(world, judge);
    REQUIRE(result.verdicts.size() == 1);
    CHECK(result.verdicts[0].faults.size() == 4);
    CHECK(judge.state(2).faults_not_kept >= 4);
    CHECK(result.verdicts[0].judgement == Judgement::good); // single samples cover little
    if (AllocationGuard::counts())
        CHECK(result.allocations == 0);
}

TEST_CASE("a seam without a band is not judged, and nothing is kept of it") {
    Random random(928);
    World world;
    world.weld(1, 0.1);
    world.make_ticks();
    world.make_samples(random);
    auto seams = world.seams();
    seams[1].band.reset();
    LiveJudge judge(seams, world.channels, settings(world));
    for (auto const& tick : world.ticks)
        judge.tick({tick.time}, tick.seam, tick.arc_length, tick.open);
    for (auto const& block : world.blocks)
        CHECK(judge.take(block.view()) == BlockTaken::taken);
    CHECK(judge.state(1).pass == 1);
    CHECK(judge.state(1).bad == 0);
    CHECK(has(refusal_of([&] { return judge.verdict(1, "x", 1); }), "has no band"));
}

TEST_CASE("a wrong band is refused at set-up, and so are settings that are not possible") {
    World const world;
    auto const refused = [&](auto const& change) {
        auto seams = world.seams();
        auto channels = world.channels;
        auto asked = settings(world);
        change(seams, channels, asked);
        return refusal_of([&] { return LiveJudge(seams, channels, asked).state(0).pass; });
    };
    CHECK(refused([](auto&, auto&, auto&) {}) == "");
    CHECK(
        has(refused([](auto&, auto& channels, auto&) { channels[0].delay = 0.15; }), "answers 0.15 s late"));
    CHECK(has(refused([](auto& seams, auto&, auto& settings) {
                  seams[0].band->wish.rule = LimitRule::whole_part;
                  seams[0].band->rules = settings.rules;
                  settings.rules.longest_run = 0.0123;
              }),
              "rules"));
    CHECK(has(refused([](auto& seams, auto&, auto&) { std::swap(seams[0].band, seams[1].band); }),
              "the band is of seam seam 1, the plan that is loaded is of seam seam 0"));
    CHECK(has(refused([](auto& seams, auto&, auto&) { seams[1].key.plan[FingerprintPart::calibration] = 9; }),
              "made with another calibration than the plan that is loaded"));
    CHECK(has(refused([](auto& seams, auto&, auto&) { seams[2].key.pass = 9; }),
              "the seam's shape, direction, speed or power, or the head's way over it, differs"));
    CHECK(has(refused([](auto& seams, auto&, auto&) { seams[0].length = 0.013; }),
              "12 mm long, the seam 13 mm"));
    CHECK(has(refused([](auto& seams, auto&, auto&) { seams[0].length = 0; }), "a length above 0"));
    CHECK(has(refused([](auto&, auto& channels, auto&) { channels[0].name = "x"; }),
              "channel number 1 is plume light; declared is x"));
    CHECK(has(refused([](auto&, auto& channels, auto&) { channels.pop_back(); }),
              "3 channels; declared are 2"));
    CHECK(has(refused([](auto& seams, auto&, auto&) { seams[0].band->channels[0].low[3] = 100; }),
              "in order low, centre, high"));
    CHECK(has(refused([](auto& seams, auto&, auto&) { seams.clear(); }), "needs the seams"));
    CHECK(
        has(refused([](auto&, auto& channels, auto&) { channels[1].rate = 0; }), "the rate must be above 0"));
    CHECK(has(refused([](auto&, auto&, auto& s) { s.rules = {{}, {}, {}, 0.5, 0}; }), "no rule"));
    CHECK(has(refused([](auto&, auto&, auto& s) { s.longest_lateness = 0; }),
              "longest lateness must be above 0"));
    CHECK(has(refused([](auto&, auto&, auto& s) { s.longest_lateness = 1000; }), "1e7 ticks at most"));
    CHECK(has(refused([](auto&, auto&, auto& s) { s.clock_tolerance = -1; }), "clock's tolerance"));
    CHECK(
        has(refused([](auto&, auto&, auto& s) { s.stop_after = -0.001; }), "0 m or more; given was -0.001"));
    CHECK(has(refused([](auto&, auto&, auto& s) { s.samples_per_block = 0; }), "samples in a block"));
    CHECK(
        has(refused([](auto&, auto&, auto& s) { s.timing.period = 0; }), "a tick's period must be above 0"));
}

TEST_CASE("nonsense neither stops nor fools it") {
    Random random(929);
    double const odd[] = {0,
                          -1,
                          1e300,
                          -1e300,
                          std::numeric_limits<double>::infinity(),
                          -std::numeric_limits<double>::infinity(),
                          std::numeric_limits<double>::quiet_NaN()};
    std::size_t allocations = 0;
    for (std::size_t n = 0; n < test::runs(20); ++n) {
        World world;
        auto asked = settings(world);
        asked.longest_lateness = 0.01;
        asked.stop_after = 0.0;
        LiveJudge judge(world.seams(), world.channels, asked);
        double t = 0;
        std::vector<float> values(100);
        for (std::size_t k = 0; k < 5000; ++k) {
            t += random.uniform(0, 3e-5);
            // A clock that runs ahead for good makes all later ticks wrong: only towards the end.
            double const time =
                random.index(50) == 0 ? odd[k < 4000 ? 3 + random.index(4) : random.index(7)] : t;
            double const place = random.index(20) == 0 ? odd[random.index(7)] : random.uniform(0, 0.01);
            for (auto& value : values)
                value = random.index(10) == 0 ? no_number : static_cast<float>(random.uniform(-1e3, 1e3));
            double const stamp = random.index(50) == 0 ? odd[random.index(7)] : t;
            std::uint64_t const first = random.index(50) == 0 ? random.index(1U << 30U) : 10 * k;
            std::span<float const> const block(values.data(), random.index(100));
            AllocationGuard const guard;
            judge.tick({time}, static_cast<std::uint32_t>(random.index(5)), place, random.index(8) != 0);
            (void)judge.take({random.index(4), first, {stamp}, block});
            allocations += guard.count();
        }
        for (std::uint32_t s = 0; s < 3; ++s) {
            CHECK(judge.state(s).bad >= 0);
            CHECK(judge.state(s).bad <= world.lengths[s] * (1 + 1e-12));
            if (judge.state(s).pass == 0)
                continue;
            for (auto const& found : judge.verdict(s, "x", 1).findings) {
                CHECK(is_finite(found.area));
                CHECK(is_finite(found.worst));
            }
        }
    }
    if (AllocationGuard::counts())
        CHECK(allocations == 0);
}
