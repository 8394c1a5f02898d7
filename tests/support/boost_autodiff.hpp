#ifndef SEAMHOLD_TESTS_SUPPORT_BOOST_AUTODIFF_HPP
#define SEAMHOLD_TESTS_SUPPORT_BOOST_AUTODIFF_HPP

#include "seamhold/number/number.hpp"

#include <boost/math/differentiation/autodiff.hpp>

#include <cstddef>

/// Boost.Math's forward automatic differentiation as a number that seamhold's kernels accept: an independent
/// second opinion on every derivative.
template <std::size_t Order> using BoostNumber = boost::math::differentiation::autodiff_fvar<double, Order>;

namespace seamhold {

template <std::size_t Order>
struct NumberTraits<boost::math::differentiation::autodiff_v1::detail::fvar<double, Order>> {
    using Number = boost::math::differentiation::autodiff_v1::detail::fvar<double, Order>;
    static constexpr int rank = 1;
    static constexpr int lift_steps = static_cast<int>(Order);
    static double value(Number const& x) { return static_cast<double>(x); }
    static bool finite(Number const& x) {
        bool all = true;
        for (std::size_t k = 0; k <= Order; ++k)
            all = all && is_finite(static_cast<double>(x.derivative(k)));
        return all;
    }
};

} // namespace seamhold

#endif
