// Vectors and 4x4 matrices of the simulated cell. Plain C++ and the standard library only: nothing here is
// taken from seamhold, so that the cell can contradict it.
#ifndef TRAY_SPACE_HPP
#define TRAY_SPACE_HPP

#include <cmath>
#include <cstddef>
#include <numbers>

namespace tray {

inline constexpr double pi = std::numbers::pi;

/// Radians from degrees.
constexpr double radians(double degrees) { return degrees * (pi / 180.0); }

/// A point or a direction, metres or unit length.
struct Vector {
    double x = 0, y = 0, z = 0;
};

constexpr Vector operator+(Vector a, Vector b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
constexpr Vector operator-(Vector a, Vector b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
constexpr Vector operator*(double k, Vector a) { return {k * a.x, k * a.y, k * a.z}; }
constexpr double dot(Vector a, Vector b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
inline double length(Vector a) { return std::sqrt(dot(a, a)); }

/// A homogeneous 4x4 matrix, row by row: a rotation, a shift and the row 0 0 0 1. `a_from_b` maps b to a.
struct Matrix {
    double rows[4][4];
    constexpr double* operator[](std::size_t row) { return rows[row]; }
    constexpr double const* operator[](std::size_t row) const { return rows[row]; }
};

inline constexpr Matrix identity{{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}}};

/// The matrix product a·b.
inline Matrix operator*(Matrix const& a, Matrix const& b) {
    Matrix product{};
    for (std::size_t row = 0; row < 4; ++row) {
        for (std::size_t column = 0; column < 4; ++column) {
            for (std::size_t k = 0; k < 4; ++k)
                product[row][column] += a[row][k] * b[k][column];
        }
    }
    return product;
}

/// Where a point goes: rotated and shifted.
constexpr Vector move_point(Matrix const& m, Vector v) {
    return {m[0][0] * v.x + m[0][1] * v.y + m[0][2] * v.z + m[0][3],
            m[1][0] * v.x + m[1][1] * v.y + m[1][2] * v.z + m[1][3],
            m[2][0] * v.x + m[2][1] * v.y + m[2][2] * v.z + m[2][3]};
}

/// Where a direction goes: rotated only.
constexpr Vector turn_direction(Matrix const& m, Vector v) {
    return {m[0][0] * v.x + m[0][1] * v.y + m[0][2] * v.z, m[1][0] * v.x + m[1][1] * v.y + m[1][2] * v.z,
            m[2][0] * v.x + m[2][1] * v.y + m[2][2] * v.z};
}

/// The inverse of a rotation and shift: the transposed rotation and the shift turned back.
inline Matrix inverse(Matrix const& m) {
    Matrix back = identity;
    for (std::size_t row = 0; row < 3; ++row) {
        for (std::size_t column = 0; column < 3; ++column) {
            back[row][column] = m[column][row];
            back[row][3] -= m[column][row] * m[column][3];
        }
    }
    return back;
}

inline Matrix shift(Vector v) { return {{{1, 0, 0, v.x}, {0, 1, 0, v.y}, {0, 0, 1, v.z}, {0, 0, 0, 1}}}; }

inline Matrix turn_x(double angle) {
    double const c = std::cos(angle);
    double const s = std::sin(angle);
    return {{{1, 0, 0, 0}, {0, c, -s, 0}, {0, s, c, 0}, {0, 0, 0, 1}}};
}

inline Matrix turn_y(double angle) {
    double const c = std::cos(angle);
    double const s = std::sin(angle);
    return {{{c, 0, s, 0}, {0, 1, 0, 0}, {-s, 0, c, 0}, {0, 0, 0, 1}}};
}

inline Matrix turn_z(double angle) {
    double const c = std::cos(angle);
    double const s = std::sin(angle);
    return {{{c, -s, 0, 0}, {s, c, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}}};
}

/// A placement as the drawings write it: millimetres, then degrees about z, the new y and the new x.
inline Matrix placed(Vector millimetres, double z_degrees, double y_degrees, double x_degrees) {
    return shift(0.001 * millimetres) * turn_z(radians(z_degrees)) * turn_y(radians(y_degrees)) *
           turn_x(radians(x_degrees));
}

} // namespace tray

#endif
