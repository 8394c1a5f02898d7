#ifndef SEAMHOLD_LIVE_GATE_RECORD_HPP
#define SEAMHOLD_LIVE_GATE_RECORD_HPP

#include "seamhold/live/gate_reason.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <type_traits>
#include <vector>

namespace seamhold {

/// What the gate did.
enum class GateAction : std::uint8_t {
    opened, ///< the light went on
    ended,  ///< it went off at the seam's end, as it should
    closed, ///< it went off within the seam
    missed  ///< it was wanted at the seam's start and stayed off
};

/// What the gate did, in words.
constexpr char const* to_string(GateAction action) {
    constexpr char const* names[] = {"opened", "ended", "closed", "missed"};
    return names[static_cast<std::size_t>(action)];
}

/// One thing that the gate did, with why, when and where.
struct GateEvent {
    GateAction action;
    GateCause cause;  ///< `none` where it opened or ended
    ScannerTime time; ///< of the tick
    std::uint32_t seam;
    double arc_length; ///< where the weld began, ended or stopped, m: of the last tick with the light on; the
                       ///< light goes off one tick's way later. NaN where a missed seam's place is not known
    bool dry;          ///< in a dry run, without light
};

static_assert(std::is_trivially_copyable_v<GateEvent>);

/// What has become of a seam.
enum class SeamOutcome : std::uint8_t {
    not_begun, ///< no light was wanted yet
    running,   ///< the light is on
    complete,  ///< from start to end without a gap
    stopped,   ///< the light went off within it
    missed,    ///< its start passed without light
    gaps       ///< its end was reached, but not in one piece from its start
};

/// What has become of a seam, in words.
constexpr char const* to_string(SeamOutcome outcome) {
    constexpr char const* names[] = {"not begun", "running", "complete", "stopped", "missed", "gaps"};
    return names[static_cast<std::size_t>(outcome)];
}

/// What the gate keeps of a seam, so that the user can resume it or scrap the part.
struct SeamRecord {
    SeamOutcome outcome = SeamOutcome::not_begun;
    bool dry = false;                              ///< all this without light
    std::uint32_t closings = 0;                    ///< within the seam
    double begun_at = 0;                           ///< arc length where the light first went on, m
    double stopped_at = 0;                         ///< arc length of the first closing within it, m
    double reached = 0;                            ///< arc length where the light was last on, m
    GateCause cause = {GateReason::none, 0, 0, 0}; ///< of the first closing, or of missing it
};

/// The newest events, a fixed number of them; older ones are counted only. The heap is used at set-up only.
class GateEvents {
public:
    /// Holds at most `capacity` events, 1 or more.
    explicit GateEvents(std::size_t capacity) : kept_(capacity) {}

    /// Takes one more event, in place of the oldest where there is no room.
    void add(GateEvent const& event) noexcept {
        kept_[next_] = event;
        next_ = next_ + 1 == kept_.size() ? 0 : next_ + 1;
        ++seen_;
    }

    /// How many events there were.
    std::uint64_t seen() const { return seen_; }

    /// How many of them are kept.
    std::size_t size() const {
        return static_cast<std::size_t>(std::min<std::uint64_t>(seen_, kept_.size()));
    }

    /// The event number i of those that are kept, the oldest first, i < size().
    GateEvent const& operator[](std::size_t i) const {
        std::size_t const place = (size() < kept_.size() ? 0 : next_) + i;
        return kept_[place < kept_.size() ? place : place - kept_.size()];
    }

private:
    std::vector<GateEvent> kept_;
    std::size_t next_ = 0;
    std::uint64_t seen_ = 0;
};

} // namespace seamhold

#endif
