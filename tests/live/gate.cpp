#include "seamhold/live/gate.hpp"

#include "gate_facts.hpp"
#include "support/allocation_guard.hpp"

#include <doctest/doctest.h>

#include <set>
#include <utility>

// The gate's rules one by one. What follows from them in sequence is held against a model in gate_model.cpp.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double tick = 1e-4; // s; five of them are the slack at a seam's ends

/// A gate, and the time that goes on.
struct Run {
    Gate gate;
    double now = 100;

    explicit Run(GateSettings const& settings = gate_settings(), std::size_t seams = 2)
        : gate(settings, seams) {}

    GateFacts facts(double seam_time, std::uint32_t seam = 0) const {
        auto f = good_facts(seam_time, now);
        f.seam = seam;
        return f;
    }
    GateAnswer say(GateFacts f) {
        auto const answer = gate.tick(f);
        now += tick;
        return answer;
    }
    /// From one time of the seam to another, all well; the last answer.
    GateAnswer weld(double from, double to, std::uint32_t seam = 0) {
        GateAnswer answer{};
        auto const count = static_cast<int>(std::lround((to - from) / tick));
        for (int i = 0; i <= count; ++i)
            answer = say(facts(from + i * tick, seam));
        return answer;
    }
    /// Between seams.
    GateAnswer idle() {
        auto f = facts(0);
        f.welding = false;
        return say(f);
    }
    GateEvent const& last() const { return gate.events()[gate.events().size() - 1]; }
    SeamRecord const& seam(std::size_t i = 0) const { return gate.seams()[i]; }
};

} // namespace

TEST_CASE("a seam with nothing against it is welded from start to end") {
    Run run;
    CHECK(run.idle().cause.reason == GateReason::no_seam);
    CHECK(run.seam().outcome == SeamOutcome::not_begun);
    auto const first = run.say(run.facts(0));
    CHECK(first.open);
    CHECK(first.would_open);
    CHECK(first.cause.reason == GateReason::none);
    CHECK(run.seam().outcome == SeamOutcome::running);
    CHECK(run.last().action == GateAction::opened);
    CHECK(run.last().time.seconds == 100 + tick);
    CHECK(run.weld(tick, 0.2).open);
    auto const after = run.idle();
    CHECK_FALSE(after.open);
    CHECK(after.cause.reason == GateReason::no_seam);
    CHECK(run.seam().outcome == SeamOutcome::complete);
    CHECK(run.seam().begun_at == 0);
    CHECK(run.seam().reached == doctest::Approx(0.04).epsilon(1e-12));
    CHECK(run.seam().closings == 0);
    CHECK(run.gate.events().seen() == 2);
    CHECK(run.last().action == GateAction::ended);
    CHECK(run.last().arc_length == doctest::Approx(0.04).epsilon(1e-12));
    CHECK(run.seam(1).outcome == SeamOutcome::not_begun);
}

TEST_CASE("facts that nobody filled in keep it shut") {
    Gate gate(gate_settings(), 1);
    CHECK_FALSE(gate.tick({}).open);
    GateFacts facts;
    facts.welding = true;
    CHECK_FALSE(gate.tick(facts).open);
    // Each alone: all good facts but one that stayed as it is made.
    GateFacts made;
    auto const opens = [&](auto const& leave) {
        GateFacts f = good_facts(0, 5);
        leave(f);
        return Gate(gate_settings(), 1).tick(f).open;
    };
    CHECK(opens([](GateFacts&) {}));
    for (auto const& number : numbers_of_facts())
        CHECK_FALSE(opens([&](GateFacts& f) { number(f) = number(made); }));
    CHECK_FALSE(opens([&](GateFacts& f) { f.welding = made.welding; }));
    CHECK_FALSE(opens([&](GateFacts& f) { f.has_forecast = made.has_forecast; }));
    CHECK_FALSE(opens([&](GateFacts& f) { f.fault = made.fault; }));
    CHECK_FALSE(opens([&](GateFacts& f) { f.status = made.status; }));
    CHECK_FALSE(opens([&](GateFacts& f) { f.inputs = made.inputs; }));
    CHECK_FALSE(opens([&](GateFacts& f) { f.other_fingerprint = made.other_fingerprint; }));
    CHECK_FALSE(opens([&](GateFacts& f) { f.stop = made.stop; }));
}

TEST_CASE("each rule shuts it, says why, and leaves it open just within") {
    for (auto const& one : spoiled_facts()) {
        INFO(std::string(to_string(one.reason)));
        Run run;
        run.weld(0, 0.1);
        auto facts = run.facts(0.1 + tick);
        one.mend(facts);
        CHECK(run.say(facts).open);
        facts = run.facts(0.1 + 2 * tick);
        one.spoil(facts);
        auto const answer = run.say(facts);
        CHECK_FALSE(answer.open);
        CHECK_FALSE(answer.would_open);
        CHECK(answer.cause.reason == one.reason);
        CHECK(answer.cause.which == one.which);
        if (is_finite(one.value)) {
            CHECK(answer.cause.value == doctest::Approx(one.value).epsilon(1e-9));
            CHECK(answer.cause.allowed == doctest::Approx(one.allowed).epsilon(1e-12));
        }
        CHECK(run.last().action == GateAction::closed);
        CHECK(run.last().cause.reason == one.reason);
        CHECK(run.last().time.seconds == facts.now.seconds);
        CHECK(run.seam().outcome == SeamOutcome::stopped);
        CHECK(run.seam().stopped_at == run.seam().reached);
        if (is_finite(one.value)) // the tick before: 100.1 ms at 0.2 m/s
            CHECK(run.seam().stopped_at == doctest::Approx(0.02002).epsilon(1e-12));
        CHECK(run.seam().cause.reason == one.reason);
        // And it does not open again in this seam.
        auto const later = run.weld(0.1 + 3 * tick, 0.2);
        CHECK_FALSE(later.open);
        CHECK(later.cause.reason == GateReason::shut_before);
        run.idle();
        CHECK(run.seam().outcome == SeamOutcome::stopped);
        CHECK(run.gate.events().seen() == 2);
        // The next seam is welded.
        CHECK(run.weld(0, 0.2, 1).open);
        run.idle();
        CHECK(run.seam(1).outcome == SeamOutcome::complete);
    }
}

TEST_CASE("no number that is not finite leaves it open") {
    double const bad[] = {NAN, -NAN, INFINITY, -INFINITY};
    for (auto const& number : numbers_of_facts())
        for (double const x : bad) {
            Run run;
            run.weld(0, 0.1);
            auto facts = run.facts(0.1 + tick);
            number(facts) = x;
            auto const answer = run.say(facts);
            CHECK_FALSE(answer.open);
            CHECK_FALSE(answer.would_open);
            CHECK(answer.cause.reason != GateReason::none);
            CHECK(run.seam().outcome == SeamOutcome::stopped);
            Run fresh;
            facts = fresh.facts(0);
            number(facts) = x;
            CHECK_FALSE(fresh.say(facts).open);
            CHECK(fresh.seam().outcome == SeamOutcome::missed);
        }
}

TEST_CASE("of several reasons the first is named") {
    auto const spoiled = spoiled_facts();
    for (auto const& a : spoiled)
        for (auto const& b : spoiled) {
            if (a.reason >= b.reason)
                continue;
            auto both = good_facts(0, 1);
            b.spoil(both);
            a.spoil(both);
            CHECK(cause_in(both, gate_settings()).reason == a.reason);
        }
}

TEST_CASE("a seam that cannot begin on time is missed") {
    SUBCASE("something is against it at its start") {
        Run run;
        auto facts = run.facts(0);
        facts.has_forecast = false;
        CHECK(run.say(facts).cause.reason == GateReason::no_forecast);
        CHECK(run.seam().outcome == SeamOutcome::missed);
        CHECK(run.seam().cause.reason == GateReason::no_forecast);
        CHECK(run.last().action == GateAction::missed);
        CHECK(run.weld(tick, 0.2).cause.reason == GateReason::shut_before);
        CHECK(run.gate.events().seen() == 1);
    }
    SUBCASE("light is first asked for when the start has passed") {
        Run run;
        auto const answer = run.say(run.facts(6 * tick));
        CHECK_FALSE(answer.open);
        CHECK(answer.cause.reason == GateReason::begun_late);
        CHECK(answer.cause.value == doctest::Approx(6e-4));
        CHECK(answer.cause.allowed == 0.5e-3);
        CHECK(run.seam().outcome == SeamOutcome::missed);
        CHECK(run.weld(7 * tick, 0.2).cause.reason == GateReason::shut_before);
    }
    SUBCASE("within the slack it is not late") {
        Run run;
        CHECK(run.weld(4.99 * tick, 0.2).open);
        run.idle();
        CHECK(run.seam().outcome == SeamOutcome::complete);
        CHECK(run.seam().begun_at == doctest::Approx(0.2 * 4.99 * tick));
    }
    SUBCASE("unless that was chosen; it has a gap then") {
        auto settings = gate_settings();
        settings.begin_late = true;
        Run run(settings);
        auto facts = run.facts(0);
        facts.has_forecast = false;
        CHECK_FALSE(run.say(facts).open);
        CHECK(run.seam().outcome == SeamOutcome::missed);
        CHECK(run.weld(50 * tick, 0.2).open);
        run.idle();
        CHECK(run.seam().outcome == SeamOutcome::gaps);
        CHECK(run.seam().begun_at == doctest::Approx(0.001));
        CHECK(run.weld(6 * tick, 0.2, 1).open);
        run.idle();
        CHECK(run.seam(1).outcome == SeamOutcome::gaps);
    }
}

TEST_CASE("a seam that may go on does so from where it stopped") {
    auto settings = gate_settings();
    settings.reopen_in_seam = true;
    Run run(settings);
    run.weld(0, 0.1);
    auto facts = run.facts(0.1 + tick);
    facts.inputs = {InputFault::not_ready, 2, 0};
    CHECK_FALSE(run.say(facts).open);
    CHECK(run.seam().stopped_at == doctest::Approx(0.02));
    SUBCASE("at once") {
        CHECK(run.say(run.facts(0.1 + 2 * tick)).open);
        CHECK(run.weld(0.1 + 3 * tick, 0.2).open);
    }
    SUBCASE("the robot's program begins the seam anew") {
        run.idle();
        auto const before = run.weld(0, 0.0999);
        CHECK_FALSE(before.open);
        CHECK(before.cause.reason == GateReason::shut_before);
        CHECK(run.weld(0.10005, 0.2).open);
    }
    run.idle();
    CHECK(run.seam().outcome == SeamOutcome::gaps);
    CHECK(run.seam().closings == 1);
    CHECK(run.seam().stopped_at == doctest::Approx(0.02));
    CHECK(run.seam().reached == doctest::Approx(0.04));
    CHECK(run.seam().cause.reason == GateReason::input);
    CHECK(run.gate.events().seen() == 4);
    CHECK(run.weld(0, 0.001).cause.reason == GateReason::welded_before);
}

TEST_CASE("a seam is welded once a part") {
    Run run;
    run.weld(0, 0.2);
    run.idle();
    auto const again = run.weld(0, 0.01);
    CHECK_FALSE(again.open);
    CHECK(again.cause.reason == GateReason::welded_before);
    CHECK(run.seam().outcome == SeamOutcome::complete);
    CHECK_FALSE(run.gate.weld_again(0)); // it is asked for just now
    CHECK_FALSE(run.gate.weld_again(2));
    run.idle();
    SUBCASE("one seam") {
        run.weld(0, 0.2, 1);
        run.idle();
        CHECK(run.gate.weld_again(0));
        CHECK(run.weld(0, 0.2).open);
        run.idle();
        CHECK(run.weld(0, 0.01, 1).cause.reason == GateReason::welded_before);
    }
    SUBCASE("another part") {
        CHECK(run.gate.new_part());
        CHECK(run.seam().outcome == SeamOutcome::not_begun);
        CHECK(run.weld(0, 0.1).open);
        CHECK_FALSE(run.gate.new_part());
        CHECK(run.seam().outcome == SeamOutcome::running);
    }
    SUBCASE("another part while a seam that was missed is asked for: not in its middle") {
        CHECK(run.gate.new_part());
        run.weld(6 * tick, 0.1);
        CHECK(run.gate.new_part());
        CHECK(run.weld(0.1 + tick, 0.2).cause.reason == GateReason::shut_before);
        CHECK(run.seam().cause.reason == GateReason::begun_late);
    }
}

TEST_CASE("a seam that ends early was stopped") {
    for (int const ticks_missing : {4, 6}) {
        Run run;
        run.weld(0, 0.2 - ticks_missing * tick);
        run.idle();
        CHECK(run.seam().outcome == (ticks_missing == 4 ? SeamOutcome::complete : SeamOutcome::stopped));
        CHECK(run.last().cause.reason == (ticks_missing == 4 ? GateReason::none : GateReason::no_seam));
    }
    Run run;
    run.weld(0, 0.1);
    auto facts = run.facts(0.1);
    facts.welding = false;
    facts.fault = StreamFault::restarted;
    auto const answer = run.say(facts);
    CHECK(answer.cause.reason == GateReason::stream_fault);
    CHECK(run.seam().cause.reason == GateReason::stream_fault);
}

TEST_CASE("one seam may follow the other from one tick to the next") {
    Run run;
    run.weld(0, 0.2);
    CHECK(run.weld(0, 0.2, 1).open);
    run.idle();
    CHECK(run.seam(0).outcome == SeamOutcome::complete);
    CHECK(run.seam(1).outcome == SeamOutcome::complete);
    CHECK(run.gate.events().seen() == 4);
    // From the middle of one to the other: the first was stopped.
    Run other;
    other.weld(0, 0.1);
    CHECK(other.weld(0, 0.2, 1).open);
    CHECK(other.seam(0).outcome == SeamOutcome::stopped);
    CHECK(other.seam(0).cause.reason == GateReason::no_seam);
}

TEST_CASE("beyond a seam's ends, and for no seam there is, no light") {
    Run run;
    CHECK(run.weld(-20.01 * tick, -5.01 * tick).cause.reason == GateReason::no_seam);
    CHECK(run.seam().outcome == SeamOutcome::not_begun);
    CHECK(run.say(run.facts(-4.99 * tick)).open);
    CHECK(run.weld(-4 * tick, 0.2 + 4.9 * tick).open);
    CHECK_FALSE(run.say(run.facts(0.2 + 5.1 * tick)).open);
    CHECK(run.seam().outcome == SeamOutcome::complete);
    CHECK(run.say(run.facts(0, 2)).cause.reason == GateReason::no_seam);
    CHECK(run.say(run.facts(0, 4000000000U)).cause.reason == GateReason::no_seam);
}

TEST_CASE("a ticking thread that stood still is found out") {
    SUBCASE("within a seam") {
        Run run;
        run.weld(0, 0.1);
        run.now += 3.9 * tick; // 4.9 from tick to tick
        CHECK(run.say(run.facts(0.1 + 4.9 * tick)).open);
        run.now += 4.1 * tick;
        auto const answer = run.say(run.facts(0.1 + 10 * tick));
        CHECK(answer.cause.reason == GateReason::late_tick);
        CHECK(answer.cause.value == doctest::Approx(5.1e-4).epsilon(1e-9));
        CHECK(run.seam().stopped_at == doctest::Approx(0.2 * (0.1 + 4.9 * tick)));
    }
    SUBCASE("its clock went back") {
        Run run;
        run.weld(0, 0.1);
        run.now -= 1.5 * tick;
        CHECK(run.say(run.facts(0.1 + tick)).cause.reason == GateReason::late_tick);
    }
    SUBCASE("over a seam's end, with the light on") {
        Run run;
        run.weld(0, 0.2);
        run.now += 10 * tick;
        CHECK(run.idle().cause.reason == GateReason::late_tick);
        CHECK(run.seam().outcome == SeamOutcome::stopped);
    }
    SUBCASE("over a seam's end and the next one's start") {
        Run run;
        run.weld(0, 0.2);
        run.now += 10 * tick;
        CHECK(run.say(run.facts(0, 1)).cause.reason == GateReason::late_tick);
        CHECK(run.seam(0).outcome == SeamOutcome::stopped);
        CHECK(run.seam(1).outcome == SeamOutcome::missed);
    }
    SUBCASE("without light it does not matter") {
        Run run;
        run.idle();
        run.now += 1;
        CHECK(run.say(run.facts(0)).open);
    }
    SUBCASE("what is named before stays named, what is named after does not") {
        for (bool const before : {true, false}) {
            Run run;
            run.weld(0, 0.1);
            run.now += 10 * tick;
            auto facts = run.facts(0.1 + 11 * tick);
            facts.stop = before;
            facts.utilisation_now = 2;
            CHECK(run.say(facts).cause.reason == (before ? GateReason::stopped : GateReason::late_tick));
        }
    }
}

TEST_CASE("the place on the seam goes on as time does") {
    for (double const jump : {-5.1, -4.9, 4.9, 5.1}) {
        Run run;
        run.weld(0, 0.1);
        auto const answer = run.say(run.facts(0.1 + tick + jump * tick));
        bool const beyond = std::abs(jump) > 5;
        CHECK(answer.open == !beyond);
        CHECK(answer.cause.reason == (beyond ? GateReason::place_jumps : GateReason::none));
        if (beyond)
            CHECK(answer.cause.value == doctest::Approx(jump * tick).epsilon(1e-6));
    }
}

TEST_CASE("a dry run goes through everything without light") {
    Run run;
    auto const dry = [&](double from, double to, bool flag = true, std::uint32_t seam = 0) {
        GateAnswer answer{};
        for (double t = from; t < to + tick / 2; t += tick) {
            auto facts = run.facts(t, seam);
            facts.dry_run = flag;
            answer = run.say(facts);
            CHECK_FALSE(answer.open);
        }
        return answer;
    };
    auto const answer = dry(0, 0.1);
    CHECK(answer.would_open);
    CHECK(answer.cause.reason == GateReason::dry_run);
    CHECK(run.last().dry);
    SUBCASE("the flag goes off within the seam: no light in this one") {
        CHECK(dry(0.1 + tick, 0.2, false).would_open);
        run.idle();
        CHECK(run.seam().outcome == SeamOutcome::complete);
        CHECK(run.seam().dry);
        CHECK(run.weld(0, 0.2, 1).open);
        run.idle();
        CHECK(run.seam(1).outcome == SeamOutcome::complete);
        CHECK_FALSE(run.seam(1).dry);
        // What was done without light does not count.
        CHECK(run.weld(0, 0.2).open);
        CHECK_FALSE(run.seam().dry);
    }
    SUBCASE("the flag goes off, and the seam is left and asked for again in its middle") {
        run.idle();
        auto const late = dry(0.1 + 2 * tick, 0.2, false);
        CHECK_FALSE(late.would_open);
        CHECK(run.seam().cause.reason == GateReason::begun_late);
    }
    SUBCASE("left in its middle") {
        run.idle();
        CHECK(run.seam().outcome == SeamOutcome::stopped);
        CHECK(run.seam().cause.reason == GateReason::no_seam);
    }
    SUBCASE("the robot is paused: it would not be open") {
        auto facts = run.facts(0.1 + tick);
        facts.dry_run = true;
        facts.program_rate = 0;
        auto const paused = run.say(facts);
        CHECK_FALSE(paused.would_open);
        CHECK(paused.cause.reason == GateReason::sweep_speed);
        CHECK(run.seam().dry);
        CHECK(run.seam().outcome == SeamOutcome::stopped);
    }
    SUBCASE("the flag comes on while a seam is welded: shut, for good") {
        dry(0.1 + tick, 0.2);
        run.weld(0, 0.1, 1);
        CHECK(dry(0.1 + tick, 0.11, true, 1).cause.reason == GateReason::dry_run);
        CHECK(run.seam(1).outcome == SeamOutcome::stopped);
        CHECK(run.seam(1).cause.reason == GateReason::dry_run);
        CHECK_FALSE(run.seam(1).dry);
        CHECK(run.weld(0.11 + tick, 0.2, 1).cause.reason == GateReason::shut_before);
    }
    SUBCASE("a dry run over a seam that is welded leaves its record alone") {
        run.gate.new_part();
        run.weld(0, 0.2, 1);
        run.idle();
        CHECK(dry(0, 0.1, true, 1).cause.reason == GateReason::welded_before);
        CHECK(run.seam(1).outcome == SeamOutcome::complete);
        CHECK_FALSE(run.seam(1).dry);
    }
}

TEST_CASE("each reason can be reached and has words of its own") {
    std::set<std::string> words;
    for (std::size_t i = 0; i < gate_reason_count; ++i)
        words.insert(to_string(static_cast<GateReason>(i)));
    CHECK(words.size() == gate_reason_count);
    CHECK(std::string(to_string(GateReason::welded_before)) == "welded before");
    CHECK(static_cast<std::size_t>(GateReason::welded_before) + 1 == gate_reason_count);
    CHECK(std::string(to_string(GateReason::place_jumps)) == "place jumps");
    CHECK(std::string(to_string(StreamFault::disagrees)) == "disagrees");
    CHECK(std::string(to_string(GateAction::missed)) == "missed");
    CHECK(std::string(to_string(SeamOutcome::gaps)) == "gaps");
    CHECK(std::string(detail_of({GateReason::stream_fault, 7, 0, 0})) == "clock step");
    CHECK(std::string(detail_of({GateReason::out_of_reach, 3, 0, 0})) == "behind the head");
    CHECK(std::string(detail_of({GateReason::limit_passed, 4, 0, 0})) == "x mirror velocity");
    CHECK(std::string(detail_of({GateReason::limit_ahead, 4, 0, 0})) == "x mirror velocity");
    CHECK(std::string(detail_of({GateReason::fingerprint, 1, 0, 0})) == "mount");
    CHECK(std::string(detail_of({GateReason::stopped, 1, 0, 0})).empty());
}

TEST_CASE("the newest events are kept, the others counted") {
    GateEvents events(3);
    CHECK(events.size() == 0);
    for (std::uint32_t i = 0; i < 8; ++i) {
        events.add({GateAction::opened, {GateReason::none, 0, 0, 0}, {0}, i, 0, false});
        CHECK(events.seen() == i + 1);
        CHECK(events.size() == std::min<std::size_t>(i + 1, 3));
        for (std::size_t k = 0; k < events.size(); ++k)
            CHECK(events[k].seam == i + 1 - events.size() + k);
    }
}

TEST_CASE("ticks do not touch the heap") {
    Run run;
    auto const spoiled = spoiled_facts();
    AllocationGuard guard;
    bool opened = false;
    for (int part = 0; part < 100; ++part) {
        run.weld(0, 0.01, 0);
        opened = opened || run.gate.seams()[0].outcome == SeamOutcome::running;
        auto facts = run.facts(0.01 + tick);
        spoiled[static_cast<std::size_t>(part) % spoiled.size()].spoil(facts);
        run.say(facts);
        run.idle();
        run.gate.new_part();
    }
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(opened);
    static_assert(noexcept(run.gate.tick(std::declval<GateFacts const&>())));
}

TEST_CASE("settings that are not possible are refused by name") {
    auto const refused = [](auto const& change, char const* words) {
        auto settings = gate_settings();
        change(settings);
        try {
            Gate const gate(settings, 1);
            FAIL("not refused");
        } catch (BadInput const& error) {
            INFO(error.what());
            CHECK(std::string(error.what()).find(words) != std::string::npos);
        }
    };
    for (double const bad : {0.0, -1.0, double(NAN), double(INFINITY)}) {
        refused([&](GateSettings& s) { s.tolerances.across = bad; }, "tolerance across must be above 0");
        refused([&](GateSettings& s) { s.tolerances.along = bad; }, "tolerance along");
        refused([&](GateSettings& s) { s.tolerances.focus = bad; }, "tolerance of the focus");
        refused([&](GateSettings& s) { s.clock_share = bad; }, "clock share must be above 0, to 1");
        refused([&](GateSettings& s) { s.blend_share = bad; }, "blend share");
        refused([&](GateSettings& s) { s.longest_age = bad; }, "longest age of data");
        refused([&](GateSettings& s) { s.longest_horizon = bad; }, "longest horizon");
        refused([&](GateSettings& s) { s.longest_silence = bad; }, "longest silence");
        refused([&](GateSettings& s) { s.longest_tick = bad; }, "longest tick");
        refused([&](GateSettings& s) { s.slack = bad; }, "slack");
        refused([&](GateSettings& s) { s.sweep.low = bad; }, "lowest program rate");
        refused([&](GateSettings& s) { s.sweep.high = bad; }, "highest program rate");
    }
    refused([](GateSettings& s) { s.clock_share = 1.1; }, "1.1");
    refused([](GateSettings& s) { s.blend_share = 1.1; }, "1.1");
    refused([](GateSettings& s) { s.sweep = {1, 0.9}; }, "the lowest or above");
    CHECK_THROWS_AS(Gate(gate_settings(), 1, 0), BadInput);
}
