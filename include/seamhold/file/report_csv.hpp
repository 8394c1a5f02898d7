#ifndef SEAMHOLD_FILE_REPORT_CSV_HPP
#define SEAMHOLD_FILE_REPORT_CSV_HPP

#include "seamhold/file/limit_units.hpp"
#include "seamhold/file/text.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace seamhold {

/// The report on a job as CSV for a program: one row a seam and limit, values in the SI unit that the row
/// names; times and lengths as the columns say. Where a peak belongs to no moment (RMS, air move), time_s and
/// arc_length_m are empty. A seam without any usable sample has one row without a limit.
inline std::string report_csv(std::vector<SeamReport> const& seams) {
    using detail::shortest;
    std::string text = "seam,start_s,duration_s,length_m,verdict,samples,unusable_samples,limit,utilisation,"
                       "value,allowed,unit,time_s,arc_length_m\n";
    for (auto const& seam : seams) {
        std::string const front = detail::csv_field(seam.name) + "," + shortest(seam.start) + "," +
                                  shortest(seam.duration) + "," + shortest(seam.length) + "," +
                                  detail::verdict(seam) + "," + std::to_string(seam.samples) + "," +
                                  std::to_string(seam.unusable) + ",";
        if (seam.samples == seam.unusable)
            text += front + ",,,,,,\n";
        for (std::size_t i = 0; i < limit_count; ++i) {
            auto const limit = static_cast<Limit>(i);
            if (!detail::applies(seam, limit))
                continue;
            Peak const& peak = seam.peak(limit);
            text += front + to_string(limit) + "," + shortest(peak.utilisation) + "," + shortest(peak.value) +
                    "," + shortest(peak.allowed) + "," + detail::unit_of(limit).si_unit + ",";
            text += detail::has_moment(limit) ? shortest(peak.time) + "," + shortest(peak.arc_length) + "\n"
                                              : ",\n";
        }
    }
    return text;
}

} // namespace seamhold

#endif
