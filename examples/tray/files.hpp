// The two files that the independent cell reads: the commands of the head, and the log they were made from.
#ifndef TRAY_FILES_HPP
#define TRAY_FILES_HPP

#include "drawing.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <limits>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace tray {

/// A CSV file read line by line, with its columns found by name.
class Table {
public:
    explicit Table(std::string path) : path_(std::move(path)), file_(path_) {
        if (!file_ || !std::getline(file_, line_))
            throw std::runtime_error("cannot read " + path_);
        split();
        for (std::string_view const field : fields_)
            header_.emplace_back(field);
    }
    bool has(std::string_view name) const {
        return std::find(header_.begin(), header_.end(), name) != header_.end();
    }
    std::size_t column(std::string_view name) const {
        auto const found = std::find(header_.begin(), header_.end(), name);
        if (found == header_.end())
            fail("has no column " + std::string(name));
        return static_cast<std::size_t>(found - header_.begin());
    }
    bool next() {
        if (!std::getline(file_, line_))
            return false;
        ++row_;
        split();
        if (fields_.size() != header_.size())
            fail("has a row of " + std::to_string(fields_.size()) + " columns");
        return true;
    }
    std::string_view text(std::size_t column) const { return fields_[column]; }
    double number(std::size_t column) const {
        std::string const field(fields_[column]);
        char* end = nullptr;
        double const value = std::strtod(field.c_str(), &end);
        if (field.empty() || *end != '\0' || !std::isfinite(value))
            fail("has \"" + field + "\" in column " + header_[column]);
        return value;
    }
    [[noreturn]] void fail(std::string const& what) const {
        throw std::runtime_error(path_ + ", line " + std::to_string(row_) + ": " + what);
    }

private:
    void split() {
        if (!line_.empty() && line_.back() == '\r')
            line_.pop_back();
        fields_.clear();
        std::string_view left = line_;
        for (;;) {
            std::size_t const comma = left.find(',');
            fields_.push_back(left.substr(0, comma));
            if (comma == std::string_view::npos)
                return;
            left.remove_prefix(comma + 1);
        }
    }

    std::string path_;
    std::ifstream file_;
    std::string line_;
    std::size_t row_ = 1;
    std::vector<std::string> header_;
    std::vector<std::string_view> fields_;
};

inline constexpr std::size_t no_seam = std::numeric_limits<std::size_t>::max();
inline constexpr std::size_t left_out_seam = no_seam - 1;

struct Tick {
    double x_mirror, y_mirror, focus;
    bool lit;
    std::size_t seam; // number in the drawing; no_seam, or left_out_seam for one that is not drawn here
};

struct Commands {
    double first_time = 0;
    double period = 0;
    std::vector<Tick> ticks;
    double time(std::size_t i) const { return first_time + period * static_cast<double>(i); }
};

/// A seam's number in the drawing by its name, or left_out_seam.
inline std::size_t seam_called(Drawing const& drawing, std::string_view name, Table const& table) {
    for (std::size_t i = 0; i < drawing.seams.size(); ++i) {
        if (name == drawing.seams[i].name)
            return i;
    }
    for (std::string const& start : drawing.left_out) {
        if (name.substr(0, start.size()) == start)
            return left_out_seam;
    }
    table.fail("names seam \"" + std::string(name) + "\", which the drawing does not have");
}

inline Commands read_commands(std::string const& path, Drawing const& drawing) {
    Table table(path);
    std::size_t const time = table.column("time_s");
    std::size_t const x = table.column("x_mirror_rad");
    std::size_t const y = table.column("y_mirror_rad");
    std::size_t const focus = table.column("focus_m");
    std::size_t const gate = table.column("gate");
    std::size_t const name = table.column("seam");
    Commands commands;
    std::vector<double> times;
    std::string last_name;
    std::size_t last_seam = no_seam;
    while (table.next()) {
        std::string_view const seam = table.text(name);
        if (seam != last_name) {
            last_name = seam;
            last_seam = seam.empty() ? no_seam : seam_called(drawing, seam, table);
        }
        bool const lit = table.number(gate) != 0;
        if (lit && last_seam == no_seam)
            table.fail("the light is on outside any seam");
        times.push_back(table.number(time));
        commands.ticks.push_back({table.number(x), table.number(y), table.number(focus), lit, last_seam});
    }
    if (times.size() < 2)
        table.fail("has no ticks");
    commands.first_time = times.front();
    commands.period = (times.back() - times.front()) / static_cast<double>(times.size() - 1);
    for (std::size_t i = 0; i < times.size(); ++i) {
        if (std::abs(times[i] - commands.time(i)) > 0.01 * commands.period)
            throw std::runtime_error(path + ", line " + std::to_string(i + 2) +
                                     ": ticks are not evenly spaced");
    }
    return commands;
}

/// The columns of a log over its uneven stamps. Seven columns are a pose, six are joints.
struct Log {
    std::vector<double> times;
    std::vector<std::vector<double>> columns;
};

inline Log read_log(std::string const& path) {
    Table table(path);
    std::vector<std::string> const joints{"j1_rad", "j2_rad", "j3_rad", "j4_rad", "j5_rad", "j6_rad"};
    std::vector<std::string> const pose{"x_m", "y_m", "z_m", "qw", "qx", "qy", "qz"};
    std::vector<std::string> const& names = table.has("j1_rad") ? joints : pose;
    std::size_t const time = table.column("time_s");
    Log log;
    log.columns.resize(names.size());
    while (table.next()) {
        log.times.push_back(table.number(time));
        if (log.times.size() > 1 && !(log.times.back() > log.times[log.times.size() - 2]))
            table.fail("time does not increase");
        for (std::size_t c = 0; c < names.size(); ++c)
            log.columns[c].push_back(table.number(table.column(names[c])));
        if (names.size() == 7) { // q and -q are one rotation: keep neighbours on one side
            double agreement = 0;
            std::size_t const last = log.times.size() - 1;
            for (std::size_t c = 3; c < 7 && last > 0; ++c)
                agreement += log.columns[c][last] * log.columns[c][last - 1];
            for (std::size_t c = 3; c < 7 && agreement < 0; ++c)
                log.columns[c][last] = -log.columns[c][last];
        }
    }
    if (log.times.size() < 8)
        table.fail("has fewer than 8 rows");
    return log;
}

} // namespace tray

#endif
