#include "seamhold/live/inputs.hpp"

#include "support/allocation_guard.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <optional>
#include <string>
#include <vector>

// Outside inputs as stamped states.

using namespace seamhold;
using namespace seamhold::test;

namespace {

ExternalInputs three() { return ExternalInputs({{"clamps closed", 0.2}, {"gas", 0.5}, {"extraction", 1}}); }

} // namespace

TEST_CASE("all inputs are ready only when each has said so") {
    auto inputs = three();
    CHECK(inputs.size() == 3);
    CHECK(inputs.name(1) == "gas");
    ScannerTime const now{50};
    auto verdict = inputs.verdict(now);
    CHECK_FALSE(verdict.ready());
    CHECK(verdict.fault == InputFault::never_stamped);
    CHECK(verdict.input == 0);
    CHECK(inputs.take({0, true, {50}}, now));
    CHECK(inputs.take({2, true, {50}}, now));
    verdict = inputs.verdict(now);
    CHECK(verdict.fault == InputFault::never_stamped);
    CHECK(verdict.input == 1);
    CHECK(inputs.take({1, false, {49.9}}, now));
    verdict = inputs.verdict(now);
    CHECK(verdict.fault == InputFault::not_ready);
    CHECK(verdict.input == 1);
    CHECK(verdict.age == doctest::Approx(0.1).epsilon(1e-9));
    CHECK(inputs.take({1, true, {49.95}}, now));
    CHECK(inputs.verdict(now).ready());
    CHECK(inputs.verdict(now).fault == InputFault::none);
    inputs.forget();
    CHECK(inputs.verdict(now).fault == InputFault::never_stamped);
}

TEST_CASE("stale means not ready, each by its own age") {
    auto inputs = three();
    for (std::uint8_t i = 0; i < 3; ++i)
        inputs.take({i, true, {10}}, {10});
    CHECK(inputs.verdict({10.199}).ready());
    auto verdict = inputs.verdict({10.201});
    CHECK(verdict.fault == InputFault::stale);
    CHECK(verdict.input == 0);
    CHECK(verdict.age == doctest::Approx(0.201).epsilon(1e-9));
    inputs.take({0, true, {10.45}}, {10.45});
    CHECK(inputs.verdict({10.499}).ready());
    CHECK(inputs.verdict({10.501}).input == 1);
    inputs.take({0, true, {10.9}}, {10.9});
    inputs.take({1, true, {10.9}}, {10.9});
    CHECK(inputs.verdict({10.999}).ready());
    CHECK(inputs.verdict({11.001}).input == 2);
}

TEST_CASE("a state from the future is none") {
    auto inputs = ExternalInputs({{"window", 0.2}}, 0.01);
    CHECK(inputs.take({0, true, {10.009}}, {10})); // two threads read one clock
    CHECK(inputs.verdict({10}).ready());
    CHECK(inputs.verdict({9.9985}).fault == InputFault::from_the_future);
    CHECK_FALSE(inputs.take({0, true, {10.011}}, {10}));
    CHECK(inputs.verdict({10}).fault == InputFault::never_stamped);
    // It does not stand in the way of a good one.
    CHECK(inputs.take({0, true, {10.001}}, {10.001}));
    CHECK(inputs.verdict({10.002}).ready());
}

TEST_CASE("what is not finite is not ready") {
    for (double const bad : {double(NAN), double(INFINITY), double(-INFINITY)}) {
        auto inputs = ExternalInputs({{"window", 0.2}});
        inputs.take({0, true, {10}}, {10});
        CHECK_FALSE(inputs.verdict({bad}).ready());
        CHECK_FALSE(inputs.take({0, true, {bad}}, {10}));
        CHECK(inputs.verdict({10}).fault == InputFault::never_stamped);
        CHECK_FALSE(inputs.take({0, true, {10}}, {bad}));
        CHECK_FALSE(inputs.verdict({10}).ready());
    }
}

TEST_CASE("an older state changes nothing; of two of one time the one that is not ready holds") {
    auto inputs = ExternalInputs({{"gas", 0.5}});
    inputs.take({0, false, {10}}, {10.02});
    CHECK_FALSE(inputs.take({0, true, {9.99}}, {10.02}));
    CHECK(inputs.verdict({10.02}).fault == InputFault::not_ready);
    CHECK_FALSE(inputs.take({0, true, {10}}, {10.02}));
    CHECK(inputs.verdict({10.02}).fault == InputFault::not_ready);
    CHECK(inputs.take({0, true, {10.01}}, {10.02}));
    CHECK(inputs.verdict({10.02}).ready());
    CHECK(inputs.take({0, false, {10.01}}, {10.02}));
    CHECK(inputs.verdict({10.02}).fault == InputFault::not_ready);
    CHECK_FALSE(inputs.take({1, true, {10.02}}, {10.02})); // there is no such input
    CHECK_FALSE(inputs.take({255, true, {10.02}}, {10.02}));
}

TEST_CASE("declarations that are not possible are refused by name") {
    auto const refused = [](std::vector<InputDeclaration> inputs, double ahead, char const* words) {
        try {
            ExternalInputs const made(std::move(inputs), ahead);
            FAIL("not refused");
        } catch (BadInput const& error) {
            INFO(error.what());
            CHECK(std::string(error.what()).find(words) != std::string::npos);
        }
    };
    refused({{"gas", 0.1}, {"", 0.1}}, 0, "number 2 has no name");
    refused({{"gas", 0.1}, {"jet", 0.1}, {"gas", 0.1}}, 0, "two outside inputs are named gas");
    for (double const bad : {0.0, -1.0, double(NAN), double(INFINITY)})
        refused({{"gas", bad}}, 0, "gas: the longest age must be above 0");
    for (double const bad : {-1.0, double(NAN), double(INFINITY)})
        refused({{"gas", 1}}, bad, "ahead by 0 s or more");
    std::vector<InputDeclaration> many;
    for (int i = 0; i < 16; ++i)
        many.push_back({"input " + std::to_string(i), 1});
    CHECK(ExternalInputs{many}.size() == 16);
    many.push_back({"one more", 1});
    refused(many, 0, "may be 16 outside inputs; given were 17");
    CHECK(ExternalInputs({}).verdict({0}).ready());
}

TEST_CASE("over random states the verdict is that of the newest state of each input") {
    Random random(97);
    std::size_t wrong = 0, ready = 0;
    std::size_t allocations = 0;
    for (std::size_t run = 0; run < runs(200); ++run) {
        auto inputs = ExternalInputs({{"a", 0.03}, {"b", 0.05}, {"c", 0.02}});
        double const ages[] = {0.03, 0.05, 0.02};
        struct Newest {
            double time;
            bool ready;
        };
        std::optional<Newest> newest[3];
        double now = 5;
        AllocationGuard guard;
        for (int i = 0; i < 500; ++i) {
            now += random.uniform(0, 0.004);
            auto const k = random.index(3);
            double time = now - random.uniform(0, 0.02);
            if (random.unit() < 0.02)
                time = now + 0.1;
            else if (random.unit() < 0.05 && newest[k])
                time = newest[k]->time;
            bool const state = random.unit() < 0.95;
            inputs.take({static_cast<std::uint8_t>(k), state, {time}}, {now});
            if (time > now + 1e-3)
                newest[k].reset();
            else if (!newest[k] || time > newest[k]->time)
                newest[k] = Newest{time, state};
            else if (time == newest[k]->time)
                newest[k]->ready = newest[k]->ready && state;
            bool all = true;
            for (std::size_t n = 0; n < 3; ++n)
                all = all && newest[n] && newest[n]->ready && now - newest[n]->time <= ages[n];
            wrong += inputs.verdict({now}).ready() != all;
            ready += all;
        }
        allocations += guard.count();
    }
    CHECK(wrong == 0);
    CHECK(ready > 1000);
    CHECK(allocations == 0);
    CHECK(std::string(to_string(InputFault::from_the_future)) == "from the future");
    CHECK(std::string(to_string(InputFault::stale)) == "stale");
}
