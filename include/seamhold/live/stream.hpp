#ifndef SEAMHOLD_LIVE_STREAM_HPP
#define SEAMHOLD_LIVE_STREAM_HPP

#include <boost/lockfree/spsc_queue.hpp>

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <type_traits>

namespace seamhold {

/// A queue from one writing thread to one reading thread. Both sides are wait-free: each call ends after a
/// bounded number of steps whatever the other thread does, dead or stopped included. It holds `Capacity`
/// messages within itself, without the heap, and it neither throws nor locks nor calls the system. It is
/// neither copied nor moved; it must outlive both threads.
///
/// A full queue takes nothing more: the newest messages are dropped, the oldest stay. Who reads after a
/// long pause therefore gets old ones first, and tells their age by the times they hold. The queue itself is
/// Boost.Lockfree's for one producer and one consumer.
template <class T, std::size_t Capacity> class Stream {
    static_assert(std::is_trivially_copyable_v<T>, "what goes through a Stream is trivially copyable");
    static_assert(Capacity > 0, "a Stream holds at least one message");

public:
    /// How many messages fit.
    static constexpr std::size_t capacity = Capacity;

    /// For the writing thread: puts a copy in. False where the queue is full; the message is dropped then,
    /// and counted.
    [[nodiscard]] bool push(T const& message) {
        if (queue_.push(message))
            return true;
        dropped_.fetch_add(1, std::memory_order_relaxed);
        return false;
    }

    /// For the reading thread: takes the oldest message out; nothing where the queue is empty.
    std::optional<T> pop() {
        std::optional<T> taken;
        queue_.consume_one([&taken](T const& message) { taken.emplace(message); });
        return taken;
    }

    /// For the reading thread: takes out all that was there at the call, at most `Capacity` messages, and
    /// returns the last of them; nothing where the queue was empty. What is written meanwhile stays for the
    /// next call, so that the time is bounded however fast the writer is.
    std::optional<T> newest() {
        std::size_t const there = queue_.read_available();
        for (std::size_t i = 1; i < there; ++i)
            queue_.consume_one([](T const&) {});
        return pop();
    }

    /// How many messages were dropped since the start because the queue was full. Any thread may ask.
    std::uint64_t dropped() const { return dropped_.load(std::memory_order_relaxed); }

private:
    boost::lockfree::spsc_queue<T, boost::lockfree::capacity<Capacity>> queue_;
    std::atomic<std::uint64_t> dropped_{0};
};

} // namespace seamhold

#endif
