#ifndef SEAMHOLD_LIVE_LIVE_LINK_HPP
#define SEAMHOLD_LIVE_LIVE_LINK_HPP

#include "seamhold/live/forecast.hpp"
#include "seamhold/live/inputs.hpp"
#include "seamhold/live/stream.hpp"

#include <atomic>
#include <limits>

namespace seamhold {

/// All that goes between the threads of a controller. The receiving thread writes forecasts and signs of
/// life, one more thread may write the outside inputs' states, any thread may ask for a stop; the ticking
/// thread reads. No side ever waits for another. It must outlive the threads, and is neither copied nor
/// moved.
template <int D = 7> struct LiveLink {
    Stream<Forecast<D>, 16> forecasts; ///< from the receiving thread
    Stream<InputState, 64> inputs;     ///< from the thread that knows the inputs

    /// A sign of life from the receiving thread; it gives one a few times within the gate's longest silence,
    /// whether something arrived or not.
    void beat(ScannerTime now) noexcept { heartbeat_.store(now.seconds, std::memory_order_relaxed); }

    /// The last sign of life; not a number before the first.
    ScannerTime heartbeat() const noexcept { return {heartbeat_.load(std::memory_order_relaxed)}; }

    /// From now on no light is wanted, until it is allowed again. A stop of the process, not an emergency
    /// stop.
    void stop(bool stopped = true) noexcept { stopped_.store(stopped, std::memory_order_relaxed); }

    /// Whether no light is wanted.
    bool stopped() const noexcept { return stopped_.load(std::memory_order_relaxed); }

private:
    std::atomic<double> heartbeat_{std::numeric_limits<double>::quiet_NaN()};
    std::atomic<bool> stopped_{false};
    static_assert(std::atomic<double>::is_always_lock_free && std::atomic<bool>::is_always_lock_free);
};

} // namespace seamhold

#endif
