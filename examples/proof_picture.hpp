#ifndef SEAMHOLD_EXAMPLES_PROOF_PICTURE_HPP
#define SEAMHOLD_EXAMPLES_PROOF_PICTURE_HPP

#include "seamhold/file.hpp"
#include "seamhold/seamhold.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdio>
#include <string>
#include <vector>

// The picture of a proof: what each seam uses of its tightest limits, as a band between proven bounds.
namespace seamhold::examples {

/// A limit's use over some time, between its bounds.
struct Piece {
    TimeSpan time;   ///< since the seam's start, s
    Interval use{0}; ///< a share of the limit
};

/// One limit of one panel.
struct Band {
    Check check;
    std::vector<Piece> pieces;
    double peak = 0;        ///< the most that it uses, a share
    double label = 0;       ///< where its label stands, a share
    std::size_t colour = 0; ///< by number
};

/// The band of one check. Where a weave needs more stretches than a picture can show, those of some
/// milliseconds are put together, which keeps it true.
inline Band band_of(SeamProof const& seam, std::size_t check) {
    constexpr std::size_t most = 220;
    double const least = seam.stretches.size() > most ? seam.duration / 56 : 0; // of a piece, s
    Band band{seam.checks[check], {}};
    for (auto const& stretch : seam.stretches) {
        auto const& use = stretch.utilisation[check];
        Interval const shown(std::clamp(use.low, 0.0, 9.0), std::clamp(use.high, 0.0, 9.0));
        if (band.pieces.empty() || band.pieces.back().time.to - band.pieces.back().time.from >= least)
            band.pieces.push_back({stretch.time, shown});
        band.pieces.back().time.to = stretch.time.to;
        band.pieces.back().use = hull(band.pieces.back().use, shown);
        band.peak = std::max(band.peak, shown.high);
    }
    return band;
}

/// The colour that a kind of limit has where it is free: field, joints, mirrors, incidence, all others.
inline std::size_t favourite_colour(Check const& check) {
    switch (check.limit) {
    case Limit::field:
        return 0;
    case Limit::joint_range:
    case Limit::joint_velocity:
    case Limit::joint_acceleration:
        return 1;
    case Limit::incidence:
    case Limit::incidence_along:
    case Limit::incidence_across:
        return 4;
    default:
        return static_cast<std::size_t>(check.limit) <= static_cast<std::size_t>(Limit::y_heating) ? 2 : 3;
    }
}

/// The limits of a seam that are used most, the most used first; of all joints the tightest.
inline std::vector<Band> tightest(SeamProof const& seam, std::size_t most) {
    std::vector<Band> all, bands;
    for (std::size_t c = 0; c < seam.checks.size(); ++c)
        all.push_back(band_of(seam, c));
    std::stable_sort(all.begin(), all.end(), [](Band const& a, Band const& b) { return a.peak > b.peak; });
    std::vector<bool> taken(most, false);
    for (auto& band : all) {
        bool const again = std::any_of(bands.begin(), bands.end(),
                                       [&](Band const& b) { return b.check.limit == band.check.limit; });
        if (again || bands.size() == most)
            continue;
        band.colour = favourite_colour(band.check);
        while (taken[band.colour])
            band.colour = (band.colour + 1) % most;
        taken[band.colour] = true;
        band.label = std::min(band.pieces.back().use.high, 1.14);
        bands.push_back(std::move(band));
    }
    // Labels that would cover each other give way, both by as much.
    std::vector<Band*> order;
    order.reserve(bands.size());
    for (auto& band : bands)
        order.push_back(&band);
    std::sort(order.begin(), order.end(), [](Band const* a, Band const* b) { return a->label < b->label; });
    for (int round = 0; round < 100; ++round)
        for (std::size_t i = 0; i + 1 < order.size(); ++i) {
            double const apart = 0.1 - (order[i + 1]->label - order[i]->label);
            if (apart > 0) {
                order[i]->label = std::max(0.03, order[i]->label - apart / 2);
                order[i + 1]->label += apart / 2;
            }
        }
    return bands;
}

/// The rows of a seam's bands for gnuplot: a block a limit, each piece from its start to its end.
inline std::string band_rows(std::vector<Band> const& bands) {
    std::string rows;
    char text[120];
    for (auto const& band : bands) {
        for (auto const& piece : band.pieces)
            for (double const t : {piece.time.from, piece.time.to}) {
                std::snprintf(text, sizeof text, "%.9g %.5f %.5f\n", in_milliseconds(t), 100 * piece.use.low,
                              100 * piece.use.high);
                rows += text;
            }
        rows += "\n\n";
    }
    return rows;
}

/// The data and the script of proof.png: the tightest seams, a panel each. The data stand in `proof_N.dat`
/// files, which `write(name, text)` takes.
template <class Write> std::string proof_script(std::vector<SeamProof> const& seams, Write const& write) {
    constexpr std::size_t panels = 6, limits = 5;
    constexpr char const* colours[limits] = {"#d55e00", "#0072b2", "#000000", "#009e73", "#cc79a7"};
    std::vector<SeamProof const*> order;
    for (auto const& seam : seams)
        if (!seam.stretches.empty() && !seam.checks.empty())
            order.push_back(&seam);
    std::stable_sort(order.begin(), order.end(), [](SeamProof const* a, SeamProof const* b) {
        return a->binding().utilisation.high > b->binding().utilisation.high;
    });
    order.resize(std::min(order.size(), panels));
    std::size_t const rows = (order.size() + 1) / 2;
    char text[700];
    std::snprintf(text, sizeof text,
                  "set terminal pngcairo size 1700,%zu font \"DejaVu Sans,13\" linewidth 1.2\n"
                  "set output \"proof.png\"\n"
                  "set multiplot layout %zu,2 title \"What the tightest seams use of their limits: each band "
                  "holds the true value at every instant\"\n"
                  "set grid linecolor rgb \"#dddddd\" linetype 1\nunset key\nset yrange [0:120]\n"
                  "set ytics 0,25,100\nset ylabel \"of the limit (%%)\"\nset rmargin 21\nset lmargin 9\n",
                  80 + 400 * std::max<std::size_t>(rows, 1), std::max<std::size_t>(rows, 1));
    std::string script = text;
    for (std::size_t i = 0; i < order.size(); ++i) {
        auto const& seam = *order[i];
        auto const bands = tightest(seam, limits);
        std::string const data = "proof_" + std::to_string(i) + ".dat";
        write(data, band_rows(bands));
        std::snprintf(text, sizeof text,
                      "unset label\nset title \"%s: %s; %s at most %s %%\"\nset xrange [0:%.9g]\nset "
                      "xlabel \"%s\"\n",
                      seam.name.c_str(), to_string(seam.verdict()), to_string(seam.binding().limit),
                      detail::outward(100 * seam.binding().utilisation.high, 1, true).c_str(),
                      in_milliseconds(seam.duration),
                      i + 2 >= order.size() ? "since the seam's start (ms)" : "");
        script += text;
        std::string plot = "plot 100 with lines linewidth 2 dashtype 2 linecolor rgb \"#888888\"";
        for (std::size_t b = bands.size(); b-- > 0;) { // the tightest on top
            auto const& band = bands[b];
            char const* const colour = colours[band.colour];
            std::string name = to_string(band.check.limit);
            if (band.check.joint() > 0)
                name += " " + std::to_string(band.check.joint());
            std::snprintf(text, sizeof text,
                          "set label \"%s\" at graph 1.015, first %.4f left textcolor rgb \"%s\" font "
                          "\"DejaVu Sans,11\"\n",
                          name.c_str(), 100 * band.label, colour);
            script += text;
            std::snprintf(text, sizeof text,
                          ", \"%s\" index %zu using 1:2:3 with filledcurves fillcolor rgb \"%s\" fillstyle "
                          "transparent solid 0.3 noborder, \"\" index %zu using 1:3 with lines linecolor rgb "
                          "\"%s\", \"\" index %zu using 1:2 with lines linecolor rgb \"%s\"",
                          data.c_str(), b, colour, b, colour, b, colour);
            plot += text;
        }
        script += plot + "\n";
    }
    return script + "unset multiplot\n";
}

} // namespace seamhold::examples

#endif
