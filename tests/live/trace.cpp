#include "seamhold/live/trace.hpp"

#include "support/allocation_guard.hpp"

#include <doctest/doctest.h>

#include <array>
#include <atomic>
#include <cmath>
#include <cstdint>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

// The ring of trace rows, alone and with readers beside the writer. Also to be run under ThreadSanitizer.

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// A row that says in every word which it is.
template <std::size_t Words> struct Telling {
    std::array<std::uint64_t, Words> words;
    std::uint32_t odd_end;

    static Telling number(std::uint64_t n) {
        Telling row{};
        for (std::size_t i = 0; i < Words; ++i)
            row.words[i] = n * 1000003 + i;
        row.odd_end = static_cast<std::uint32_t>(n);
        return row;
    }
    bool is(std::uint64_t n) const {
        bool same = odd_end == static_cast<std::uint32_t>(n);
        for (std::size_t i = 0; i < Words; ++i)
            same = same && words[i] == n * 1000003 + i;
        return same;
    }
};

using Told = Telling<24>;

/// Two readers beside a writer of this many rows or more.
template <std::size_t Words> void check_beside(std::size_t capacity, std::uint64_t least) {
    using Row = Telling<Words>;
    TraceRing<Row> ring(capacity);
    std::atomic<bool> stop = false;
    std::atomic<std::uint64_t> torn = 0, whole = 0, miscounted = 0, out_of_order = 0;
    auto const read = [&] {
        while (!stop.load()) {
            auto const seen = ring.snapshot();
            miscounted += seen.rows.size() + seen.overwritten != seen.written;
            std::uint64_t before = 0;
            for (auto const& [number, row] : seen.rows) {
                torn += !row.is(number);
                out_of_order += number < before || number >= seen.written;
                before = number + 1;
            }
            whole += seen.rows.size();
        }
    };
    std::thread one(read), other(read);
    std::uint64_t n = 0;
    for (; n < least || whole.load() < 1000; ++n) {
        ring.write(Row::number(n));
        if (n % 1000 == 999)
            std::this_thread::yield(); // on few cores the readers must have their turn too
    }
    stop = true;
    one.join();
    other.join();
    CHECK(torn == 0);
    CHECK(miscounted == 0);
    CHECK(out_of_order == 0);
    CHECK(whole >= 1000);
    auto const rest = ring.snapshot();
    CHECK(rest.rows.size() == capacity);
    CHECK(rest.written == n);
    CHECK(rest.overwritten == n - capacity);
}

} // namespace

TEST_CASE("a ring keeps the last rows and counts the others") {
    for (std::size_t const capacity : {1U, 2U, 3U, 7U, 8U}) {
        TraceRing<Told> ring(capacity);
        CHECK(ring.capacity() == capacity);
        CHECK(ring.written() == 0);
        CHECK(ring.snapshot().rows.empty());
        CHECK_FALSE(ring.row(0).has_value());
        for (std::uint64_t n = 0; n < 25; ++n) {
            ring.write(Told::number(n));
            std::uint64_t const gone = n + 1 > capacity ? n + 1 - capacity : 0;
            CHECK(ring.written() == n + 1);
            CHECK(ring.overwritten() == gone);
            auto const read = ring.snapshot();
            CHECK(read.written == n + 1);
            CHECK(read.overwritten == gone);
            REQUIRE(read.rows.size() == n + 1 - gone);
            for (std::size_t i = 0; i < read.rows.size(); ++i) {
                CHECK(read.rows[i].number == gone + i);
                CHECK(read.rows[i].row.is(gone + i));
            }
            CHECK_FALSE(ring.row(n + 1).has_value());
            CHECK_FALSE(ring.row(n + capacity).has_value());
            if (gone > 0)
                CHECK_FALSE(ring.row(gone - 1).has_value());
        }
    }
}

TEST_CASE("a capacity that is not possible is refused") {
    CHECK_THROWS_WITH_AS(Trace(0), doctest::Contains("may keep from 1 to"), BadInput);
    CHECK_THROWS_WITH_AS(Trace(std::size_t(1) << 40U), doctest::Contains("given was 1099511627776"),
                         BadInput);
    CHECK_THROWS_AS(Trace(std::size_t(-1)), BadInput);
}

TEST_CASE("writing and reading a row do not touch the heap, setting up does once") {
    AllocationGuard guard;
    Trace trace(100);
    auto const at_set_up = guard.count();
    TraceRow row{};
    double sum = 0;
    for (int i = 0; i < 1000; ++i) {
        row.time = {i * 1e-5};
        trace.write(row);
        sum += trace.row(static_cast<std::uint64_t>(i))->time.seconds;
    }
    auto const count = guard.count();
    CHECK(at_set_up == (AllocationGuard::counts() ? 1 : 0));
    CHECK(count == at_set_up);
    CHECK(sum == doctest::Approx(4.995).epsilon(1e-9));
    static_assert(noexcept(trace.write(std::declval<TraceRow const&>())));
}

TEST_CASE("every field of a row comes back, NaN and all") {
    Trace trace(2);
    TraceRow row{};
    row.time = {1.5};
    row.forecast = 17;
    row.stamp = {2.5};
    row.arrived = {3.5};
    row.fault = StreamFault::frozen;
    row.spot = {0.1, NAN, -0.0};
    row.stated = {1e-6, 2e-6, 1e-310};
    row.horizon = -INFINITY;
    row.command = {0.01, 0.02, 0.03};
    row.power = 4000;
    row.status = Status::behind_head;
    row.open = true;
    row.dry = true;
    row.cause = {GateReason::limit_ahead, 9, 1.5, 1};
    row.seam = 4000000000U;
    row.arc_length = 0.04;
    trace.write(row);
    auto const back = trace.row(0);
    REQUIRE(back.has_value());
    CHECK(back->time.seconds == 1.5);
    CHECK(back->forecast == 17);
    CHECK(back->stamp.seconds == 2.5);
    CHECK(back->arrived.seconds == 3.5);
    CHECK(back->fault == StreamFault::frozen);
    CHECK(back->spot.x == 0.1);
    CHECK(std::isnan(back->spot.y));
    CHECK(std::signbit(back->spot.z));
    CHECK(back->stated.across == 1e-6);
    CHECK(back->stated.along == 2e-6);
    CHECK(back->stated.focus == 1e-310);
    CHECK(std::isinf(back->horizon));
    CHECK(back->command.x_mirror == 0.01);
    CHECK(back->command.y_mirror == 0.02);
    CHECK(back->command.focus == 0.03);
    CHECK(back->power == 4000);
    CHECK(back->status == Status::behind_head);
    CHECK(back->open);
    CHECK(back->dry);
    CHECK(back->cause.reason == GateReason::limit_ahead);
    CHECK(back->cause.which == 9);
    CHECK(back->cause.value == 1.5);
    CHECK(back->cause.allowed == 1);
    CHECK(back->seam == 4000000000U);
    CHECK(back->arc_length == 0.04);
}

TEST_CASE("readers beside the writer get rows whole or not at all") {
    check_beside<24>(2, 200000);    // the writer overtakes the readers all the time
    check_beside<24>(4096, 200000); // most rows are whole
    check_beside<4000>(2, 3000);    // rows that take long, so that readers come in their middle
}
