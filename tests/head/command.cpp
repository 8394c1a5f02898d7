#include "seamhold/head/command.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/numbers.hpp"

#include <limits>
#include <string>
#include <type_traits>

using namespace seamhold;
using seamhold::test::infinity;
using seamhold::test::not_a_number;

namespace {

// An aim that everything is well with.
template <class T> Aim<T> fine() {
    return {{T(0.1), T(-0.1), T(0.001)}, {T(0.5), T(1), T(0.1), T(0.1), T(0.01), T(0.5), T(0.5)}};
}

} // namespace

TEST_CASE("commands, aims and rays are plain data") {
    static_assert(std::is_trivially_copyable_v<Command<>> && std::is_aggregate_v<Command<>>);
    static_assert(sizeof(Command<>) == 3 * sizeof(double));
    static_assert(std::is_trivially_copyable_v<Aim<Taylor<double, 2>>>);
    static_assert(std::is_trivially_copyable_v<Ray<Taylor<Gradient<double, 2>, 2>>>);
    CHECK(sizeof(Status) == 1);
}

TEST_CASE("a range measures from its nearer end, and uses itself up from its middle") {
    Range const range{-0.25, 0.75};
    CHECK(range.clearance(0.0) == 0.25);
    CHECK(range.clearance(0.5) == 0.25);
    CHECK(range.clearance(0.25) == 0.5);
    CHECK(range.clearance(-0.25) == 0);
    CHECK(range.clearance(0.75) == 0);
    CHECK(range.clearance(-0.5) == -0.25);
    CHECK(range.clearance(1.0) == -0.25);
    CHECK(range.utilisation(0.25) == 0);
    CHECK(range.utilisation(-0.25) == 1);
    CHECK(range.utilisation(0.75) == 1);
    CHECK(range.utilisation(0.5) == 0.5);
    CHECK(range.utilisation(0.0) == 0.5);
    CHECK(range.utilisation(1.25) == 2);
    CHECK(range.nearest(0.5) == 0.5);
    CHECK(range.nearest(-0.25) == -0.25);
    CHECK(range.nearest(-0.3) == -0.25);
    CHECK(range.nearest(1e300) == 0.75);
    CHECK(range.nearest(-infinity) == -0.25);
    // With derivatives: the clearance falls towards the end that is nearer.
    auto const x = Taylor<double, 1>::variable(0.5);
    CHECK(range.clearance(x).value() == 0.25);
    CHECK(range.clearance(x).derivative(1) == -1);
    CHECK(range.clearance(Taylor<double, 1>::variable(0.0)).derivative(1) == 1);
    CHECK(range.clearance(0.5F) == 0.25F);
}

TEST_CASE("a status names the worst that applies") {
    CHECK(status_of(fine<double>()) == Status::ok);
    for (int axis = 0; axis < 5; ++axis) {
        CAPTURE(axis);
        auto aim = fine<double>();
        double& clearance = axis == 0   ? aim.clearance.x_mirror
                            : axis == 1 ? aim.clearance.y_mirror
                            : axis == 2 ? aim.clearance.focus
                            : axis == 3 ? aim.clearance.field
                                        : aim.clearance.aperture;
        clearance = 0; // at exactly the limit
        CHECK(status_of(aim) == Status::ok);
        clearance = -std::numeric_limits<double>::epsilon(); // the last bit of a range
        CHECK(status_of(aim) == Status::ok);
        clearance = -1e-12;
        CHECK(status_of(aim) == Status::out_of_reach);
        clearance = not_a_number;
        CHECK(status_of(aim) != Status::ok);
        clearance = -1e-12;
        for (double const unsolved : {0.0, -0.0, -1e-15, -1.0, not_a_number}) {
            aim.clearance.solved = unsolved;
            CHECK(status_of(aim) == Status::no_solution);
        }
        for (double const z : {0.0, -0.0, -0.5, -1e-300}) {
            aim.clearance.in_front = z;
            CHECK(status_of(aim) == Status::behind_head);
        }
        for (double const wrong : {infinity, -infinity, not_a_number})
            for (int member = 0; member < 3; ++member) {
                auto broken = aim;
                (member == 0   ? broken.command.x_mirror
                 : member == 1 ? broken.command.y_mirror
                               : broken.command.focus) = wrong;
                CHECK(status_of(broken) == Status::not_finite);
            }
        aim.clearance.in_front = not_a_number;
        CHECK(status_of(aim) == Status::not_finite);
    }
}

TEST_CASE("a derivative that is not finite is not ok") {
    using T = Taylor<double, 2>;
    for (int member = 0; member < 3; ++member)
        for (int order = 0; order <= 2; ++order) {
            auto aim = fine<T>();
            CHECK(status_of(aim) == Status::ok);
            (member == 0   ? aim.command.x_mirror
             : member == 1 ? aim.command.y_mirror
                           : aim.command.focus)
                .coefficient[order] = not_a_number;
            CHECK(status_of(aim) == Status::not_finite);
        }
    auto aim = fine<Gradient<double, 2>>();
    CHECK(status_of(aim) == Status::ok);
    aim.command.focus.partial[1] = infinity;
    CHECK(status_of(aim) == Status::not_finite);
}

TEST_CASE("statuses grow worse and say so in words") {
    CHECK(Status::ok < Status::out_of_reach);
    CHECK(Status::out_of_reach < Status::no_solution);
    CHECK(Status::no_solution < Status::behind_head);
    CHECK(Status::behind_head < Status::no_data);
    CHECK(Status::no_data < Status::not_finite);
    CHECK(std::string(to_string(Status::ok)) == "ok");
    CHECK(std::string(to_string(Status::out_of_reach)) == "out of reach");
    CHECK(std::string(to_string(Status::no_solution)) == "no solution");
    CHECK(std::string(to_string(Status::behind_head)) == "behind the head");
    CHECK(std::string(to_string(Status::no_data)) == "no data");
    CHECK(std::string(to_string(Status::not_finite)) == "not finite");
}
