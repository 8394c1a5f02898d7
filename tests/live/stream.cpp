#include <doctest/doctest.h>

#include "seamhold/live/stream.hpp"
#include "support/allocation_guard.hpp"

#include <atomic>
#include <cstdint>
#include <optional>
#include <thread>
#include <type_traits>

using seamhold::Stream;
using seamhold::test::AllocationGuard;

namespace {

// Large enough that a torn copy would show: every word is the number.
struct Message {
    std::uint64_t word[64];
};

// Not default constructible: the stream needs no empty message.
struct Wrapped {
    explicit constexpr Wrapped(int given) : number(given) {}
    int number;
};

Message message_of(std::uint64_t number) {
    Message message{};
    for (auto& word : message.word)
        word = number;
    return message;
}

bool whole(Message const& message) {
    for (auto const word : message.word)
        if (word != message.word[0])
            return false;
    return true;
}

} // namespace

TEST_CASE("a stream gives in order what was put in") {
    Stream<int, 3> stream;
    CHECK_FALSE(stream.pop().has_value());
    CHECK_FALSE(stream.newest().has_value());
    // Round and round, so that the inner ring wraps.
    for (int turn = 0; turn < 10; ++turn) {
        CHECK(stream.push(3 * turn));
        CHECK(stream.push(3 * turn + 1));
        CHECK(stream.pop() == std::optional(3 * turn));
        CHECK(stream.push(3 * turn + 2));
        CHECK(stream.pop() == std::optional(3 * turn + 1));
        CHECK(stream.pop() == std::optional(3 * turn + 2));
        CHECK_FALSE(stream.pop().has_value());
    }
    CHECK(stream.dropped() == 0);
}

TEST_CASE("a full stream drops the newest and counts it") {
    Stream<int, 3> stream;
    for (int i = 0; i < 3; ++i)
        CHECK(stream.push(i));
    for (int i = 3; i < 8; ++i)
        CHECK_FALSE(stream.push(i));
    CHECK(stream.dropped() == 5);
    CHECK(stream.pop() == std::optional(0));
    CHECK(stream.push(8));
    CHECK(stream.newest() == std::optional(8));
    CHECK_FALSE(stream.newest().has_value());
    CHECK(stream.dropped() == 5);
}

TEST_CASE("a message needs no default constructor") {
    Stream<Wrapped, 2> stream;
    CHECK(stream.push(Wrapped(7)));
    CHECK(stream.push(Wrapped(8)));
    auto const last = stream.newest();
    REQUIRE(last.has_value());
    CHECK(last->number == 8);
}

TEST_CASE("a stream is neither copied nor moved") {
    using Any = Stream<int, 4>;
    CHECK_FALSE(std::is_copy_constructible_v<Any>);
    CHECK_FALSE(std::is_move_constructible_v<Any>);
    CHECK_FALSE(std::is_copy_assignable_v<Any>);
}

TEST_CASE("a stream stands within itself and does not touch the heap") {
    std::uint64_t sum = 0;
    {
        Stream<Message, 8> stream;
        CHECK_UNARY(sizeof(stream) > 8 * sizeof(Message));
    }
    AllocationGuard const guard;
    Stream<Message, 8> stream;
    for (std::uint64_t i = 0; i < 20; ++i)
        sum += stream.push(message_of(i)) ? 1 : 0;
    sum += stream.pop()->word[0] + stream.newest()->word[63];
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(sum == 8 + 0 + 7);
}

// The check of memory order runs by hand too: this file under -fsanitize=thread.
TEST_CASE("two threads: every message arrives whole and in order, or is counted as dropped") {
    constexpr std::uint64_t total = 100000;
    Stream<Message, 16> stream;
    std::atomic<bool> ended{false};
    std::thread writer([&] {
        for (std::uint64_t i = 1; i <= total; ++i)
            if (!stream.push(message_of(i)))
                std::this_thread::yield();
        ended.store(true, std::memory_order_release);
    });
    std::uint64_t received = 0, torn = 0, disordered = 0, before = 0;
    for (;;) {
        bool const last_look = ended.load(std::memory_order_acquire);
        auto const message = stream.pop();
        if (message) {
            ++received;
            torn += whole(*message) ? 0 : 1;
            disordered += message->word[0] > before ? 0 : 1;
            before = message->word[0];
        } else if (last_look) {
            break;
        } else {
            std::this_thread::yield();
        }
    }
    writer.join();
    CHECK(torn == 0);
    CHECK(disordered == 0);
    CHECK(received > 0);
    CHECK(received + stream.dropped() == total);
}

TEST_CASE("two threads: the newest only ever moves on, and the last one put in is seen") {
    constexpr std::uint64_t total = 100000;
    Stream<Message, 4> stream;
    std::atomic<bool> ended{false};
    std::thread writer([&] {
        for (std::uint64_t i = 1; i <= total; ++i)
            while (!stream.push(message_of(i)))
                std::this_thread::yield();
        ended.store(true, std::memory_order_release);
    });
    std::uint64_t torn = 0, disordered = 0, before = 0;
    for (;;) {
        bool const last_look = ended.load(std::memory_order_acquire);
        auto const message = stream.newest();
        if (message) {
            torn += whole(*message) ? 0 : 1;
            disordered += message->word[0] > before ? 0 : 1;
            before = message->word[0];
        } else if (last_look) {
            break;
        } else {
            std::this_thread::yield();
        }
    }
    writer.join();
    CHECK(torn == 0);
    CHECK(disordered == 0);
    CHECK(before == total);
}
