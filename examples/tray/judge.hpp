// How well one seam was welded: every lit tick against the drawing, for three answers to "where was the
// flange?".
#ifndef TRAY_JUDGE_HPP
#define TRAY_JUDGE_HPP

#include "beam.hpp"
#include "drawing.hpp"
#include "files.hpp"
#include "line.hpp"
#include "reported.hpp"
#include "robot.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <string>

namespace tray {

/// Worst, its time, and root mean square of a distance in metres.
struct Spread {
    double worst = 0, worst_time = 0, squares = 0;
    std::size_t count = 0;
    void add(double distance, double time) {
        if (count == 0 || distance > worst) {
            worst = distance;
            worst_time = time;
        }
        squares += distance * distance;
        ++count;
    }
    void add(Spread const& other) {
        if (other.count > 0 && (count == 0 || other.worst > worst)) {
            worst = other.worst;
            worst_time = other.worst_time;
        }
        squares += other.squares;
        count += other.count;
    }
    double rms() const { return count == 0 ? 0 : std::sqrt(squares / static_cast<double>(count)); }
};

/// What one answer to "where was the flange?" makes of a seam: distance from where the drawing wants the spot
/// at that moment (if it knows), distance from the drawn line, and distance of the focus from where it is
/// wanted, along the beam.
struct Judged {
    Spread now, line, focus;
    void add(Judged const& other) {
        now.add(other.now);
        line.add(other.line);
        focus.add(other.focus);
    }
};

struct SeamResult {
    std::size_t lit_ticks = 0;
    std::array<Judged, 3> arms; // reported, lagging, true
    double readings_differ = 0; // m at the spot, the two readings of the log
    // Where on its line the light was, against the reported flange, for a seam whose speed the drawing does
    // not know.
    double first_way = std::numeric_limits<double>::infinity(), last_way = -first_way;

    /// Share of the line that was lit from end to end; 0 where it does not apply.
    double welded_share(Seam const& seam) const {
        return seam.speed || lit_ticks == 0 ? 0 : (last_way - first_way) / seam.track.length();
    }
};

inline constexpr std::array<char const*, 3> arm_names{"reported", "lagging", "true"};

/// Looks at one lit tick.
inline void judge(Commands const& commands, std::size_t i, Log const& log, Spline const& spline,
                  Drawing const& drawing, Line const& line, SeamResult& result) {
    auto const delayed = [&](double lag) {
        double const exact = lag / commands.period;
        auto const ticks = static_cast<std::size_t>(std::lround(exact));
        if (std::abs(exact - static_cast<double>(ticks)) > 0.01)
            throw std::runtime_error("the head's lag is not a whole number of ticks");
        if (i < ticks)
            throw std::runtime_error("the light is on before the head can have acted on its first command");
        return i - ticks;
    };
    double const time = commands.time(i);
    Seam const& seam = drawing.seams[commands.ticks[i].seam];
    if (time < seam.start_s - commands.period ||
        (seam.speed && time > seam.start_s + duration_of(seam) + commands.period))
        throw std::runtime_error("seam " + seam.name + " is lit at " + std::to_string(time) +
                                 " s, which is not its time on the drawing");
    Tick const& mirrors = commands.ticks[delayed(mirror_lag)];
    double const lens = commands.ticks[delayed(focus_lag)].focus;
    double const focus_path = focus_path_at_zero + focus_ratio * lens;
    Matrix const part_from_cell = inverse(cell_from_part);
    auto const landing = [&](Matrix const& cell_from_flange) {
        return land(mirrors.x_mirror, mirrors.y_mirror, part_from_cell * cell_from_flange * flange_from_head,
                    drawing.faces[seam.face]);
    };
    std::array<Landing, 3> const landings{landing(spline.cell_from_flange(time)),
                                          landing(cell_from_flange(joints_at(time, Arm::with_lag))),
                                          landing(cell_from_flange(joints_at(time, Arm::with_lag_and_flex)))};
    for (std::size_t a = 0; a < landings.size(); ++a) {
        Judged& judged = result.arms[a];
        Line::Nearest const nearest = line.nearest(time - seam.start_s, landings[a].spot);
        judged.line.add(nearest.distance, time);
        judged.focus.add(std::abs(focus_path - (landings[a].path + 0.001 * seam.focus_offset_mm)), time);
        if (seam.speed) {
            judged.now.add(length(landings[a].spot - drawn_point(drawing, seam, time)), time);
        } else if (a == 0) {
            result.first_way = std::min(result.first_way, nearest.where);
            result.last_way = std::max(result.last_way, nearest.where);
        }
    }
    Landing const other = landing(second_opinion(log, time));
    result.readings_differ = std::max(result.readings_differ, length(other.spot - landings[0].spot));
    ++result.lit_ticks;
}

} // namespace tray

#endif
