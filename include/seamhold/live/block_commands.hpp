#ifndef SEAMHOLD_LIVE_BLOCK_COMMANDS_HPP
#define SEAMHOLD_LIVE_BLOCK_COMMANDS_HPP

#include "seamhold/head/axis_response.hpp"
#include "seamhold/live/block.hpp"

#include <array>
#include <cmath>
#include <cstddef>

/// Blocks for axes that answer late and each in its own way.
namespace seamhold {

/// One block of the axes of three, each taken about a moment of its own: what each axis must have done by
/// then, where its command goes out ahead. All three have one length; `middle` is when it goes out. The
/// status is that of the first that is not `ok`.
template <int N>
Block<N> joined(Block<N> const& x_mirror, Block<N> const& y_mirror, Block<N> const& focus,
                ScannerTime middle) {
    Block<N> r = x_mirror;
    r.middle = middle;
    r.reach = detail::greater(x_mirror.reach, detail::greater(y_mirror.reach, focus.reach));
    std::array<Block<N> const*, 3> const from{&x_mirror, &y_mirror, &focus};
    for (std::size_t i = 0; i < 3; ++i) {
        auto const& b = *from[i];
        if (r.status == BlockStatus::ok)
            r.status = b.status;
        for (std::size_t k = 0; k <= N; ++k)
            r.coefficient[k][i] = b.coefficient[k][i];
        r.bound[i] = b.bound[i];
        r.remainder[i] = b.remainder[i];
        r.rounding[0][i] = b.rounding[0][i];
        r.rounding[1][i] = b.rounding[1][i];
    }
    return r;
}

/// A block of how three axes shall answer made into one of what they must be told, see `AxisResponse`: each
/// axis of y is taken about a moment that lies its delay ahead, see `joined`. The polynomial keeps its order,
/// so that what y left out counts by its own derivatives, first·(N + 1)/h and second·(N + 1)·N/h² as much.
/// Not held against a tolerance.
template <int N>
Block<N> compensated(Block<N> const& y, AxisResponse const& x_mirror, AxisResponse const& y_mirror,
                     AxisResponse const& focus) {
    Block<N> u = y;
    double power = 1 + 1e-12;
    for (int k = 0; k < N - 1; ++k)
        power *= y.reach;
    std::array<AxisResponse const*, 3> const axis{&x_mirror, &y_mirror, &focus};
    for (std::size_t i = 0; i < 3; ++i) {
        Taylor<double, N + 2> answer; // the two highest orders are what is left out
        for (std::size_t k = 0; k <= N; ++k)
            answer.coefficient[k] = y.coefficient[k][i];
        auto const told = axis[i]->commanded(answer);
        for (std::size_t k = 0; k <= N; ++k)
            u.coefficient[k][i] = told.coefficient[k];
        u.bound[i] +=
            std::abs(axis[i]->first) * (y.remainder[i] * (N + 1) * power * y.reach + y.rounding[0][i]) +
            std::abs(axis[i]->second) * (y.remainder[i] * (N + 1) * N * power + y.rounding[1][i]);
    }
    return u;
}

/// What three axes must be told around the moment `middle`, so that each answers its own delay later as the
/// chain has it: one block for each delay that differs. `too_wide` where the bound passes the tolerance then.
template <int N, class AnyChain, class AnyOrSeam>
Block<N> commands_of(AnyChain const& chain, AnyOrSeam const& seam, BlockBounds<N> const& bounds,
                     BlockMoment const& middle, double half, AxisResponse const& x_mirror,
                     AxisResponse const& y_mirror, AxisResponse const& focus) {
    auto const ahead = [&](double delay) { return block_of(chain, seam, bounds, middle + delay, half); };
    auto const x = ahead(x_mirror.delay);
    auto const y = y_mirror.delay == x_mirror.delay ? x : ahead(y_mirror.delay);
    auto const f = focus.delay == x_mirror.delay ? x : ahead(focus.delay);
    auto r = compensated(joined(x, y, f, middle.scanner), x_mirror, y_mirror, focus);
    if (r.status == BlockStatus::ok && !detail::good_enough(r, bounds.options()))
        r.status = BlockStatus::too_wide;
    return r;
}

} // namespace seamhold

#endif
