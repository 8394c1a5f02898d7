#ifndef SEAMHOLD_FILE_JOB_PATTERN_HPP
#define SEAMHOLD_FILE_JOB_PATTERN_HPP

#include "seamhold/file/job_shape.hpp"
#include "seamhold/seam/lettering.hpp"
#include "seamhold/seam/pattern.hpp"

#include <string>
#include <utility>
#include <vector>

/// Where a job's shapes lie on their faces: one of them, many in a pattern, or a text.
namespace seamhold::detail {

/// The shapes of one `[[seam]]`, in the order in which they are welded.
struct Drawing {
    std::vector<DrawnShape> shapes; ///< of a point: a straight piece that begins there
    bool numbered = false;          ///< whether it is a pattern or a text
};

constexpr std::size_t most_copies = 10000;

/// A shape turned, mirrored and moved to its place.
inline DrawnShape read_place(TomlTable& table, ShapeKind kind, DrawnShape shape) {
    bool const as_drawn = kind == ShapeKind::straight || kind == ShapeKind::arc || kind == ShapeKind::circle;
    if (!as_drawn) {
        bool const at_origin = kind == ShapeKind::polyline || kind == ShapeKind::curve || table.has("round");
        FacePoint at{0, 0};
        if (table.has("at_mm") || !at_origin)
            at = read_face_point_mm(table, "at_mm");
        double const turn = degrees(table.number_or("turn_deg", 0, any_number));
        if (table.truth_or("mirrored", false))
            shape = shape.mirrored({0, 0}, 0);
        shape = shape.moved(at.x, at.y, turn);
    }
    return table.truth_or("reversed", false) ? shape.reversed() : shape;
}

/// A point as the start of a straight piece, so that it can be repeated like a shape.
inline DrawnShape read_point(TomlTable& table) {
    FacePoint at{0, 0};
    if (table.has("at_mm") || !table.has("round"))
        at = read_face_point_mm(table, "at_mm");
    return Straight<>{at.x, at.y, 1, 0, 1};
}

inline std::vector<DrawnShape> read_row(TomlTable row, DrawnShape const& shape) {
    std::size_t const count = row.count("count", most_copies);
    auto const step = read_face_point_mm(row, "step_mm");
    row.finish();
    return row.told_where("step_mm", [&] { return row_of(shape, count, step); });
}

inline std::vector<DrawnShape> read_grid(TomlTable grid, DrawnShape const& shape) {
    std::size_t const columns = grid.count("columns", most_copies);
    std::size_t const rows = grid.count("rows", most_copies / columns);
    auto const column_step = read_face_point_mm(grid, "column_step_mm");
    auto const row_step = read_face_point_mm(grid, "row_step_mm");
    auto const order =
        grid.truth_or("there_and_back", true) ? GridOrder::there_and_back : GridOrder::same_way;
    grid.finish();
    grid.told_where("column_step_mm", [&] { return row_of(shape, columns, column_step); });
    return grid.told_where("row_step_mm",
                           [&] { return grid_of(shape, columns, rows, column_step, row_step, order); });
}

inline std::vector<DrawnShape> read_round(TomlTable round, DrawnShape const& shape) {
    std::size_t const count = round.count("count", most_copies);
    auto const center = read_face_point_mm(round, "center_mm");
    double const diameter = read_dimension_mm(round, "diameter_mm");
    double const first = degrees(round.number_or("first_deg", 0, any_number));
    auto const how = round.truth_or("turning", true) ? OnRing::turning : OnRing::upright;
    round.finish();
    return ring_of(shape, count, center, diameter, first, how);
}

/// A shape as often as `row`, `grid` or `round` say; once where none is there.
inline Drawing read_pattern(TomlTable& table, DrawnShape const& shape) {
    if (!table.has("row") && !table.has("grid") && !table.has("round"))
        return {{shape}};
    auto const which = table.one_of({"row", "grid", "round"});
    auto const read = which == "row" ? read_row : which == "grid" ? read_grid : read_round;
    return {read(table.table(which), shape), true};
}

/// A text as its strokes.
inline Drawing read_lettering(TomlTable& table) {
    std::string const text = table.text("text");
    LetterSize size{read_dimension_mm(table, "height_mm")};
    size.spacing = table.number_or("spacing", size.spacing, zero_or_more);
    table.told_where("text", [&] { return text_width(text, size); });
    auto const lettered = [&] {
        if (table.one_of({"from_mm", "around"}) == "from_mm") {
            auto const from = read_face_point_mm(table, "from_mm");
            double const turn = degrees(table.number_or("turn_deg", 0, any_number));
            return lettering(text, size, StraightBaseline{from, turn});
        }
        auto around = table.table("around");
        auto const center = read_face_point_mm(around, "center_mm");
        double const radius = read_dimension_mm(around, "radius_mm");
        double const middle = degrees(around.number("middle_deg", any_number));
        bool const inside = around.truth_or("inside", false);
        around.finish();
        return around.told_where("radius_mm", [&] {
            return lettering(text, size, RoundBaseline{center, radius, middle, inside});
        });
    }();
    Drawing drawing{{}, true};
    for (auto const& stroke : lettered.strokes)
        drawing.shapes.push_back(stroke.shape);
    if (table.truth_or("reversed", false))
        drawing.shapes = reversed(drawing.shapes);
    return drawing;
}

/// All shapes of a seam that lies on a face.
inline Drawing read_drawings(TomlTable& table, ShapeKind kind) {
    if (kind == ShapeKind::lettering)
        return read_lettering(table);
    if (kind == ShapeKind::point)
        return read_pattern(table, read_point(table));
    return read_pattern(table, read_place(table, kind, read_drawing(table, kind)));
}

} // namespace seamhold::detail

#endif
