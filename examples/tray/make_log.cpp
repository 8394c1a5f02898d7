// Writes the two streams that a user of the tray cell would have: what the joints measured, and what the
// robot was told. The arm is the simulated one of robot.hpp; every number is invented. Nothing here is taken
// from seamhold.
//
//   make_log OUTDIR    writes OUTDIR/joints.csv and OUTDIR/commanded.csv
#include "robot.hpp"

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <random>
#include <stdexcept>
#include <string>

namespace {

constexpr double period = 0.004;                        // s, nominal, both streams
constexpr double first_sample = 0.001;                  // s, joints.csv
constexpr double jitter = 0.0005;                       // s, joints.csv: each sample up to this early or late
constexpr double encoder_step = 2 * tray::pi / 2097152; // rad at the joint: 21 bits a turn
constexpr std::uint64_t seed = 20240607;                // fixed, so that every run writes the same log

/// A text file that is complete or an error: what could not be written is said, not lost.
class TextFile {
public:
    explicit TextFile(std::string path) : path_(std::move(path)), file_(std::fopen(path_.c_str(), "w")) {
        if (file_ == nullptr)
            throw std::runtime_error("cannot write " + path_);
    }
    TextFile(TextFile const&) = delete;
    TextFile& operator=(TextFile const&) = delete;
    ~TextFile() {
        if (file_ != nullptr)
            std::fclose(file_);
    }
    std::FILE* get() { return file_; }
    void close() {
        bool const bad = std::ferror(file_) != 0;
        bool const unclosed = std::fclose(file_) != 0;
        file_ = nullptr;
        if (bad || unclosed) {
            std::remove(path_.c_str());
            throw std::runtime_error("could not finish writing " + path_ + " (disk full?)");
        }
    }

private:
    std::string path_;
    std::FILE* file_;
};

/// joints.csv: measured joint angles. Encoders see the lag but not the flex, in steps. The stamp is the time
/// of sampling, a whole number of microseconds, uneven but always increasing.
int write_joints(std::string const& path) {
    TextFile csv(path);
    std::fprintf(csv.get(), "time_s,j1_rad,j2_rad,j3_rad,j4_rad,j5_rad,j6_rad\n");
    std::mt19937_64 random(seed);
    int rows = 0;
    for (; rows * period < tray::sweep_duration; ++rows) {
        double const even = static_cast<double>(random() >> 11U) * 0x1p-53; // 0 to 1
        double const late = jitter * (2 * even - 1);
        double const stamp = 1e-6 * std::round(1e6 * (first_sample + rows * period + late));
        tray::Joints const q = tray::joints_at(stamp, tray::Arm::with_lag);
        std::fprintf(csv.get(), "%.6f", stamp);
        for (double const angle : q)
            std::fprintf(csv.get(), ",%.9f", encoder_step * std::round(angle / encoder_step));
        std::fprintf(csv.get(), "\n");
    }
    csv.close();
    return rows;
}

/// The unit quaternion of a rotation with w >= 0, from its largest component (Shepperd's branches).
std::array<double, 4> quaternion_wxyz(tray::Matrix const& m) {
    double const trace = m[0][0] + m[1][1] + m[2][2];
    std::array<double, 4> const squares{1 + trace, 1 - trace + 2 * m[0][0], 1 - trace + 2 * m[1][1],
                                        1 - trace + 2 * m[2][2]};
    std::size_t largest = 0;
    for (std::size_t i = 1; i < 4; ++i) {
        if (squares[i] > squares[largest])
            largest = i;
    }
    double const wx = m[2][1] - m[1][2];
    double const wy = m[0][2] - m[2][0];
    double const wz = m[1][0] - m[0][1];
    double const xy = m[1][0] + m[0][1];
    double const xz = m[0][2] + m[2][0];
    double const yz = m[2][1] + m[1][2];
    std::array<std::array<double, 4>, 4> const rows{{{squares[0], wx, wy, wz},
                                                     {wx, squares[1], xy, xz},
                                                     {wy, xy, squares[2], yz},
                                                     {wz, xz, yz, squares[3]}}};
    std::array<double, 4> q = rows[largest];
    double const scale = (q[0] < 0 ? -0.5 : 0.5) / std::sqrt(squares[largest]);
    for (double& component : q)
        component *= scale;
    return q;
}

/// commanded.csv: the set-points of the flange in the cell, before any lag, at even stamps of the robot's
/// clock.
int write_commanded(std::string const& path) {
    TextFile csv(path);
    std::fprintf(csv.get(), "time_s,x_m,y_m,z_m,qw,qx,qy,qz\n");
    int rows = 0;
    for (; rows * period < tray::sweep_duration; ++rows) {
        double const stamp = rows * period;
        tray::Matrix const pose = tray::cell_from_flange(tray::joints_at(stamp, tray::Arm::commanded));
        std::array<double, 4> const q = quaternion_wxyz(pose);
        std::fprintf(csv.get(), "%.6f,%.8f,%.8f,%.8f,%.10f,%.10f,%.10f,%.10f\n", stamp, pose[0][3],
                     pose[1][3], pose[2][3], q[0], q[1], q[2], q[3]);
    }
    csv.close();
    return rows;
}

} // namespace

int main(int argc, char** argv) {
    if (argc != 2) {
        std::fprintf(stderr, "usage: make_log OUTDIR\n");
        return EXIT_FAILURE;
    }
    try {
        std::filesystem::path const folder(argv[1]);
        std::filesystem::create_directories(folder);
        int const joint_rows = write_joints((folder / "joints.csv").string());
        int const pose_rows = write_commanded((folder / "commanded.csv").string());
        std::printf("%s: joints.csv %d rows (measured), commanded.csv %d rows (commanded), simulated arm\n",
                    argv[1], joint_rows, pose_rows);
    } catch (std::exception const& error) {
        std::fprintf(stderr, "make_log: %s\n", error.what());
        return EXIT_FAILURE;
    }
    return EXIT_SUCCESS;
}
