// Where a log says the flange was, between its stamps: own splines, and a second opinion.
#ifndef TRAY_REPORTED_HPP
#define TRAY_REPORTED_HPP

#include "files.hpp"
#include "robot.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <vector>

namespace tray {

/// The flange in the cell from one set of column values: joints through the arm, or a position and a
/// quaternion.
inline Matrix flange_from_columns(std::vector<double> const& v) {
    if (v.size() == 6)
        return cell_from_flange({v[0], v[1], v[2], v[3], v[4], v[5]});
    double const norm = std::sqrt(v[3] * v[3] + v[4] * v[4] + v[5] * v[5] + v[6] * v[6]);
    double const w = v[3] / norm;
    double const x = v[4] / norm;
    double const y = v[5] / norm;
    double const z = v[6] / norm;
    return {{{1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y), v[0]},
             {2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x), v[1]},
             {2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y), v[2]},
             {0, 0, 0, 1}}};
}

/// The stamp at or before a time, never the last one.
inline std::size_t interval_of(std::vector<double> const& times, double time) {
    if (time < times.front() || time > times.back())
        throw std::runtime_error("the log ends before the commands do");
    auto const after = std::upper_bound(times.begin() + 1, times.end() - 1, time);
    return static_cast<std::size_t>(after - times.begin()) - 1;
}

/// Natural cubic splines through all columns of a log, in their textbook form with second derivatives.
class Spline {
public:
    explicit Spline(Log const& log) : log_(log) {
        std::size_t const n = log.times.size();
        for (std::vector<double> const& y : log.columns) {
            std::vector<double> second(n, 0.0);
            std::vector<double> upper(n, 0.0); // elimination downwards, then substitution upwards
            for (std::size_t i = 1; i + 1 < n; ++i) {
                double const left = log.times[i] - log.times[i - 1];
                double const right = log.times[i + 1] - log.times[i];
                double const bend = 6 * ((y[i + 1] - y[i]) / right - (y[i] - y[i - 1]) / left);
                double const pivot = 2 * (left + right) - left * upper[i - 1];
                upper[i] = right / pivot;
                second[i] = (bend - left * second[i - 1]) / pivot;
            }
            for (std::size_t i = n - 1; i-- > 1;)
                second[i] -= upper[i] * second[i + 1];
            second_.push_back(std::move(second));
        }
    }
    Matrix cell_from_flange(double time) const {
        std::size_t const i = interval_of(log_.times, time);
        double const h = log_.times[i + 1] - log_.times[i];
        double const b = (time - log_.times[i]) / h;
        double const a = 1 - b;
        std::vector<double> values;
        for (std::size_t c = 0; c < second_.size(); ++c) {
            values.push_back(a * log_.columns[c][i] + b * log_.columns[c][i + 1] +
                             ((a * a * a - a) * second_[c][i] + (b * b * b - b) * second_[c][i + 1]) * h * h /
                                 6);
        }
        return flange_from_columns(values);
    }

private:
    Log const& log_;
    std::vector<std::vector<double>> second_;
};

/// The same by the polynomial of degree five through the six nearest stamps (Lagrange): a second opinion,
/// which shows how much it matters how a log is read between its stamps.
inline Matrix second_opinion(Log const& log, double time) {
    std::size_t const i = interval_of(log.times, time);
    std::size_t const first = std::min(i < 2 ? 0 : i - 2, log.times.size() - 6);
    std::vector<double> values(log.columns.size(), 0.0);
    for (std::size_t j = first; j < first + 6; ++j) {
        double weight = 1;
        for (std::size_t k = first; k < first + 6; ++k) {
            if (k != j)
                weight *= (time - log.times[k]) / (log.times[j] - log.times[k]);
        }
        for (std::size_t c = 0; c < values.size(); ++c)
            values[c] += weight * log.columns[c][j];
    }
    return flange_from_columns(values);
}

} // namespace tray

#endif
