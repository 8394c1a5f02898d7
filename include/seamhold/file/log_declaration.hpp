#ifndef SEAMHOLD_FILE_LOG_DECLARATION_HPP
#define SEAMHOLD_FILE_LOG_DECLARATION_HPP

#include "seamhold/arm/serial_arm.hpp"
#include "seamhold/frame/pose.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

/// What the user of a log must say about it, because the file does not say it and nothing is guessed.
namespace seamhold {

/// What the poses or joint positions of a stream are.
enum class PosesAre : std::uint8_t {
    measured, ///< what the robot's sensors saw
    commanded ///< what the robot was told; its lag is not in it
};

/// What the time stamps of a stream are.
enum class StampsAre : std::uint8_t {
    sampling, ///< when the robot was where the row says
    arrival   ///< when the row reached the recorder, some delay later
};

/// What becomes of a row that repeats the pose of the row before while time moves on. The reader cannot tell
/// a robot at rest from a stream that was read before it had anything new; the user can.
enum class RepeatedRows : std::uint8_t {
    /// The row is true: the robot rested. It is used like any other.
    keep,
    /// The row is stale: it is left out, and the next fresh row keeps its stamp. Right where fresh rows were
    /// read when they were fresh. A stretch of repeats longer than the longest gap leaves a hole.
    drop,
    /// The rows are stale because the source makes its poses evenly, but more rarely than they were read, so
    /// that each fresh row was read late by up to one step. Repeats are left out, and the fresh rows of a
    /// stretch (between holes, which are those that `drop` would leave) get evenly spaced stamps; the first
    /// and the last of the stretch keep theirs. A source that fits moves no stamp by more than the longest
    /// step between rows; one that does not is refused.
    retime
};

/// What time 0 is: the moment from which a job counts its start times.
enum class TimesFrom : std::uint8_t {
    clock,    ///< zero of the clock that stamped the rows: times are the stamps
    first_row ///< the stamp of the first row that is read
};

/// Of several kinds of rows in one file, those to read: those whose field in a column is this text.
struct KeepRows {
    std::string column;
    std::string equals;
};

/// Everything that is declared about a log.
struct LogDeclaration {
    PosesAre poses;
    StampsAre stamps;
    double max_gap;                   ///< a longer step in time is a hole without data, s
    std::vector<std::string> columns; ///< of a file without a header, in order, "-" for those to leave out
    std::optional<KeepRows> keep_rows;
    RepeatedRows repeated_rows = RepeatedRows::keep;
    TimesFrom times_from = TimesFrom::clock;
};

/// The arm whose joints a log records, and where it stands.
struct LoggedArm {
    Pose<Cell, Base> cell_from_base;
    std::variant<SerialArm<6>, SerialArm<7>> arm;
    std::vector<JointKind> kinds; ///< of its joints, in order: they decide the units of the log's columns
};

/// The word for it in files and reports.
constexpr char const* to_string(PosesAre poses) {
    return poses == PosesAre::measured ? "measured" : "commanded";
}

/// The word for it in files and reports.
constexpr char const* to_string(StampsAre stamps) {
    return stamps == StampsAre::sampling ? "sampling" : "arrival";
}

/// The word for it in files and reports.
constexpr char const* to_string(RepeatedRows rows) {
    return rows == RepeatedRows::keep ? "keep" : rows == RepeatedRows::drop ? "drop" : "retime";
}

/// The word for it in files and reports.
constexpr char const* to_string(TimesFrom from) { return from == TimesFrom::clock ? "clock" : "first_row"; }

} // namespace seamhold

#endif
