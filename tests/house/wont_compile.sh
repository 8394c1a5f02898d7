#!/bin/sh
# wont_compile.sh FOLDER COMPILER OPTIONS...: each file of the folder compiles as it is, and does not compile with
# -DWONT_COMPILE, which puts in the bad line. The compiler's message must then contain the text that the file names in
# a comment `// expect: text`, so that the line fails for the reason that is meant. Where the compilers word it
# differently, the file names several, one a line, and one of them must be there.
set -u
folder=$1
shift
passed=0
failed=0
message=$(mktemp)
trap 'rm -f "$message"' EXIT
complain() {
    echo "$1"
    failed=$((failed + 1))
}
for file in "$folder"/*.cpp; do
    [ -f "$file" ] || continue
    expected=$(sed -n 's|^ *// expect: *||p' "$file")
    if [ -z "$expected" ]; then
        complain "$file:1: no line '// expect: text'"
    elif ! grep -q '^#ifdef WONT_COMPILE' "$file"; then
        complain "$file:1: no bad line under '#ifdef WONT_COMPILE'"
    elif ! "$@" -fsyntax-only "$file" 2>"$message"; then
        complain "$file:1: does not compile without its bad line:"
        head -n 20 "$message"
    elif "$@" -fsyntax-only -DWONT_COMPILE "$file" 2>"$message"; then
        complain "$file:1: compiles with its bad line"
    elif ! grep -qFe "$expected" "$message"; then
        complain "$file:1: fails, but the message does not say any of: $expected"
        head -n 20 "$message"
    else
        passed=$((passed + 1))
    fi
done
echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
