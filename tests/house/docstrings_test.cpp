#include <doctest/doctest.h>

#include "docstrings.hpp"
#include "source.hpp"

#include <string>

// Documentation is a contract: every public function says what it returns.

using seamhold::test::project_folder;
using seamhold::test::public_headers;
using seamhold::test::text_of;
using seamhold::test::undocumented;

namespace {

// The names that the checker finds in a header with these lines in namespace seamhold, as "3:name 5:other".
std::string found(std::string const& lines) {
    std::string all;
    for (auto const& missing :
         undocumented("namespace seamhold {\n" + lines + "\n} // namespace seamhold\n")) {
        all += (all.empty() ? "" : " ") + std::to_string(missing.line) + ":" + missing.name;
    }
    return all;
}

} // namespace

TEST_CASE("the checker finds names without a comment") {
    CHECK(found("double bare(double x);") == "2:bare");
    CHECK(found("double bare(double x) { return x; }") == "2:bare");
    CHECK(found("/// Says so.\n\ndouble bare(double x);") == "4:bare"); // not right above
    CHECK(found("// A plain comment.\ndouble bare(double x);") == "3:bare");
    CHECK(found("///\ndouble bare(double x);") == "3:bare"); // says nothing
    CHECK(found("template <class T>\n  requires Number<T>\nT bare(T x) {\n    return T{x};\n}") == "2:bare");
    CHECK(found("template <class T> requires requires(T t) { t.x; }\nT bare(T x);") == "2:bare");
    CHECK(found("[[nodiscard]] constexpr auto bare() noexcept -> int { return 1; }") == "2:bare");
    CHECK(found("struct Bare {\n    double x{};\n};") == "2:Bare");
    CHECK(found("template <class T = int> class Bare : public Base<T> {};") == "2:Bare");
    CHECK(found("enum class Bare { one, two };") == "2:Bare");
    CHECK(found("template <class T> concept Bare = requires(T t) { { t.x } -> Same<double>; };") == "2:Bare");
    CHECK(found("using Bare = double;") == "2:Bare");
    CHECK(found("namespace inner {\nint bare();\n}") == "3:bare");
    CHECK(found("int bare(int x = [] { return 1; }());") == "2:bare");
    CHECK(found("inline bool operator==(Pose a, Pose b) { return a.x == b.x; }") == "2:operator==");
    // A family is named once.
    CHECK(found("int f(int a);\nint f(double a);\nint g(int a);") == "2:f 4:g");
    CHECK(found("bool bare(char const* text = \"{;}\", char c = '{');\n/// Good.\nint good();") == "2:bare");
}

TEST_CASE("the checker looks into the public parts of classes") {
    std::string const text = "/// A pose.\n"                                // 2
                             "class Pose {\n"                               // 3
                             "    int hidden() const;\n"                    // 4
                             "  public:\n"                                  // 5
                             "    explicit Pose(int x) : x_{x}, y_{x} {}\n" // 6
                             "    Pose(Pose const&) = default;\n"
                             "    Pose& operator=(Pose const&) = delete;\n"
                             "    /// Good.\n"
                             "    int good() const { return x_; }\n"
                             "    int bare() const { if (x_) { return 1; } return 2; }\n" // 11
                             "    friend Pose operator*(Pose a, Pose b) { return a; }\n"  // 12
                             "    friend class Other;\n"
                             "    using value_type = int;\n"
                             "    struct Inner {\n"  // 15
                             "        int deep();\n" // 16
                             "    };\n"
                             "    int open = make(3);\n"
                             "  private:\n"
                             "    struct Secret { int hidden(); };\n"
                             "    int x_ = make(4), y_{5};\n"
                             "};\n"
                             "int after();"; // 23
    CHECK(found(text) == "6:Pose 11:bare 12:operator* 15:Inner 16:deep 23:after");
}

TEST_CASE("the checker leaves alone what needs no comment") {
    CHECK(found("/// Good.\ndouble good(double x);").empty());
    CHECK(found("/// Good.\ntemplate <class T>\n  requires Number<T>\nT good(T x);").empty());
    CHECK(found("struct Forward;\ntemplate <class T> class Forward2;").empty());
    CHECK(found("namespace detail {\nstruct X { int f(); };\nint g();\nnamespace deeper { int h(); }\n}")
              .empty());
    CHECK(found("namespace inner::detail {\nint g();\n}").empty());
    CHECK(found("inline constexpr double pi = compute(3);\nstatic_assert(sizeof(int) == 4);").empty());
    CHECK(
        found("/// A pair.\ntemplate <class A> struct Pair { A a; };\ntemplate <class A> Pair(A) -> Pair<A>;")
            .empty());
    CHECK(found("#define MACRO(x) \\\n    int x();\n/* int old(); */ // int older();").empty());
    CHECK(found("template <> struct Traits<int> {\n    int f();\n};\n/// Good.\nint good();").empty());
    // One comment for a family without an empty line between; another name needs its own.
    CHECK(found("/// Sums.\nT operator+(T a, T b) {\n    return a;\n}\nT operator-(T a, T b);").empty());
    CHECK(found("/// Sums.\nint f(int a);\nint f(double a);\n").empty());
    CHECK(found("/// Sums.\nint f(int a);\n\nint f(double a);\n") == "5:f");
    CHECK(found("/// Sums.\nint f(int a);\nint g(int a);\n") == "4:g");
    CHECK(undocumented("int outside();\nnamespace Eigen {\ntemplate <> struct NumTraits<int> {};\n}\n")
              .empty());
}

TEST_CASE("every public name has a comment right above it") {
    for (auto const& header : public_headers()) {
        auto const file = project_folder() / "include" / "seamhold" / header;
        for (auto const& missing : undocumented(text_of(file))) {
            FAIL_CHECK("include/seamhold/" << header.string() << ":" << missing.line << ": " << missing.name
                                           << " has no /// comment right above it");
        }
    }
}
