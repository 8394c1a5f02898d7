#include "seamhold/seam/power.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <string>

using namespace seamhold;

TEST_CASE("power by feed: straight between rows, constant beyond them, never below the floor") {
    PowerLaw const law({{0.1, 1500}, {0.2, 2500}, {0.4, 3500}}, 1800);
    CHECK(law.at_feed(0) == 1800);
    CHECK(law.at_feed(0.1) == 1800);
    CHECK(law.at_feed(0.15) == doctest::Approx(2000).epsilon(1e-14));
    CHECK(law.at_feed(0.2) == doctest::Approx(2500).epsilon(1e-14));
    CHECK(law.at_feed(0.3) == doctest::Approx(3000).epsilon(1e-14));
    CHECK(law.at_feed(0.4) == 3500);
    CHECK(law.at_feed(9) == 3500);
    CHECK(PowerLaw(2200).at_feed(0.3) == 2200);
}

TEST_CASE("ramps at both ends go below the floor") {
    PowerLaw const law({{0, 3000}}, 2000, {0.02, 0.04, 0.5, 0.25});
    CHECK(law.ramp(0, 0.2) == 0.5);
    CHECK(law.ramp(0.01, 0.2) == doctest::Approx(0.75).epsilon(1e-14));
    CHECK(law.ramp(0.02, 0.2) == 1);
    CHECK(law.ramp(0.1, 0.2) == 1);
    CHECK(law.ramp(0.18, 0.2) == doctest::Approx(0.625).epsilon(1e-14));
    CHECK(law.ramp(0.2, 0.2) == 0.25);
    // Before the start and after the end as at them, not less.
    CHECK(law.ramp(-0.01, 0.2) == 0.5);
    CHECK(law.ramp(0.21, 0.2) == 0.25);
    CHECK(law.full(0.1, 0.2));
    CHECK_FALSE(law.full(0.019, 0.2));
    CHECK_FALSE(law.full(0.161, 0.2));
    // Where the ramps meet the lower one counts.
    CHECK(law.ramp(0.02, 0.04) == doctest::Approx(0.25 + 0.75 * 0.5).epsilon(1e-14));
}

TEST_CASE("laws of power that cannot be are refused, with the row") {
    auto const refused = [](std::vector<FeedPower> const& rows, double floor, PowerRamps const& ramps = {}) {
        try {
            (void)PowerLaw(rows, floor, ramps);
        } catch (BadInput const& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    double const not_a_number = std::numeric_limits<double>::quiet_NaN();
    CHECK(refused({}, 0).find("one row") != std::string::npos);
    CHECK(refused({{0.1, 1000}, {0.1, 2000}}, 0).find("row 1") != std::string::npos);
    CHECK(refused({{0.1, 1000}, {0.2, -1}}, 0).find("row 1") != std::string::npos);
    CHECK(refused({{not_a_number, 1000}}, 0).find("row 0") != std::string::npos);
    CHECK(refused({{0, 1000}}, -1).find("floor") != std::string::npos);
    CHECK(refused({{0, 1000}}, 0, {-0.1}).find("ramp") != std::string::npos);
    CHECK(refused({{0, 1000}}, 0, {0, 0, 1.1}).find("0 to 1") != std::string::npos);
}
