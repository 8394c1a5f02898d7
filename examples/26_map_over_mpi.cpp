// A map on several machines, over MPI: rank 0 hands out shards of candidates and keeps what comes back, the
// others answer; alone, it answers by itself. `mpirun -n 4 26_map_over_mpi FOLDER` keeps the answers in
// stitch.map there, writes stitch_map.csv and draws stitch_map.png (gnuplot). Where a rank is lost, MPI ends
// the run; started again, with any number of ranks, it goes on, and the CSV is the same to the byte. Every
// number is invented. Returns 1 where an answer is missing.
#include "map_job.hpp"

#include <mpi.h>

using namespace seamhold;
using namespace seamhold::examples;

namespace {

/// Of rank 0: hands out what is not kept yet. Answers come behind the number of their shard.
void hand_out(MapShards const& shards, std::size_t longest, MapKeeper const& keeper, int others) {
    std::vector<double> message(1 + longest);
    for (std::size_t next = 0; others > 0;) {
        MPI_Status status;
        int numbers = 0; // 1 where a rank only asks for work
        MPI_Recv(message.data(), int(message.size()), MPI_DOUBLE, MPI_ANY_SOURCE, 0, MPI_COMM_WORLD, &status);
        MPI_Get_count(&status, MPI_DOUBLE, &numbers);
        if (numbers > 1)
            keeper.keep(std::size_t(message[0]), std::span(message).subspan(1, std::size_t(numbers) - 1));
        while (next < shards.count() && keeper.find(next))
            ++next;
        long long const shard = next < shards.count() ? static_cast<long long>(next++) : -1;
        others -= shard < 0 ? 1 : 0;
        MPI_Send(&shard, 1, MPI_LONG_LONG, status.MPI_SOURCE, 0, MPI_COMM_WORLD);
    }
}

/// Of the other ranks: asks for work until there is none.
template <MapQuestion Question> int answer(MapShards const& shards, Question const& question) {
    for (std::vector<double> message(1);;) {
        long long shard = -1;
        MPI_Send(message.data(), int(message.size()), MPI_DOUBLE, 0, 0, MPI_COMM_WORLD);
        MPI_Recv(&shard, 1, MPI_LONG_LONG, 0, 0, MPI_COMM_WORLD, MPI_STATUS_IGNORE);
        if (shard < 0)
            return 0;
        auto const answers = answer_shard(shards, question, std::size_t(shard));
        message.assign(1, double(shard));
        message.insert(message.end(), answers.begin(), answers.end());
    }
}

int run_rank(std::filesystem::path const& folder) {
    int rank = 0, ranks = 1;
    MPI_Comm_rank(MPI_COMM_WORLD, &rank);
    MPI_Comm_size(MPI_COMM_WORLD, &ranks);
    auto const question = stitch_question();
    MapShards const shards{Candidates(stitch_space()), 32};
    if (rank > 0)
        return answer(shards, question);
    auto const keeper = stitch_keeper(folder, shards, question);
    hand_out(shards, shards.packs_each * map_lanes * question.columns().size(), keeper, ranks - 1);
    // Finds all, or answers what is left.
    auto const run = run_map(shards.candidates, question, {shards.packs_each, keeper, {}, {}});
    tell_stitch_map(run.table, folder);
    return run.complete ? 0 : 1;
}

} // namespace

int main(int count, char** words) {
    MPI_Init(&count, &words);
    try {
        int const result = run_rank(count > 1 ? words[1] : "");
        MPI_Finalize();
        return result;
    } catch (BadInput const& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return MPI_Abort(MPI_COMM_WORLD, 1);
    }
}
