#ifndef SEAMHOLD_FILE_JOB_TRAVEL_HPP
#define SEAMHOLD_FILE_JOB_TRAVEL_HPP

#include "seamhold/file/toml.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/travel_by.hpp"

#include <optional>
#include <string>
#include <vector>

/// How a job's seams are travelled, and what goes on along them.
namespace seamhold::detail {

/// A weave as a job says it: how it grows is known with the seam's duration only.
struct WeaveAsked {
    Weave weave{};
    std::optional<double> end_frequency; ///< Hz
    std::optional<double> end_amplitude; ///< m

    /// The weave of a seam that lasts so long, s.
    Weave over(double duration) const {
        Weave grown = weave;
        if (end_frequency)
            grown.frequency_growth = (*end_frequency - weave.frequency) / duration;
        if (end_amplitude)
            grown.amplitude_growth = (*end_amplitude - weave.amplitude) / duration;
        return grown;
    }

    /// The largest amplitude, m.
    double largest() const { return std::max(weave.amplitude, end_amplitude.value_or(0)); }
};

inline WeaveAsked read_weave(TomlTable& table) {
    WeaveAsked asked;
    if (!table.has("weave"))
        return asked;
    auto swing = table.table("weave");
    if (swing.has("form"))
        asked.weave.form = swing.choice<WeaveForm>("form", {{"sine", WeaveForm::sine},
                                                            {"circle", WeaveForm::circle},
                                                            {"figure_eight", WeaveForm::figure_eight},
                                                            {"triangle", WeaveForm::triangle}});
    if (swing.has("end_frequency_Hz"))
        asked.end_frequency = swing.number("end_frequency_Hz", above_zero);
    if (swing.has("end_amplitude_mm"))
        asked.end_amplitude = millimetres(swing.number("end_amplitude_mm", zero_or_more));
    asked.weave.frequency = swing.number("frequency_Hz", above_zero);
    // Out of nothing it may grow, but it must be there at one end.
    bool const grows = asked.end_amplitude.value_or(0) > 0;
    asked.weave.amplitude = millimetres(swing.number("amplitude_mm", grows ? zero_or_more : above_zero));
    if (asked.weave.form == WeaveForm::triangle)
        asked.weave.tip = swing.number_or("tip", asked.weave.tip, {0, 1, false, true});
    swing.finish();
    return asked;
}

/// The power of a seam where it says one.
inline std::optional<PowerLaw> read_power(TomlTable& table) {
    if (!table.has("power"))
        return {};
    auto power = table.table("power");
    PowerRamps ramps{};
    ramps.rise = milliseconds(power.number_or("rise_ms", 0, zero_or_more));
    ramps.fall = milliseconds(power.number_or("fall_ms", 0, zero_or_more));
    Allowed const share{0, 1};
    ramps.start_share = power.number_or("start_share", 0, share);
    ramps.end_share = power.number_or("end_share", 0, share);
    if (power.one_of({"power_W", "by_feed"}) == "power_W") {
        PowerLaw const law(power.number("power_W", above_zero), ramps);
        power.finish();
        return law;
    }
    std::vector<FeedPower> rows;
    for (auto const& row : power.lists<2>("by_feed"))
        rows.push_back({metres_per_minute(row[0]), row[1]});
    double const floor = power.number_or("floor_W", 0, zero_or_more);
    power.finish();
    return power.told_where("by_feed", [&] { return PowerLaw(rows, floor, ramps); });
}

/// Throws BadInput where a seam is too short for the ramps of its power.
inline void check_ramps(TomlTable const& table, std::optional<PowerLaw> const& power, double duration) {
    if (power && power->ramps().rise + power->ramps().fall > duration)
        table.fail("power", "its ramps of " + shortest(in_milliseconds(power->ramps().rise)) + " and " +
                                shortest(in_milliseconds(power->ramps().fall)) +
                                " ms are longer than the seam's " + fixed(in_milliseconds(duration), 3) +
                                " ms");
}

/// The speed law of a seam, from `speed_m_per_min` and `travel`.
inline SpeedLaw read_speed(TomlTable& table) {
    double const speed = table.number("speed_m_per_min", above_zero);
    SpeedLaw law{metres_per_minute(speed)};
    if (!table.has("travel"))
        return law;
    auto travel = table.table("travel");
    Allowed const end{0, speed};
    if (travel.has("start_m_per_min"))
        law.start_speed = metres_per_minute(travel.number("start_m_per_min", end));
    if (travel.has("end_m_per_min"))
        law.end_speed = metres_per_minute(travel.number("end_m_per_min", end));
    law.acceleration = travel.number_or("acceleration_m_s2", law.acceleration, above_zero);
    law.jerk = travel.number_or("jerk_m_s3", law.jerk, above_zero);
    if (travel.has("jerk_m_s3") && !travel.has("acceleration_m_s2"))
        travel.fail("jerk_m_s3", "a limit of the jerk needs acceleration_m_s2 too");
    law.lateral_acceleration = travel.number_or("lateral_m_s2", law.lateral_acceleration, above_zero);
    if (travel.has("corners"))
        law.at_corners =
            travel.choice<AtCorner>("corners", {{"stop", AtCorner::stop}, {"slow", AtCorner::slow}});
    if (law.at_corners == AtCorner::slow)
        law.corner_speed = metres_per_minute(travel.number("corner_m_per_min", {0, speed, false, true}));
    travel.finish();
    return law;
}

/// A path travelled by a speed law. What is wrong is told at the key of `travel` that is to blame.
inline Travel<> travelled(TomlTable& table, AnyPath const& path, SpeedLaw const& law) {
    auto const make = [&] { return travel_by(law, path); };
    if (!table.has("travel"))
        return table.told_where("travel", make);
    bool const cornered = law.at_corners == AtCorner::refuse && !path.corners().empty();
    return table.table("travel").told_where(cornered ? "corners" : "acceleration_m_s2", make);
}

} // namespace seamhold::detail

#endif
