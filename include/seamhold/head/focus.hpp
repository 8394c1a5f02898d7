#ifndef SEAMHOLD_HEAD_FOCUS_HPP
#define SEAMHOLD_HEAD_FOCUS_HPP

#include "seamhold/curve/monotone.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/number.hpp"

#include <cmath>
#include <concepts>
#include <string>
#include <utility>
#include <variant>
#include <vector>

/// Laws of a focus axis in front of the mirrors: which displacement of the lens, m, puts the focus at which
/// optical path from the first mirror, m, and back. Positive moves the focus away from the head; `path(0)` is
/// the stated path at which the lens stands at 0. Every law also says how the spot grows with the path: a
/// lens that moves in collimated light displaces its own focus by as much as itself, and what images that
/// focus to the work magnifies lengths along the beam by the square of what it magnifies across (paraxial
/// optics; the same medium on both sides). So the spot's size goes with the square root of the path's change
/// per metre of the lens.
namespace seamhold {

namespace detail {
/// Nearer than this, m, a division by a distance is guarded.
inline constexpr double least_distance = 1e-9;

/// x, or the nearest distance that a division can take.
template <class T> T guarded_distance(T const& x) {
    return select(x > least_distance, x, number_cast<T>(least_distance));
}

/// Throws BadInput about a field of a focus axis.
[[noreturn]] inline void refuse_focus(std::string const& field, double given, std::string const& allowed) {
    throw BadInput("a focus axis's " + field + " of " + text_of(given) + " is not possible: it must be " +
                   allowed);
}
} // namespace detail

/// One number for the whole axis: the focus moves `ratio` metres at the work for a metre of the lens.
template <class S = double> struct LinearFocus {
    S zero_path; ///< optical path from the first mirror to the focus at lens 0, m
    S ratio;     ///< metres the focus moves for a metre of the lens, above 0

    /// The displacement of the lens that puts the focus at this path, m: (path − zero path) / ratio.
    template <class P> Common<S, P> lens(P const& path) const {
        using T = Common<S, P>;
        return (number_cast<T>(path) - operand<T>(zero_path)) / operand<T>(ratio);
    }

    /// The path at which a lens displaced by this much puts the focus, m.
    template <class P> Common<S, P> path(P const& lens) const {
        using T = Common<S, P>;
        return number_cast<T>(lens) * operand<T>(ratio) + operand<T>(zero_path);
    }

    /// How far inside of what the law knows a path is, m: the law has no end, so ∞.
    template <class P> Common<S, P> path_clearance(P const& /*path*/) const {
        return detail::without_end<Common<S, P>>();
    }

    /// How far inside of what the law knows a displacement is, m: ∞.
    template <class P> Common<S, P> lens_clearance(P const& /*lens*/) const {
        return detail::without_end<Common<S, P>>();
    }

    /// The spot's size at this path ÷ that at lens 0: 1, as far as one number for the axis can tell.
    template <class P> Common<S, P> spot_scale(P const& /*path*/) const {
        return number_cast<Common<S, P>>(1.0);
    }
};

/// Collimated light, a moving lens, then a fixed focusing lens: the moving lens's focus, real or virtual, is
/// imaged to the work. With B = ahead + path − f behind the focusing lens's focal point, and B₀ at lens 0,
/// Newton's equation puts the object A = f²/B before the other one; the moving lens carries the object along,
/// so that it stands at f²/B₀ − f²/B, whatever its own focal length. The image is (b − f)/f times as large as
/// the object: the spot grows with the path. Thin lenses, paraxial. Source: M. Born, E. Wolf, "Principles of
/// Optics", 7th ed., Cambridge 1999, section 4.3.1 (Newton's equation; from memory); checked against a trace
/// by ray-transfer matrices.
template <class S = double> struct ThinLensFocus {
    S zero_path;    ///< optical path from the first mirror to the focus at lens 0, m
    S focal_length; ///< of the fixed focusing lens, m, above 0
    S ahead;        ///< how far the focusing lens stands before the first mirror, m, 0 or more

    /// The displacement of the moving lens that puts the focus at this path, m; finite for any path and
    /// without meaning where `path_clearance` is not above 0.
    template <class P> Common<S, P> lens(P const& path) const {
        using T = Common<S, P>;
        T const beyond = detail::guarded_distance<T>(number_cast<T>(path) + operand<T>(ahead - focal_length));
        return (number_cast<T>(path) - operand<T>(zero_path)) * operand<T>(object_at_zero()) / beyond;
    }

    /// The path at which a moving lens displaced by this much puts the focus, m; finite for any displacement
    /// and without meaning where `lens_clearance` is not above 0.
    template <class P> Common<S, P> path(P const& lens) const {
        using T = Common<S, P>;
        T const object = detail::guarded_distance<T>(lens_clearance(lens));
        return number_cast<T>(lens) * operand<T>(image_at_zero()) / object + operand<T>(zero_path);
    }

    /// How far a path is beyond the focusing lens's focal length, m: a real focus lies nowhere else.
    template <class P> Common<S, P> path_clearance(P const& path) const {
        using T = Common<S, P>;
        return number_cast<T>(path) + operand<T>(ahead - focal_length);
    }

    /// How far the displacement is from that at which the light leaves the head collimated, m.
    template <class P> Common<S, P> lens_clearance(P const& lens) const {
        using T = Common<S, P>;
        return number_cast<T>(object_at_zero()) - number_cast<T>(lens);
    }

    /// The spot's size at this path ÷ the size of the moving lens's own focus: (b − f)/f.
    template <class P> Common<S, P> magnification(P const& path) const {
        return path_clearance(path) / operand<Common<S, P>>(focal_length);
    }

    /// The spot's size at this path ÷ that at lens 0: (b − f)/(b₀ − f).
    template <class P> Common<S, P> spot_scale(P const& path) const {
        return path_clearance(path) / operand<Common<S, P>>(image_at_zero());
    }

private:
    /// Newton's distances of image and object at lens 0, from the focal points, m.
    S image_at_zero() const { return zero_path + ahead - focal_length; }
    S object_at_zero() const { return sqr(focal_length) / image_at_zero(); }
};

/// A measured focus axis: displacements of the lens over optical paths, interpolated by a `MonotoneTable`
/// (C², never turning back, straight beyond its ends, where `path_clearance` and `lens_clearance` are
/// negative).
class FocusTable {
public:
    /// From rows in order of increasing path, m, with the lens's displacement, m, rising with the path and
    /// containing 0. Throws BadInput, naming the rows counted from 0, for what `MonotoneTable` refuses; for a
    /// path that is not above 0; for displacements that fall or do not contain 0.
    FocusTable(std::vector<double> paths, std::vector<double> lenses)
        : table_(std::move(paths), std::move(lenses)) {
        if (!(table_.low() > 0))
            detail::refuse_focus("first path (m)", table_.low(), "above 0");
        if (!table_.rises())
            throw BadInput("the lens must rise with the path: positive moves the focus away from the head; "
                           "turn the sign of the lens's column");
        if (!(table_.lowest_value() <= 0) || !(table_.highest_value() >= 0))
            throw BadInput("a focus table must contain the lens's 0; its displacements (m) run from " +
                           detail::text_of(table_.lowest_value()) + " to " +
                           detail::text_of(table_.highest_value()));
        zero_slope_ = table_.slope_at(table_.inverse(0.0));
    }

    /// The displacement of the lens that puts the focus at this path, m.
    template <class P> Common<double, P> lens(P const& path) const {
        return table_.at(number_cast<Common<double, P>>(path));
    }

    /// The path at which a lens displaced by this much puts the focus, m.
    template <class P> Common<double, P> path(P const& lens) const {
        return table_.inverse(number_cast<Common<double, P>>(lens));
    }

    /// How far inside of the table's ends a path is, m; negative outside.
    template <class P> Common<double, P> path_clearance(P const& path) const {
        return inside(number_cast<Common<double, P>>(path), table_.low(), table_.high());
    }

    /// How far inside of the table's ends a displacement is, m; negative outside.
    template <class P> Common<double, P> lens_clearance(P const& lens) const {
        return inside(number_cast<Common<double, P>>(lens), table_.lowest_value(), table_.highest_value());
    }

    /// The spot's size at this path ÷ that at lens 0: √(lens′(path at 0) / lens′(path)), where the lens moves
    /// in collimated light.
    template <class P> Common<double, P> spot_scale(P const& path) const {
        using std::sqrt;
        using T = Common<double, P>;
        return sqrt(number_cast<T>(zero_slope_) / table_.slope_at(number_cast<T>(path)));
    }

    /// The rows and what lies between them.
    MonotoneTable const& table() const { return table_; }

private:
    template <class T> static T inside(T const& x, double low, double high) {
        T const above = x - low;
        T const below = number_cast<T>(high) - x;
        return select(above < below, above, below);
    }

    MonotoneTable table_;
    double zero_slope_ = 1;
};

/// A law as given, checked. Throws BadInput, naming the field, for a zero path or a ratio that is not above 0
/// and finite.
inline LinearFocus<> checked(LinearFocus<> const& focus) {
    if (!(focus.zero_path > 0) || !is_finite(focus.zero_path))
        detail::refuse_focus("zero path (m)", focus.zero_path, "above 0");
    if (!(focus.ratio > 0) || !is_finite(focus.ratio))
        detail::refuse_focus("ratio", focus.ratio, "above 0: positive moves the focus away from the head");
    return focus;
}

/// A law as given, checked. Throws BadInput, naming the field, for a zero path or a focal length that is not
/// above 0, a focusing lens behind the first mirror, or a focus at lens 0 that is not beyond the focal
/// length.
inline ThinLensFocus<> checked(ThinLensFocus<> const& focus) {
    if (!(focus.zero_path > 0) || !is_finite(focus.zero_path))
        detail::refuse_focus("zero path (m)", focus.zero_path, "above 0");
    if (!(focus.ahead >= 0) || !is_finite(focus.ahead))
        detail::refuse_focus("distance from focusing lens to first mirror (m)", focus.ahead, "0 or more");
    if (!(focus.focal_length > 0) || !is_finite(focus.focal_length))
        detail::refuse_focus("focal length (m)", focus.focal_length, "above 0");
    if (!(focus.zero_path + focus.ahead - focus.focal_length > detail::least_distance))
        detail::refuse_focus("focal length (m)", focus.focal_length,
                             "less than the way from the focusing lens to the focus at lens 0, " +
                                 detail::text_of(focus.zero_path + focus.ahead));
    return focus;
}

/// A focus axis whose law is chosen at run time.
class AnyFocus {
public:
    /// From any of the laws over doubles.
    template <class Law>
    requires(std::same_as<Law, LinearFocus<>> || std::same_as<Law, ThinLensFocus<>> ||
             std::same_as<Law, FocusTable>) AnyFocus(Law law)
        : choice_(std::move(law)) {}

    /// The displacement of the lens that puts the focus at this path, m.
    template <class P> Common<double, P> lens(P const& path) const {
        return std::visit([&](auto const& law) { return law.lens(path); }, choice_);
    }

    /// The path at which a lens displaced by this much puts the focus, m.
    template <class P> Common<double, P> path(P const& lens) const {
        return std::visit([&](auto const& law) { return law.path(lens); }, choice_);
    }

    /// How far inside of what the law knows a path is, m; negative outside.
    template <class P> Common<double, P> path_clearance(P const& path) const {
        return std::visit([&](auto const& law) { return law.path_clearance(path); }, choice_);
    }

    /// How far inside of what the law knows a displacement is, m; negative outside.
    template <class P> Common<double, P> lens_clearance(P const& lens) const {
        return std::visit([&](auto const& law) { return law.lens_clearance(lens); }, choice_);
    }

    /// The spot's size at this path ÷ that at lens 0.
    template <class P> Common<double, P> spot_scale(P const& path) const {
        return std::visit([&](auto const& law) { return law.spot_scale(path); }, choice_);
    }

    /// The chosen law, for those who must know which.
    std::variant<LinearFocus<>, ThinLensFocus<>, FocusTable> const& choice() const { return choice_; }

private:
    std::variant<LinearFocus<>, ThinLensFocus<>, FocusTable> choice_;
};

} // namespace seamhold

#endif
