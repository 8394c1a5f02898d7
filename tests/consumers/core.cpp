#include <seamhold/seamhold.hpp>

#include <iostream>

// An outside program that uses the core.
int main() {
    // x = t³ at t = 2 s: 8, first derivative 12, second derivative 12.
    auto const t = seamhold::Taylor<double, 2>::variable(2.0);
    auto const x = t * t * t;
    std::cout << x.value() << ' ' << x.derivative(1) << ' ' << x.derivative(2) << '\n';
    return x.value() == 8.0 && x.derivative(1) == 12.0 && x.derivative(2) == 12.0 ? 0 : 1;
}
