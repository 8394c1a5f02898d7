#ifndef SEAMHOLD_TESTS_FILE_JOBS_HPP
#define SEAMHOLD_TESTS_FILE_JOBS_HPP

#include "seamhold/file/job.hpp"

#include <filesystem>
#include <string>

// A small job and a log for it, for the tests to take apart. All numbers are invented.

namespace seamhold::test {

/// `read_job` and `load_job`, compiled once for all tests in jobs.cpp: they are long.
JobFile job_from(std::filesystem::path const& path);
LoadedJob loaded_from(std::filesystem::path const& job, std::filesystem::path const& log);

/// A head at rest half a metre above a flat face, two straight seams and a point. The head looks down: its z
/// is the cell's −z, its x the cell's x, its y the cell's −y.
inline std::string const small_job = R"(title = "A plate"
[log]
poses = "measured"
stamps = "sampling"
max_gap_ms = 20
[head]
mirror_separation_mm = 40
mirror_range_deg = 10
mirror_velocity_rad_s = 20
mirror_acceleration_rad_s2 = 15000
mirror_rms_acceleration_rad_s2 = 4000
mirror_lag_ms = 0.5
settling_ms = 2
focus_path_mm = 540
focus_ratio = 8
focus_range_mm = [-10, 10]
focus_velocity_mm_s = 100
focus_lag_ms = 5
field_diameter_mm = 340
[mount]
position_mm = [0, 0, 0]
rotation_zyx_deg = [0, 0, 180]
[part]
position_mm = [0, 0, 0]
rotation_zyx_deg = [0, 0, 0]
[limits]
incidence_deg = 30
[[face]]
name = "lid"
position_mm = [0, 0, 0]
rotation_zyx_deg = [0, 0, 0]
[[seam]]
name = "A1"
face = "lid"
start_s = 0.1
speed_m_per_min = 12
shape = "straight"
from_mm = [-50, 20]
to_mm = [50, 20]
[[seam]]
name = "A2"
face = "lid"
start_s = 0.65
shape = "point"
at_mm = [30, -40]
hold_s = 0.05
)";

/// A flange that rests 500 mm above the cell's zero for a second, in rows of 10 ms.
inline std::string resting_log() {
    std::string text = "time_s,x_m,y_m,z_m,qw,qx,qy,qz\n";
    for (int i = 0; i <= 100; ++i)
        text += std::to_string(0.01 * i) + ",0,0,0.5,1,0,0,0\n";
    return text;
}

/// A text with its first `old` replaced by `by`; empty where there is none.
inline std::string with(std::string text, std::string const& old, std::string const& by) {
    auto const found = text.find(old);
    return found == std::string::npos ? std::string() : text.replace(found, old.size(), by);
}

/// The small job with other keys at the end of its head.
inline std::string head_with(std::string const& keys) {
    return with(small_job, "field_diameter_mm = 340\n", keys);
}

/// The same with other words for the focus than a path and a ratio.
inline std::string head_without_focus(std::string const& keys) {
    return with(head_with(keys), "focus_path_mm = 540\nfocus_ratio = 8\n", "");
}

/// The small job with a beam. Its numbers are invented.
inline std::string const welding_job = small_job + R"([process]
power_W = 4000
wavelength_nm = 1070
beam_parameter_product_mm_mrad = 4
beam_radius_mm = 9
ahead_mm = 60
largest_spot_mm = 0.6
largest_defocus = 0.5
least_power_density_W_mm2 = 10000
line_energy_J_mm = [10, 30]
)";

} // namespace seamhold::test

#endif
