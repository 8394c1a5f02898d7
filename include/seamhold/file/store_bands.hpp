#ifndef SEAMHOLD_FILE_STORE_BANDS_HPP
#define SEAMHOLD_FILE_STORE_BANDS_HPP

#include "seamhold/file/sqlite.hpp"
#include "seamhold/file/store_rows.hpp"
#include "seamhold/record/band_state.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

/// What a band stands on, as rows of tables, and back.
namespace seamhold::detail {

/// Numbers of a band under a name; of no channel: `no_channel`.
inline constexpr std::uint64_t no_channel = 1000000;

/// Calls `each(channel, name, numbers)` for all lists of numbers of a state: the one list of what there is,
/// for writing and for reading.
template <class State, class Each> void each_list(State& state, Each const& each) {
    // What is written here names every member, so that a new one does not compile before it is kept.
    [[maybe_unused]] auto const& [key, cells, options, parts, last_part, last_date, channels, sums] = state;
    [[maybe_unused]] auto const& [smoothing, extremes, covered, refusal, deviation] = options;
    [[maybe_unused]] auto const& [of, by, added, power, cross, offsets, degrees, fourth, normal] = sums;
    each(no_channel, "least deviation", state.options.least_deviation);
    each(no_channel, "residual power", state.residuals.power);
    each(no_channel, "residual cross powers", state.residuals.cross);
    each(no_channel, "residual offsets", state.residuals.offsets);
    for (std::size_t i = 0; i < state.channels.size(); ++i) {
        auto& c = state.channels[i];
        [[maybe_unused]] auto const& [name, mean, squares, least, greatest, seam_mean, seam_squares] = c;
        each(std::uint64_t(i), "mean", c.mean);
        each(std::uint64_t(i), "squares", c.squares);
        each(std::uint64_t(i), "least", c.least);
        each(std::uint64_t(i), "greatest", c.greatest);
    }
}

/// A count that was kept as a double; what is none is 0, which no check lets pass.
inline std::size_t count_of(double kept) {
    return kept >= 0 && kept < 9e15 ? static_cast<std::size_t>(kept) : 0;
}

/// Where a band of this key stands; nothing where there is none.
inline std::optional<std::uint64_t> band_number(SqlFile const& file, SeamKey const& key) {
    SqlStatement row(
        file,
        "SELECT number FROM band WHERE seam = ? AND print_of_head = ? AND print_of_mount = ? AND "
        "print_of_part = ? AND print_of_calibration = ? AND print_of_pass = ?",
        "a band cannot be read");
    row.give(key.seam);
    give_prints(row, key);
    return row.next() ? std::optional(row.whole()) : std::nullopt;
}

/// Writes a state in place of the one that stood under its key; the change is the caller's.
inline void write_band(SqlFile const& file, BandState const& state) {
    constexpr char const* what = "a band cannot be kept";
    if (auto const old = band_number(file, state.key)) {
        for (char const* const sql :
             {"DELETE FROM band_numbers WHERE band = ?", "DELETE FROM band_channel WHERE band = ?",
              "DELETE FROM band WHERE number = ?"})
            SqlStatement(file, sql, what).give(*old).run();
    }
    SqlStatement insert(file, "INSERT INTO band VALUES (NULL,?,?,?,?,?,?,?,?,?,?,?)", what);
    insert.give(state.key.seam);
    give_prints(insert, state.key);
    insert.give(std::uint64_t(state.cells.count)).give(state.cells.length).give(state.parts);
    insert.give(state.last_part).give(state.last_date).run();
    auto const band = static_cast<std::uint64_t>(sqlite3_last_insert_rowid(file.handle()));
    SqlStatement channel(file, "INSERT INTO band_channel VALUES (?,?,?)", what);
    SqlStatement numbers(file, "INSERT INTO band_numbers VALUES (?,?,?,?)", what);
    auto const keep = [&](std::uint64_t of, char const* name, std::vector<double> const& list) {
        numbers.give(band).give(of).give(name).give(bytes_of<std::uint64_t>(list)).run();
    };
    each_list(state, keep);
    auto const& o = state.options;
    keep(no_channel, "options",
         {o.smoothing, static_cast<double>(o.kept_extremes), o.least_covered, o.false_refusal});
    auto const& r = state.residuals;
    keep(no_channel, "residual sums",
         {static_cast<double>(r.channels), static_cast<double>(r.cells), static_cast<double>(r.parts),
          r.inverse_degrees, r.fourth_powers, r.fourth_powers_normal});
    for (std::size_t i = 0; i < state.channels.size(); ++i) {
        channel.give(band).give(std::uint64_t(i)).give(state.channels[i].name).run();
        keep(i, "seam", {state.channels[i].seam_mean, state.channels[i].seam_squares});
    }
}

/// The state of a key; nothing where none was kept. Throws BadInput where it is damaged.
inline std::optional<BandState> read_band(SqlFile const& file, SeamKey const& key) {
    constexpr char const* what = "a band cannot be read";
    SqlView const view(file, what); // it may be replaced meanwhile
    auto const band = band_number(file, key);
    if (!band)
        return std::nullopt;
    BandState state{};
    state.key = key;
    SqlStatement row(file, "SELECT cells, length_m, parts, last_part, last_days FROM band WHERE number = ?",
                     what);
    row.give(*band);
    row.next();
    state.cells.count = static_cast<std::size_t>(row.whole());
    state.cells.length = row.number();
    state.parts = row.whole();
    state.last_part = row.text();
    state.last_date = row.number();
    SqlStatement channel(file, "SELECT name FROM band_channel WHERE band = ? ORDER BY channel", what);
    channel.give(*band);
    while (channel.next()) {
        state.channels.emplace_back();
        state.channels.back().name = channel.text();
    }
    auto const take = [&](std::uint64_t of, char const* name, std::vector<double>& list) {
        SqlStatement numbers(
            file, "SELECT numbers FROM band_numbers WHERE band = ? AND channel = ? AND name = ?", what);
        numbers.give(*band).give(of).give(name);
        if (!numbers.next())
            throw BadInput(file.name() + ": the store is damaged: a band of seam " + key.seam + " has no " +
                           name);
        list = numbers_of<std::uint64_t, double>(numbers.bytes());
    };
    auto const few = [&](std::uint64_t of, char const* name, std::size_t count) {
        std::vector<double> list;
        take(of, name, list);
        if (list.size() != count)
            throw BadInput(file.name() + ": the store is damaged: the " + name + " of a band of seam " +
                           key.seam + " are " + std::to_string(list.size()) + " numbers");
        return list;
    };
    each_list(state, take);
    auto const options = few(no_channel, "options", 4);
    state.options.smoothing = options[0];
    state.options.kept_extremes = count_of(options[1]);
    state.options.least_covered = options[2];
    state.options.false_refusal = options[3];
    auto const sums = few(no_channel, "residual sums", 6);
    state.residuals.channels = count_of(sums[0]);
    state.residuals.cells = count_of(sums[1]);
    state.residuals.parts = count_of(sums[2]);
    state.residuals.inverse_degrees = sums[3];
    state.residuals.fourth_powers = sums[4];
    state.residuals.fourth_powers_normal = sums[5];
    for (std::size_t i = 0; i < state.channels.size(); ++i) {
        auto const seam = few(i, "seam", 2);
        state.channels[i].seam_mean = seam[0];
        state.channels[i].seam_squares = seam[1];
    }
    check_sound(file, [&] { check_band_state(state); });
    return state;
}

} // namespace seamhold::detail

#endif
