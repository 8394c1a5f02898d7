#ifndef SEAMHOLD_FILE_PLACING_REPORT_HPP
#define SEAMHOLD_FILE_PLACING_REPORT_HPP

#include "seamhold/file/text.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/lay.hpp"
#include "seamhold/seam/speed_law.hpp"

#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// What came of putting the part and the seams in their places.
struct PlacingReport {
    /// A part that stands where its points were touched.
    struct Part {
        std::vector<double> misses; ///< how far each touched point is from where the pose says, m
        double rms;                 ///< root of their mean square, m
        double worst;               ///< the largest, m
        std::size_t worst_point;    ///< its place in the list, from 0
    };
    /// A seam as it lies on its face.
    struct Seam {
        std::string name;
        std::optional<Stretch> stretch; ///< where its face stretches what is drawn
        std::vector<Corner> corners;
        AtCorner at_corners;
        double corner_speed; ///< where they are passed slowly, m/s
    };
    std::optional<Part> part; ///< where it was touched
    std::vector<Seam> seams;  ///< in order of time
};

namespace detail {

/// "98.30 % at 12.0 mm to 100.00 % at 0.0 mm of what is drawn".
inline std::string stretch_text(Stretch const& stretch) {
    auto const share = [](double x, double at) {
        return fixed(100 * x, 2) + " % at " + fixed(in_millimetres(at), 1) + " mm";
    };
    return "the face makes it " + share(stretch.least, stretch.least_at) + " to " +
           share(stretch.most, stretch.most_at) + " of what is drawn";
}

/// "corners at 10.0 mm (90.0°) and 25.0 mm (45.0°): the spot stops there"; the first of many.
inline std::string corners_text(PlacingReport::Seam const& seam) {
    constexpr std::size_t most = 4;
    std::vector<std::string> places;
    for (auto const& corner : seam.corners) {
        if (places.size() == most)
            break;
        places.push_back(fixed(in_millimetres(corner.arc_length), 1) + " mm (" +
                         fixed(in_degrees(std::abs(corner.angle)), 1) + "°)");
    }
    std::string const more = seam.corners.size() > most
                                 ? " and " + std::to_string(seam.corners.size() - most) + " more"
                                 : std::string();
    return std::string(seam.corners.size() == 1 ? "corner at " : "corners at ") + joined(places) + more +
           (seam.at_corners == AtCorner::stop
                ? ": the spot stops there"
                : ": passed at " + fixed(in_metres_per_minute(seam.corner_speed), 2) + " m/min");
}

} // namespace detail

/// How well a touched part meets its points as plain text for a person, indented by two spaces; empty where
/// it was not touched.
inline std::string part_text(PlacingReport const& placing) {
    using detail::fixed;
    if (!placing.part)
        return "";
    auto const& part = *placing.part;
    detail::AlignedText table("ll");
    table.add({"touched points", std::to_string(part.misses.size()) + ": met within " +
                                     fixed(in_millimetres(part.rms), 3) + " mm rms, " +
                                     fixed(in_millimetres(part.worst), 3) + " mm at worst, point " +
                                     std::to_string(part.worst_point + 1)});
    for (std::size_t i = 0; i < part.misses.size(); ++i)
        table.add({"point " + std::to_string(i + 1), fixed(in_millimetres(part.misses[i]), 3) + " mm off"});
    if (part.misses.size() == 3)
        table.add({"", "three points agree with nearly every error: touch four or more"});
    return table.text(2);
}

/// The stretch and the corners of seams as plain text for a person, one line each, indented by two spaces;
/// empty where there is nothing to say.
inline std::string seams_text(PlacingReport const& placing) {
    detail::AlignedText table("ll");
    for (auto const& seam : placing.seams) {
        if (seam.stretch)
            table.add({seam.name, detail::stretch_text(*seam.stretch)});
        if (!seam.corners.empty())
            table.add({seam.name, detail::corners_text(seam)});
    }
    return table.text(2);
}

} // namespace seamhold

#endif
