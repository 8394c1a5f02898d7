#ifndef SEAMHOLD_TESTS_SUPPORT_FRAMES_HPP
#define SEAMHOLD_TESTS_SUPPORT_FRAMES_HPP

#include "seamhold/seam/path.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

namespace seamhold::test {

/// What every path must hold: unit speed and an orthonormal frame, all to 1e-12, at `count` + 1 places.
template <class Path> void check_frames(Path const& path, int count = 500) {
    double speed = 0, square = 0, normal = 0;
    for (int i = 0; i <= count; ++i) {
        auto const f = frame_at(path, path.length() * i / count);
        speed = std::max(speed, std::abs(norm(f.tangent) - 1));
        square = std::max({square, std::abs(dot(f.tangent, f.normal)), std::abs(dot(f.across, f.normal))});
        normal = std::max({normal, std::abs(norm(f.normal) - 1), std::abs(norm(f.across) - 1)});
    }
    CHECK(speed <= 1e-12);
    CHECK(square <= 1e-12);
    CHECK(normal <= 2e-12); // across has the errors of both
}

} // namespace seamhold::test

#endif
