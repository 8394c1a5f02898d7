#ifndef SEAMHOLD_HEAD_HPP
#define SEAMHOLD_HEAD_HPP

#include "seamhold/head/any_head.hpp"
#include "seamhold/head/aperture.hpp"
#include "seamhold/head/axis_response.hpp"
#include "seamhold/head/chief_ray_slope.hpp"
#include "seamhold/head/command.hpp"
#include "seamhold/head/field_hull.hpp"
#include "seamhold/head/field_map.hpp"
#include "seamhold/head/field_marks.hpp"
#include "seamhold/head/field_outline.hpp"
#include "seamhold/head/flat_field_lens.hpp"
#include "seamhold/head/focus.hpp"
#include "seamhold/head/focus_surface.hpp"
#include "seamhold/head/head_parts.hpp"
#include "seamhold/head/lanes.hpp"
#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/head/open_beam.hpp"
#include "seamhold/head/polygon.hpp"
#include "seamhold/head/real_head.hpp"
#include "seamhold/head/scan_head.hpp"
#include "seamhold/head/start_fit.hpp"
#include "seamhold/head/thermal_shift.hpp"
#include "seamhold/head/traced_mirrors.hpp"
#include "seamhold/head/working_volume.hpp"

#endif
