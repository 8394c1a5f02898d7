#ifndef SEAMHOLD_SEAM_ALPHABET_HPP
#define SEAMHOLD_SEAM_ALPHABET_HPP

#include <array>
#include <cstddef>

/// The strokes of the single-stroke alphabet, drawn for this project. A letter is 6 units high and mostly 4
/// wide; a stroke is a line laid tight around circles, so that it is straight pieces and arcs without a
/// corner, and no arc is tighter than half a unit.
namespace seamhold::detail {

/// How many units high a capital is.
constexpr double units_high = 6;

/// A point of a stroke (radius 0) or a circle that it goes around: counter-clockwise for a radius above 0,
/// clockwise below. Units, from the left end of the letter's baseline.
struct Bend {
    double x, y, radius;
};

/// A letter: its width and its bends, in writing order; a bend at `lift` ends a stroke.
struct Glyph {
    char letter;
    double width;
    std::array<Bend, 12> bends;
    std::size_t count;
};

/// A bend that is none: the beam is off on the way to the next.
constexpr Bend lift{0, 0, 1e9};

/// A letter from its bends.
template <class... Bends> constexpr Glyph glyph(char letter, double width, Bends... bends) {
    return {letter, width, {bends...}, sizeof...(bends)};
}

/// A point of a stroke.
constexpr Bend point(double x, double y) { return {x, y, 0}; }
/// A point on a circle of a radius around (x, y), where a letter ends in the open: 30° above or below the
/// height of its center, to the right or the left (side and upper are 1 or −1).
constexpr Bend open_end(double x, double y, double radius, double side, double upper) {
    constexpr double cos_30 = 0.86602540378443865;
    return {x + side * cos_30 * radius, y + upper * radius / 2, 0};
}
/// A circle that a stroke goes around counter-clockwise.
constexpr Bend left(double x, double y, double radius) { return {x, y, radius}; }
/// A circle that a stroke goes around clockwise.
constexpr Bend right(double x, double y, double radius) { return {x, y, -radius}; }

// clang-format off
constexpr std::array alphabet{
    glyph(' ', 2.5),
    glyph('+', 3, point(0, 3), point(3, 3), lift, point(1.5, 4.5), point(1.5, 1.5)),
    glyph('-', 2.4, point(0, 3), point(2.4, 3)),
    glyph('.', 1, point(0, 0.5), left(0.5, 0.5, 0.5), point(0, 0.5)),
    glyph('/', 2.8, point(0, 0), point(2.8, 6)),
    glyph('0', 3.4, point(0, 3), left(1.7, 1.7, 1.7), left(1.7, 4.3, 1.7), point(0, 3),
          lift, point(1.1, 2.1), point(2.3, 3.9)),
    glyph('1', 1.6, point(0, 4.5), right(1.1, 5.5, 0.5), point(1.6, 0)),
    glyph('2', 3.4, open_end(1.7, 4.3, 1.7, -1, 1), right(1.7, 4.3, 1.7), left(0.5, 0.5, 0.5), point(3.4, 0)),
    glyph('3', 3.1, open_end(1.5, 4.55, 1.45, -1, 1), right(1.5, 4.55, 1.45), point(1.1, 3.1),
          lift, point(1.1, 3.1), right(1.5, 1.55, 1.55), open_end(1.5, 1.55, 1.55, -1, -1)),
    glyph('4', 3.6, point(2.6, 6), left(0.5, 2, 0.5), point(3.6, 1.5), lift, point(2.6, 6), point(2.6, 0)),
    glyph('5', 3.4, point(3.1, 6), left(0.6, 5.5, 0.5), left(0.6, 4.1, 0.5), right(1.6, 1.8, 1.8),
          open_end(1.6, 1.8, 1.8, -1, -1)),
    glyph('6', 3.4, open_end(1.7, 4.3, 1.7, 1, 1), left(1.7, 4.3, 1.7), left(1.7, 1.7, 1.7), point(0, 1.7)),
    glyph('7', 3.3, point(0, 6), right(2.8, 5.5, 0.5), point(0.9, 0)),
    glyph('8', 3.1, point(1.55, 6), left(1.55, 4.55, 1.45), right(1.55, 1.55, 1.55), left(1.55, 4.55, 1.45),
          point(1.55, 6)),
    glyph('9', 3.4, point(3.4, 4.3), right(1.7, 4.3, 1.7), right(1.7, 1.7, 1.7),
          open_end(1.7, 1.7, 1.7, -1, -1)),
    glyph('A', 4.2, point(0, 0), right(2.1, 5.5, 0.5), point(4.2, 0),
          lift, point(0.5457, 1.9), point(3.6543, 1.9)),
    glyph('B', 3.8, point(0, 3.1), left(2.2, 4.55, 1.45), left(0.5, 5.5, 0.5), left(0.5, 0.5, 0.5),
          left(2.25, 1.55, 1.55), point(2.2, 3.1)),
    glyph('C', 3.8, open_end(2, 4, 2, 1, 1), left(2, 4, 2), left(2, 2, 2), open_end(2, 2, 2, 1, -1)),
    glyph('D', 4, point(0, 3), left(0.5, 0.5, 0.5), left(1, 3, 3), left(0.5, 5.5, 0.5), point(0, 3)),
    glyph('E', 3.5, point(3.5, 6), left(0.5, 5.5, 0.5), left(0.5, 0.5, 0.5), point(3.5, 0),
          lift, point(0, 3.1), point(3, 3.1)),
    glyph('F', 3.4, point(3.4, 6), left(0.5, 5.5, 0.5), point(0, 0), lift, point(0, 3.1), point(2.8, 3.1)),
    glyph('G', 4, open_end(2, 4, 2, 1, 1), left(2, 4, 2), left(2, 2, 2), left(3.5, 2.4, 0.5), point(2.2, 2.9)),
    glyph('H', 4, point(0, 6), point(0, 0), lift, point(0, 3.1), point(4, 3.1), lift, point(4, 6), point(4, 0)),
    glyph('I', 0, point(0, 6), point(0, 0)),
    glyph('J', 3, point(3, 6), right(1.5, 1.5, 1.5), open_end(1.5, 1.5, 1.5, -1, -1)),
    glyph('K', 3.8, point(0, 6), point(0, 0), lift, point(3.8, 6), left(0.5, 3.1, 0.5), point(3.8, 0)),
    glyph('L', 3.4, point(0, 6), left(0.5, 0.5, 0.5), point(3.4, 0)),
    glyph('M', 4.8, point(0, 0), right(0.5, 5.5, 0.5), left(2.4, 2.3, 0.5), right(4.3, 5.5, 0.5),
          point(4.8, 0)),
    glyph('N', 4, point(0, 0), right(0.5, 5.5, 0.5), left(3.5, 0.5, 0.5), point(4, 6)),
    glyph('O', 4, point(0, 3), left(2, 2, 2), left(2, 4, 2), point(0, 3)),
    glyph('P', 3.7, point(0, 0), right(0.5, 5.5, 0.5), right(2.1, 4.4, 1.6), point(0, 2.8)),
    glyph('Q', 4.1, point(0, 3), left(2, 2, 2), left(2, 4, 2), point(0, 3),
          lift, point(2.5, 1.6), point(4.1, 0)),
    glyph('R', 3.8, point(0, 0), right(0.5, 5.5, 0.5), right(2.1, 4.4, 1.6), point(0, 2.8),
          lift, point(2, 2.8), point(3.8, 0)),
    glyph('S', 3.7, open_end(2.2, 4.5, 1.5, 1, 1), left(2.2, 4.5, 1.5), left(1.5, 4.5, 1.5),
          right(2.2, 1.5, 1.5), right(1.5, 1.5, 1.5), open_end(1.5, 1.5, 1.5, -1, -1)),
    glyph('T', 4, point(0, 6), point(4, 6), lift, point(2, 6), point(2, 0)),
    glyph('U', 4, point(0, 6), left(2, 2, 2), point(4, 6)),
    glyph('V', 4.2, point(0, 6), left(2.1, 0.5, 0.5), point(4.2, 6)),
    glyph('W', 6, point(0, 6), left(1.6, 0.5, 0.5), right(3, 4.2, 0.5), left(4.4, 0.5, 0.5), point(6, 6)),
    glyph('X', 4, point(0, 6), point(4, 0), lift, point(0, 0), point(4, 6)),
    glyph('Y', 4.2, point(0, 6), left(2.1, 3.3, 0.5), point(4.2, 6), lift, point(2.1, 2.8), point(2.1, 0)),
    glyph('Z', 3.8, point(0, 6), right(3.3, 5.5, 0.5), left(0.5, 0.5, 0.5), point(3.8, 0)),
};
// clang-format on

/// The glyph of a letter, or null.
constexpr Glyph const* glyph_of(char letter) {
    for (auto const& g : alphabet)
        if (g.letter == letter)
            return &g;
    return nullptr;
}

} // namespace seamhold::detail

#endif
