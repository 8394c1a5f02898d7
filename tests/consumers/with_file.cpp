#include <seamhold/file.hpp>
#include <seamhold/seamhold.hpp>

#include <iostream>

// An outside program that uses the component file too.
int main() {
    std::cout << seamhold::Taylor<double, 1>::variable(2.0).derivative(1) << '\n';
    return 0;
}
