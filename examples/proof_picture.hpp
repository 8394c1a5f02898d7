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

/// One limit of one panel.
struct Band {
    std::size_t check; ///< its number in the proof
    double peak;       ///< the most it uses, a share
    double end;        ///< where its band ends, a share
    double label;      ///< where its label stands, a share
};

/// The limits of a seam that are used most, the most used first.
inline std::vector<Band> tightest(SeamProof const& seam, std::size_t most) {
    std::vector<Band> bands;
    for (std::size_t c = 0; c < seam.checks.size(); ++c) {
        Band band{c, 0, 0, 0};
        for (auto const& stretch : seam.stretches)
            band.peak = std::max(band.peak, std::min(stretch.utilisation[c].high, 9.0));
        if (!seam.stretches.empty())
            band.end = std::clamp(seam.stretches.back().utilisation[c].middle(), 0.0, 1.15);
        bands.push_back(band);
    }
    std::sort(bands.begin(), bands.end(), [](Band const& a, Band const& b) { return a.peak > b.peak; });
    bands.resize(std::min(most, bands.size()));
    return bands;
}

/// Spreads labels so that none covers another: a share of the axis between them, in the order of the ends.
inline void spread_labels(std::vector<Band>& bands, double apart, double top) {
    std::vector<Band*> order;
    for (auto& band : bands)
        order.push_back(&band);
    std::sort(order.begin(), order.end(), [](Band const* a, Band const* b) { return a->end < b->end; });
    double at = 0.03;
    for (auto* band : order) {
        band->label = std::max(band->end, at);
        at = band->label + apart;
    }
    at = top;
    for (auto band = order.rbegin(); band != order.rend(); ++band) {
        (*band)->label = std::min((*band)->label, at);
        at = (*band)->label - apart;
    }
}

/// The rows of a seam's bands for gnuplot: a block a limit, each stretch from its start to its end.
inline std::string band_rows(SeamProof const& seam, std::vector<Band> const& bands) {
    std::string rows;
    char text[120];
    for (auto const& band : bands) {
        for (auto const& stretch : seam.stretches) {
            auto const& use = stretch.utilisation[band.check];
            for (double const t : {stretch.time.from, stretch.time.to}) {
                std::snprintf(text, sizeof text, "%.9g %.5f %.5f\n", in_milliseconds(t),
                              100 * std::clamp(use.low, 0.0, 9.0), 100 * std::clamp(use.high, 0.0, 9.0));
                rows += text;
            }
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
                  "set ytics 0,25,100\nset ylabel \"of the limit (%%)\"\nset rmargin 31\nset lmargin 9\n",
                  80 + 400 * std::max<std::size_t>(rows, 1), std::max<std::size_t>(rows, 1));
    std::string script = text;
    for (std::size_t i = 0; i < order.size(); ++i) {
        auto const& seam = *order[i];
        auto bands = tightest(seam, limits);
        spread_labels(bands, 0.095, 1.16);
        std::string const data = "proof_" + std::to_string(i) + ".dat";
        write(data, band_rows(seam, bands));
        std::snprintf(text, sizeof text,
                      "unset label\nset title \"%s: %s\"\nset xrange [0:%.9g]\nset xlabel \"%s\"\n",
                      seam.name.c_str(), to_string(seam.verdict()), in_milliseconds(seam.duration),
                      i + 2 >= order.size() ? "since the seam's start (ms)" : "");
        script += text;
        std::string plot = "plot 100 with lines linewidth 2 dashtype 2 linecolor rgb \"#888888\"";
        for (std::size_t b = bands.size(); b-- > 0;) { // the tightest on top
            auto const& check = seam.checks[bands[b].check];
            std::string name = to_string(check.limit);
            if (check.joint() > 0)
                name += " " + std::to_string(check.joint());
            std::snprintf(text, sizeof text,
                          "set label \"%s\" at graph 1.015, first %.4f left textcolor rgb \"%s\" font "
                          "\"DejaVu Sans,11\"\n",
                          name.c_str(), 100 * bands[b].label, colours[b]);
            script += text;
            std::snprintf(
                text, sizeof text,
                ", \"%s\" index %zu using 1:2:3 with filledcurves fillcolor rgb \"%s\" fillstyle "
                "transparent solid 0.35 noborder, \"\" index %zu using 1:3 with lines linecolor rgb "
                "\"%s\", \"\" index %zu using 1:2 with lines linecolor rgb \"%s\"",
                data.c_str(), b, colours[b], b, colours[b], b, colours[b]);
            plot += text;
        }
        script += plot + "\n";
    }
    return script + "unset multiplot\n";
}

} // namespace seamhold::examples

#endif
