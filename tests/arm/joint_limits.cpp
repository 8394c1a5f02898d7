#include "seamhold/arm/joint_limits.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"
#include "support/refusal.hpp"

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Invented limits of an arm.
JointLimits<6> limits() {
    JointLimits<6> all{};
    for (auto& joint : all)
        joint = {{-3, 3}, 2, 10};
    return all;
}

} // namespace

TEST_CASE("joint limits that an arm can have are taken as they are") {
    auto given = limits();
    given[5] = {{-infinity, infinity}, infinity, infinity}; // no limit
    auto const taken = checked(given);
    CHECK(taken[0].position.low == -3);
    CHECK(taken[5].position.high == infinity);
    CHECK(taken[5].velocity == infinity);
}

TEST_CASE("joint limits that no arm has are refused by joint, with what was given") {
    auto const refused = [](auto&& change) {
        auto all = limits();
        change(all[3]);
        return refusal_of([&] { return checked(all); });
    };
    CHECK(has(refused([](JointLimit& j) { j.position = {1, -1}; }), "joint 4's range from 1 to -1"));
    CHECK(has(refused([](JointLimit& j) { j.position = {1, 1}; }), "joint 4's range from 1 to 1"));
    CHECK(
        has(refused([](JointLimit& j) { j.position.high = -infinity; }), "joint 4's range from -3 to -inf"));
    CHECK(has(refused([](JointLimit& j) { j.position.low = not_a_number; }), "joint 4's range"));
    CHECK(has(refused([](JointLimit& j) { j.velocity = 0; }), "joint 4's velocity limit of 0"));
    CHECK(has(refused([](JointLimit& j) { j.velocity = not_a_number; }), "joint 4's velocity limit"));
    CHECK(has(refused([](JointLimit& j) { j.acceleration = -1; }), "joint 4's acceleration limit of -1"));
    CHECK(refused([](JointLimit&) {}) == "");
}
