#include <seamhold/map/on_all_cores.hpp>

#include <vector>

// An outside program that uses the component threads.
int main() {
    using namespace seamhold;
    OneByOne const question("whether x is 3 or more", {{"margin", "m", {}}}, [](Candidate const& candidate) {
        return std::vector<double>{candidate.values[0] - 3};
    });
    Candidates const candidates({{axis("x", "m", 1, 0, 10, 11)}});
    auto const run = run_map_on_all_cores(candidates, question);
    return run.complete && !run.table.feasible(2) && run.table.feasible(3) ? 0 : 1;
}
