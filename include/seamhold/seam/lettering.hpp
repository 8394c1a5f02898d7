#ifndef SEAMHOLD_SEAM_LETTERING_HPP
#define SEAMHOLD_SEAM_LETTERING_HPP

#include "seamhold/seam/alphabet.hpp"
#include "seamhold/seam/extent.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <string>
#include <string_view>
#include <vector>

/// Part numbers and other short texts as strokes: capitals A to Z, digits, - . / + and space, in a
/// single-stroke alphabet of this project's own drawing. No stroke has a corner, so that the spot never has
/// to stop within one; no arc is tighter than a twelfth of the height.
namespace seamhold {

/// One stroke of a letter.
struct LetterStroke {
    DrawnShape shape;
    char letter;
    std::size_t index; ///< of the letter in the text, from 0; spaces count
};

/// A text as strokes in writing order; from the end of one to the start of the next the beam is off.
struct Lettering {
    std::vector<LetterStroke> strokes;
    double width; ///< along the baseline, from the first letter's left to the last one's right, m

    /// The length of all strokes together, m.
    double length() const {
        double sum = 0;
        for (auto const& stroke : strokes)
            sum += stroke.shape.length();
        return sum;
    }

    /// The straight ways between strokes together, m: the least that the beam travels while it is off.
    double air_length() const {
        double sum = 0;
        for (std::size_t i = 1; i < strokes.size(); ++i) {
            auto const end = strokes[i - 1].shape.at(strokes[i - 1].shape.length());
            auto const start = strokes[i].shape.at(0.0);
            sum += std::hypot(start.x - end.x, start.y - end.y);
        }
        return sum;
    }

    /// The box around all strokes, m.
    FaceExtent extent() const {
        FaceExtent box;
        for (auto const& stroke : strokes)
            box.take(extent_of(stroke.shape));
        return box;
    }
};

/// How large letters are.
struct LetterSize {
    double height;         ///< of a capital, from the baseline to its top, m (the middle of the weld's line)
    double spacing = 0.25; ///< the gap between neighbours as a share of the height
};

/// A straight line that letters stand on.
struct StraightBaseline {
    FacePoint start;      ///< the first letter's left, m
    double direction = 0; ///< of writing, from the face's x axis, rad
};

/// A circle that letters stand on, with the text's middle at an angle.
struct RoundBaseline {
    FacePoint center;
    double radius;       ///< m
    double middle_angle; ///< where the middle of the text is, from the face's x axis, rad
    bool inside = false; ///< false: tops away from the center, written clockwise; true: tops towards it,
                         ///< written counter-clockwise
};

namespace detail {

/// The stroke that lies tight around bends: the first and the last a point, circles between. Scaled.
inline DrawnShape stroke_of(std::span<Bend const> bends, double scale) {
    struct Tangent {
        double x, y;   // its unit direction
        double length; // between the two bends
    };
    std::vector<Tangent> between;
    for (std::size_t i = 0; i + 1 < bends.size(); ++i) {
        // A line that has both centers on the sides their signs say is `apart` nearer to one than the other.
        double const dx = bends[i + 1].x - bends[i].x, dy = bends[i + 1].y - bends[i].y;
        double const apart = bends[i + 1].radius - bends[i].radius;
        double const distance = std::hypot(dx, dy);
        double across = apart / distance;
        double along = std::sqrt(std::max(1 - across * across, 0.0));
        if (along < 1e-6) { // circles that touch, or a point on its circle: to the bit
            across = across > 0 ? 1 : -1;
            along = 0;
        }
        between.push_back(
            {(along * dx + across * dy) / distance, (along * dy - across * dx) / distance, along * distance});
    }
    std::vector<DrawnShape::Piece> pieces;
    double const turn = 2 * std::numbers::pi;
    for (std::size_t i = 0; i < between.size(); ++i) {
        auto const& way = between[i];
        double const radius = bends[i].radius, side = radius > 0 ? 1 : -1;
        if (i > 0) {
            auto const& before = between[i - 1];
            double angle =
                side * std::atan2(before.x * way.y - before.y * way.x, before.x * way.x + before.y * way.y);
            if (angle < 1e-6) // a circle is gone around: no turn is a whole one
                angle += turn;
            pieces.emplace_back(Arc<>{bends[i].x * scale, bends[i].y * scale, std::abs(radius) * scale,
                                      std::atan2(-side * before.x, side * before.y), side * angle});
        }
        if (way.length > 0)
            pieces.emplace_back(Straight<>{(bends[i].x + radius * way.y) * scale,
                                           (bends[i].y - radius * way.x) * scale, way.x, way.y,
                                           way.length * scale});
    }
    return DrawnShape(std::move(pieces));
}

/// Where each letter of a text begins along its baseline, units; the last entry is the end of the text.
struct SetLine {
    std::vector<Glyph const*> glyphs;
    std::vector<double> starts;
    double width = 0;
};

inline SetLine set_line(std::string_view text, LetterSize size) {
    if (!(size.height > 0) || !is_finite(size.height))
        throw BadInput("letters must be higher than 0; given was " + text_of(size.height * 1e3) + " mm");
    if (!(size.spacing >= 0) || !is_finite(size.spacing))
        throw BadInput("the gap between letters must be 0 or above, as a share of their height; given was " +
                       text_of(size.spacing));
    SetLine line;
    for (std::size_t i = 0; i < text.size(); ++i) {
        Glyph const* glyph = glyph_of(text[i]);
        if (glyph == nullptr) {
            bool const shown = text[i] > ' ' && text[i] < 127;
            throw BadInput("the text has " +
                           (shown ? "'" + std::string(1, text[i]) + "'" : std::string("a sign")) +
                           " at place " + std::to_string(i + 1) +
                           ", which is not drawn: capitals A to Z, digits, - . / + and space are");
        }
        if (i > 0)
            line.width += size.spacing * units_high;
        line.glyphs.push_back(glyph);
        line.starts.push_back(line.width);
        line.width += glyph->width;
    }
    if (std::all_of(text.begin(), text.end(), [](char c) { return c == ' '; }))
        throw BadInput("a text needs one letter or more");
    return line;
}

/// Adds a letter's strokes, each put in its place by `place`.
template <class Place>
void add_letter(std::vector<LetterStroke>& strokes, Glyph const& glyph, std::size_t index, double scale,
                Place const& place) {
    std::size_t first = 0;
    for (std::size_t i = 0; i <= glyph.count; ++i) {
        if (i < glyph.count && glyph.bends[i].radius < lift.radius)
            continue;
        if (i > first)
            strokes.push_back(
                {place(stroke_of({glyph.bends.data() + first, i - first}, scale)), glyph.letter, index});
        first = i + 1;
    }
}

} // namespace detail

/// How long a text is along its baseline, m. Throws BadInput as `lettering` does.
inline double text_width(std::string_view text, LetterSize size) {
    return detail::set_line(text, size).width * size.height / detail::units_high;
}

/// A text on a straight line. Throws BadInput for a sign that is not drawn, with its place in the text (from
/// 1), for a text without letters, for a height that is not above 0 and a spacing below 0.
inline Lettering lettering(std::string_view text, LetterSize size, StraightBaseline const& line) {
    auto const set = detail::set_line(text, size);
    if (!is_finite(line.start.x) || !is_finite(line.start.y) || !is_finite(line.direction))
        throw BadInput("a baseline must have a finite start and direction");
    double const scale = size.height / detail::units_high;
    double const along_x = std::cos(line.direction), along_y = std::sin(line.direction);
    Lettering made{{}, set.width * scale};
    for (std::size_t i = 0; i < set.glyphs.size(); ++i) {
        double const start = set.starts[i] * scale;
        detail::add_letter(made.strokes, *set.glyphs[i], i, scale, [&](DrawnShape const& stroke) {
            return stroke.moved(line.start.x + start * along_x, line.start.y + start * along_y,
                                line.direction);
        });
    }
    return made;
}

/// A text around a circle. Letters are not bent: each stands upright on the circle where its middle is; the
/// width and the gaps are along the circle. Throws BadInput as above, for a radius that is not above 0
/// (inside: not above the height), for a text longer than the circle, and where neighbours inside a circle
/// keep less than a third of their gap at the tops, naming both.
inline Lettering lettering(std::string_view text, LetterSize size, RoundBaseline const& circle) {
    auto const set = detail::set_line(text, size);
    double const scale = size.height / detail::units_high;
    double const least = circle.inside ? size.height : 0;
    if (!(circle.radius > least) || !is_finite(circle.radius) || !is_finite(circle.center.x) ||
        !is_finite(circle.center.y) || !is_finite(circle.middle_angle))
        throw BadInput("the circle that letters stand on must be finite, with a radius above " +
                       detail::text_of(least * 1e3) + " mm; given was " +
                       detail::text_of(circle.radius * 1e3) + " mm");
    double const around = 2 * std::numbers::pi * circle.radius;
    double const room = around - size.spacing * size.height;
    if (set.width * scale > room)
        throw BadInput("the text is " + detail::text_of(set.width * scale * 1e3) +
                       " mm long, with a gap to its own start more than the circle's " +
                       detail::text_of(around * 1e3) + " mm");
    Lettering made{{}, set.width * scale};
    double const sense = circle.inside ? 1 : -1;
    double const tops = circle.radius - (circle.inside ? size.height : 0);
    double const least_gap = size.spacing * size.height / 3 / tops;
    double end_before = 0; // where the last letter's top ends, rad along the text
    std::size_t before = set.glyphs.size();
    for (std::size_t i = 0; i < set.glyphs.size(); ++i) {
        double const half = set.glyphs[i]->width / 2 * scale;
        double const middle = (set.starts[i] * scale + half) / circle.radius;
        double const half_angle = std::atan(half / tops);
        if (set.glyphs[i]->count > 0) {
            if (circle.inside && before < i && middle - half_angle < end_before + least_gap)
                throw BadInput(
                    "letters " + std::to_string(before + 1) + " and " + std::to_string(i + 1) +
                    " of the text keep less than a third of their gap at the tops: a larger radius or "
                    "wider gaps");
            end_before = middle + half_angle;
            before = i;
        }
        double const angle = circle.middle_angle + sense * (middle - set.width / 2 * scale / circle.radius);
        double const heading = angle + sense * std::numbers::pi / 2; // of the writing there
        double const x = circle.center.x + circle.radius * std::cos(angle) - half * std::cos(heading);
        double const y = circle.center.y + circle.radius * std::sin(angle) - half * std::sin(heading);
        detail::add_letter(made.strokes, *set.glyphs[i], i, scale,
                           [&](DrawnShape const& stroke) { return stroke.moved(x, y, heading); });
    }
    return made;
}

} // namespace seamhold

#endif
