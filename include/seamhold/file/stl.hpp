#ifndef SEAMHOLD_FILE_STL_HPP
#define SEAMHOLD_FILE_STL_HPP

#include "seamhold/file/csv.hpp"
#include "seamhold/file/digits.hpp"
#include "seamhold/file/read.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/surface/mesh.hpp"

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

/// Triangles from files of STL, the open format of many tools, as text and as binary. Source: the layouts as
/// M. Burns, "Automated Fabrication", Prentice-Hall 1993, section 6.5, gives them (from memory).
namespace seamhold {

namespace detail {

/// One triangle as a file has it: its normal (any length; zeros: not said) and its corners, unscaled.
using StlNumbers = std::array<std::array<double, 3>, 4>;

/// The triangle in metres. `fail(what)` throws.
template <class Fail> Facet stl_facet(StlNumbers const& n, double metres_per_unit, Fail const& fail) {
    for (auto const& triple : n)
        for (double const x : triple)
            if (!is_finite(x))
                fail("a number that is not finite");
    auto const corner = [&](std::size_t i) {
        return Point<Part>{metres_per_unit * n[i][0], metres_per_unit * n[i][1], metres_per_unit * n[i][2]};
    };
    Facet const facet{{corner(1), corner(2), corner(3)}};
    auto const wound = cross(facet.corner[1] - facet.corner[0], facet.corner[2] - facet.corner[0]);
    Direction<Part> const said{n[0][0], n[0][1], n[0][2]};
    // Against each other by more than 120°: not a matter of rounding in a narrow triangle.
    if (dot(wound, said) < -0.5 * norm(wound) * norm(said))
        fail("the normal points against the way its corners run: counter-clockwise seen from outside");
    return facet;
}

/// Words of a text with their rows.
class StlWords {
public:
    StlWords(std::string path, std::string_view text) : path_(std::move(path)), text_(text) {}

    /// The next word; empty at the end of the file.
    std::string_view next() {
        while (at_ < text_.size() && is_space(text_[at_]))
            row_ += text_[at_++] == '\n' ? 1U : 0U;
        auto const start = at_;
        while (at_ < text_.size() && !is_space(text_[at_]))
            ++at_;
        return text_.substr(start, at_ - start);
    }

    /// Passes over the rest of the row, such as a name.
    void skip_row() {
        while (at_ < text_.size() && text_[at_] != '\n')
            ++at_;
    }

    /// Throws unless the next word is this one.
    void expect(std::string_view wanted) {
        auto const word = next();
        if (!is(word, wanted))
            fail_at(word, std::string(wanted));
    }

    std::array<double, 3> triple() {
        std::array<double, 3> three{};
        for (double& x : three) {
            auto const word = next();
            auto const read = double_from_digits(word);
            if (read.fault != DigitsFault::none)
                fail_at(word, "a finite number");
            x = read.value;
        }
        return three;
    }

    /// Whether a word is this one, in small or capital letters.
    static bool is(std::string_view word, std::string_view small) {
        if (word.size() != small.size())
            return false;
        for (std::size_t i = 0; i < word.size(); ++i)
            if (word[i] != small[i] && word[i] != small[i] - 'a' + 'A')
                return false;
        return true;
    }

    [[noreturn]] void fail(std::string const& what) const {
        throw BadInput(path_ + ":" + std::to_string(row_) + ": " + what);
    }
    [[noreturn]] void fail_at(std::string_view word, std::string const& wanted) const {
        fail(word.empty() ? "the file ends where " + wanted + " belongs"
                          : shown(word) + " where " + wanted + " belongs");
    }

private:
    static bool is_space(char c) { return c == ' ' || (c >= '\t' && c <= '\r'); }

    std::string path_;
    std::string_view text_;
    std::size_t at_ = 0;
    std::size_t row_ = 1;
};

inline std::vector<Facet> stl_from_text(std::string const& path, std::string_view text,
                                        double metres_per_unit) {
    StlWords words(path, text);
    std::vector<Facet> facets;
    words.expect("solid");
    words.skip_row();
    for (;;) {
        auto const word = words.next();
        if (word.empty() && facets.empty())
            words.fail("the file holds no triangle");
        if (StlWords::is(word, "endsolid")) {
            words.skip_row();
            auto const after = words.next();
            if (after.empty())
                break;
            if (!StlWords::is(after, "solid"))
                words.fail_at(after, "solid or the file's end");
            words.skip_row();
            continue;
        }
        if (!StlWords::is(word, "facet"))
            words.fail_at(word, "facet or endsolid");
        StlNumbers n{};
        words.expect("normal");
        n[0] = words.triple();
        words.expect("outer");
        words.expect("loop");
        for (std::size_t i = 1; i < 4; ++i) {
            words.expect("vertex");
            n[i] = words.triple();
        }
        words.expect("endloop");
        words.expect("endfacet");
        facets.push_back(stl_facet(n, metres_per_unit, [&](std::string const& what) { words.fail(what); }));
    }
    if (facets.empty())
        words.fail("the file holds no triangle");
    return facets;
}

inline std::uint32_t little_endian(char const* bytes) {
    std::uint32_t value = 0;
    for (unsigned i = 4; i-- > 0;)
        value = value << 8U | static_cast<unsigned char>(bytes[i]);
    return value;
}

constexpr std::size_t stl_head = 84, stl_record = 50; // bytes of a binary file

inline std::vector<Facet> stl_from_binary(std::string const& path, std::string_view bytes,
                                          double metres_per_unit) {
    std::vector<Facet> facets;
    facets.reserve((bytes.size() - stl_head) / stl_record);
    auto const fail = [&](std::string const& what) {
        throw BadInput(path + ": triangle " + std::to_string(facets.size() + 1) + ": " + what);
    };
    for (std::size_t at = stl_head; at < bytes.size(); at += stl_record) {
        StlNumbers n{};
        for (std::size_t i = 0; i < 12; ++i)
            n[i / 3][i % 3] = static_cast<double>(std::bit_cast<float>(little_endian(&bytes[at + 4 * i])));
        facets.push_back(stl_facet(n, metres_per_unit, fail));
    }
    return facets;
}

} // namespace detail

/// The triangles of an STL file, text or binary, in the part's frame. The format says no unit: how many
/// metres one unit of the file is must be said, 0.001 for a file in millimetres. Normals are taken from the
/// order of the corners; those the file gives are only checked against it. Throws BadInput, naming the file
/// and the row or the triangle (counted from 1), where the file cannot be read, is neither, is cut short, has
/// no triangle, or a triangle's normal and corners contradict each other.
inline std::vector<Facet> read_stl(std::filesystem::path const& path, double metres_per_unit) {
    if (!(metres_per_unit > 0) || !is_finite(metres_per_unit))
        throw BadInput(path.string() +
                       ": the metres a unit of the file stands for must be above 0; given was " +
                       detail::text_of(metres_per_unit));
    std::string const bytes = read_text(path);
    auto const name = path.string();
    std::string_view const view = bytes;
    if (view.empty())
        throw BadInput(name + ": the file is empty");
    // A binary file may begin like a text: its size tells.
    std::size_t const count = view.size() < detail::stl_head ? 0 : detail::little_endian(&view[80]);
    if (count > 0 && view.size() == detail::stl_head + count * detail::stl_record)
        return detail::stl_from_binary(name, view, metres_per_unit);
    auto const begin = view.find_first_not_of(" \t\r\n");
    bool const as_text = begin != std::string_view::npos &&
                         detail::StlWords::is(view.substr(begin, 5), "solid") &&
                         view.find('\0') == std::string_view::npos;
    if (as_text)
        return detail::stl_from_text(name, view, metres_per_unit);
    if (view.size() < detail::stl_head)
        throw BadInput(name + ": " + detail::counted(view.size(), "byte is", "bytes are") +
                       " too few for an STL file, and it does not begin with solid");
    throw BadInput(name + ": neither text that begins with solid nor binary STL: for the " +
                   detail::counted(count, "triangle", "triangles") + " it claims it should have " +
                   std::to_string(detail::stl_head + count * detail::stl_record) + " bytes and has " +
                   std::to_string(view.size()));
}

/// A mesh from an STL file; see `read_stl` and `Mesh`. Throws BadInput, naming the file, where either does.
inline Mesh mesh_from_stl(std::filesystem::path const& path, double metres_per_unit,
                          MeshOptions const& options = {}) {
    auto const facets = read_stl(path, metres_per_unit);
    return detail::made_from(path.string(), [&] { return Mesh(facets, options); });
}

} // namespace seamhold

#endif
