#ifndef SEAMHOLD_EXAMPLES_DATA_ROW_HPP
#define SEAMHOLD_EXAMPLES_DATA_ROW_HPP

#include <cstdio>
#include <initializer_list>
#include <string>

namespace seamhold::examples {

/// A line of numbers for gnuplot.
inline std::string data_row(std::initializer_list<double> numbers) {
    std::string row;
    char text[32];
    for (double const x : numbers) {
        std::snprintf(text, sizeof text, "%.7g ", x);
        row += text;
    }
    return row + '\n';
}

} // namespace seamhold::examples

#endif
