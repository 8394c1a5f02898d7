#ifndef SEAMHOLD_LIVE_TRACE_RING_HPP
#define SEAMHOLD_LIVE_TRACE_RING_HPP

#include "seamhold/number/bad_input.hpp"

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>
#include <optional>
#include <string>
#include <type_traits>
#include <vector>

namespace seamhold {

/// A row as it was read from a ring, with its number.
template <class Row> struct NumberedRow {
    std::uint64_t number; ///< counted from 0
    Row row;
};

/// What was read from a ring: complete rows in order.
template <class Row> struct TraceSnapshot {
    std::vector<NumberedRow<Row>> rows;
    std::uint64_t written;     ///< rows since the start when the reading began
    std::uint64_t overwritten; ///< of these, rows that were gone when they were asked for
};

/// The last rows that one thread wrote, a fixed number of them, in one piece of memory that is taken at
/// set-up. The writer never waits, allocates or calls the system: it overwrites the oldest row. Any thread
/// may read at the same time, without an effect on the writer; it gets a row whole or not at all.
///
/// How: every slot has a mark, 2n + 1 while row number n is written to it, 2n + 2 when it is complete. All
/// words of a row are atomic and stored with release, so whoever reads a word of a later row also sees that
/// row's mark when it looks at the mark again. Without fences, so ThreadSanitizer understands it.
template <class Row>
requires std::is_trivially_copyable_v<Row>
class TraceRing {
public:
    /// Keeps the last `capacity` rows. Throws BadInput for 0 rows, and for more than 2 GiB of them.
    explicit TraceRing(std::size_t capacity) : capacity_(capacity) {
        constexpr std::size_t most = (std::size_t(1) << 31U) / (slot_words * sizeof(Word));
        if (capacity == 0 || capacity > most)
            throw BadInput("a trace may keep from 1 to " + std::to_string(most) + " rows; given was " +
                           std::to_string(capacity));
        memory_ = std::make_unique<Word[]>(capacity * slot_words);
    }

    /// Adds a row, in place of the oldest where there is no room. Of the writing thread only.
    void write(Row const& row) noexcept {
        std::array<std::uint64_t, row_words> words{};
        std::memcpy(words.data(), &row, sizeof row);
        std::uint64_t const number = written_.load(std::memory_order_relaxed);
        Word* const slot = memory_.get() + next_ * slot_words;
        slot[0].store(2 * number + 1, std::memory_order_relaxed);
        for (std::size_t i = 0; i < row_words; ++i)
            slot[i + 1].store(words[i], std::memory_order_release);
        slot[0].store(2 * number + 2, std::memory_order_release);
        written_.store(number + 1, std::memory_order_release);
        next_ = next_ + 1 == capacity_ ? 0 : next_ + 1;
    }

    /// How many rows it keeps at most.
    std::size_t capacity() const { return capacity_; }

    /// How many rows were written since the start.
    std::uint64_t written() const noexcept { return written_.load(std::memory_order_acquire); }

    /// How many of these are no longer kept.
    std::uint64_t overwritten() const noexcept {
        std::uint64_t const all = written();
        return all > capacity_ ? all - capacity_ : 0;
    }

    /// Row number n, counted from 0; none where it is not complete yet, or gone, or goes while it is read.
    std::optional<Row> row(std::uint64_t n) const noexcept {
        Word const* const slot = memory_.get() + static_cast<std::size_t>(n % capacity_) * slot_words;
        if (slot[0].load(std::memory_order_acquire) != 2 * n + 2)
            return std::nullopt;
        std::array<std::uint64_t, row_words> words;
        for (std::size_t i = 0; i < row_words; ++i)
            words[i] = slot[i + 1].load(std::memory_order_acquire);
        if (slot[0].load(std::memory_order_relaxed) != 2 * n + 2)
            return std::nullopt;
        std::optional<Row> row{std::in_place};
        std::memcpy(&*row, words.data(), sizeof(Row));
        return row;
    }

    /// All rows that are kept, as far as they are whole when their turn comes. While the ring is written to,
    /// the oldest may go in the meantime; they count as overwritten. Uses the heap.
    TraceSnapshot<Row> snapshot() const {
        std::uint64_t const all = written();
        std::uint64_t const first = all > capacity_ ? all - capacity_ : 0;
        TraceSnapshot<Row> read{{}, all, first};
        read.rows.reserve(static_cast<std::size_t>(all - first));
        for (std::uint64_t n = first; n < all; ++n)
            if (auto const found = row(n))
                read.rows.push_back({n, *found});
            else
                ++read.overwritten;
        return read;
    }

private:
    using Word = std::atomic<std::uint64_t>;
    static_assert(Word::is_always_lock_free);
    static constexpr std::size_t row_words =
        (sizeof(Row) + sizeof(std::uint64_t) - 1) / sizeof(std::uint64_t);
    static constexpr std::size_t slot_words = row_words + 1;

    std::size_t capacity_;
    std::unique_ptr<Word[]> memory_;
    std::size_t next_ = 0; ///< the writer's
    std::atomic<std::uint64_t> written_ = 0;
};

} // namespace seamhold

#endif
