#ifndef SEAMHOLD_TESTS_HOUSE_DOCSTRINGS_HPP
#define SEAMHOLD_TESTS_HOUSE_DOCSTRINGS_HPP

#include <cstddef>
#include <string>
#include <vector>

namespace seamhold::test {

/// A public name without a comment.
struct Undocumented {
    std::size_t line; ///< counted from 1
    std::string name;
};

/// The public functions, types, concepts and type aliases of namespace seamhold in the text of a header that
/// have no
/// `///` comment right above them. Public means: not in a namespace named detail and not in a private or
/// protected part of a class. Left out: forward declarations, deduction guides, specialisations of a class
/// template (its general form says what its members are), `= default`, `= delete`, aliases inside a class,
/// and friends that are classes. One comment is enough for functions of the same name, or for operators, that
/// follow each other without an empty line between.
std::vector<Undocumented> undocumented(std::string const& text);

} // namespace seamhold::test

#endif
