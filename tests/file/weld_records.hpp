#ifndef SEAMHOLD_TESTS_FILE_WELD_RECORDS_HPP
#define SEAMHOLD_TESTS_FILE_WELD_RECORDS_HPP

#include "seamhold/record/band_state.hpp"
#include "seamhold/record/kept_weld.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <limits>
#include <optional>
#include <string>
#include <vector>

// Weld records that are made of a number and nothing else, and whether two are the same bit for bit.

namespace seamhold::test {

/// Any double at all: any bits, often a special one. `any_nan` also NaNs with a sign and with bits of their
/// own.
inline double any_double(Random& random, bool any_nan) {
    using Limits = std::numeric_limits<double>;
    double const special[] = {0.0,
                              -0.0,
                              1.0,
                              Limits::infinity(),
                              -Limits::infinity(),
                              Limits::max(),
                              Limits::lowest(),
                              Limits::denorm_min(),
                              -Limits::denorm_min(),
                              0.1,
                              Limits::quiet_NaN()};
    if (random.index(2) == 0)
        return special[random.index(std::size(special))];
    auto const bits = (std::uint64_t(random.index(1ULL << 32U)) << 32U) | random.index(1ULL << 32U);
    auto const x = std::bit_cast<double>(bits);
    return !any_nan && !(x == x) ? Limits::quiet_NaN() : x;
}

inline SeamKey any_key(Random& random, std::string const& seam) {
    SeamKey key{};
    key.seam = seam;
    for (auto& print : key.plan.part) // all 64 bits, the highest too
        print = (std::uint64_t(random.index(1ULL << 32U)) << 32U) | random.index(1ULL << 32U);
    key.pass = std::numeric_limits<std::uint64_t>::max() - random.index(1000);
    return key;
}

inline std::vector<FaultSpan> any_faults(Random& random, std::size_t channels) {
    std::vector<FaultSpan> faults;
    for (std::size_t i = random.index(5); i > 0 && channels > 0; --i)
        faults.push_back({static_cast<SampleFault>(random.index(6)), random.index(channels),
                          any_double(random, false), any_double(random, false),
                          std::numeric_limits<std::uint64_t>::max() - random.index(100)});
    return faults;
}

/// A record whose contents depend on its number only.
inline KeptWeld numbered_record(std::uint64_t number, std::size_t largest_cells = 60) {
    Random random(0x5eed0000 + number);
    KeptWeld record;
    auto& verdict = record.verdict;
    verdict.part = "part \"" + std::to_string(number) + "\", Blech µ'; DROP TABLE weld; --";
    verdict.date = 20000 + static_cast<double>(number) / 7;
    verdict.key = any_key(random, "seam " + std::to_string(number % 3));
    verdict.length = any_double(random, false);
    verdict.judgement = static_cast<Judgement>(random.index(3));
    std::size_t const channels = random.index(5);
    for (std::size_t i = 0; i < channels; ++i)
        verdict.channels.push_back("channel " + std::to_string(i) + ", “plume”");
    for (std::size_t i = random.index(6); i > 0 && channels > 0; --i) {
        Finding f{};
        f.channel = random.index(channels);
        f.side = random.index(2) == 0 ? decltype(f.side)::below : decltype(f.side)::above;
        f.rule = static_cast<FindingRule>(random.index(3));
        for (double* const x : {&f.from, &f.to, &f.outside, &f.area, &f.worst, &f.worst_at})
            *x = any_double(random, false);
        verdict.findings.push_back(f);
    }
    for (std::size_t i = random.index(3); i > 0 && channels > 0; --i)
        verdict.unseen.push_back(
            {random.index(channels), any_double(random, false), any_double(random, false)});
    verdict.faults = any_faults(random, channels);
    if (random.index(4) > 0) {
        std::size_t const cells = 1 + random.index(largest_cells);
        SeamTrace trace{verdict.key,
                        verdict.part,
                        verdict.date,
                        {random.uniform(0.01, 1), cells},
                        verdict.channels,
                        {},
                        any_faults(random, channels)};
        for (std::size_t c = 0; c < channels; ++c) {
            ChannelTrace one;
            for (std::size_t i = 0; i < cells; ++i) {
                one.value.push_back(any_double(random, true));
                one.covered.push_back(static_cast<float>(random.unit()));
            }
            trace.traces.push_back(one);
        }
        record.trace = trace;
    }
    for (std::size_t i = random.index(4); i > 0; --i) { // a range, or words alone
        double const x = any_double(random, false), y = any_double(random, false);
        double const none = std::numeric_limits<double>::quiet_NaN();
        bool const range = x - x == 0 && y - y == 0;
        record.values.push_back({"power, \"full\"", "W", range ? std::min(x, y) : none,
                                 range ? std::max(x, y) : none, i == 1 && range ? "" : "line\nend",
                                 static_cast<ValueOrigin>(random.index(4))});
    }
    auto const finite = [&] {
        double const x = any_double(random, false);
        return x - x == 0 ? x : -0.0;
    };
    if (channels > 0 && random.index(3) > 0) {
        record.summary = SeamSummary{verdict.key,
                                     verdict.part,
                                     verdict.date,
                                     verdict.judgement,
                                     random.index(2) == 0,
                                     std::numeric_limits<std::uint64_t>::max() - random.index(100),
                                     std::numeric_limits<std::uint64_t>::max() - random.index(100),
                                     {}};
        for (auto const& name : verdict.channels)
            record.summary->channels.push_back(
                {name, finite(), finite(), finite(), finite(), finite(), finite()});
    }
    if (random.index(3) > 0) {
        JudgedBy by{{}, {static_cast<LimitRule>(random.index(3)), 0.1 + 0.2, 1 - 1e-16}, std::abs(finite())};
        auto const asked = [&](double x) { return random.index(2) == 0 ? std::optional(x) : std::nullopt; };
        by.rules.longest_run = asked(std::abs(finite()));
        by.rules.share_outside = asked(random.unit());
        by.rules.area_outside = asked(std::abs(finite()));
        if (!by.rules.longest_run && !by.rules.share_outside && !by.rules.area_outside)
            by.rules.longest_run = 5e-324;
        by.rules.least_covered = 0.1 + 0.6;
        by.rules.longest_unseen = std::abs(finite());
        record.judged_by = by;
    }
    return record;
}

/// What a band stands on after so many parts; all numbers are invented.
inline BandState learnt_band(std::uint64_t parts) {
    auto state = empty_band_state({{{1, 2, 3, ~std::uint64_t(0)}}, "S1", 9}, {0.06, 3},
                                  {"plume light", "heat, \"melt\""});
    state.options.least_deviation = {0.125, 0};
    state.options.smoothing = 0.1 + 0.2;
    state.parts = parts;
    state.last_part = "P'17\"";
    state.last_date = 20784.3;
    auto& sums = state.residuals;
    sums.parts = parts;
    sums.inverse_degrees = 0.7;
    sums.fourth_powers = 1.1;
    sums.fourth_powers_normal = 0.9;
    double value = 0.1;
    for (auto* const list : {&sums.power, &sums.cross, &sums.offsets})
        for (double& x : *list)
            x = value *= 1.3;
    for (auto& c : state.channels) {
        c.mean = {-0.0, 0.1, 5e-324};
        c.squares = {0, 1e300, 0.3};
        c.seam_mean = 0.1;
        c.seam_squares = 0.7;
        for (std::size_t i = 0; i < c.least.size(); ++i)
            if (i % state.options.kept_extremes < parts) {
                c.least[i] = static_cast<double>(i) / 3;
                c.greatest[i] = -static_cast<double>(i) / 3;
            }
    }
    return state;
}

/// All bits of two doubles.
inline bool same_bits(double a, double b) {
    return std::bit_cast<std::uint64_t>(a) == std::bit_cast<std::uint64_t>(b);
}

/// The same bits, or both not a number.
inline bool same_number(double a, double b) { return same_bits(a, b) || (!(a == a) && !(b == b)); }

inline bool same_faults(std::vector<FaultSpan> const& a, std::vector<FaultSpan> const& b) {
    bool same = a.size() == b.size();
    for (std::size_t i = 0; same && i < a.size(); ++i)
        same = a[i].fault == b[i].fault && a[i].channel == b[i].channel &&
               same_number(a[i].from, b[i].from) && same_number(a[i].to, b[i].to) &&
               a[i].samples == b[i].samples;
    return same;
}

inline bool same_summary(SeamSummary const& a, SeamSummary const& b) {
    bool same = a.key == b.key && a.part == b.part && same_bits(a.date, b.date) &&
                a.judgement == b.judgement && a.learnt == b.learnt && a.band_parts == b.band_parts &&
                a.band_print == b.band_print && a.channels.size() == b.channels.size();
    for (std::size_t i = 0; same && i < a.channels.size(); ++i) {
        auto const &c = a.channels[i], &d = b.channels[i];
        same = c.name == d.name && same_bits(c.seen, d.seen) && same_bits(c.mean, d.mean) &&
               same_bits(c.least, d.least) && same_bits(c.greatest, d.greatest) &&
               same_bits(c.level, d.level) && same_bits(c.farthest, d.farthest);
    }
    return same;
}

inline bool same_judged_by(JudgedBy const& a, JudgedBy const& b) {
    auto const same = [](std::optional<double> const& x, std::optional<double> const& y) {
        return x.has_value() == y.has_value() && (!x || same_bits(*x, *y));
    };
    return a.wish.rule == b.wish.rule && same_bits(a.wish.coverage, b.wish.coverage) &&
           same_bits(a.wish.confidence, b.wish.confidence) && same_bits(a.factor, b.factor) &&
           same(a.rules.longest_run, b.rules.longest_run) &&
           same(a.rules.share_outside, b.rules.share_outside) &&
           same(a.rules.area_outside, b.rules.area_outside) &&
           same_bits(a.rules.least_covered, b.rules.least_covered) &&
           same_bits(a.rules.longest_unseen, b.rules.longest_unseen);
}

/// In what two records differ; "" where in nothing.
inline std::string difference_of(KeptWeld const& a, KeptWeld const& b) {
    auto const& v = a.verdict;
    auto const& w = b.verdict;
    if (!(v.key == w.key))
        return "key";
    if (v.part != w.part || !same_bits(v.date, w.date) || !same_number(v.length, w.length) ||
        v.channels != w.channels || v.judgement != w.judgement)
        return "head";
    if (v.findings.size() != w.findings.size() || v.unseen.size() != w.unseen.size())
        return "number of findings";
    for (std::size_t i = 0; i < v.findings.size(); ++i) {
        auto const &f = v.findings[i], &g = w.findings[i];
        if (f.channel != g.channel || f.side != g.side || f.rule != g.rule || !same_number(f.from, g.from) ||
            !same_number(f.to, g.to) || !same_number(f.outside, g.outside) || !same_number(f.area, g.area) ||
            !same_number(f.worst, g.worst) || !same_number(f.worst_at, g.worst_at))
            return "finding";
    }
    for (std::size_t i = 0; i < v.unseen.size(); ++i)
        if (v.unseen[i].channel != w.unseen[i].channel || !same_number(v.unseen[i].from, w.unseen[i].from) ||
            !same_number(v.unseen[i].to, w.unseen[i].to))
            return "unseen";
    if (!same_faults(v.faults, w.faults))
        return "faults";
    if (a.trace.has_value() != b.trace.has_value())
        return "presence of a trace";
    if (a.trace) {
        auto const &s = *a.trace, &t = *b.trace;
        if (!(s.key == t.key) || s.part != t.part || !same_bits(s.date, t.date) || !(s.cells == t.cells) ||
            s.channels != t.channels || s.traces.size() != t.traces.size() ||
            !same_faults(s.faults, t.faults))
            return "trace's head";
        for (std::size_t c = 0; c < s.traces.size(); ++c) {
            auto const &x = s.traces[c], &y = t.traces[c];
            if (x.value.size() != y.value.size() || x.covered.size() != y.covered.size() ||
                (!x.value.empty() && std::memcmp(x.value.data(), y.value.data(), 8 * x.value.size()) != 0) ||
                (!x.covered.empty() &&
                 std::memcmp(x.covered.data(), y.covered.data(), 4 * x.covered.size()) != 0))
                return "readings";
        }
    }
    if (a.summary.has_value() != b.summary.has_value() || a.judged_by.has_value() != b.judged_by.has_value())
        return "presence of a row or of what it was judged by";
    if (a.summary && !same_summary(*a.summary, *b.summary))
        return "row";
    if (a.judged_by && !same_judged_by(*a.judged_by, *b.judged_by))
        return "judged by";
    if (a.values.size() != b.values.size())
        return "number of values";
    for (std::size_t i = 0; i < a.values.size(); ++i) {
        auto const &x = a.values[i], &y = b.values[i];
        if (x.name != y.name || x.unit != y.unit || x.words != y.words || x.origin != y.origin ||
            !same_number(x.least, y.least) || !same_number(x.greatest, y.greatest))
            return "value";
    }
    return "";
}

} // namespace seamhold::test

#endif
