#!/bin/sh
# sh check.sh PROGRAMS FOLDER: runs the tray job on both of its streams, as a test, and fails unless the independent cell
# sees every lit spot within a nanometre of the drawing for the flange as it was reported, every seam is within its
# limits, and the beam is on for nine tenths of the time.
set -eu
programs=$1
folder=$2
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
mkdir -p "$folder"
"$programs/make_log" "$folder" >"$folder/make_log.txt"
for stream in "tray joints" "tray_commanded commanded"; do
    job=${stream% *}
    log=$folder/${stream#* }.csv
    "$programs/hold" "$here/$job.toml" "$log" "$folder/$job" >"$folder/$job.txt"
    grep -q '19 of 19 seams are within every limit' "$folder/$job.txt"
    # Every 49th tick: 49 shares no factor with the 333 ticks of a weave's swing.
    "$programs/cell" "$folder/$job/commands.csv" "$log" "$folder/$job" 49 >"$folder/$job/cell.txt"
    awk -F, '
        NR == 1 { for (i = 1; i <= NF; ++i) column[$i] = i }
        $1 == "all" {
            worst = $column["reported_worst_um"]
            lit = $column["lit_s"]
            print "worst against the reported flange: " worst " um; lit " lit " s"
            good = worst != "" && worst < 0.001 && lit > 0.9 * 5.01
        }
        END { exit !good }' "$folder/$job/cell.csv"
done
