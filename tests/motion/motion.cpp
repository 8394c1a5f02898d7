#include "seamhold/motion/motion.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/taylor.hpp"

#include <vector>

using namespace seamhold;

namespace {

// The least that a motion is, as a user would write it.
struct Sliding {
    template <class T> Pose<Cell, Part, T> at(T const& t) const {
        auto pose = Pose<Cell, Part, T>::identity();
        pose.origin.x = t;
        return pose;
    }
};
// With both extras.
struct Guarded : Sliding {
    bool covers(double t) const { return t > 0; }
    std::vector<double> breaks() const { return {0, 5}; }
};
struct NoMotion {
    double at(double t) const { return t; }
};

} // namespace

TEST_CASE("what is a motion and what is not") {
    static_assert(Motion<Sliding, Cell, Part>);
    static_assert(Motion<Guarded, Cell, Part>);
    static_assert(!Motion<Sliding, Part, Cell>);
    static_assert(!Motion<Sliding, Cell, Head>);
    static_assert(!Motion<NoMotion, Cell, Part>);
    static_assert(!Motion<double, Cell, Part>);
}

TEST_CASE("data and breaks, said or not said") {
    CHECK(has_data(Sliding{}, -1));
    CHECK(breaks_of(Sliding{}).empty());
    CHECK_FALSE(has_data(Guarded{}, -1));
    CHECK(has_data(Guarded{}, 1));
    CHECK(breaks_of(Guarded{}) == std::vector<double>{0, 5});
}

TEST_CASE("with_pose hands over the pose at the time's own number") {
    double const x = with_pose(Sliding{}, 3.0, [](auto const& pose) { return value_of(pose).origin.x; });
    CHECK(x == 3);
    double const rate = with_pose(Sliding{}, Taylor<double, 1>::variable(3.0),
                                  [](auto const& pose) { return pose.origin.x.derivative(1); });
    CHECK(rate == 1);
}

TEST_CASE("increasing lists are merged without doubles") {
    CHECK(detail::merged({1, 3, 5}, {2, 3, 6}) == std::vector<double>{1, 2, 3, 5, 6});
    CHECK(detail::merged({}, {2}) == std::vector<double>{2});
    CHECK(detail::merged({}, {}).empty());
}
