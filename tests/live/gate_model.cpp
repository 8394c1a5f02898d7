#include "seamhold/live/gate.hpp"

#include "gate_facts.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <string>
#include <vector>

// The gate against a model of its rules that was written apart from it, over random sequences of facts:
// robots that pause, sweep a seam twice, go dry, faults that come and go. What must hold whatever the model
// says is checked beside it.

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// The rules as a list of questions to one tick, and a memory per seam in plain words.
class Model {
public:
    Model(GateSettings const& settings, std::size_t seams) : s_(settings), seams_(seams) {}

    struct Seam {
        bool lit = false;     // light was on at some time
        bool refused = false; // asked for and not given before any light
        bool interrupted = false;
        bool finished = false;
        bool whole_start = false;
        bool dry = false;
        double reached = 0;
    };
    struct Said {
        bool light;
        bool would;
        GateReason reason;
    };

    Said tick(GateFacts const& f) {
        bool const numbers = std::isfinite(f.seam_time) && std::isfinite(f.seam_duration);
        bool const in_range =
            !numbers || (f.seam_time >= -s_.slack && f.seam_time <= f.seam_duration + s_.slack);
        int const seam = f.welding && f.seam < seams_.size() && in_range ? static_cast<int>(f.seam) : -1;
        bool const same = seam >= 0 && seam == current_;

        std::vector<bool> holds(gate_reason_count, false);
        auto const note = [&](GateReason r, bool shut) {
            if (shut)
                holds[static_cast<std::size_t>(r)] = true;
        };
        using R = GateReason;
        auto const good = [](double x, double low, double high) {
            return x >= low && x <= high && std::isfinite(x);
        };
        double const big = 1e300;
        note(R::not_finite,
             !std::isfinite(f.now.seconds) || (f.welding && (!numbers || !std::isfinite(f.arc_length))));
        note(R::stopped, f.stop);
        note(R::fingerprint, f.other_fingerprint.has_value());
        note(R::input, f.inputs.fault != InputFault::none);
        note(R::writer_silent, !good(f.now.seconds - f.heartbeat.seconds, -1e-3, s_.longest_silence));
        note(R::no_forecast, !f.has_forecast);
        note(R::stream_fault, f.fault != StreamFault::none);
        note(R::stale_data,
             !good(f.data_age, -1e-3, s_.longest_age) || !good(f.horizon, -big, s_.longest_horizon));
        std::array<double, 3> const tolerance{s_.tolerances.across, s_.tolerances.along, s_.tolerances.focus};
        std::array<double, 3> const stated{f.stated.across, f.stated.along, f.stated.focus};
        std::array<double, 3> const clock{f.clock.across, f.clock.along, f.clock.focus};
        std::array<double, 3> const blend{f.blend.across, f.blend.along, f.blend.focus};
        for (std::size_t i = 0; i < 3; ++i) {
            note(R::clocks_uncertain, !good(clock[i], 0, s_.clock_share * tolerance[i]));
            note(R::blending, !good(blend[i], 0, s_.blend_share * tolerance[i]));
            note(static_cast<R>(static_cast<std::size_t>(R::error_across) + i),
                 !good(stated[i] + clock[i] + blend[i], -big, tolerance[i]) || !good(stated[i], 0, big));
        }
        note(R::out_of_reach, f.status != Status::ok);
        note(R::limit_passed, !good(f.utilisation_now, -big, 1 + 1e-12));
        note(R::limit_ahead, !good(f.utilisation_ahead, -big, 1 + 1e-12));
        note(R::sweep_speed, !good(f.program_rate, s_.sweep.low, s_.sweep.high));
        note(R::dry_run, same && f.dry_run && !dry_);

        bool stood = false;
        if (on_) {
            double const gap = f.now.seconds - time_;
            stood = !good(gap, 0, s_.longest_tick);
            bool const jumped = same && !good(f.seam_time - seam_time_ - gap, -s_.slack, s_.slack);
            note(R::late_tick, stood);
            note(R::place_jumps, !stood && jumped);
            stood = stood || (!stood && jumped);
        }
        GateReason reason = R::none;
        for (std::size_t i = 1; i < gate_reason_count && reason == R::none; ++i)
            if (holds[i])
                reason = static_cast<R>(i);

        if (on_ && !same) { // the end of a seam, or not
            auto& left = seams_[static_cast<std::size_t>(current_)];
            on_ = false;
            (reached_end_ && !stood ? left.finished : left.interrupted) = true;
        }
        if (seam >= 0 && !same) {
            dry_ = f.dry_run;
            auto& entered = seams_[static_cast<std::size_t>(seam)];
            if (entered.dry && !dry_)
                entered = {};
        }
        current_ = seam;
        time_ = f.now.seconds;
        if (seam < 0)
            return {false, false, reason == R::none ? R::no_seam : reason};

        auto& m = seams_[static_cast<std::size_t>(seam)];
        if (reason == R::none && !on_) {
            bool const from_start = f.seam_time <= s_.slack;
            if (m.finished)
                reason = R::welded_before;
            else if (m.interrupted && !(s_.reopen_in_seam && f.arc_length >= m.reached))
                reason = R::shut_before;
            else if (!m.interrupted && m.refused && !s_.begin_late)
                reason = R::shut_before;
            else if (!m.interrupted && !m.refused && !from_start && !s_.begin_late)
                reason = R::begun_late;
            else {
                if (!m.lit)
                    m.whole_start = from_start;
                m.lit = on_ = true;
                m.dry = dry_;
            }
        } else if (reason != R::none && on_) {
            on_ = false;
            m.interrupted = true;
        }
        if (!on_ && !m.lit) {
            m.dry = m.refused ? m.dry : dry_;
            m.refused = true;
        }
        if (on_) {
            m.reached = f.arc_length;
            seam_time_ = f.seam_time;
            reached_end_ = f.seam_time >= f.seam_duration - s_.slack;
            return {!dry_, true, dry_ ? R::dry_run : R::none};
        }
        return {false, false, reason};
    }

    SeamOutcome outcome(std::size_t i) const {
        auto const& m = seams_[i];
        if (on_ && current_ == static_cast<int>(i))
            return SeamOutcome::running;
        if (m.finished)
            return m.interrupted || !m.whole_start ? SeamOutcome::gaps : SeamOutcome::complete;
        return m.interrupted ? SeamOutcome::stopped
               : m.refused   ? SeamOutcome::missed
                             : SeamOutcome::not_begun;
    }
    double reached(std::size_t i) const { return seams_[i].reached; }

    bool new_part() {
        if (on_)
            return false;
        seams_.assign(seams_.size(), {});
        current_ = -1;
        return true;
    }

private:
    GateSettings s_;
    std::vector<Seam> seams_;
    int current_ = -1;
    bool on_ = false;
    bool dry_ = false;
    bool reached_end_ = false;
    double time_ = 0;
    double seam_time_ = 0;
};

/// A robot that goes through a program of three short seams, and the ticks that go with it.
class Robot {
public:
    Robot(Random& random, double fault_share) : random_(&random), fault_share_(fault_share) {}

    GateFacts next() {
        auto& r = *random_;
        double const step = r.unit() < 0.998 ? r.uniform(5e-5, 2e-4) : r.uniform(-1e-4, 1e-3);
        now_ += step;
        if (r.unit() < 0.0005)
            rate_ = r.unit() < 0.5 ? 0 : r.uniform(0.3, 1.1); // pause, override
        else if (rate_ != 1 && r.unit() < 0.01)
            rate_ = 1;
        program_ += rate_ * step;
        if (r.unit() < 0.001)
            program_ += r.uniform(-0.002, 0.002);
        if (program_ > 0.15 || (r.unit() < 0.0002))
            program_ = 0;
        if (r.unit() < 0.001)
            dry_ = !dry_;
        // Seams last 30 ms each and begin every 50 ms, the last at once after the one before.
        double const starts[] = {0.01, 0.06, 0.09};
        std::uint32_t seam = program_ < 0.05 ? 0 : program_ < 0.09 ? 1 : 2;
        auto facts = good_facts(program_ - starts[seam], now_);
        facts.seam = seam;
        facts.seam_duration = 0.03;
        facts.welding = facts.seam_time >= 0 && facts.seam_time <= 0.03;
        facts.program_rate = rate_;
        facts.dry_run = dry_;
        if (r.unit() < 0.0005)
            facts.welding = !facts.welding;
        if (r.unit() < 0.0002)
            facts.seam = static_cast<std::uint32_t>(r.index(4));
        // Faults that come and stay for some ticks.
        if (left_ == 0 && r.unit() < fault_share_) {
            left_ = 1 + r.index(30);
            kind_ = r.index(spoiled_.size() + numbers_.size());
        }
        if (left_ > 0) {
            --left_;
            if (kind_ < spoiled_.size()) {
                spoiled_[kind_].spoil(facts);
                if (r.unit() < 0.1)
                    spoiled_[r.index(spoiled_.size())].spoil(facts);
            } else {
                double const bad[] = {NAN, INFINITY, -INFINITY};
                numbers_[kind_ - spoiled_.size()](facts) = bad[r.index(3)];
            }
        }
        return facts;
    }

private:
    Random* random_;
    double fault_share_;
    double now_ = 10;
    double program_ = 0;
    double rate_ = 1;
    bool dry_ = false;
    std::size_t left_ = 0;
    std::size_t kind_ = 0;
    std::vector<Spoiled> spoiled_ = spoiled_facts();
    std::vector<std::function<double&(GateFacts&)>> numbers_ = numbers_of_facts();
};

} // namespace

TEST_CASE("over random facts the gate does what a model of its rules does") {
    std::array<std::size_t, gate_reason_count> reasons{};
    std::array<std::size_t, 6> outcomes{};
    std::size_t wrong = 0, closed_twice = 0, opened_in_middle = 0;
    Random random(20260611);
    for (std::size_t run = 0; run < runs(24); ++run) {
        auto settings = gate_settings();
        settings.reopen_in_seam = run % 4 == 1 || run % 4 == 3;
        settings.begin_late = run % 4 >= 2;
        Gate gate(settings, 3, 64);
        Model model(settings, 3);
        Robot robot(random, run < 8 ? 0.0002 : 0.003);
        std::array<bool, 3> closed{}, opened{};
        std::uint64_t seen = 0;
        std::size_t twice = 0, late = 0;
        for (int i = 0; i < 20000; ++i) {
            if (random.unit() < 0.0005) {
                bool const done = gate.new_part();
                wrong += done != model.new_part();
                if (done)
                    closed = opened = {};
            }
            auto const facts = robot.next();
            auto const answer = gate.tick(facts);
            auto const said = model.tick(facts);
            wrong += answer.open != said.light || answer.would_open != said.would ||
                     answer.cause.reason != said.reason;
            ++reasons[static_cast<std::size_t>(said.reason)];
            for (std::size_t k = 0; k < 3; ++k) {
                auto const& seam = gate.seams()[k];
                wrong += seam.outcome != model.outcome(k);
                wrong += seam.reached != model.reached(k);
                ++outcomes[static_cast<std::size_t>(seam.outcome)];
            }
            // Whatever the model says: light only with facts that are all right, and, unless it was chosen,
            // in one piece, from the start.
            if (answer.open)
                wrong +=
                    cause_in(facts, settings).reason != GateReason::none || facts.dry_run || !facts.welding;
            for (; seen < gate.events().seen(); ++seen) {
                auto const back = gate.events().seen() - seen;
                auto const& event = gate.events()[gate.events().size() - back];
                if (event.dry)
                    continue;
                if (event.action == GateAction::opened) {
                    twice += closed[event.seam] || opened[event.seam];
                    opened[event.seam] = true;
                    late += event.arc_length > 0.2 * settings.slack;
                } else {
                    closed[event.seam] = true;
                    wrong += event.time.seconds != facts.now.seconds && is_finite(facts.now.seconds);
                }
            }
        }
        if (run % 4 == 0) {
            CHECK(twice == 0);
            CHECK(late == 0);
        }
        closed_twice += twice;
        opened_in_middle += late;
    }
    CHECK(wrong == 0);
    CHECK(closed_twice > 0); // where it was chosen
    CHECK(opened_in_middle > 0);
    for (std::size_t i = 0; i < gate_reason_count; ++i) {
        INFO(std::string(to_string(static_cast<GateReason>(i))));
        if (runs(10) >= 10) // fewer runs may not meet each
            CHECK(reasons[i] > 10);
    }
    for (std::size_t i = 0; i < 6; ++i) {
        INFO(std::string(to_string(static_cast<SeamOutcome>(i))));
        CHECK(outcomes[i] > 100);
    }
}
