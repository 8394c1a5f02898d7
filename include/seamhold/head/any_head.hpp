#ifndef SEAMHOLD_HEAD_ANY_HEAD_HPP
#define SEAMHOLD_HEAD_ANY_HEAD_HPP

#include "seamhold/head/flat_field_lens.hpp"
#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/head/real_head.hpp"
#include "seamhold/head/scan_head.hpp"

#include <utility>
#include <variant>

namespace seamhold {

/// A head chosen at run time from a closed list over doubles, the ideal pair first. Answers as the chosen
/// head does.
class AnyHead {
public:
    /// The list.
    using Choice = std::variant<MirrorPair<>, RealHead<OpenBeam>, RealHead<FlatFieldLens<>>>;

    /// From any head of the list.
    template <class H>
    requires std::constructible_from<Choice, H> AnyHead(H head) : choice_(std::move(head)) {}

private:
    template <class Use> auto answer(Use const& use) const {
        if (auto const* ideal = std::get_if<0>(&choice_)) // a guess costs less than the switch
            return use(*ideal);
        return std::visit(use, choice_);
    }

public:
    /// As in `ScanHead`.
    template <class P, class O = double>
    auto command(Point<Head, P> const& p, O const& focus_offset = 0) const {
        return answer([&](auto const& head) { return head.command(p, focus_offset); });
    }
    /// As in `ScanHead`.
    template <class P, class C> auto clearance(Point<Head, P> const& p, Command<C> const& command) const {
        return answer([&](auto const& head) { return head.clearance(p, command); });
    }
    /// As in `ScanHead`.
    template <class P, class O = double> auto aim(Point<Head, P> const& p, O const& focus_offset = 0) const {
        return answer([&](auto const& head) { return head.aim(p, focus_offset); });
    }
    /// As in `ScanHead`.
    template <class C> auto ray(Command<C> const& command) const {
        return answer([&](auto const& head) { return head.ray(command); });
    }
    /// As in `ScanHead`.
    AxisRanges ranges() const {
        return answer([](auto const& head) { return head.ranges(); });
    }
    /// As in `ScanHead`, m.
    double working_distance() const {
        return answer([](auto const& head) { return head.working_distance(); });
    }

    /// How much of the field is used: 0 in its deepest place, 1 at its edge.
    double field_utilisation(Point<Head> const& p, Command<> const& command) const {
        return answer([&](auto const& head) { return head.field_utilisation(p, command); });
    }

    /// The square of it at any number.
    template <class P, class C>
    auto squared_field_utilisation(Point<Head, P> const& p, Command<C> const& command) const {
        return answer([&](auto const& head) { return head.squared_field_utilisation(p, command); });
    }

    /// The chosen head, for those who must know which.
    Choice const& choice() const { return choice_; }

private:
    Choice choice_;
};

} // namespace seamhold

#endif
