#!/bin/sh
# map_over_mpi.sh PROGRAM WORK: runs the map over MPI with 1, 2 and 4 ranks on this machine and alone, kills ranks in the
# middle and goes on with another number of them. However it went, the CSV must be the same to the byte, and what was
# acknowledged must not be answered again. Every start is bounded in time; nothing but shared memory and the loopback is
# used. Closes with "N passed, N failed".
set -u
program=$1
work=$2
# As root and with more ranks than cores; only this machine, by shared memory; no attaching to other processes.
export OMPI_ALLOW_RUN_AS_ROOT=1 OMPI_ALLOW_RUN_AS_ROOT_CONFIRM=1 OMPI_MCA_rmaps_base_oversubscribe=1
export OMPI_MCA_plm=isolated OMPI_MCA_oob_tcp_if_include=lo OMPI_MCA_pml=ob1 OMPI_MCA_btl=self,vader
export OMPI_MCA_mpi_yield_when_idle=1 OMPI_MCA_btl_vader_single_copy_mechanism=none OMPI_MCA_ess_singleton_isolated=1
export PRTE_ALLOW_RUN_AS_ROOT=1 PRTE_ALLOW_RUN_AS_ROOT_CONFIRM=1
export ASAN_OPTIONS="${ASAN_OPTIONS:-}:detect_leaks=0" # MPI itself keeps what it has

rm -rf "$work"
mkdir -p "$work/tools"
cd "$work" || exit 1
printf '#!/bin/sh\nexit 1\n' >tools/gnuplot # pictures are tried elsewhere
chmod +x tools/gnuplot
PATH=$work/tools:$PATH
passed=0
failed=0
check() { # check WHAT COMMAND...
    what=$1
    shift
    if "$@"; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "not so: $what"
        tail -n 15 log.txt
    fi
}
has() { grep -q -e "$1" log.txt; }
kept() { grep -c '^shard [0-9]* of [0-9]* kept' log.txt; }
figures() { grep -v -e '^shard' -e '^no picture' "$1"; }
same() { cmp alone/stitch_map.csv "$1/stitch_map.csv"; }

# start RANKS FOLDER: in the background, with its pid in $started; 0 ranks are the program without mpirun.
start() {
    mkdir -p "$2"
    : >log.txt
    if [ "$1" = 0 ]; then
        timeout -k 5 120 "$program" "$2" >log.txt 2>&1 </dev/null &
    else
        timeout -k 5 120 mpirun -n "$1" "$program" "$2" >log.txt 2>&1 </dev/null &
    fi
    started=$!
}
run() { # run RANKS FOLDER
    start "$1" "$2"
    wait "$started"
}
children_of() { grep -l "^PPid:[[:space:]]*$1\$" /proc/[0-9]*/status 2>/dev/null | tr -dc '0-9\n'; }
rank_of() { tr '\0' '\n' <"/proc/$1/environ" 2>/dev/null | sed -n 's/^OMPI_COMM_WORLD_RANK=//p'; }
# killed RANKS FOLDER WHO: starts a run, waits until some shards are kept, and kills one rank, or all with mpirun. On a
# machine so busy that the run has ended by then, it is tried again.
killed() {
    for try in 1 2 3 4 5; do
        rm -rf "$2"
        start "$1" "$2"
        polls=0
        while [ "$(kept)" -lt 5 ] && [ "$polls" -lt 3000 ]; do
            sleep 0.02
            polls=$((polls + 1))
        done
        mpirun=$(children_of "$started")
        for pid in $(children_of "$mpirun"); do
            case $3 in "$(rank_of "$pid")" | all) kill -9 "$pid" ;; esac
        done
        [ "$3" = all ] && kill -9 "$mpirun"
        wait "$started" || return 0
        echo "$2: the run had ended before it was killed, try $try"
    done
    return 1
}
# goes_on RANKS FOLDER: another run of a killed one; no shard of which it was told that it is kept is answered again.
goes_on() {
    told=$(kept)
    shards=$(sed -n 's/^shard [0-9]* of \([0-9]*\) kept.*/\1/p' log.txt | head -n 1)
    check "$2: killed in the middle" test "$told" -lt "$shards" -a ! -e "$2/stitch_map.csv"
    check "$2: goes on with $1 ranks" run "$1" "$2"
    check "$2: the same bytes" same "$2"
    check "$2: nothing kept is answered again" test "$(kept)" -le $((shards - told))
    echo "$2: $told of $shards shards were told of when it was killed; $(kept) were answered by $1 ranks after it"
}

check "alone" run 0 alone
check "alone: says what it found" has 'candidates are feasible'
cp log.txt alone.txt

# A container without even the loopback cannot start mpirun; then only the program alone is tried.
if ! timeout -k 5 60 mpirun -n 1 true >log.txt 2>&1 </dev/null && has 'unable to find network interfaces'; then
    echo "There is no loopback here, so mpirun cannot start anything. Only the program alone was tried."
    echo "$passed passed, $failed failed"
    [ "$failed" = 0 ]
    exit
fi

for count in 1 2 4; do
    check "$count ranks" run "$count" "ranks_$count"
    check "$count ranks: the same bytes" same "ranks_$count"
    check "$count ranks: the same figures" test "$(figures alone.txt)" = "$(figures log.txt)"
done
check "a whole file is read again" run 2 ranks_4
check "a whole file: nothing is answered again" test "$(kept)" = 0

# One rank that answers; the rank that keeps; all at once.
check "a killed rank ends the run" killed 4 one_killed 2
check "a killed rank is told of" has 'signal 9'
goes_on 2 one_killed
check "a killed keeper ends the run" killed 2 keeper_killed 0
goes_on 4 keeper_killed
check "all are killed" killed 4 all_killed all
goes_on 0 all_killed

# What is no file of this map ends all ranks, with words.
mkdir others
echo "something else altogether, long enough for a head of a file: 0123456789 0123456789 0123456789 0123456789" \
    >others/stitch.map
check "another file is refused" eval '! run 3 others'
check "another file: says so" has 'others/stitch.map: cannot be read as a store: file is not a database'

# No room: what is kept until then stays. 200 blocks of 512 bytes.
(
    trap '' XFSZ
    ulimit -f 200
    run 0 full
) && failed=$((failed + 1))
check "a full disk: says so" has 'full/stitch.map: answers cannot be kept: .*\(File too large\|is full\)'
check "a full disk: goes on" run 2 full
check "a full disk: the same bytes" same full

echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
