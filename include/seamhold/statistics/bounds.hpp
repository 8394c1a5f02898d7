#ifndef SEAMHOLD_STATISTICS_BOUNDS_HPP
#define SEAMHOLD_STATISTICS_BOUNDS_HPP

namespace seamhold {

/// The two ends of a confidence, prediction or tolerance interval, in the units of what is estimated. An end
/// may be infinite where the data do not bound it.
struct Bounds {
    double low;  ///< lower end
    double high; ///< upper end

    /// Whether a value lies between them, the ends counted in.
    bool contains(double value) const { return low <= value && value <= high; }
    /// Half the distance between the ends.
    double half_width() const { return (high - low) / 2; }
};

} // namespace seamhold

#endif
