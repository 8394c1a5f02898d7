#include "seamhold/record/sample_runs.hpp"

#include "support/allocation_guard.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

// The runs themselves. What becomes of them along a seam is in place.cpp.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr float no_number = std::numeric_limits<float>::quiet_NaN();

Channel channel_of(double longest_same = 0) {
    Channel c{"heat", 1000};
    c.delay = 0.25;
    c.readable = {-100, 0.7}; // the float nearest to 0.7 is below it
    c.longest_same = longest_same;
    return c;
}

/// Feeds blocks and keeps the runs.
struct Fed {
    SampleRuns runs;
    std::vector<SampleRun> all;

    explicit Fed(Channel const& channel) : runs(channel, 20e-6) { all.reserve(1000); }

    void block(std::uint64_t first, double time, std::vector<float> const& values) {
        runs.add({0, first, {time}, values}, [&](SampleRun const& run) { all.push_back(run); });
    }
    void finish() {
        runs.finish([&](SampleRun const& run) { all.push_back(run); });
    }
};

} // namespace

TEST_CASE("a sample stands for half an interval to either side, less the delay, joined from block to block") {
    Fed fed(channel_of());
    fed.block(10, 2, {0.1F, 0.2F});
    fed.block(12, 2.002015, {0.3F}); // 15 µs late: within the tolerance
    fed.finish();
    REQUIRE(fed.all.size() == 3);
    // (2 − 0.25) ∓ half of 1 ms; rounding of numbers about 2.
    CHECK(fed.all[0].from.seconds == doctest::Approx(1.7495).epsilon(1e-14));
    CHECK(fed.all[0].to.seconds == doctest::Approx(1.7505).epsilon(1e-14));
    CHECK(fed.all[1].from == fed.all[0].to);
    CHECK(fed.all[1].to.seconds == doctest::Approx(1.7515).epsilon(1e-14));
    CHECK(fed.all[2].from == fed.all[1].to);
    CHECK(fed.all[2].to.seconds == doctest::Approx(1.752515).epsilon(1e-14));
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK(fed.all[i].value == std::vector<float>({0.1F, 0.2F, 0.3F})[i]);
        CHECK(fed.all[i].samples == 1);
        CHECK_FALSE(fed.all[i].fault);
    }
    CHECK(fed.runs.start()->seconds == fed.all[0].from.seconds);
    CHECK(fed.runs.end() == fed.all[2].to);
}

TEST_CASE("one fault is one run; the sensor's end is the float nearest to it") {
    Fed fed(channel_of());
    fed.block(0, 1, {0.5F, no_number, INFINITY, 0.7F, 0.7F, 0.6999F, -100, -1e30F});
    fed.finish();
    REQUIRE(fed.all.size() == 5);
    CHECK_FALSE(fed.all[0].fault);
    CHECK(fed.all[1].fault == SampleFault::not_finite);
    CHECK(fed.all[1].samples == 2);
    CHECK(fed.all[2].fault == SampleFault::saturated);
    CHECK(fed.all[2].samples == 2);
    CHECK_FALSE(fed.all[3].fault);
    CHECK(fed.all[4].fault == SampleFault::saturated);
    CHECK(fed.all[4].samples == 2);
    CHECK(fed.runs.count().faulty == 6);
    CHECK(fed.runs.count().taken == 8);
}

TEST_CASE("equal samples are held back until it is known whether they are stuck") {
    Fed fed(channel_of(3e-3)); // four in a row are 3 ms from the first to the last
    fed.block(0, 1, {0.1F, 0.2F, 0.2F});
    CHECK(fed.all.size() == 1);
    fed.block(3, 1.003, {0.2F, 0.2F});
    CHECK(fed.all.size() == 1);
    fed.block(5, 1.005, {0.3F});
    REQUIRE(fed.all.size() == 2);
    CHECK_FALSE(fed.all[1].fault);
    CHECK(fed.all[1].samples == 4);
    fed.block(6, 1.006, {0.3F, 0.3F, 0.3F, 0.3F}); // five
    REQUIRE(fed.all.size() == 3);
    CHECK(fed.all[2].fault == SampleFault::stuck);
    CHECK(fed.all[2].samples == 5);
    fed.block(10, 1.01, {0.3F, 0.4F}); // it goes on being stuck, and ends
    REQUIRE(fed.all.size() == 4);
    CHECK(fed.all[3].fault == SampleFault::stuck);
    CHECK(fed.all[3].samples == 1);
    fed.finish();
    REQUIRE(fed.all.size() == 5);
    CHECK_FALSE(fed.all[4].fault);
    CHECK(fed.runs.count().faulty == 6);
    // What is not looked at is told at once, however long.
    Fed free(channel_of());
    for (std::uint64_t n = 0; n < 50; ++n) {
        free.block(n, 1 + 1e-3 * static_cast<double>(n), {0.5F});
        CHECK(free.all.size() == n + 1);
    }
}

// 27 November 2026: numbers that no integer or float holds were cast to one, which is undefined; every sample
// was stuck.
TEST_CASE("times and ranges beyond all numbers of samples and all floats are taken as they are meant") {
    constexpr float most = std::numeric_limits<float>::max();
    for (double const same : {1.0e15, 1.9e16, 1e300}) {
        Channel c = channel_of(same);
        c.readable = {-1e39, 1e300};
        Fed fed(c);
        fed.block(0, 1, std::vector<float>(300, 0.5F));
        fed.block(300, 1.3, {most, -most, 0.1F});
        fed.finish();
        CHECK(fed.runs.count().faulty == 0);
        for (auto const& run : fed.all)
            CHECK_FALSE(run.fault.has_value());
        c.readable = {1e39, 1e300}; // no float is within
        Fed none(c);
        none.block(0, 1, {most});
        none.finish();
        CHECK(none.runs.count().faulty == 1);
    }
    // A start anew at a stamp that is nonsense: more samples are missing than there are numbers.
    Fed fed(channel_of());
    fed.block(0, 1, {0.1F});
    fed.block(0, 1e300, {0.2F});
    fed.finish();
    REQUIRE(fed.all.size() == 3);
    CHECK(fed.all[1].samples == 1'000'000'000'000'000'000);
}

TEST_CASE("whether a block would be a clock step is known before it is taken") {
    Fed fed(channel_of());
    std::vector<float> const some{0.1F, 0.2F};
    auto const is_step = [&](std::uint64_t first, double time) {
        return fed.runs.is_step({0, first, {time}, some});
    };
    CHECK_FALSE(is_step(0, 1e9)); // nothing is known yet
    fed.block(0, 1, some);
    CHECK_FALSE(is_step(2, 1.002));
    CHECK_FALSE(is_step(1002, 2.002)); // a thousand were lost
    CHECK_FALSE(is_step(0, 2));        // started anew
    CHECK(is_step(2, 1.003));
    CHECK(is_step(2, 0.9));
    CHECK(is_step(0, 0.9));
    CHECK_FALSE(is_step(2, std::numeric_limits<double>::quiet_NaN())); // which is left out
    CHECK(fed.runs.count().taken == 2);
}

TEST_CASE("lost, repeated and overlapping numbers") {
    Fed fed(channel_of());
    fed.block(100, 1, {0.1F, 0.2F});
    fed.block(100, 1, {0.1F, 0.2F});           // again
    fed.block(101, 1.001, {0.2F, 0.3F});       // overlaps by one
    fed.block(110, 1.01, {0.4F});              // seven are lost
    fed.block(105, 1.005, {0.5F, 0.6F});       // and come too late
    fed.block(109, 1.009, {0.7F, 0.8F, 0.9F}); // one late, one repeated, one new
    fed.finish();
    auto const& count = fed.runs.count();
    CHECK(count.taken == 5);
    CHECK(count.missing == 7);
    CHECK(count.repeated == 2 + 1 + 2 + 2);
    CHECK(count.steps == 0);
    REQUIRE(fed.all.size() == 6);
    CHECK(fed.all[2].value == 0.3F);
    CHECK(fed.all[3].fault == SampleFault::missing);
    CHECK(fed.all[3].samples == 7);
    CHECK(fed.all[3].from == fed.all[2].to);
    CHECK(fed.all[3].to.seconds == doctest::Approx(1.01 - 0.2505).epsilon(1e-14));
    CHECK(fed.all[4].value == 0.4F);
    CHECK(fed.all[5].value == 0.9F);
}

TEST_CASE("a stamp that does not fit makes its block and the one before doubtful") {
    for (double const step : {25e-6, 5.0, -25e-6, -0.1}) {
        INFO("a step of " << step);
        Fed fed(channel_of());
        fed.block(0, 1, {0.1F, 0.2F});
        fed.block(2, 1.002 + step, {0.3F, 0.4F});
        fed.block(4, 1.004 + step, {0.5F});
        fed.finish();
        REQUIRE(fed.all.size() == 4);
        CHECK(fed.all[2].fault == SampleFault::clock_step);
        CHECK(fed.all[2].samples == 2);
        CHECK(fed.all[2].from.seconds == doctest::Approx(std::min(0.7495, 0.7515 + step)).epsilon(1e-14));
        CHECK(fed.all[2].to.seconds == doctest::Approx(std::max(0.7515, 0.7535 + step)).epsilon(1e-14));
        CHECK_FALSE(fed.all[3].fault);
        CHECK(fed.all[3].from.seconds == doctest::Approx(0.7535 + step).epsilon(1e-14));
        CHECK(fed.runs.count().steps == 1);
        CHECK(fed.runs.count().faulty == 2);
    }
    // After a long time without blocks the rate's own error may have grown: 200 ppm of 10 s.
    Fed fed(channel_of());
    fed.block(0, 1, {0.1F});
    fed.block(10000, 11.0019, {0.2F});
    CHECK(fed.runs.count().steps == 0);
    CHECK(fed.runs.count().missing == 9999);
    fed.block(10001, 11.0029 + 40e-6, {0.3F});
    CHECK(fed.runs.count().steps == 1);
    // A stamp that is no number is left out, an empty block too.
    fed.block(10002, std::numeric_limits<double>::infinity(), {0.4F});
    fed.block(10002, 11.0039, {});
    CHECK(fed.runs.count().taken == 3);
}

// 27 November 2026: the first example started its acquisition anew for each weld, and every first block was
// taken for a clock step.
TEST_CASE("numbers that begin again at 0 are an acquisition that was started anew") {
    Fed fed(channel_of());
    fed.block(0, 1, {0.1F, 0.2F, 0.3F});
    fed.block(0, 3, {0.4F, 0.5F}); // 2 s later: 1997 samples would have come between
    fed.finish();
    CHECK(fed.runs.count().steps == 0);
    CHECK(fed.runs.count().faulty == 0);
    CHECK(fed.runs.count().taken == 5);
    REQUIRE(fed.all.size() == 6);
    CHECK(fed.all[3].fault == SampleFault::missing);
    CHECK(fed.all[3].samples == 1997);
    CHECK(fed.all[3].from == fed.all[2].to);
    CHECK(fed.all[4].from == fed.all[3].to);
    CHECK(fed.all[4].from.seconds == doctest::Approx(3 - 0.25 - 0.0005).epsilon(1e-14));
    // At once, without a gap; numbers go on from there.
    fed.all.clear();
    fed.block(0, 3.002, {0.6F});
    fed.block(1, 3.003, {0.65F});
    fed.finish();
    CHECK(fed.all.size() == 2);
    CHECK(fed.runs.count().steps == 0);
    // From 0 again but earlier than what has come: that is no new start.
    fed.block(0, 2.5, {0.1F});
    CHECK(fed.runs.count().steps == 1);
    // Nor are other numbers.
    fed.block(7, 9, {0.1F});
    CHECK(fed.runs.count().steps == 2);
}

TEST_CASE("stamps that lap by less than the tolerance make no time run back") {
    auto channel = channel_of();
    channel.rate = 200e3; // 5 µs a sample
    Fed fed(channel);
    Random random(962);
    for (std::uint64_t n = 0; n < 300; ++n)
        fed.block(n, 1 + 5e-6 * static_cast<double>(n) + random.uniform(-9e-6, 9e-6), {0.5F});
    CHECK(fed.runs.count().steps == 0);
    REQUIRE(fed.all.size() == 300);
    for (std::size_t i = 0; i < 300; ++i) {
        CHECK(fed.all[i].to >= fed.all[i].from);
        if (i > 0)
            CHECK(fed.all[i].from == fed.all[i - 1].to);
    }
}

TEST_CASE("whatever comes, times go on without a gap, every sample is told once, and nothing allocates") {
    Random random(961);
    for (std::size_t run = 0; run < runs(300); ++run) {
        auto channel = channel_of(random.unit() < 0.5 ? 0 : random.uniform(0, 6e-3));
        Fed fed(channel);
        std::uint64_t number = random.index(5000);
        double time = random.uniform(0, 1000);
        std::vector<std::vector<float>> values(60);
        std::vector<SampleBlock> blocks;
        for (auto& some : values) {
            for (std::size_t k = random.index(12); k > 0; --k)
                some.push_back(random.index(4) == 0 ? (random.index(2) == 0 ? no_number : 0.9F)
                                                    : 0.1F * static_cast<float>(random.index(3)));
            std::uint64_t const lost = random.index(6) == 0 ? random.index(20) : 0;
            number += lost;
            time += 1e-3 * static_cast<double>(lost);
            if (random.index(10) == 0)
                time += random.uniform(-0.05, 0.05);
            std::uint64_t const back =
                std::min<std::uint64_t>(number, random.index(6) == 0 ? random.index(9) : 0);
            blocks.push_back({0,
                              number - back,
                              {time - 1e-3 * static_cast<double>(back) + random.uniform(-8e-6, 8e-6)},
                              some});
            number += some.size() > back ? some.size() - back : 0;
            time += 1e-3 * static_cast<double>(some.size() > back ? some.size() - back : 0);
        }
        AllocationGuard guard;
        for (auto const& b : blocks)
            fed.runs.add(b, [&](SampleRun const& r) { fed.all.push_back(r); });
        auto const allocations = guard.count();
        CHECK(allocations == 0);
        fed.finish();
        std::uint64_t told = 0, missing = 0, faulty = 0;
        ScannerTime edge{0};
        for (std::size_t i = 0; i < fed.all.size(); ++i) {
            auto const& r = fed.all[i];
            CHECK(r.to >= r.from);
            bool const stepped = r.fault == SampleFault::clock_step;
            bool const after_step = i > 0 && fed.all[i - 1].fault == SampleFault::clock_step;
            if (i > 0 && !stepped && !after_step)
                CHECK(r.from == edge);
            edge = r.to;
            (r.fault == SampleFault::missing ? missing : told) += r.samples;
            faulty += r.fault && r.fault != SampleFault::missing ? r.samples : 0;
            if (!r.fault)
                CHECK(is_finite(static_cast<double>(r.value)));
        }
        CHECK(told == fed.runs.count().taken);
        CHECK(missing == fed.runs.count().missing);
        CHECK(faulty == fed.runs.count().faulty);
        std::uint64_t came = 0;
        for (auto const& b : blocks)
            came += b.values.size();
        CHECK(came == fed.runs.count().taken + fed.runs.count().repeated);
    }
}
