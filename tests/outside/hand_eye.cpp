// A X = X B against numbers that others published.

#include "seamhold/calibrate/pose_pairs.hpp"

#include <doctest/doctest.h>

#include <Eigen/Geometry>

#include <array>
#include <cmath>
#include <vector>

using namespace seamhold;

namespace {

struct Published {
    double m[3][3];
    double t[3];
};

template <class To, class From> Pose<To, From> pose_of(Published const& p) {
    Pose<To, From> pose{{}, {p.t[0], p.t[1], p.t[2]}};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            pose.rotation.m[i][k] = p.m[i][k];
    return pose;
}

struct Pair {
    Published target_in_camera, hand_in_base;
};

} // namespace

// Four exact pairs and the mount that belongs to them: OpenCV 4.10, modules/calib3d/test/
// test_calibration_hand_eye.cpp, regression_24871 (Apache 2.0), from Debian's source package. The numbers are
// printed to 16 digits but the poses agree to 1e-10 only (the largest entry of A X − X B is 9.4e-11, taken
// apart from this library), so that is what can be reached.
TEST_CASE("four published pairs give the published mount") {
    std::vector<Pair> const given{{{{{0.04964505493834381, 0.5136826827431226, 0.8565427426404346},
                                     {-0.3923117691818854, 0.7987004864191318, -0.4562554205214679},
                                     {-0.9184916136152514, -0.3133809733274676, 0.2411752915926112}},
                                    {-1.588728904724121, 0.07843752950429916, -1.002813339233398}},
                                   {{{-0.4143743581399177, -0.6105088815982459, -0.6749613298595637},
                                     {-0.1598851232573451, -0.6812625208693498, 0.71436554019614},
                                     {-0.895952364066927, 0.4039310376145889, 0.1846864320259794}},
                                    {-1.249274406461827, -1.916570771580279, 2.005069553422765}}},
                                  {{{{-0.3048000068139332, 0.6971848192711539, 0.6488684640388026},
                                     {-0.9377589344241749, -0.3387497187353627, -0.07652979135179161},
                                     {0.1664486009369332, -0.6318084803439735, 0.7570422097951847}},
                                    {-1.906493663787842, -0.07281044125556946, 0.6088893413543701}},
                                   {{{0.7262439860936567, -0.201662933718935, -0.6571923111439066},
                                     {-0.4640017362244384, -0.8491808316335328, -0.2521791108852766},
                                     {-0.5072199339965884, 0.4880819361030014, -0.7102844234575628}},
                                    {-0.7375172846804027, -2.579760910816792, 1.336561572270101}}},
                                  {{{{-0.590234879685801, -0.7051138289845309, -0.3929850823848928},
                                     {0.6017371069678565, -0.7088332765096816, 0.3680595606834615},
                                     {-0.5380847896941907, -0.01923211603859842, 0.8426712792141644}},
                                    {-0.9809040427207947, -0.2707894444465637, -0.2577074766159058}},
                                   {{{0.2541996332132083, 0.6186461729765909, 0.7434106934499181},
                                     {0.2194912986375709, 0.711701808961156, -0.6673111005698995},
                                     {-0.9419161938817396, 0.3328024155303503, 0.04512688689130734}},
                                    {-1.040123533893404, -0.1303773962721222, 1.068029475621886}}},
                                  {{{{0.7643667483125168, -0.08523002870239212, 0.63912386614923},
                                     {-0.2583463792779588, 0.8676987164647345, 0.424683512464778},
                                     {-0.5907627462764713, -0.489729292214425, 0.6412211770980741}},
                                    {-1.58987033367157, -1.924914002418518, -0.3109001517295837}},
                                   {{{0.116348305340805, -0.9917998080681939, 0.0528792261688552},
                                     {-0.2760629007224059, 0.01884966191381591, 0.9609547154213178},
                                     {-0.9540714578526358, -0.1264034452126562, -0.2716060057313114}},
                                    {-2.551899142554571, -2.986937398237611, 1.317613923218308}}}};
    double const expected[3][3] = {{0, 0, -1}, {1, 0, 0}, {0, -1, 0}};

    std::vector<PosePair> pairs;
    for (Pair const& pair : given)
        pairs.push_back(
            {pose_of<Cell, Flange>(pair.hand_in_base), pose_of<Head, Target>(pair.target_in_camera)});
    auto const check = [&](Pose<Flange, Head> const& mount, double within) {
        for (int i = 0; i < 3; ++i)
            for (int k = 0; k < 3; ++k)
                CHECK(std::abs(mount.rotation.m[i][k] - expected[i][k]) < within);
        CHECK(std::abs(mount.origin.x - 0.1) < within);
        CHECK(std::abs(mount.origin.y - 0.2) < within);
        CHECK(std::abs(mount.origin.z - 0.3) < within);
    };
    check(detail::closed_form(pairs).flange_from_head, 1e-9); // the hold of 1e-12 where nothing turns
    auto const fit = calibrate_mount(pairs);
    check(fit.flange_from_head, 2e-10);
    CHECK(fit.outliers.empty());
    CHECK(fit.turn_deviation < 1e-9);
    CHECK(fit.shift_deviation < 1e-9);
    // Where the target then stands, by a chain of Eigen's isometries with the published mount.
    Eigen::Isometry3d x = Eigen::Isometry3d::Identity(), a = x, b = x;
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k) {
            x.linear()(i, k) = expected[i][k];
            a.linear()(i, k) = given[0].hand_in_base.m[i][k];
            b.linear()(i, k) = given[0].target_in_camera.m[i][k];
        }
    x.translation() = Eigen::Vector3d(0.1, 0.2, 0.3);
    for (int i = 0; i < 3; ++i) {
        a.translation()(i) = given[0].hand_in_base.t[i];
        b.translation()(i) = given[0].target_in_camera.t[i];
    }
    Eigen::Vector3d const target = (a * x * b).translation();
    CHECK(std::abs(fit.cell_from_target.origin.x - target.x()) < 1e-9);
    CHECK(std::abs(fit.cell_from_target.origin.y - target.y()) < 1e-9);
    CHECK(std::abs(fit.cell_from_target.origin.z - target.z()) < 1e-9);
}
