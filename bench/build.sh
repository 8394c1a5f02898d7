#!/bin/sh
# build.sh COMPILER FOLDER: how long the headers take to compile at -O3 -march=native, against Eigen's dense header.
# Each file holds one #include and nothing else. The files take turns, so that a busy moment hits all alike, and the
# median of the rounds counts. Prints "name value unit" lines. SEAMHOLD_BENCH_ROUNDS sets the rounds (default 7).
set -eu
compiler=$1
work=$2/compile_time
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
eigen=$(pkg-config --cflags eigen3)
rounds=${SEAMHOLD_BENCH_ROUNDS:-7}
mkdir -p "$work"

printf '#include <Eigen/Dense>\n' >"$work/eigen.cpp"
printf '#include <seamhold/seamhold.hpp>\n' >"$work/umbrella.cpp"
printf '#include <seamhold/follow.hpp>\n' >"$work/follow.cpp"

compile() { # compile NAME OPTIONS...
    name=$1
    shift
    # shellcheck disable=SC2086 # words are meant to be split
    "$compiler" -std=c++20 -O3 -march=native "-I$root/include" $eigen "$@" -c "$work/$name.cpp" -o "$work/$name.o"
}

rm -f "$work"/*.ms
for name in eigen umbrella follow; do
    compile "$name" # once before the clock runs: the files are in memory then
done
round=0
while [ "$round" -lt "$rounds" ]; do
    for name in eigen umbrella follow; do
        begin=$(date +%s%N)
        compile "$name"
        end=$(date +%s%N)
        echo $(((end - begin) / 1000)) >>"$work/$name.ms"
    done
    round=$((round + 1))
done

median() { # of the microseconds in a file, in milliseconds
    sort -n "$1" | awk '{ x[NR] = $1 } END { printf "%.1f", (x[int((NR + 1) / 2)] + x[int((NR + 2) / 2)]) / 2000 }'
}
eigen_ms=$(median "$work/eigen.ms")
umbrella_ms=$(median "$work/umbrella.ms")
follow_ms=$(median "$work/follow.ms")
echo "eigen_compile_ms $eigen_ms ms"
echo "umbrella_compile_ms $umbrella_ms ms"
echo "follow_compile_ms $follow_ms ms"
awk -v e="$eigen_ms" -v u="$umbrella_ms" -v f="$follow_ms" 'BEGIN {
    printf "umbrella_compile_vs_eigen %.2f ratio\nfollow_compile_vs_eigen %.2f ratio\n", u / e, f / e
}'

# How many templates each header instantiates by being included: clang writes it into its time trace.
case $("$compiler" --version) in
*clang*)
    for name in eigen umbrella follow; do
        compile "$name" -ftime-trace -ftime-trace-granularity=0
        count=$(grep -oE '"name": ?"Instantiate(Class|Function)"' "$work/$name.json" | wc -l)
        echo "${name}_template_instantiations $count count"
    done
    ;;
esac
