#ifndef SEAMHOLD_FILE_SQLITE_HPP
#define SEAMHOLD_FILE_SQLITE_HPP

#include "seamhold/number/bad_input.hpp"

#include <bit>
#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <memory>
#include <string>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

#include <sqlite3.h>

/// The little that a store needs of the library SQLite: a file, statements, and what it says when something
/// is wrong.
namespace seamhold::detail {

/// A database file that is open. For one thread at a time.
class SqlFile {
public:
    /// Opens a file by the flags of `sqlite3_open_v2`; `name` is what messages call it. Throws BadInput.
    SqlFile(std::string name, std::string const& address, int flags, int longest_wait_ms)
        : name_(std::move(name)) {
        sqlite3* opened = nullptr;
        errno = 0;
        int const result = sqlite3_open_v2(address.c_str(), &opened, flags | SQLITE_OPEN_FULLMUTEX, nullptr);
        file_.reset(opened);
        if (result != SQLITE_OK)
            fail("cannot be opened");
        sqlite3_extended_result_codes(opened, 1);
        sqlite3_busy_timeout(opened, longest_wait_ms);
    }

    /// The path, as it stands in messages.
    std::string const& name() const { return name_; }

    /// The library's own handle.
    sqlite3* handle() const { return file_.get(); }

    /// Runs statements that give no rows. Throws BadInput that says what could not be done.
    void run(char const* sql, char const* what) const {
        errno = 0;
        if (sqlite3_exec(handle(), sql, nullptr, nullptr, nullptr) != SQLITE_OK)
            fail(what);
    }

    /// Throws BadInput with the path, what could not be done, the library's words, and those of the system
    /// where it was the system that refused.
    [[noreturn]] void fail(std::string const& what) const {
        int const last = errno; // SQLite passes the system's error on for some calls only
        if (handle() == nullptr)
            throw BadInput(name_ + ": " + what + ": there is no memory left");
        int const code = sqlite3_errcode(handle()) & 0xff;
        int const system = sqlite3_system_errno(handle()) != 0 ? sqlite3_system_errno(handle()) : last;
        std::string words = name_ + ": " + what + ": " + sqlite3_errmsg(handle());
        if (system != 0 && (code == SQLITE_CANTOPEN || code == SQLITE_IOERR || code == SQLITE_FULL))
            words += " (" + std::generic_category().message(system) + ")";
        throw BadInput(words);
    }

private:
    struct Close {
        void operator()(sqlite3* file) const { sqlite3_close_v2(file); }
    };
    std::string name_;
    std::unique_ptr<sqlite3, Close> file_;
};

/// One statement. Values are given, and columns of a row taken, one after the other from the left.
class SqlStatement {
public:
    /// Throws BadInput that says what could not be done.
    SqlStatement(SqlFile const& file, std::string const& sql, char const* what) : file_(file), what_(what) {
        sqlite3_stmt* made = nullptr;
        errno = 0;
        int const result = sqlite3_prepare_v2(file.handle(), sql.c_str(), -1, &made, nullptr);
        statement_.reset(made);
        if (result != SQLITE_OK)
            file_.fail(what_);
    }

    SqlStatement& give(std::string_view text) {
        return given(sqlite3_bind_text64(get(), ++place_, text.data() != nullptr ? text.data() : "",
                                         text.size(), SQLITE_TRANSIENT, SQLITE_UTF8));
    }
    SqlStatement& give(char const* text) { return give(std::string_view(text)); }
    /// All 64 bits; SQL's own numbers have a sign.
    SqlStatement& give(std::uint64_t whole) {
        return given(sqlite3_bind_int64(get(), ++place_, static_cast<sqlite3_int64>(whole)));
    }
    /// Not a number is SQL's null.
    SqlStatement& give(double x) { return given(sqlite3_bind_double(get(), ++place_, x)); }
    SqlStatement& give(std::vector<unsigned char> const& bytes) {
        void const* const begin = bytes.empty() ? static_cast<void const*>("") : bytes.data();
        return given(sqlite3_bind_blob64(get(), ++place_, begin, bytes.size(), SQLITE_TRANSIENT));
    }
    SqlStatement& give_nothing() { return given(sqlite3_bind_null(get(), ++place_)); }

    /// The library's own handle.
    sqlite3_stmt* handle() const { return get(); }

    /// Goes to the next row; false where there is none.
    bool next() {
        taken_ = 0;
        errno = 0;
        int const result = sqlite3_step(get());
        if (result != SQLITE_ROW && result != SQLITE_DONE)
            file_.fail(what_);
        return result == SQLITE_ROW;
    }

    /// Does what gives no rows, and is ready for other values.
    void run() {
        next();
        place_ = 0;
        sqlite3_reset(get());
        sqlite3_clear_bindings(get());
    }

    bool is_nothing() const { return sqlite3_column_type(get(), taken_) == SQLITE_NULL; }
    std::string text() {
        check(SQLITE_TEXT);
        auto const* const begin = reinterpret_cast<char const*>(sqlite3_column_text(get(), taken_));
        auto const size = static_cast<std::size_t>(sqlite3_column_bytes(get(), taken_++));
        return {begin, size};
    }
    std::uint64_t whole() {
        check(SQLITE_INTEGER);
        return static_cast<std::uint64_t>(sqlite3_column_int64(get(), taken_++));
    }
    double number() {
        if (is_nothing()) {
            ++taken_;
            return std::numeric_limits<double>::quiet_NaN();
        }
        check(SQLITE_FLOAT);
        return sqlite3_column_double(get(), taken_++);
    }
    std::vector<unsigned char> bytes() {
        check(SQLITE_BLOB);
        auto const* const begin = static_cast<unsigned char const*>(sqlite3_column_blob(get(), taken_));
        auto const size = static_cast<std::size_t>(sqlite3_column_bytes(get(), taken_++));
        return size > 0 ? std::vector<unsigned char>(begin, begin + size) : std::vector<unsigned char>();
    }

private:
    struct Finish {
        void operator()(sqlite3_stmt* statement) const { sqlite3_finalize(statement); }
    };

    sqlite3_stmt* get() const { return statement_.get(); }
    SqlStatement& given(int result) {
        if (result != SQLITE_OK)
            file_.fail(what_);
        return *this;
    }
    /// A value that is not of the kind that was written there is damage.
    void check(int kind) const {
        if (sqlite3_column_type(get(), taken_) != kind)
            throw BadInput(file_.name() + ": " + what_ + ": the store is damaged: column " +
                           sqlite3_column_name(get(), taken_) + " holds another kind of value");
    }

    SqlFile const& file_;
    char const* what_;
    std::unique_ptr<sqlite3_stmt, Finish> statement_;
    int place_ = 0;
    int taken_ = 0;
};

/// A change that is done whole or not at all: what was not committed is undone at the end.
class SqlChange {
public:
    /// Waits for its turn to write. Throws BadInput where that takes too long.
    SqlChange(SqlFile const& file, char const* what) : file_(file), what_(what) {
        file_.run("BEGIN IMMEDIATE", what);
    }
    SqlChange(SqlChange const&) = delete;
    SqlChange& operator=(SqlChange const&) = delete;
    ~SqlChange() {
        if (!done_ && sqlite3_get_autocommit(file_.handle()) == 0)
            sqlite3_exec(file_.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
    }

    /// Brings it to the disk. Throws BadInput where that fails.
    void commit() {
        file_.run("COMMIT", what_);
        done_ = true;
    }

private:
    SqlFile const& file_;
    char const* what_;
    bool done_ = false;
};

/// As long as it lives, all that is read is of one moment, whatever others write.
class SqlView {
public:
    /// Throws BadInput that says what could not be done. Within a change it is that of the change.
    SqlView(SqlFile const& file, char const* what)
        : file_(file), own_(sqlite3_get_autocommit(file.handle()) != 0) {
        if (own_)
            file_.run("BEGIN", what);
    }
    SqlView(SqlView const&) = delete;
    SqlView& operator=(SqlView const&) = delete;
    ~SqlView() {
        if (own_)
            sqlite3_exec(file_.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
    }

private:
    SqlFile const& file_;
    bool own_;
};

/// Floats and doubles as the bytes of IEEE 754, the lowest first, on any machine: they come back bit for bit.
template <class Bits, class Number> std::vector<unsigned char> bytes_of(std::vector<Number> const& numbers) {
    std::vector<unsigned char> bytes;
    bytes.reserve(numbers.size() * sizeof(Number));
    for (Number const x : numbers) {
        auto const bits = std::bit_cast<Bits>(x);
        for (std::size_t i = 0; i < sizeof(Bits); ++i)
            bytes.push_back(static_cast<unsigned char>((bits >> (8 * i)) & 255U));
    }
    return bytes;
}

/// The same back; what is left over at the end, less than a number, is left out.
template <class Bits, class Number> std::vector<Number> numbers_of(std::vector<unsigned char> const& bytes) {
    std::vector<Number> numbers(bytes.size() / sizeof(Number));
    for (std::size_t k = 0; k < numbers.size(); ++k) {
        Bits bits = 0;
        for (std::size_t i = 0; i < sizeof(Bits); ++i)
            bits |= static_cast<Bits>(static_cast<Bits>(bytes[k * sizeof(Bits) + i]) << (8 * i));
        numbers[k] = std::bit_cast<Number>(bits);
    }
    return numbers;
}

} // namespace seamhold::detail

#endif
