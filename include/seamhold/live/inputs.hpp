#ifndef SEAMHOLD_LIVE_INPUTS_HPP
#define SEAMHOLD_LIVE_INPUTS_HPP

#include "seamhold/live/clock_map.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

/// What the cell says of itself while a seam is welded: clamps closed, gas, cross-jet, extraction, window,
/// laser ready. These states guard the weld. They protect nobody: interlocks, guards and the emergency stop
/// remain with a safety-rated system, built by those who are licensed to, under local codes.
namespace seamhold {

/// One state as it comes through a `Stream`. Trivially copyable.
struct InputState {
    std::uint8_t index; ///< of the input, from 0, in the order of declaration
    bool ready;
    ScannerTime time; ///< when it was so
};

static_assert(std::is_trivially_copyable_v<InputState>);

/// What is declared of an input at set-up.
struct InputDeclaration {
    std::string name;   ///< the user's
    double longest_age; ///< after which a state counts for nothing, s
};

/// Why an input counts as not ready.
enum class InputFault : std::uint8_t {
    none,           ///< it is ready
    never_stamped,  ///< nothing was said of it yet, or the last thing said made no sense
    not_ready,      ///< it says so itself
    stale,          ///< its state is older than allowed
    from_the_future ///< its state is of a later time than now
};

/// Why an input counts as not ready, in words.
constexpr char const* to_string(InputFault fault) {
    constexpr char const* names[] = {"ready", "never stamped", "not ready", "stale", "from the future"};
    return names[static_cast<std::size_t>(fault)];
}

/// What all inputs say together.
struct InputVerdict {
    InputFault fault;   ///< `none`: all are ready
    std::uint8_t input; ///< the first that is not ready, where one is not
    double age;         ///< of its state, s; 0 where it has none

    /// Whether all are ready.
    constexpr bool ready() const { return fault == InputFault::none; }
};

/// Up to 16 stamped states. Stale, never stamped, and from the future all mean not ready. The heap is
/// used at set-up only. For one thread.
class ExternalInputs {
public:
    static constexpr std::size_t most = 16; ///< inputs

    /// Of the declared inputs; none at all is possible, then all are ready. `ahead`, s, is how far a state's
    /// time may lie beyond now: two threads read one clock at slightly different times. Throws BadInput for
    /// too many inputs, for a name that is empty or stands twice, and for an age or `ahead` that is no
    /// possible time, naming the input.
    explicit ExternalInputs(std::vector<InputDeclaration> inputs, double ahead = 1e-3)
        : declared_(std::move(inputs)), ahead_(ahead), held_(declared_.size()) {
        if (declared_.size() > most)
            throw BadInput("there may be " + std::to_string(most) + " outside inputs; given were " +
                           std::to_string(declared_.size()));
        if (!is_finite(ahead) || !(ahead >= 0))
            throw BadInput("an input may be ahead by 0 s or more; given was " + detail::text_of(ahead) +
                           " s");
        for (std::size_t i = 0; i < declared_.size(); ++i) {
            auto const& input = declared_[i];
            if (input.name.empty())
                throw BadInput("outside input number " + std::to_string(i + 1) + " has no name");
            for (std::size_t k = 0; k < i; ++k)
                if (declared_[k].name == input.name)
                    throw BadInput("two outside inputs are named " + input.name);
            if (!is_finite(input.longest_age) || !(input.longest_age > 0))
                throw BadInput("outside input " + input.name +
                               ": the longest age must be above 0; given was " +
                               detail::text_of(input.longest_age) + " s");
        }
    }

    /// The number of inputs.
    std::size_t size() const { return declared_.size(); }

    /// The name of input number i, i < size().
    std::string const& name(std::size_t i) const { return declared_[i].name; }

    /// Takes a state that has arrived. A state that is older than the one held changes nothing; of two of one
    /// time the one that is not ready holds. One whose time is not finite, or lies too far beyond now, puts
    /// the input back to never stamped. Returns whether the state was taken as it is.
    bool take(InputState const& state, ScannerTime now) noexcept {
        if (state.index >= held_.size())
            return false;
        Held& held = held_[state.index];
        if (!is_finite(state.time.seconds) || !is_finite(now.seconds) || state.time - now > ahead_) {
            held = {};
            return false;
        }
        if (held.stamped && state.time < held.time)
            return false;
        bool const contradicted = held.stamped && state.time == held.time && !held.ready;
        held = {true, state.ready && !contradicted, state.time};
        return held.ready == state.ready;
    }

    /// What all inputs say together at a time; with a time that is not finite none is ready.
    InputVerdict verdict(ScannerTime now) const noexcept {
        for (std::size_t i = 0; i < held_.size(); ++i) {
            Held const& held = held_[i];
            double const age = held.stamped ? now - held.time : 0;
            InputFault const fault = !held.stamped                      ? InputFault::never_stamped
                                     : !held.ready                      ? InputFault::not_ready
                                     : !is_finite(age) || age < -ahead_ ? InputFault::from_the_future
                                     : age > declared_[i].longest_age   ? InputFault::stale
                                                                        : InputFault::none;
            if (fault != InputFault::none)
                return {fault, static_cast<std::uint8_t>(i), age};
        }
        return {InputFault::none, 0, 0};
    }

    /// Forgets all states: each input must say anew that it is ready.
    void forget() noexcept { std::fill(held_.begin(), held_.end(), Held{}); }

private:
    struct Held {
        bool stamped = false;
        bool ready = false;
        ScannerTime time = {0};
    };

    std::vector<InputDeclaration> declared_;
    double ahead_;
    std::vector<Held> held_;
};

} // namespace seamhold

#endif
