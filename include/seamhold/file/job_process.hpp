#ifndef SEAMHOLD_FILE_JOB_PROCESS_HPP
#define SEAMHOLD_FILE_JOB_PROCESS_HPP

#include "seamhold/beam/optics.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/number/units.hpp"

#include <string>
#include <variant>

/// The beam that a job welds with, from `[process]`.
namespace seamhold::detail {

inline BeamQuality<> read_quality(TomlTable& table) {
    double const wavelength = table.number("wavelength_nm", above_zero) * 1e-9;
    table.told_where("wavelength_nm", [&] { return BeamQuality<>::from_m2(wavelength, 1); });
    std::string const kind = table.one_of({"m_squared", "beam_parameter_product_mm_mrad", "fibre"});
    if (kind == "m_squared") {
        double const m_squared = table.number("m_squared", any_number);
        return table.told_where(kind, [&] { return BeamQuality<>::from_m2(wavelength, m_squared); });
    }
    if (kind == "fibre") {
        auto fibre = table.table("fibre");
        double const core = fibre.number("core_um", above_zero) * 1e-6;
        double const divergence = fibre.number("half_divergence_mrad", above_zero) * 1e-3;
        fibre.finish();
        return table.told_where(
            kind, [&] { return BeamQuality<>::from_fibre_half_divergence(wavelength, core, divergence); });
    }
    double const product = table.number(kind, above_zero) * 1e-6; // mm · mrad
    return table.told_where(kind,
                            [&] { return BeamQuality<>::from_beam_parameter_product(wavelength, product); });
}

/// `[process]`, for the head that the beam goes through.
inline Process read_process(TomlTable table, AnyHead const& head) {
    Process process{};
    process.power = table.number("power_W", above_zero);
    auto const quality = read_quality(table);
    double const radius = millimetres(table.number("beam_radius_mm", above_zero));
    if (auto const* const lens_head = std::get_if<RealHead<FlatFieldLens<>>>(&head.choice()))
        process.beam = FlatFieldBeam<>{quality, radius, lens_head->parts().objective.focal_length};
    else
        process.beam = DeliveredBeam<>{quality, radius, millimetres(table.number("ahead_mm", zero_or_more))};
    process.largest_spot = millimetres(table.number("largest_spot_mm", above_zero));
    process.largest_defocus = table.number("largest_defocus", above_zero);
    // A watt on a square millimetre is a million on a square metre.
    process.least_power_density = table.number_or("least_power_density_W_mm2", 0, zero_or_more) * 1e6;
    auto const energy = table.range("line_energy_J_mm", zero_or_more);
    process.line_energy = {energy[0] * 1e3, energy[1] * 1e3}; // J/m
    table.finish();
    return process;
}

} // namespace seamhold::detail

#endif
