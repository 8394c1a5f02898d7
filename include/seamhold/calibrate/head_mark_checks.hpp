#ifndef SEAMHOLD_CALIBRATE_HEAD_MARK_CHECKS_HPP
#define SEAMHOLD_CALIBRATE_HEAD_MARK_CHECKS_HPP

#include "seamhold/calibrate/head_model.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

/// What is looked at before marks are fitted.
namespace seamhold::detail {

/// A place on the plate, m.
struct PlatePlace {
    double x, y;
};

/// The median of numbers; the upper one of the two in the middle.
inline double middle_number(std::vector<double> numbers) {
    auto const middle = numbers.begin() + static_cast<std::ptrdiff_t>(numbers.size() / 2);
    std::nth_element(numbers.begin(), middle, numbers.end());
    return *middle;
}

/// The median distance of found places from predicted ones, after the shift (the median one) and, if allowed,
/// the turn by at most 45° that bring them together best.
inline double mismatch(std::vector<PlatePlace> const& found, std::vector<PlatePlace> const& predicted,
                       bool may_move) {
    double cosine = 1, sine = 0, x = 0, y = 0;
    auto const median = [&](auto const& of) {
        std::vector<double> all;
        for (std::size_t i = 0; i < found.size(); ++i)
            all.push_back(of(i));
        return middle_number(all);
    };
    auto const shift = [&] {
        x = median(
            [&](std::size_t i) { return found[i].x - cosine * predicted[i].x + sine * predicted[i].y; });
        y = median(
            [&](std::size_t i) { return found[i].y - sine * predicted[i].x - cosine * predicted[i].y; });
    };
    if (may_move) {
        double const fx = median([&](std::size_t i) { return found[i].x; });
        double const fy = median([&](std::size_t i) { return found[i].y; });
        double const px = median([&](std::size_t i) { return predicted[i].x; });
        double const py = median([&](std::size_t i) { return predicted[i].y; });
        double along = 0, across = 0;
        for (std::size_t i = 0; i < found.size(); ++i) {
            double const a = found[i].x - fx, b = found[i].y - fy;
            double const c = predicted[i].x - px, d = predicted[i].y - py;
            double const length = std::hypot(a, b) * std::hypot(c, d); // every mark's direction counts alike
            if (length > 0) {
                along += (a * c + b * d) / length;
                across += (b * c - a * d) / length;
            }
        }
        double const angle = std::clamp(std::atan2(across, along), -0.7853981633974483, 0.7853981633974483);
        cosine = std::cos(angle);
        sine = std::sin(angle);
        shift();
    }
    return median([&](std::size_t i) {
        return std::hypot(found[i].x - cosine * predicted[i].x + sine * predicted[i].y - x,
                          found[i].y - sine * predicted[i].x - cosine * predicted[i].y - y);
    });
}

/// Throws BadInput for marks that are too few, not finite, or on the back of the plate, and for those that
/// look like another unit or like columns that have changed places: where another reading brings them five
/// times nearer, and as given they are implausible.
template <class Objective>
void check_marks(HeadModel<Objective> const& model, HeadState const& start, HeadParts<Objective> const& drawn,
                 std::vector<PlateMark> const& marks, MarkingPlace const& place,
                 HeadFitOptions const& options) {
    auto const named = [](std::size_t i) { return "mark " + std::to_string(i + 1); };
    for (std::size_t i = 0; i < marks.size(); ++i) {
        auto const& m = marks[i];
        if (!is_finite(m.x) || !is_finite(m.y) || !is_finite(m.command.x_mirror) ||
            !is_finite(m.command.y_mirror) || !is_finite(m.cell_from_flange.origin))
            throw BadInput(named(i) + " holds a number that is not finite");
        check_pose(m.cell_from_flange, "the flange's pose of " + named(i));
        auto const& r = drawn.ranges;
        for (auto const& [axis, range, angle] : {std::tuple{"x", r.x_mirror, m.command.x_mirror},
                                                 std::tuple{"y", r.y_mirror, m.command.y_mirror}})
            if (!(range.clearance(angle) >= -0.05 * (range.high - range.low)))
                throw BadInput(named(i) + " was commanded " + text_of(angle) + " rad of the " + axis +
                               " mirror, beyond its range from " + text_of(range.low) + " to " +
                               text_of(range.high) +
                               (range.clearance(angle / 57.29577951308232) >= 0
                                    ? ": it looks like degrees given as radians"
                                    : ""));
    }
    refuse_repeats(marks, "marks", [](PlateMark const& a, PlateMark const& b) {
        return a.x == b.x && a.y == b.y && a.command.x_mirror == b.command.x_mirror &&
               a.command.y_mirror == b.command.y_mirror && same_pose(a.cell_from_flange, b.cell_from_flange);
    });
    auto const predicted_by = [&](auto const& command_of) {
        std::vector<PlatePlace> all;
        for (auto const& mark : marks) {
            auto read = mark;
            read.command = command_of(mark.command);
            auto const p = model.place(start, read);
            all.push_back({p.x, p.y});
        }
        return all;
    };
    auto const found_by = [&](auto const& of) {
        std::vector<PlatePlace> all;
        all.reserve(marks.size());
        for (auto const& mark : marks)
            all.push_back(of(mark.x, mark.y));
        return all;
    };
    for (std::size_t i = 0; i < marks.size(); ++i) {
        auto const p = model.place(start, marks[i]);
        if (!(p.distance > 0) || !is_finite(p.x) || !is_finite(p.y))
            throw BadInput("by the start of mount and plate the beam of " + named(i) +
                           " does not meet the plate: look at the flange's pose, the mount and the plate");
        if (!(p.toward < 0))
            throw BadInput("by the start of mount and plate the beam of " + named(i) +
                           " meets the back of the plate: its z must point to the head");
    }
    bool const may_move = place.mount_freed || place.plate_freed;
    auto const as_told = predicted_by([](Command<> const& c) { return c; });
    auto const as_found = found_by([](double x, double y) { return PlatePlace{x, y}; });
    double const given = mismatch(as_found, as_told, may_move);
    double const plausible = std::max(options.plausible_deviation, 4 * options.mark_deviation.value_or(0));
    // What a head as drawn and a start that is about right are off by is forgiven: a tenth of the picture.
    double size = 0;
    for (auto const& p : as_told)
        size = std::max(size, std::hypot(p.x - as_told[0].x, p.y - as_told[0].y));
    if (!(given > std::max(plausible, 0.02 * size)))
        return;
    double best = std::min(given / 5, std::max(plausible, 0.15 * size));
    std::string looks_like;
    auto const suspect = [&](double other, std::string const& what) {
        if (other < best) {
            best = other;
            looks_like = what;
        }
    };
    struct Unit {
        double factor;
        char const* name;
    };
    for (auto const& unit :
         {Unit{1e-3, "millimetres given as metres"}, Unit{0.0254, "inches given as metres"},
          Unit{1e3, "metres given as millimetres"}, Unit{1e-6, "micrometres given as metres"}})
        suspect(mismatch(found_by([&](double x, double y) {
                             return PlatePlace{unit.factor * x, unit.factor * y};
                         }),
                         as_told, may_move),
                unit.name);
    suspect(mismatch(found_by([](double x, double y) {
                         return PlatePlace{y, x};
                     }),
                     as_told, may_move),
            "found places whose x and y have changed places");
    suspect(mismatch(found_by([](double x, double y) {
                         return PlatePlace{-x, y};
                     }),
                     as_told, may_move),
            "mirrored in x: the plate was read from its back, or an axis runs the other way");
    suspect(mismatch(found_by([](double x, double y) {
                         return PlatePlace{x, -y};
                     }),
                     as_told, may_move),
            "mirrored in y: the plate was read from its back, or an axis runs the other way");
    suspect(mismatch(found_by([](double x, double y) {
                         return PlatePlace{-x, -y};
                     }),
                     as_told, may_move),
            "turned by half a turn: the plate was read upside down, or lies turned round");
    suspect(mismatch(found_by([](double x, double y) {
                         return PlatePlace{-y, x};
                     }),
                     as_told, may_move),
            "turned by a quarter: the plate lies turned, or its columns are mixed up");
    suspect(mismatch(found_by([](double x, double y) {
                         return PlatePlace{y, -x};
                     }),
                     as_told, may_move),
            "turned by a quarter: the plate lies turned, or its columns are mixed up");
    suspect(mismatch(as_found, predicted_by([](Command<> const& c) {
                         return Command<>{c.y_mirror, c.x_mirror, c.focus};
                     }),
                     may_move),
            "commands of which the two mirrors have changed places");
    suspect(mismatch(as_found, predicted_by([](Command<> const& c) {
                         return Command<>{c.x_mirror / 2, c.y_mirror / 2, c.focus};
                     }),
                     may_move),
            "optical angles given as mechanical ones");
    suspect(mismatch(
                as_found, predicted_by([](Command<> const& c) {
                    return Command<>{57.29577951308232 * c.x_mirror, 57.29577951308232 * c.y_mirror, c.focus};
                }),
                may_move),
            "radians converted as if they were degrees");
    if (!looks_like.empty())
        throw BadInput("the marks look like " + looks_like + ": so read they lie " +
                       text_of(in_millimetres(best)) +
                       " mm from what the head predicts at the start, as given " +
                       text_of(in_millimetres(given)) + " mm");
}

} // namespace seamhold::detail

#endif
