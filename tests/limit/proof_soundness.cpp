#include "seamhold/limit/proof.hpp"

#include <doctest/doctest.h>

#include "limit/scenarios.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>

// "Within" is never wrong: random jobs with limits near the edge, against samples by doubles a hundred times
// denser than a tick of 10 µs. See scenarios.hpp for what is apart from the proof.

using namespace seamhold;
using namespace seamhold::test;

namespace {

// A billionth of a limit counts as nothing. Doubles: a jerk of some 1e4 rad/s³ is a sum of terms up to a
// thousand times as large, each with some ten roundings of 1.1e-16, that is 1e-12 of it.
constexpr double allowance = equal_share + 1e-11;

/// A factor from a peak to a limit: 0.9 … 1.1, often 1 ± 1e-9 … 1e-3.
double near_one(Random& random) {
    if (random.index(2) == 0)
        return random.uniform(0.9, 1.1);
    double const off = log_uniform(random, 1e-9, 1e-3);
    return random.index(2) == 0 ? 1 + off : 1 - off;
}

struct Counts {
    std::size_t scenarios = 0, all_within = 0, within = 0, exceeds = 0, undecided = 0;
    std::size_t looked_at = 0, most_looked_at = 0;

    void take(SeamProof const& proof) {
        ++scenarios;
        all_within += proof.verdict() == Verdict::within ? 1 : 0;
        looked_at += proof.looked_at;
        most_looked_at = std::max(most_looked_at, proof.looked_at);
        for (auto const& l : proof.limits)
            ++(l.verdict == Verdict::within ? within : l.verdict == Verdict::exceeds ? exceeds : undecided);
    }
    void tell() const {
        MESSAGE(scenarios, " scenarios, ", all_within, " of them within; limits: ", within, " within, ",
                exceeds, " exceed, ", undecided,
                " undecided; stretches: ", looked_at / std::max<std::size_t>(1, scenarios),
                " on average, at most ", most_looked_at);
    }
};

/// A random job with a seam of some 10 ms, with no limits yet.
template <class C> struct Drawn {
    bool lights;
    SeamDraw draw;
    ProofSeam<> seam;
    World world;
    ProofJob<C> job;

    explicit Drawn(Random& random)
        : lights(random.index(3) == 0), draw(random_seam(random, 0.01, lights)),
          seam(draw.seam(random_start(random))),
          world(random_world(random, seam.start, seam.seam.duration())), job{world.template chain<C>(
                                                                                 roomy_head()),
                                                                             {}} {
        if (lights)
            job.process = invented_process();
    }

    /// Whether the weave goes along the path across places where a derivative jumps.
    bool crosses() const {
        auto const& weave = draw.options.weave;
        return weave.moves() && (weave.form == WeaveForm::circle || weave.form == WeaveForm::figure_eight) &&
               (draw.shape.pieces().size() > 1 ||
                std::holds_alternative<CurvePiece>(draw.shape.pieces().front()));
    }
};

/// Calls use(limit) for every limit that was set.
template <class Use> void each_limit(bool lights, Use const& use) {
    for (auto const limit : plain_limits)
        use(limit);
    if (lights)
        for (auto const limit : light_limits)
            use(limit);
}

/// How much is used where a proof says that the peak is, on either side of a break there.
template <class C>
double used_at(ProofJob<C> const& job, ProofSeam<> const& seam, LimitProof const& l, double start,
               bool lights) {
    Extremes there;
    double const time = l.time - start, last_bits = 1e-15 * std::abs(start) + 2e-12;
    for (double const t : {time - last_bits, time, time + last_bits})
        there.take(readings_of(job, seam, std::clamp(t, 0.0, seam.seam.duration()), lights));
    if (time > 1e-9 && time < seam.seam.duration() - 1e-9)
        there.take(jump_readings(job, seam, time, lights));
    return used(job, seam, l.limit, there);
}

/// Whether all that a proof says agrees with readings by doubles.
template <class C>
void compare(ProofJob<C> const& job, ProofSeam<> const& seam, SeamProof const& proof, Extremes const& dense,
             bool lights, bool as_given = true) {
    each_limit(lights, [&](Limit limit) {
        auto const* const l = proof.of(limit);
        REQUIRE(l != nullptr);
        double const there = used_at(job, seam, *l, seam.start, lights);
        double const peak = std::max(used(job, seam, limit, dense), there);
        CAPTURE(std::string(to_string(limit)));
        CAPTURE(peak);
        CAPTURE(1e9 * (peak - l->utilisation.high));
        CAPTURE(l->time - seam.start);
        CAPTURE(seam.seam.duration());
        CAPTURE(there);
        CAPTURE(l->utilisation.low);
        CAPTURE(l->utilisation.high);
        if (l->verdict == Verdict::within)
            CHECK(peak <= 1 + allowance);
        CHECK(peak <= l->utilisation.high + allowance);
        CHECK(there >= l->utilisation.low - allowance);
        if (l->verdict == Verdict::exceeds && as_given)
            CHECK(there > 1);
    });
}

template <class C> void within_is_within(Random& random, Counts& counts) {
    Drawn<C> drawn(random);
    auto& job = drawn.job;
    auto const dense = extremes_of(job, drawn.seam, 1e-7, drawn.lights);
    set_limits(job, drawn.seam, dense, random, [&] { return near_one(random); });
    auto const proof = prove(job, drawn.seam);
    compare(job, drawn.seam, proof, dense, drawn.lights);
    counts.take(proof);
}

/// With a box: poses of it, applied to the motion by hand.
template <class C> void within_for_the_box(Random& random, Counts& counts) {
    Drawn<C> drawn(random);
    auto& job = drawn.job;
    set_limits(job, drawn.seam, extremes_of(job, drawn.seam, 1e-5, drawn.lights), random,
               [&] { return random.uniform(0.98, 1.3); });
    ProofOptions options;
    auto const some = [&](double low, double high) {
        return random.index(2) == 0 ? 0 : log_uniform(random, low, high);
    };
    auto& box = options.change.box;
    box = {some(1e-6, 1e-3), some(1e-6, 1e-2), some(1e-6, 1e-3), some(1e-6, 1e-2), some(1e-7, 1e-4)};
    options.budget = 3000;
    auto const proof = prove(job, drawn.seam, options);
    counts.take(proof);
    for (int i = 0; i < 6; ++i) {
        auto const by = random_displaced(random, box);
        auto displaced = job;
        displaced.chain = drawn.world.template chain<C>(job.chain.head, by);
        auto const seam = drawn.draw.seam(drawn.world.start, by);
        compare(displaced, seam, proof, extremes_of(displaced, seam, 1e-5, drawn.lights), drawn.lights,
                false);
    }
}

/// Within by 0.1 % or more by samples: proven or not. A weave that goes along the path crosses its joints,
/// where the hull of two pieces forgets what belongs together: those are counted apart.
template <class C> void found_within(Random& random, Counts& counts, Counts& crossing) {
    Drawn<C> drawn(random);
    auto& job = drawn.job;
    set_limits(job, drawn.seam, extremes_of(job, drawn.seam, 1e-6, drawn.lights), random,
               [&] { return 1 / (random.index(2) == 0 ? 0.999 : random.uniform(0.9, 0.999)); });
    auto const proof = prove(job, drawn.seam);
    (drawn.crosses() ? crossing : counts).take(proof);
    for (auto const& l : proof.limits)
        if (l.verdict != Verdict::within && !drawn.crosses())
            MESSAGE(std::string(to_string(l.limit)), " is ", std::string(to_string(l.verdict)), ", from ",
                    l.utilisation.low, " to ", l.utilisation.high, " at ", l.time - drawn.seam.start,
                    " s, after ", proof.looked_at, " stretches");
}

} // namespace

TEST_CASE("what is within, is within at every sample") {
    Random random(20261126);
    Counts counts;
    std::size_t const n = runs(16);
    for (std::size_t i = 0; i < n; ++i) {
        CAPTURE(i);
        within_is_within<LogChain>(random, counts);
        within_is_within<MoveChain>(random, counts);
        within_is_within<BeltChain>(random, counts);
    }
    counts.tell();
    CHECK(counts.within > counts.scenarios);
    CHECK(counts.exceeds > counts.scenarios);
    CHECK(counts.undecided * 20 < counts.within);
}

TEST_CASE("what is within for a box of poses, is within for poses in it") {
    Random random(20261127);
    Counts counts;
    std::size_t const n = runs(5);
    for (std::size_t i = 0; i < n; ++i) {
        CAPTURE(i);
        within_for_the_box<LogChain>(random, counts);
        within_for_the_box<MoveChain>(random, counts);
        within_for_the_box<BeltChain>(random, counts);
    }
    counts.tell();
    CHECK(counts.within > counts.scenarios);
}

TEST_CASE("what samples find within by a thousandth, is proven") {
    Random random(20261128);
    Counts counts, crossing;
    std::size_t const n = runs(40);
    for (std::size_t i = 0; i < n; ++i) {
        CAPTURE(i);
        found_within<LogChain>(random, counts, crossing);
        found_within<MoveChain>(random, counts, crossing);
        found_within<BeltChain>(random, counts, crossing);
    }
    counts.tell();
    crossing.tell();
    CHECK(static_cast<double>(counts.all_within) >= 0.999 * static_cast<double>(counts.scenarios));
    CHECK(static_cast<double>(crossing.all_within) >= 0.85 * static_cast<double>(crossing.scenarios));
}
