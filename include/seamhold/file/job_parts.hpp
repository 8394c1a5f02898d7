#ifndef SEAMHOLD_FILE_JOB_PARTS_HPP
#define SEAMHOLD_FILE_JOB_PARTS_HPP

#include "seamhold/file/job_pose.hpp"
#include "seamhold/file/log_declaration.hpp"
#include "seamhold/file/placing_report.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/frame/fit.hpp"
#include "seamhold/number/units.hpp"

#include <optional>
#include <string>
#include <utility>
#include <vector>

/// The parts of a job file, each from its table.
namespace seamhold::detail {

inline LogDeclaration read_log_declaration(TomlTable table) {
    LogDeclaration log{};
    log.poses = table.choice<PosesAre>(
        "poses", {{"measured", PosesAre::measured}, {"commanded", PosesAre::commanded}});
    log.stamps = table.choice<StampsAre>(
        "stamps", {{"sampling", StampsAre::sampling}, {"arrival", StampsAre::arrival}});
    log.max_gap = milliseconds(table.number("max_gap_ms", above_zero));
    if (table.has("columns"))
        log.columns = table.texts("columns");
    if (table.has("keep_rows")) {
        auto keep = table.table("keep_rows");
        log.keep_rows = KeepRows{keep.text("column"), keep.text("equals")};
        keep.finish();
    }
    if (table.has("repeated_rows"))
        log.repeated_rows = table.choice<RepeatedRows>(
            "repeated_rows",
            {{"keep", RepeatedRows::keep}, {"drop", RepeatedRows::drop}, {"retime", RepeatedRows::retime}});
    if (table.has("times_from"))
        log.times_from = table.choice<TimesFrom>(
            "times_from", {{"clock", TimesFrom::clock}, {"first_row", TimesFrom::first_row}});
    table.finish();
    return log;
}

/// A part's motion, and how well its touched points are met where it has some.
struct ReadPart {
    AnyPartMotion motion;
    std::optional<PlacingReport::Part> touched;
};

/// The pose that fits touched points best.
inline FittedPose<Cell, Part> read_touched(TomlTable& table) {
    std::vector<TouchedPoint<Cell, Part>> points;
    for (auto& point : table.tables("touched")) {
        points.push_back({read_point_mm<Part>(point, "part_mm"), read_point_mm<Cell>(point, "cell_mm")});
        point.finish();
    }
    auto fitted = table.told_where("touched", [&] { return fit_pose<Cell, Part>(points); });
    double const most = table.number_or("largest_miss_mm", in_millimetres(fitted.worst), above_zero);
    if (in_millimetres(fitted.worst) > most)
        table.fail("touched", "touched point " + std::to_string(fitted.worst_point + 1) + " is " +
                                  fixed(in_millimetres(fitted.worst), 3) +
                                  " mm from where all together say; allowed are " + shortest(most) + " mm");
    return fitted;
}

inline ReadPart read_part(TomlTable table) {
    ReadPart part{Rest<Cell, Part>{Pose<Cell, Part>::identity()}, {}};
    Pose<Cell, Part> start = Pose<Cell, Part>::identity();
    if (table.one_of({"position_mm", "touched"}) == "touched") {
        auto const fitted = read_touched(table);
        start = fitted.pose;
        part.touched = PlacingReport::Part{{}, fitted.rms, fitted.worst, fitted.worst_point};
        for (auto const& residual : fitted.residuals)
            part.touched->misses.push_back(norm(residual));
    } else {
        start = read_pose<Cell, Part>(table);
    }
    if (!table.has("turn")) {
        table.finish();
        part.motion = Rest<Cell, Part>{start};
        return part;
    }
    auto turn = table.table("turn");
    auto const point = read_point_mm<Cell>(turn, "axis_point_mm");
    auto const axis = unit(read_direction<Cell>(turn, "axis"));
    double const velocity = degrees_per_second(turn.number("velocity_deg_s", any_number));
    double const start_time = turn.number("at_s", any_number);
    turn.finish();
    table.finish();
    part.motion = Turntable<Cell, Part>{start, point, axis, velocity, start_time};
    return part;
}

} // namespace seamhold::detail

#endif
