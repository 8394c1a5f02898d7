#ifndef SEAMHOLD_EXAMPLES_SEAMS_PICTURE_HPP
#define SEAMHOLD_EXAMPLES_SEAMS_PICTURE_HPP

#include <cctype>
#include <string>

// The picture of a job's seams by themselves, and what they are called there.
namespace seamhold::examples {

/// What a seam is called in pictures: its name; of a pattern's or a text's copies the first has the name that
/// they share and the others have none.
inline std::string name_in_pictures(std::string const& name) {
    auto const dot = name.rfind('.');
    if (dot == std::string::npos || dot + 1 == name.size())
        return name;
    std::string const number = name.substr(dot + 1);
    for (char const c : number)
        if (std::isdigit(static_cast<unsigned char>(c)) == 0)
            return name;
    return number == "1" ? name.substr(0, dot) : "";
}

/// The gnuplot script of seams.png: the spot's lines from above, with their weaves.
inline std::string seams_script() {
    return R"gp(set terminal pngcairo size 2000,760 font "DejaVu Sans,14"
set output "seams.png"
set title "The seams from above, as the spot draws them"
set xlabel "along the part, x (mm)"
set ylabel "across, y (mm)"
set grid linecolor rgb "#dddddd" linetype 1
set size ratio -1
set autoscale xfix
set autoscale yfix
set offsets 25, 25, 20, 20
unset key
plot "spots.dat" using 1:2 with points pointtype 7 pointsize 0.25 linecolor rgb "#0072b2", \
     "spots.dat" using 1:2 with lines linewidth 1.6 linecolor rgb "#0072b2", \
     "names.dat" using 1:2:4 with labels offset 0,0.8 textcolor rgb "#000000"
)gp";
}

} // namespace seamhold::examples

#endif
