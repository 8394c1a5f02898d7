#!/bin/sh
# include_alone.sh INCLUDE_FOLDER CMAKE BUILD_FOLDER OBJECT COMPILER OPTION...: every header of INCLUDE_FOLDER compiles by
# itself, twice in a row, and can stand in two files of one program.
#
# By itself: the compiler reads the header twice and then a static_assert that fails, which must be its first and only
# complaint. So it stops before it makes the templates that the header used, which takes most of the time and is tried by
# the tests. Only headers that changed since the last success, and those that include them, are read again.
# In two files: OBJECT includes every header (CMAKE builds it in BUILD_FOLDER); linked with itself it shows every
# function and variable that is not inline.
set -u
LC_ALL=C # the words of the compiler are read
export LC_ALL
include=$1
cmake=$2
folder=$3
object=$4
shift 4
work=$folder/include_alone
mkdir -p "$work"

if [ "${SEAMHOLD_ALONE:-}" = yes ]; then # one header of the list below: $work/NAME.txt stays if something is wrong
    header=$HEADER
    log=$work/$(printf '%s' "$header" | tr / _).txt
    printf '#include <%s>\n#include <%s>\nstatic_assert(false, "read to the end");\n' "$header" "$header" |
        "$@" -fsyntax-only -Wfatal-errors -x c++ - >"$log" 2>&1
    if [ "$(grep -c 'error:' "$log")" = 1 ] && grep -q '<stdin>:3:.* error: static.*read to the end' "$log"; then
        rm -f "$log"
    fi
    exit 0
fi

"$cmake" --build "$folder" --target include_alone -j1 >"$work/object.log" 2>&1 &
building=$!

cd "$include" || exit 1
find . -name '*.hpp' | sed 's,^\./,,' | sort >"$work/all"
printf '%s\n' "$*" >"$work/options.new"
if cmp -s "$work/options.new" "$work/options"; then
    find . -name '*.hpp' -newer "$work/options" | sed 's,^\./,,' >"$work/changed"
    # shellcheck disable=SC2046 # no name has a space
    awk 'FILENAME == ARGV[1] { todo[$0] = 1; next }
        /^#include ["<]seamhold\// { gsub(/[<>"]/, " "); from[++count] = FILENAME; to[count] = $2 }
        END {
            do { more = 0
                for (i = 1; i <= count; ++i)
                    if ((to[i] in todo) && !(from[i] in todo)) more = todo[from[i]] = 1
            } while (more)
            for (header in todo) print header
        }' "$work/changed" $(cat "$work/all") >"$work/list"
else
    cp "$work/all" "$work/list"
fi
touch "$work/options.new" # what changes from here on is for the next time
rm -f "$work"/*.txt
SEAMHOLD_ALONE=yes xargs -P "${SEAMHOLD_JOBS:-2}" -I '{}' env HEADER='{}' sh "$0" "$include" "$cmake" "$folder" "$object" "$@" \
    <"$work/list"

failed=0
for log in "$work"/*.txt; do
    [ -f "$log" ] || continue
    failed=$((failed + 1))
    echo "---- $(basename "$log" .txt) does not compile by itself:"
    cat "$log"
done
if ! wait "$building"; then
    failed=$((failed + 1))
    cat "$work/object.log"
elif ! "$1" -nostdlib -r "$object" "$object" -o "$work/linked.o" >"$work/linked.log" 2>&1; then
    failed=$((failed + 1))
    echo "---- not inline, so defined twice in a program that includes it in two files:"
    cat "$work/linked.log"
fi
rm -f "$work/linked.o"
count=$(($(wc -l <"$work/all") + 1))
[ "$failed" = 0 ] && mv "$work/options.new" "$work/options"
echo "$((count - failed)) passed, $failed failed"
[ "$failed" = 0 ]
