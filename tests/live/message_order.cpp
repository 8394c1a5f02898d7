#include <doctest/doctest.h>

#include "seamhold/live/message_order.hpp"
#include "support/random.hpp"

#include <cmath>
#include <cstdint>
#include <limits>
#include <string>

using seamhold::BadInput;
using seamhold::IntakeStatus;
using seamhold::MessageHead;
using seamhold::MessageOrder;
using seamhold::OrderOptions;
using seamhold::SampleKind;
using seamhold::ScannerTime;
using seamhold::test::Random;

namespace {

constexpr std::int64_t period = 4'000'000; // ns
constexpr OrderOptions options{0.004};

enum class Says { both, stamps, numbers, nothing };

MessageHead head_of(Says says, std::int64_t stamp, std::uint32_t number) {
    return {stamp,
            number,
            says == Says::both || says == Says::stamps,
            says == Says::both || says == Says::numbers,
            false,
            SampleKind::measured};
}

// A stream of messages every 4 ms that were stamped 8 ms before they arrive, from any epoch.
struct Sender {
    MessageOrder order{options};
    Says says;
    std::int64_t epoch = 1'700'000'000'000'000'000;
    std::uint32_t count = 0;

    // The message of the period k, arriving in time or `late`.
    MessageOrder::Place send(std::int64_t k, double late = 0, bool same_values = false) {
        return order.take(head_of(says, epoch + k * period, count + static_cast<std::uint32_t>(k)),
                          {0.004 * static_cast<double>(k) + 0.008 + late}, same_values);
    }
};

} // namespace

TEST_CASE("messages in order are placed by stamp, by number or by arrival") {
    for (auto const says : {Says::both, Says::stamps, Says::numbers, Says::nothing}) {
        Sender sender{.says = says, .count = 0xfffffff0U}; // the number wraps
        for (std::int64_t k = 0; k < 100; ++k) {
            auto const place = sender.send(k);
            CAPTURE(k);
            CHECK(place.status == IntakeStatus::accepted);
            CHECK(place.lost == 0);
            // Doubles of 0.4 s and products with 1e-9 or 0.004: a few units in the last place.
            CHECK(std::abs(place.time.seconds - 0.004 * static_cast<double>(k)) < 1e-15);
        }
    }
}

TEST_CASE("a loss leaves a gap of whole periods and is counted") {
    for (auto const says : {Says::both, Says::stamps, Says::numbers, Says::nothing})
        for (std::int64_t const lost : {1, 3, 10, 1000}) {
            Sender sender{.says = says};
            for (std::int64_t k = 0; k < 10; ++k)
                sender.send(k);
            auto const place = sender.send(10 + lost);
            CHECK(place.status == IntakeStatus::accepted);
            CHECK(place.lost == lost);
            CHECK(place.time.seconds ==
                  doctest::Approx(0.004 * static_cast<double>(10 + lost)).epsilon(1e-14));
        }
}

TEST_CASE("duplicates and overtaken messages are a lack of data") {
    for (auto const says : {Says::both, Says::stamps, Says::numbers}) {
        Sender sender{.says = says};
        for (std::int64_t k = 0; k < 10; ++k)
            sender.send(k);
        CHECK(sender.send(9, 0.001, true).status == IntakeStatus::duplicate);
        CHECK(sender.send(11).status == IntakeStatus::accepted); // overtakes 10
        CHECK(sender.send(10, 0.005).status == IntakeStatus::late);
        CHECK(sender.send(7, 0.018).status == IntakeStatus::late);
        auto const next = sender.send(12);
        CHECK(next.status == IntakeStatus::accepted);
        CHECK(next.lost == 0);
    }
}

TEST_CASE("other values under the same stamp, or the same message again and again, is a stuck stamp") {
    for (auto const says : {Says::both, Says::stamps, Says::numbers}) {
        Sender sender{.says = says};
        for (std::int64_t k = 0; k < 10; ++k)
            sender.send(k);
        CHECK(sender.send(9, 0.004, false).status == IntakeStatus::stuck_stamp);
        CHECK(sender.send(10, 0, false).status == IntakeStatus::accepted);
        CHECK(sender.send(10, 0.004, true).status == IntakeStatus::duplicate);
        CHECK(sender.send(10, 0.008, true).status == IntakeStatus::duplicate);
        CHECK(sender.send(10, 0.012, true).status == IntakeStatus::stuck_stamp);
        CHECK(sender.send(10, 0.016, true).status == IntakeStatus::stuck_stamp);
        CHECK(sender.send(15, 0, false).status == IntakeStatus::accepted);
    }
}

TEST_CASE("one whole row read again under a new number is a repeat, and stuck if it goes on") {
    MessageOrder order(options);
    CHECK(order.take(head_of(Says::both, 0, 0), {0.000}, false).status == IntakeStatus::accepted);
    CHECK(order.take(head_of(Says::both, 0, 1), {0.004}, true).status == IntakeStatus::repeated);
    CHECK(order.take(head_of(Says::both, 0, 2), {0.008}, true).status == IntakeStatus::repeated);
    CHECK(order.take(head_of(Says::both, 0, 3), {0.012}, true).status == IntakeStatus::stuck_stamp);
}

TEST_CASE("a stamp from the future is known at once, and a step when it lasts") {
    for (double const ahead : {0.06, 1.0, 1e6, 9e9}) {
        Sender sender{.says = Says::both};
        sender.epoch = 0;
        for (std::int64_t k = 0; k < 10; ++k)
            sender.send(k);
        auto const jump = static_cast<std::int64_t>(ahead * 1e9);
        // One alone: the stream goes on.
        CHECK(sender.order.take(head_of(Says::both, jump + 10 * period, 10), {0.048}, false).status ==
              IntakeStatus::from_the_future);
        CHECK(sender.send(11).status == IntakeStatus::accepted);
        // All from now on.
        sender.epoch = jump;
        int future = 0;
        auto place = sender.send(12);
        std::int64_t k = 12;
        for (; place.status == IntakeStatus::from_the_future; ++future)
            place = sender.send(++k);
        CHECK(place.status == IntakeStatus::clock_step);
        CHECK(future * 0.004 >= 0.05);
        CHECK(future * 0.004 < 0.06);
        // Anew, from the next one.
        auto const first = sender.send(++k);
        CHECK(first.status == IntakeStatus::accepted);
        CHECK(first.time.seconds == 0);
        CHECK(sender.order.first_stamp() == jump + k * period);
        CHECK(sender.send(++k).time.seconds == doctest::Approx(0.004).epsilon(1e-14));
    }
}

TEST_CASE("a drifting clock is not from the future") {
    for (double const drift : {-190e-6, 190e-6}) {
        MessageOrder order(options);
        int faults = 0;
        for (std::int64_t k = 0; k < 500'000; ++k) { // 2000 s: 0.4 s of drift
            auto const stamp =
                static_cast<std::int64_t>(std::llround(static_cast<double>(k * period) * (1 + drift)));
            auto const place =
                order.take(head_of(Says::stamps, stamp, 0), {0.004 * static_cast<double>(k)}, false);
            faults += place.status == IntakeStatus::accepted ? 0 : 1;
        }
        CHECK(faults == 0);
        // And the allowance has moved on with the clock: 60 ms ahead is too much.
        CHECK(
            order
                .take(head_of(Says::stamps, static_cast<std::int64_t>(2000e9 * (1 + drift)) + 60'000'000, 0),
                      {2000}, false)
                .status == IntakeStatus::from_the_future);
    }
}

TEST_CASE("a jump back is a step at once where the numbers go on, and otherwise when it lasts") {
    for (double const back : {0.03, 0.2, 0.9}) {
        for (auto const says : {Says::both, Says::stamps}) {
            Sender sender{.says = says};
            std::int64_t k = 0;
            for (; k < 300; ++k)
                sender.send(k);
            sender.epoch -= static_cast<std::int64_t>(back * 1e9);
            auto place = sender.send(k);
            int late = 0;
            for (; place.status == IntakeStatus::late; ++late)
                place = sender.send(++k);
            CAPTURE(back);
            if (says == Says::both) {
                CHECK(late == 0);
                CHECK(place.status == IntakeStatus::clock_step);
            } else if (back < 0.05) {
                // Shorter than the patience: the stamps have caught up, and the clock estimate has to tell
                // it.
                CHECK(place.status == IntakeStatus::accepted);
            } else {
                CHECK(place.status == IntakeStatus::clock_step);
                CHECK(late * 0.004 >= 0.05);
                CHECK(late * 0.004 < 0.06);
            }
        }
    }
}

TEST_CASE("a restart is known at once") {
    // Stamps that begin anew, with and without numbers; numbers that begin anew alone.
    for (auto const says : {Says::both, Says::stamps, Says::numbers}) {
        Sender sender{.says = says, .count = 5000};
        for (std::int64_t k = 0; k < 500; ++k)
            sender.send(k);
        CHECK(sender.order.take(head_of(says, 0, 0), {3}, false).status == IntakeStatus::restarted);
        CHECK(sender.order.take(head_of(says, period, 1), {3.004}, false).time.seconds == 0);
        CHECK(sender.order.take(head_of(says, 2 * period, 2), {3.008}, false).time.seconds ==
              doctest::Approx(0.004).epsilon(1e-14));
    }
    // The count begins anew while the clock goes on.
    Sender sender{.says = Says::both, .count = 5000};
    for (std::int64_t k = 0; k < 10; ++k)
        sender.send(k);
    CHECK(sender.order.take(head_of(Says::both, sender.epoch + 10 * period, 0), {0.048}, false).status ==
          IntakeStatus::restarted);
    // What the head holds changes.
    CHECK(sender.send(11).status == IntakeStatus::accepted);
    CHECK(sender.order.take(head_of(Says::stamps, sender.epoch + 12 * period, 0), {0.056}, false).status ==
          IntakeStatus::restarted);
}

TEST_CASE("a small fall of the numbers is a late message first and a restart when it lasts") {
    Sender sender{.says = Says::numbers};
    std::int64_t k = 0;
    for (; k < 100; ++k)
        sender.send(k);
    sender.count -= 60;
    auto place = sender.send(k);
    int late = 0;
    for (; place.status == IntakeStatus::late; ++late)
        place = sender.send(++k);
    CHECK(place.status == IntakeStatus::restarted);
    CHECK(late >= 12);
}

TEST_CASE("overtaking in a burst is no step") {
    Sender sender{.says = Says::stamps};
    for (std::int64_t k = 0; k < 10; ++k)
        sender.send(k);
    sender.send(40);
    for (std::int64_t k = 10; k < 40; ++k) // all at once, after the newest
        CHECK(sender.send(k, 0.004 * static_cast<double>(40 - k) + 0.001).status == IntakeStatus::late);
    CHECK(sender.send(41).status == IntakeStatus::accepted);
    // Nor are two of them, however far apart they come.
    CHECK(sender.send(38, 0.02).status == IntakeStatus::late);
    CHECK(sender.send(39, 0.2).status == IntakeStatus::late);
    CHECK(sender.send(95).status == IntakeStatus::accepted);
}

TEST_CASE("without stamps and numbers scatter below three quarters of a period leaves the count right") {
    Random random(14);
    for (double const drift : {-150e-6, 0.0, 150e-6}) {
        MessageOrder order(options);
        std::int64_t sent = 0;
        int wrong = 0, skipped = 0;
        double offset = 0;
        for (int i = 0; i < 50000; ++i) {
            sent += random.unit() < 0.02 ? 1 + static_cast<std::int64_t>(random.index(10)) : 1; // losses
            double const arrival =
                0.004 * static_cast<double>(sent) * (1 + drift) + random.uniform(0, 2.6e-3);
            auto const place = order.take(head_of(Says::nothing, 0, 0), {arrival}, false);
            if (place.status != IntakeStatus::accepted) {
                ++skipped;
                continue;
            }
            if (i == 0)
                offset = 0.004 * static_cast<double>(sent);
            wrong += std::abs(place.time.seconds + offset - 0.004 * static_cast<double>(sent)) > 1e-6 ? 1 : 0;
        }
        CHECK(wrong == 0);
        CHECK(skipped <= 2); // where the very first messages are late
    }
}

TEST_CASE(
    "without stamps and numbers a message too late is counted as a loss, and the count comes right again") {
    Sender sender{.says = Says::nothing};
    for (std::int64_t k = 0; k < 100; ++k)
        sender.send(k);
    CHECK(sender.send(100, 0.0035).lost == 1); // taken for 101
    CHECK(sender.send(101).status == IntakeStatus::late);
    auto const next = sender.send(102);
    CHECK(next.status == IntakeStatus::accepted);
    CHECK(next.time.seconds == doctest::Approx(0.408).epsilon(1e-14));
}

TEST_CASE("no stamp overflows") {
    constexpr auto least = std::numeric_limits<std::int64_t>::min();
    constexpr auto most = std::numeric_limits<std::int64_t>::max();
    MessageOrder order(options);
    CHECK(order.take(head_of(Says::stamps, least, 0), {0}, false).status == IntakeStatus::accepted);
    CHECK(order.take(head_of(Says::stamps, most, 0), {0.004}, false).status == IntakeStatus::from_the_future);
    CHECK(order.take(head_of(Says::stamps, least + period, 0), {0.004}, false).time.seconds ==
          doctest::Approx(0.004).epsilon(1e-14));
    // 2⁶⁴ − 1 ns, the whole range.
    CHECK(order.time_of(most).seconds == doctest::Approx(18446744073.709551615).epsilon(1e-15));
    order.restart();
    CHECK(order.take(head_of(Says::stamps, most, 0), {0}, false).status == IntakeStatus::accepted);
    CHECK(order.take(head_of(Says::stamps, least, 0), {0.004}, false).status == IntakeStatus::restarted);
    // Epochs far from 0 lose nothing: 1 ns is seen at the end of the range.
    CHECK(order.take(head_of(Says::stamps, most - 1, 0), {0.008}, false).status == IntakeStatus::accepted);
    CHECK(order.take(head_of(Says::stamps, most, 0), {0.012}, false).time.seconds ==
          doctest::Approx(1e-9).epsilon(1e-14));
}

TEST_CASE("options outside of what they can be are refused by name") {
    auto const refused = [](auto change, char const* word) {
        OrderOptions changed = options;
        change(changed);
        try {
            MessageOrder const order(changed);
        } catch (BadInput const& bad) {
            return std::string(bad.what()).find(word) != std::string::npos;
        }
        return false;
    };
    CHECK(refused([](OrderOptions& o) { o.period = 0; }, "period"));
    CHECK(refused([](OrderOptions& o) { o.ahead = -1; }, "ahead"));
    CHECK(refused([](OrderOptions& o) { o.restart = std::numeric_limits<double>::quiet_NaN(); }, "restart"));
    CHECK(refused([](OrderOptions& o) { o.patience = 0; }, "patience"));
    CHECK(refused([](OrderOptions& o) { o.drift_bound = 1; }, "drift"));
    CHECK(refused([](OrderOptions& o) { o.stuck_count = 0; }, "stuck"));
}
