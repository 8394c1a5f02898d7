#ifndef SEAMHOLD_RECORD_VERDICT_WORDS_HPP
#define SEAMHOLD_RECORD_VERDICT_WORDS_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/record/verdict.hpp"

#include <cmath>
#include <string>

namespace seamhold {

namespace detail {

/// A length in mm, to 0.01 mm: "12.35".
inline std::string text_in_mm(double length) {
    return text_of(std::round(1e5 * length) / 100 + 0.0); // never -0
}

/// "12 to 18.5 mm".
inline std::string text_of_stretch(double from, double to) {
    return text_in_mm(from) + " to " + text_in_mm(to) + " mm";
}

/// To two decimals.
inline std::string text_to_hundredths(double x) { return text_of(std::round(100 * x) / 100); }

} // namespace detail

/// What was found, in one line without an end: channel, from where to where in mm, side, rule, and how far
/// outside. `length` is the seam's, m.
inline std::string finding_words(Finding const& found, std::string const& channel, double length) {
    std::string words = channel + ": " + to_string(found.side) + " the band ";
    if (found.rule == FindingRule::run)
        words += "from " + detail::text_of_stretch(found.from, found.to);
    else
        words +=
            "over " + detail::text_in_mm(found.outside) + " mm in all between " +
            detail::text_in_mm(found.from) + " and " + detail::text_in_mm(found.to) + " mm, " +
            (found.rule == FindingRule::share
                 ? detail::text_to_hundredths(100 * found.outside / length) + " % of the seam"
                 : "an area of " + detail::text_to_hundredths(1000 * found.area) + " half widths times mm");
    return words + "; worst at " + detail::text_in_mm(found.worst_at) + " mm, " +
           detail::text_to_hundredths(found.worst) + " half widths beyond the limit";
}

/// A verdict for a reader: part, seam and judgement in the first line, then a line for each finding, each
/// stretch that was not seen and each fault of the samples, indented by two spaces. Every line ends with a
/// line feed.
inline std::string verdict_words(SeamVerdict const& verdict) {
    auto const channel = [&](std::size_t const c) {
        return c < verdict.channels.size() ? verdict.channels[c] : "channel number " + std::to_string(c + 1);
    };
    std::string words =
        verdict.part + ", seam " + verdict.key.seam + ": " + to_string(verdict.judgement) + "\n";
    for (auto const& found : verdict.findings)
        words += "  " + finding_words(found, channel(found.channel), verdict.length) + "\n";
    for (auto const& unseen : verdict.unseen)
        words += "  " + channel(unseen.channel) + ": not seen from " +
                 detail::text_of_stretch(unseen.from, unseen.to) + "\n";
    for (auto const& fault : verdict.faults)
        words += "  " + channel(fault.channel) + ": " + to_string(fault.fault) + ", " +
                 std::to_string(fault.samples) + " samples from " +
                 detail::text_of_stretch(fault.from, fault.to) + "\n";
    return words;
}

} // namespace seamhold

#endif
