#include "docstrings.hpp"

#include "source.hpp"

#include <algorithm>
#include <cctype>
#include <regex>

// A reader of C++ declarations, as far as this project writes them. It walks through the text with a stack of
// scopes, collects each statement up to its `;` or `{`, and looks at the line above the statement's first
// line.

namespace seamhold::test {
namespace {

bool is_space(char c) { return std::isspace(static_cast<unsigned char>(c)) != 0; }
bool is_word(char c) { return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '_'; }

std::string trimmed(std::string const& text) {
    auto const begin = std::find_if_not(text.begin(), text.end(), is_space);
    auto const end = std::find_if_not(text.rbegin(), text.rend(), is_space).base();
    return begin < end ? std::string(begin, end) : std::string();
}

// The text with comments, preprocessor lines and the insides of literals blanked out; lines stay where they
// are.
std::string code_only(std::string const& text) {
    std::string code = text;
    std::size_t i = 0;
    auto const blank_until = [&](std::size_t end) {
        for (; i < end && i < code.size(); ++i) {
            if (code[i] != '\n') {
                code[i] = ' ';
            }
        }
    };
    bool only_space_before = true; // on this line
    while (i < code.size()) {
        if (text.compare(i, 2, "//") == 0) {
            blank_until(std::min(text.find('\n', i), text.size()));
        } else if (text.compare(i, 2, "/*") == 0) {
            auto const end = text.find("*/", i + 2);
            blank_until(end == std::string::npos ? text.size() : end + 2);
        } else if (text[i] == '#' && only_space_before) {
            auto end = text.find('\n', i);
            while (end != std::string::npos && text[end - 1] == '\\') {
                end = text.find('\n', end + 1);
            }
            blank_until(std::min(end, text.size()));
        } else if (text[i] == '"' || (text[i] == '\'' && (i == 0 || !is_word(text[i - 1])))) {
            auto end = i + 1;
            while (end < text.size() && text[end] != text[i]) {
                end += text[end] == '\\' ? 2 : 1;
            }
            blank_until(end + 1);
            only_space_before = false;
        } else {
            only_space_before = text[i] == '\n' || (only_space_before && is_space(text[i]));
            ++i;
        }
    }
    return code;
}

// The place after the bracket that closes the one at `open`.
std::size_t after_group(std::string const& text, std::size_t open, char opening, char closing) {
    int depth = 0;
    for (std::size_t i = open; i < text.size(); ++i) {
        if (text[i] == opening) {
            ++depth;
        } else if (text[i] == closing && !(closing == '>' && i > 0 && text[i - 1] == '-') && --depth == 0) {
            return i + 1;
        }
    }
    return text.size();
}

bool starts_with_word(std::string const& text, std::string const& word) {
    return text.compare(0, word.size(), word) == 0 &&
           (text.size() == word.size() || !is_word(text[word.size()]));
}

// A statement without what stands before the declaration proper: template <…>, attributes.
std::string without_heads(std::string text) {
    for (;;) {
        text = trimmed(text);
        if (starts_with_word(text, "template") && text.find('<') != std::string::npos) {
            text = text.substr(after_group(text, text.find('<'), '<', '>'));
        } else if (text.compare(0, 2, "[[") == 0) {
            text = text.substr(after_group(text, 0, '[', ']'));
        } else if (starts_with_word(text, "friend")) {
            text = text.substr(6);
        } else {
            return text;
        }
    }
}

enum class Kind { none, function, type, special, concept_or_alias, space, hidden_space, initialiser };

struct Declaration {
    Kind kind = Kind::none;
    std::string name;
};

// The function that a statement declares: the word before its first bracket that is not one of the language's
// own. Empty for anything else, such as a constant whose value is a call.
std::string function_name(std::string const& text) {
    static std::regex const an_operator(R"(\boperator\s*(\(\s*\)|[^\s(]+|\w[\w:<>\s]*\S)\s*\()");
    std::smatch match;
    if (std::regex_search(text, match, an_operator)) {
        return "operator" + match[1].str();
    }
    std::size_t angles = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (text[i] == '<') {
            ++angles;
        } else if (text[i] == '>' && angles > 0) {
            --angles;
        } else if (text[i] == '=' && angles == 0) {
            return "";
        } else if (text[i] == '(' && angles == 0) {
            auto end = i;
            while (end > 0 && is_space(text[end - 1])) {
                --end;
            }
            auto begin = end;
            while (begin > 0 && (is_word(text[begin - 1]) || text[begin - 1] == '~')) {
                --begin;
            }
            std::string const word = text.substr(begin, end - begin);
            if (word == "requires" || word == "explicit" || word == "decltype" || word == "alignas" ||
                word == "noexcept" || word.empty()) {
                i = after_group(text, i, '(', ')') - 1;
            } else {
                return word;
            }
        }
    }
    return "";
}

Declaration read_declaration(std::string const& statement) {
    bool const is_friend = std::regex_search(statement, std::regex(R"(^\s*(template\b.*)?\bfriend\b)"));
    std::string const text = without_heads(statement);
    std::smatch match;
    static std::regex const name_space(R"(^(?:inline\s+)?namespace\s*([\w:]*)[\s\S]*)");
    if (std::regex_match(text, match, name_space)) {
        std::string const name = match[1];
        bool const hidden =
            name.empty() || name == "detail" || (name.size() > 8 && name.ends_with("::detail"));
        return {hidden ? Kind::hidden_space : Kind::space, name};
    }
    if (std::regex_match(text, match, std::regex(R"(^(?:concept|using)\s+(\w+)\s*=[\s\S]*)"))) {
        return {Kind::concept_or_alias, match[1]};
    }
    for (char const* const word : {"using", "static_assert", "typedef", "extern"}) {
        if (starts_with_word(text, word)) {
            return {};
        }
    }
    static std::regex const type(
        R"(^(?:requires\b[\s\S]*?\s)?(?:class|struct|union|enum\s+class|enum\s+struct|enum)\s+)"
        R"((?:\[\[[^\]]*\]\]\s*)?(?:alignas\s*\([^)]*\)\s*)?([\w:]+)\s*(<)?[\s\S]*)");
    if (std::regex_match(text, match, type)) {
        Kind const kind = match[2].matched ? Kind::special : Kind::type;
        return {is_friend ? Kind::none : kind, match[1]};
    }
    std::string const name = function_name(text);
    return {name.empty() ? Kind::initialiser : Kind::function, name};
}

struct Scope {
    enum class What { space, type, body, part_of_statement } what;
    bool is_public;     // what stands here is
    bool in_project;    // inside namespace seamhold
    std::string parent; // for part_of_statement: the statement so far
    std::size_t parent_line = 0;
};

class Reader {
public:
    explicit Reader(std::string const& text) : lines_(lines_of(text)), code_(code_only(text)) {}

    std::vector<Undocumented> read() {
        scopes_.push_back({Scope::What::space, true, false, {}});
        std::size_t line = 1;
        int round = 0;
        for (std::size_t i = 0; i < code_.size(); ++i) {
            char const c = code_[i];
            line += c == '\n' ? 1 : 0;
            bool const in_body = scopes_.back().what == Scope::What::body ||
                                 scopes_.back().what == Scope::What::part_of_statement;
            if (c == '{' && (in_body || round > 0)) {
                scopes_.push_back({Scope::What::body, false, scopes_.back().in_project, {}});
                inner_rounds_.push_back(round);
                round = 0;
            } else if (c == '{') {
                open(line);
                inner_rounds_.push_back(0);
            } else if (c == '}') {
                close(line);
                if (!inner_rounds_.empty()) {
                    round = inner_rounds_.back();
                    inner_rounds_.pop_back();
                }
            } else if (in_body) {
                continue;
            } else if (c == ';' && round == 0) {
                finish(line, true);
            } else if (c == ':' && is_access_label()) {
                scopes_.back().is_public = trimmed(statement_) == "public";
                statement_.clear();
            } else {
                round += c == '(' ? 1 : c == ')' ? -1 : 0;
                add(c, line);
            }
        }
        return found_;
    }

private:
    void add(char c, std::size_t line) {
        if (trimmed(statement_).empty() && !is_space(c)) {
            statement_.clear();
            statement_line_ = line;
        }
        statement_ += c;
    }

    bool is_access_label() const {
        std::string const text = trimmed(statement_);
        return scopes_.back().what == Scope::What::type &&
               (text == "public" || text == "private" || text == "protected");
    }

    void open(std::size_t line) {
        Scope const outer = scopes_.back();
        std::string const text = trimmed(statement_);
        if (text.empty() || text.front() == ',') { // a constructor goes on after a member's braces
            statement_.clear();
            scopes_.push_back({Scope::What::body, false, outer.in_project, {}});
            return;
        }
        static std::regex const requirement(R"([\s\S]*\brequires(\s*\([^)]*\))?)");
        Declaration const declaration = read_declaration(text);
        bool const goes_on = declaration.kind == Kind::concept_or_alias ||
                             declaration.kind == Kind::initialiser || std::regex_match(text, requirement);
        if (goes_on) { // the braces belong to the statement, which ends at a later ; or {
            scopes_.push_back(
                {Scope::What::part_of_statement, false, outer.in_project, statement_, statement_line_});
            statement_.clear();
            return;
        }
        finish(line, false);
        bool const is_space = declaration.kind == Kind::space || declaration.kind == Kind::hidden_space;
        bool const in_project =
            outer.in_project || (is_space && declaration.name.compare(0, 8, "seamhold") == 0);
        if (is_space) {
            scopes_.push_back(
                {Scope::What::space, outer.is_public && declaration.kind == Kind::space, in_project, {}});
            hidden_.push_back(hidden() || declaration.kind == Kind::hidden_space);
        } else if (declaration.kind == Kind::special ||
                   (declaration.kind == Kind::type && text.find("enum") == std::string::npos)) {
            bool const is_class = std::regex_search(without_heads(text), std::regex(R"((^|\s)class\s)"));
            hidden_.push_back(hidden() || !outer.is_public || declaration.kind == Kind::special);
            scopes_.push_back({Scope::What::type, !is_class, in_project, {}});
        } else {
            scopes_.push_back({Scope::What::body, false, in_project, {}});
        }
    }

    void close(std::size_t line) {
        if (scopes_.size() == 1) {
            return;
        }
        Scope const inner = scopes_.back();
        scopes_.pop_back();
        if (inner.what == Scope::What::part_of_statement) {
            statement_ = inner.parent + "{}";
            statement_line_ = inner.parent_line;
        } else if (inner.what == Scope::What::space || inner.what == Scope::What::type) {
            hidden_.pop_back();
            statement_.clear();
        }
        if (inner.what != Scope::What::part_of_statement) {
            last_end_ = line;
        }
    }

    bool hidden() const { return !hidden_.empty() && hidden_.back(); }

    // The statement is whole: it ended with ; or its body begins.
    void finish(std::size_t line, bool ended) {
        std::string const text = trimmed(statement_);
        statement_.clear();
        Scope const& scope = scopes_.back();
        Declaration const declaration = read_declaration(text);
        if (text.empty() || text.front() == ',' || !is_checked(declaration, text, ended)) {
            return;
        }
        std::size_t const first = statement_line_;
        bool const below_last =
            !last_name_.empty() && last_end_ + 1 == first && is_sibling(declaration.name, last_name_);
        if (!has_comment_above(first) && !below_last && scope.in_project && scope.is_public && !hidden()) {
            found_.push_back({first, declaration.name});
        }
        last_name_ = declaration.kind == Kind::function ? declaration.name : "";
        last_end_ = line; // moved on by close() when there is a body
    }

    bool is_checked(Declaration const& declaration, std::string const& text, bool ended) const {
        switch (declaration.kind) {
        case Kind::function: {
            bool const given = std::regex_search(text, std::regex(R"(=\s*(default|delete)\s*$)"));
            bool const guide =
                scopes_.back().what == Scope::What::space &&
                std::regex_search(without_heads(text), std::regex(R"(^(explicit\s*)?\w+\s*\(.*\)\s*->)"));
            return !given && !guide;
        }
        case Kind::type:
            return !ended || text.find("enum") != std::string::npos; // no forward declarations
        case Kind::concept_or_alias:
            return scopes_.back().what == Scope::What::space;
        default:
            return false;
        }
    }

    static bool is_sibling(std::string const& name, std::string const& other) {
        return name == other || (name.compare(0, 8, "operator") == 0 && other.compare(0, 8, "operator") == 0);
    }

    bool has_comment_above(std::size_t line) const {
        if (line < 2) {
            return false;
        }
        std::string const above = trimmed(lines_[line - 2]);
        return above.compare(0, 3, "///") == 0 && above.compare(0, 4, "////") != 0 && above.size() > 3;
    }

    std::vector<std::string> lines_;
    std::string code_;
    std::vector<Scope> scopes_;
    std::vector<bool> hidden_;
    std::vector<int> inner_rounds_;
    std::string statement_;
    std::size_t statement_line_ = 0;
    std::string
        last_name_; // of the last function, whose comment (or the lack of it) holds for its siblings too
    std::size_t last_end_ = 0;
    std::vector<Undocumented> found_;
};

} // namespace

std::vector<Undocumented> undocumented(std::string const& text) { return Reader(text).read(); }

} // namespace seamhold::test
