#include "jobs.hpp"

namespace seamhold::test {

JobFile job_from(std::filesystem::path const& path) { return read_job(path); }

LoadedJob loaded_from(std::filesystem::path const& job, std::filesystem::path const& log) {
    return load_job(job, log);
}

} // namespace seamhold::test
