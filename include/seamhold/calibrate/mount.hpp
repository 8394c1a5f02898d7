#ifndef SEAMHOLD_CALIBRATE_MOUNT_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_HPP

#include "seamhold/calibrate/beam_residual.hpp"
#include "seamhold/calibrate/mount_fit.hpp"

namespace seamhold {

/// Where the head sits on the flange and where the target is.
template <class H>
MountFromTarget calibrate_mount(H const& head, std::vector<BeamOnTarget> const& hits,
                                MountOptions const& options = {});

/// Where the head sits on the flange, from marks on a plate whose place is known.
template <class H>
MountFromPlate calibrate_mount(H const& head, std::vector<PlateMark> const& marks,
                               Pose<Cell, Plate> const& cell_from_plate, MountOptions const& options = {});

/// Where the head sits on the flange and where the plate is, from marks on it.
template <class H>
MountFromPlate calibrate_mount(H const& head, std::vector<PlateMark> const& marks,
                               MountOptions const& options = {});

} // namespace seamhold

#endif
