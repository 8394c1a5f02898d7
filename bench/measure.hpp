#ifndef SEAMHOLD_BENCH_MEASURE_HPP
#define SEAMHOLD_BENCH_MEASURE_HPP

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <ctime>
#include <string>
#include <vector>

// How the benches take times. Two ways of doing the same work take turns on the same inputs, block by block,
// so that a busy moment of the machine hits both; what counts is the median of the blocks' ratios.
namespace seamhold::bench {

/// The place below which the fraction `part` of the numbers lies; of an empty list 0.
inline double quantile(std::vector<double> numbers, double part) {
    if (numbers.empty())
        return 0;
    auto const place = static_cast<std::size_t>(
        std::min(part * static_cast<double>(numbers.size()), static_cast<double>(numbers.size() - 1)));
    std::nth_element(numbers.begin(), numbers.begin() + static_cast<std::ptrdiff_t>(place), numbers.end());
    return numbers[place];
}

/// The middle one of the numbers.
inline double median(std::vector<double> const& numbers) { return quantile(numbers, 0.5); }

/// Prints one figure as `name value unit`.
inline void print(std::string const& name, double value, char const* unit) {
    std::printf("%s %.4g %s\n", name.c_str(), value, unit);
    std::fflush(stdout);
}

/// Prints the 5th percentile (what the machine does when little else runs on it), the median, the 99th
/// percentile and the largest of times in ns.
inline void print_spread(std::string const& name, std::vector<double> const& times) {
    print(name + "_quiet_ns", quantile(times, 0.05), "ns");
    print(name + "_median_ns", median(times), "ns");
    print(name + "_p99_ns", quantile(times, 0.99), "ns");
    print(name + "_worst_ns", *std::max_element(times.begin(), times.end()), "ns");
}

/// The time by the wall clock in ns that `work()` takes.
template <class Work> double wall_nanoseconds(Work&& work) {
    using Clock = std::chrono::steady_clock;
    auto const begin = Clock::now();
    work();
    auto const end = Clock::now();
    return static_cast<double>(std::chrono::duration_cast<std::chrono::nanoseconds>(end - begin).count());
}

/// The processor time of this thread in ns that `work()` takes: without the time that other programs take on
/// a busy machine. Reading it costs some hundred ns, so `work` should take many thousand.
template <class Work> double processor_nanoseconds(Work&& work) {
    auto const now = [] {
        timespec time{};
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
        return 1e9 * static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_nsec);
    };
    double const begin = now();
    work();
    return now() - begin;
}

/// Times of two ways through the same blocks of work, in ns for one item; entry i of all is the same block.
struct Duel {
    std::vector<double> baseline;
    std::vector<double> ours;

    /// The median over the blocks of baseline ÷ ours.
    double ratio() const {
        std::vector<double> ratios(ours.size());
        for (std::size_t i = 0; i < ours.size(); ++i)
            ratios[i] = baseline[i] / ours[i];
        return median(ratios);
    }
};

/// Runs `baseline(block)` and `ours(block)` for each block from 0 to blocks − 1, `rounds` times over. Who
/// goes first changes from block to block. One round before these only warms up and is not counted.
template <class Baseline, class Ours>
Duel duel(std::size_t rounds, std::size_t blocks, std::size_t items_in_block, Baseline const& baseline,
          Ours const& ours) {
    Duel times;
    double const items = static_cast<double>(items_in_block);
    for (std::size_t round = 0; round <= rounds; ++round) {
        for (std::size_t block = 0; block < blocks; ++block) {
            double first = 0;
            double second = 0;
            if ((round + block) % 2 == 0) {
                second = processor_nanoseconds([&] { ours(block); });
                first = processor_nanoseconds([&] { baseline(block); });
            } else {
                first = processor_nanoseconds([&] { baseline(block); });
                second = processor_nanoseconds([&] { ours(block); });
            }
            if (round == 0)
                continue;
            times.baseline.push_back(first / items);
            times.ours.push_back(second / items);
        }
    }
    return times;
}

/// The times of single calls of `work(i)`, i from 0 to count − 1, in ns: what a caller waits who asks once in
/// a while. The median cost of reading the clock is taken off.
template <class Work> std::vector<double> one_by_one(std::size_t count, Work&& work) {
    std::vector<double> empty(10000);
    for (double& time : empty)
        time = wall_nanoseconds([] {});
    double const clock = median(empty);
    std::vector<double> times(count);
    for (std::size_t i = 0; i < count; ++i)
        times[i] = std::max(0.0, wall_nanoseconds([&] { work(i); }) - clock);
    return times;
}

} // namespace seamhold::bench

#endif
