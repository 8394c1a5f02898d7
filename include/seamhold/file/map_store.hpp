#ifndef SEAMHOLD_FILE_MAP_STORE_HPP
#define SEAMHOLD_FILE_MAP_STORE_HPP

#include "seamhold/file/map_identity.hpp"
#include "seamhold/file/sqlite.hpp"
#include "seamhold/file/store_file.hpp"

#include <algorithm>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace seamhold {

namespace detail {

/// "smap" in ASCII, and the version of the tables below.
inline constexpr StoreKind map_store_kind = {0x736d6170, 1, "store of a map's answers"};

/// What a map is known by, and its shards: the answers as the bytes of their numbers, with their hash.
inline constexpr char const* map_store_tables =
    "CREATE TABLE trait (place INTEGER PRIMARY KEY, name TEXT, words TEXT);"
    "CREATE TABLE shard (number INTEGER PRIMARY KEY, answers BLOB, hash INTEGER);"
    "PRAGMA application_id = 1936548208;" // map_store_kind.mark
    "PRAGMA user_version = 1;";           // map_store_kind.version

/// Throws BadInput, naming the first thing in which a file's map differs from the one that is asked for.
inline void check_same(SqlFile const& file, MapIdentity const& kept, MapIdentity const& asked) {
    auto const lines_of = [](std::string const& text) {
        std::vector<std::string> lines(1);
        for (char const c : text)
            if (c == '\n')
                lines.emplace_back();
            else
                lines.back() += c;
        return lines;
    };
    for (std::size_t i = 0; i < asked.size(); ++i) {
        if (i < kept.size() && kept[i] == asked[i])
            continue;
        auto before = lines_of(i < kept.size() ? kept[i].words : ""), now = lines_of(asked[i].words);
        std::size_t line = 0;
        while (line < before.size() && line < now.size() && before[line] == now[line])
            ++line;
        before.resize(std::max(before.size(), line + 1));
        now.resize(std::max(now.size(), line + 1));
        throw BadInput(file.name() + ": keeps the answers of another map: its " + asked[i].name + " differ" +
                       (asked[i].name.back() == 's' ? "" : "s") + ". Kept is \"" + before[line] +
                       "\", asked for is \"" + now[line] +
                       "\". Give this map a file of its own; nothing was changed");
    }
}

} // namespace detail

/// A file that keeps the answers of one map, shard by shard, so that a map that was stopped, killed or ran
/// out of disk goes on where it was. One program at a time has it open. A shard is on the disk before `keep`
/// returns, so that no kill and no loss of power takes it away. While it is open, and after a kill, a journal
/// stands beside it under its name and `-wal`; whoever copies the file then copies that too. Copies are the
/// same file. For one thread at a time, as a keeper is asked.
class MapStore {
public:
    /// Opens the file of a map, or makes it where there is none or an empty one. Throws BadInput, naming the
    /// path, where it belongs to another map (saying in what they differ), is something else or of another
    /// version, cannot be written, or is open in another program for longer than `longest_wait`, s.
    MapStore(std::filesystem::path const& path, MapIdentity const& identity, double longest_wait = 1)
        : file_(std::make_shared<detail::SqlFile const>(
              detail::open_store_file(path, StoreUse::append, longest_wait))) {
        constexpr char const* what = "cannot be written as a store";
        detail::check_may_write(*file_);
        // Nobody else needs the journal, so nothing is shared: it works on every disk.
        file_->run("PRAGMA locking_mode = EXCLUSIVE", what);
        if ((sqlite3_exec(file_->handle(), "BEGIN EXCLUSIVE", nullptr, nullptr, nullptr) & 0xff) ==
            SQLITE_BUSY)
            throw BadInput(path.string() + ": another program has it open, for one a run of the same map");
        if (detail::is_of_kind(*file_, detail::map_store_kind))
            detail::check_same(*file_, identity_kept(), identity); // before anything is changed
        file_->run("COMMIT; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA fullfsync = ON;"
                   "PRAGMA checkpoint_fullfsync = ON; PRAGMA trusted_schema = OFF;",
                   what);
        detail::SqlChange change(*file_, what);
        if (!detail::is_of_kind(*file_, detail::map_store_kind))
            make(identity);
        change.commit();
    }

    /// The path, as it stands in messages.
    std::string const& path() const { return file_->name(); }

    /// The answers of a shard, row after row, bit for bit as they were kept; nothing where it was not. Throws
    /// BadInput where the file cannot be read or is damaged.
    std::optional<std::vector<double>> find(std::size_t shard) const {
        detail::SqlStatement statement(*file_, "SELECT answers, hash FROM shard WHERE number = ?",
                                       "answers cannot be read");
        statement.give(static_cast<std::uint64_t>(shard));
        if (!statement.next())
            return std::nullopt;
        auto answers = detail::numbers_of<std::uint64_t, double>(statement.bytes());
        if (statement.whole() != detail::hash_of(answers))
            throw BadInput(path() + ": is damaged: the answers of shard " + std::to_string(shard + 1) +
                           " are not those that were kept");
        return answers;
    }

    /// Keeps the answers of a shard that was not kept before: they are on the disk when this returns. Throws
    /// BadInput with what the system says where the disk is full or fails; what was kept before stays.
    void keep(std::size_t shard, std::span<double const> answers) const {
        constexpr char const* what = "answers cannot be kept";
        std::vector<double> const numbers(answers.begin(), answers.end());
        detail::SqlChange change(*file_, what);
        detail::SqlStatement statement(*file_, "INSERT INTO shard VALUES (?, ?, ?)", what);
        statement.give(static_cast<std::uint64_t>(shard)).give(detail::bytes_of<std::uint64_t>(numbers));
        statement.give(detail::hash_of(numbers)).run();
        change.commit();
    }

    /// The numbers of the shards that are kept, ascending.
    std::vector<std::size_t> shards() const {
        detail::SqlStatement statement(*file_, "SELECT number FROM shard ORDER BY number",
                                       "answers cannot be read");
        std::vector<std::size_t> numbers;
        while (statement.next())
            numbers.push_back(static_cast<std::size_t>(statement.whole()));
        return numbers;
    }

    /// For `MapOptions`: keeps to this file and finds there. It has the file open as long as it lives.
    MapKeeper keeper() const {
        return {[store = *this](std::size_t shard) { return store.find(shard); },
                [store = *this](std::size_t shard, std::span<double const> answers) {
                    store.keep(shard, answers);
                }};
    }

private:
    MapIdentity identity_kept() const {
        detail::SqlStatement statement(*file_, "SELECT name, words FROM trait ORDER BY place",
                                       "cannot be read as a store");
        MapIdentity identity;
        while (statement.next()) {
            auto name = statement.text();
            identity.push_back({std::move(name), statement.text()});
        }
        return identity;
    }

    void make(MapIdentity const& identity) const {
        constexpr char const* what = "cannot be written as a store";
        file_->run(detail::map_store_tables, what);
        detail::SqlStatement statement(*file_, "INSERT INTO trait VALUES (?, ?, ?)", what);
        for (std::size_t i = 0; i < identity.size(); ++i)
            statement.give(static_cast<std::uint64_t>(i))
                .give(identity[i].name)
                .give(identity[i].words)
                .run();
    }

    std::shared_ptr<detail::SqlFile const> file_;
};

/// Asks a question once more of some candidates whose shards are kept, `packs` packs spread over them. Throws
/// BadInput, naming candidate and column, where an answer is not the kept one to the last bit: the question
/// has changed and its `about` has not, or another compiler or kind of machine rounds otherwise.
template <MapQuestion Question>
void check_kept(MapStore const& store, MapShards const& shards, Question const& question,
                std::size_t packs = 3) {
    auto kept = store.shards();
    kept.erase(std::lower_bound(kept.begin(), kept.end(), shards.count()), kept.end());
    auto const& columns = question.columns();
    for (std::size_t i = 0; i < packs && !kept.empty(); ++i) {
        auto const along = [&](std::size_t count) {
            return (count - 1) * i / std::max<std::size_t>(packs - 1, 1);
        };
        std::size_t const shard = kept[along(kept.size())], first = shard * shards.packs_each;
        std::size_t const end = std::min(shards.candidates.packs(), first + shards.packs_each);
        auto const answers = store.find(shard);
        auto const candidates = shards.candidates.pack(first + along(end - first));
        std::vector<MapPack> again(columns.size());
        question.answer(candidates, again);
        for (std::size_t k = 0; k < candidates.count * columns.size(); ++k) {
            std::size_t const row = candidates.first + k / columns.size(), c = k % columns.size();
            std::size_t const place = (row - shards.first_row(shard)) * columns.size() + c;
            double const now = again[c].lane(static_cast<int>(k / columns.size()));
            if (place >= answers->size() ||
                std::bit_cast<std::uint64_t>((*answers)[place]) != std::bit_cast<std::uint64_t>(now))
                throw BadInput(
                    store.path() + ": keeps other answers to this question: of candidate " +
                    std::to_string(row + 1) + ", " + columns[c].name + ", kept is " +
                    (place < answers->size() ? detail::text_of_exactly((*answers)[place]) : "nothing") +
                    ", answered now is " + detail::text_of_exactly(now) +
                    ". Either the question has changed and its name has not, or it was built by another "
                    "compiler or for another kind of machine. Give this map a file of its own; nothing was "
                    "changed");
        }
    }
}

/// The file of a map of these candidates in shards of so many packs, opened or made, and what is kept there
/// tried by `check_kept`. Throws BadInput as both do.
template <MapQuestion Question>
MapStore open_map_store(std::filesystem::path const& path, Candidates const& candidates,
                        Question const& question, std::size_t shard_packs) {
    MapStore store(path, identity_of(candidates, question, shard_packs));
    check_kept(store, {candidates, shard_packs}, question);
    return store;
}

/// The same for `refine_edge` with these options; what was answered first is tried.
template <MapQuestion Question>
MapStore open_map_store(std::filesystem::path const& path, DesignSpace const& space, Question const& question,
                        RefineOptions const& options) {
    (void)detail::EdgeSearch(space, question.columns(), options, nullptr); // refuses what it must
    MapStore store(path, identity_of(space, question, options));
    check_kept(store, {detail::first_round(space, options.levels), options.map.shard_packs}, question);
    return store;
}

} // namespace seamhold

#endif
