#!/bin/sh
# sh check.sh PROGRAMS FOLDER: runs the tray's jobs as a test, and fails unless every seam is within its limits, at
# samples and by proof, the beam is on when the drawing wants it, and the independent cell sees every lit spot on the
# drawing for the flange as it was reported: within a nanometre, but for two seams of the third job (see below).
set -eu
programs=$1
folder=$2
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
mkdir -p "$folder"
"$programs/make_log" "$folder" >"$folder/make_log.txt"
"$programs/make_bend" "$folder/bend.stl"
cmp "$folder/bend.stl" "$here/bend.stl"
for run in "tray joints lid_and_shoulder 19 0.9" "tray_commanded commanded lid_and_shoulder 19 0.9" \
    "tray_shapes commanded shapes 47 0.7"; do
    # shellcheck disable=SC2086 # five words
    set -- $run
    job=$1
    log=$folder/$2.csv
    "$programs/hold" "$here/$job.toml" "$log" "$folder/$job" >"$folder/$job.txt"
    grep -q "$4 of $4 seams are within every limit" "$folder/$job.txt"
    grep -q "$4 of $4 seams are proven within every limit" "$folder/$job/proof.txt"
    # Every 49th tick: 49 shares no factor with the 333 ticks of a weave's swing.
    "$programs/cell" "$folder/$job/commands.csv" "$log" "$folder/$job" 49 "$3" >"$folder/$job/cell.txt"
    # Taught places are written to 0.001 mm. Triangles stand for the bend: facets of 3.5 degrees lie up to 0.03 mm
    # beside it, and what is laid through their corners comes back to it.
    # A look every 49 ticks of 0.01 ms: light may be seen to be longer or shorter by one look.
    awk -F, -v job="$job" -v share="$5" '
        NR == 1 { for (i = 1; i <= NF; ++i) column[$i] = i; good = 1; next }
        {
            bound = $1 == "taught" || $1 == "all" ? 1 : $1 == "on triangles" ? 0.1 : 0.001 # um
            worst = $column["reported_worst_um"]
            line = $column["reported_line_worst_um"]
            lit = $column["lit_s"]
            drawn = $column["drawn_s"]
            welded = $column["welded_share"]
            if (line == "" || line > bound || (worst != "" && worst > bound) || (worst == "" && welded < 0.99) ||
                (drawn != "" && $1 != "all" && (lit - drawn > 0.0005 || drawn - lit > 0.0005))) {
                print job ", " $1 ": " worst " um, line " line " um, lit " lit " of " drawn " s, welded " welded
                good = 0
            }
        }
        $1 == "all" { seen = 1; if (lit < share * 5.01) good = 0 }
        END { exit !(good && seen) }' "$folder/$job/cell.csv"
done
