#!/bin/sh
# figures.sh STORED PROGRAM [WORD...]: runs a program of the course; it must end well, and what it prints must be what is stored: the
# same words, and numbers that differ by no more than a millionth of themselves or one unit of their last printed digit (compilers round
# otherwise in the last bits); below 1e-9 all are alike, for that is rounding itself. A line that is stored as "~" may be anything: it tells a time that was measured.
# To store new figures on purpose: SEAMHOLD_STORE_FIGURES=1; then put "~" for measured times and look at what changed.
set -u
stored=$1
shift
printed=$(mktemp) || exit 1
trap 'rm -f "$printed" "$printed.errors"' EXIT
"$@" >"$printed" 2>"$printed.errors"
status=$?
[ "$status" = 0 ] || cat "$printed.errors"
if [ "${SEAMHOLD_STORE_FIGURES:-}" = 1 ]; then
    mkdir -p "$(dirname -- "$stored")"
    cp "$printed" "$stored"
fi
if [ ! -f "$stored" ]; then
    echo "No figures are stored in $stored: run once with SEAMHOLD_STORE_FIGURES=1"
    exit 1
fi
awk -v status="$status" '
    # The words of a line with # for each number, and the numbers.
    function taken(line, numbers,    words, count) {
        words = ""
        count = 0
        while (match(line, /[-+]?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?/)) {
            words = words substr(line, 1, RSTART - 1) "#"
            numbers[++count] = substr(line, RSTART, RLENGTH)
            line = substr(line, RSTART + RLENGTH)
        }
        words = words line
        gsub(/[ \t]+/, " ", words)
        numbers[0] = count
        return words
    }
    function last_digit(number,    point, end) {
        if (number ~ /[eE]/) return 0
        point = index(number, ".")
        return point == 0 ? 1 : 10 ^ (point - length(number))
    }
    function say(what) { printf "line %d: %s\n    stored:  %s\n    printed: %s\n", FNR, what, stored[FNR], $0; bad += 1 }
    FNR == NR { stored[FNR] = $0; lines = FNR; next }
    { printed = FNR }
    FNR > lines { say("more lines than are stored"); exit }
    stored[FNR] == "~" { next }
    {
        if (taken(stored[FNR], before) != taken($0, now)) { say("other words"); next }
        for (i = 1; i <= now[0]; ++i) {
            off = now[i] - before[i]
            if (off < 0) off = -off
            size = before[i] + 0
            if (size < 0) size = -size
            if (off < 1e-9 && size < 1e-9) continue # rounding, printed
            allowed = 1e-6 * size
            if (1.001 * last_digit(before[i]) > allowed && before[i] ~ /\./) allowed = 1.001 * last_digit(before[i])
            if (off > allowed) { say("other numbers"); break }
        }
    }
    END {
        if (printed < lines) { printf "%d lines are stored, %d were printed\n", lines, printed; bad += 1 }
        if (status != 0) { print "the program ended with " status; bad += 1 }
        exit bad > 0
    }' "$stored" "$printed"
