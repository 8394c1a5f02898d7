#include "seamhold/file/trace_csv.hpp"

#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

// Traces as files.

using namespace seamhold;
using seamhold::test::content_of;
using seamhold::test::message_of;
using seamhold::test::TemporaryFolder;

namespace {

char const* const head =
    "row,time_s,forecast,stamp_s,arrived_s,fault,spot_x_m,spot_y_m,spot_z_m,stated_across_m,stated_along_m,"
    "stated_focus_m,horizon_s,x_mirror_rad,y_mirror_rad,focus_m,power_W,status,gate,dry,reason,detail,value,"
    "allowed,seam,arc_length_m\n";

TraceRow row_at(double time) {
    return {{time},
            7,
            {0.25},
            {0.5},
            StreamFault::none,
            {1, -2, 0.125},
            {1e-5, 2e-5, 3e-5},
            0.0078125,
            {0.01, -0.02, 0.03},
            4000,
            Status::ok,
            true,
            false,
            {GateReason::none, 0, 0, 0},
            3,
            0.04};
}

} // namespace

TEST_CASE("a trace as comma-separated values, row by row") {
    TemporaryFolder const folder;
    Trace trace(4);
    auto written = write_trace(folder / "empty.csv", trace);
    CHECK(written.rows == 0);
    CHECK(written.overwritten == 0);
    CHECK(content_of(folder / "empty.csv") == head);

    trace.write(row_at(9)); // will be gone
    trace.write(row_at(1.5));
    auto row = row_at(1.50001);
    row.open = false;
    row.dry = true;
    row.power = 0;
    row.cause = {GateReason::limit_ahead, static_cast<std::uint8_t>(Limit::x_velocity), 1.25, 1};
    trace.write(row);
    row = row_at(2);
    row.open = false;
    row.fault = StreamFault::clock_step;
    row.status = Status::not_finite;
    row.spot = {NAN, INFINITY, -INFINITY};
    row.cause = {GateReason::input, 5, 0.25, 0};
    trace.write(row);
    row.cause = {GateReason::stream_fault, static_cast<std::uint8_t>(StreamFault::clock_step), 0, 0};
    row.spot = {0, 0, 0};
    trace.write(row);
    written = write_trace(folder / "trace.csv", trace);
    CHECK(written.rows == 4);
    CHECK(written.overwritten == 1);
    CHECK(
        content_of(folder / "trace.csv") ==
        std::string(head) +
            "1,1.5,7,0.25,0.5,none,1,-2,0.125,1e-05,2e-05,3e-05,0.0078125,0.01,-0.02,0.03,4000,ok,1,0,open,"
            ",0,0,3,0.04\n"
            "2,1.50001,7,0.25,0.5,none,1,-2,0.125,1e-05,2e-05,3e-05,0.0078125,0.01,-0.02,0.03,0,ok,0,1,"
            "limit ahead,x mirror velocity,1.25,1,3,0.04\n"
            "3,2,7,0.25,0.5,clock step,nan,inf,-inf,1e-05,2e-05,3e-05,0.0078125,0.01,-0.02,0.03,4000,"
            "not finite,0,0,input not ready,5,0.25,0,3,0.04\n"
            "4,2,7,0.25,0.5,clock step,0,0,0,1e-05,2e-05,3e-05,0.0078125,0.01,-0.02,0.03,4000,not finite,0,0,"
            "stream fault,clock step,0,0,3,0.04\n");
}

TEST_CASE("no word in a trace holds a comma or a quote") {
    auto const plain = [](std::string const& word) {
        return word.find_first_of(",\"\r\n") == std::string::npos;
    };
    for (std::size_t i = 0; i < gate_reason_count; ++i)
        CHECK(plain(to_string(static_cast<GateReason>(i))));
    for (int i = 0; i < 10; ++i)
        CHECK(plain(to_string(static_cast<StreamFault>(i))));
    for (std::size_t i = 0; i < limit_count; ++i)
        CHECK(plain(to_string(static_cast<Limit>(i))));
    for (int i = 0; i < 6; ++i)
        CHECK(plain(to_string(static_cast<Status>(i))));
    for (std::size_t i = 0; i < fingerprint_part_count; ++i)
        CHECK(plain(to_string(static_cast<FingerprintPart>(i))));
}

TEST_CASE("where no file can be written, it says so") {
    TemporaryFolder const folder;
    Trace const trace(4);
    CHECK(message_of([&] {
              write_trace(folder / "none" / "trace.csv", trace);
          }).find("trace.csv: cannot be written") == 0);
}
