#!/bin/sh
# instructions.sh COMPILER FOLDER: how many instructions a tick of the live loop takes within a seam, the exact way and in
# blocks, counted by valgrind's callgrind: the same on a busy machine. Built without -march=native, whose instructions
# valgrind does not all know. Prints "name value unit" lines.
set -eu
compiler=$1
work=$2/instructions
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
mkdir -p "$work"
# shellcheck disable=SC2046 # words are meant to be split
"$compiler" -std=c++20 -O3 "-I$root/include" $(pkg-config --cflags eigen3) "$root/bench/live.cpp" -o "$work/live" \
    -lbenchmark -pthread

count() { # count TICKS exact|blocks: instructions of the whole program
    valgrind --tool=callgrind --callgrind-out-file="$work/callgrind.out" "$work/live" ticks "$1" "$2" 2>&1 |
        awk '/Collected/ { print $NF }'
}
for way in exact blocks; do
    few=$(count 30000 "$way") # the first seam has begun
    many=$(count 50000 "$way")
    echo "instructions_a_tick_$way $(((many - few) / 20000)) count"
done
