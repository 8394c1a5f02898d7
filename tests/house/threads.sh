#!/bin/sh
# Runs the tests in which threads meet under ThreadSanitizer: `sh tests/house/threads.sh`. Builds with clang++ in
# build/threads. Closes with a line "N passed, N failed".
set -u
root=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
. "$root/.cmake/shared.sh"

need clang libclang-rt-dev pkg-config libeigen3-dev libboost-dev doctest-dev

folder=$root/build/threads
mkdir -p "$folder"
# shellcheck disable=SC2046 # words are meant to be split
clang++ -std=c++20 -O1 -g -fsanitize=thread "-I$root/include" "-I$root/tests" $(pkg-config --cflags eigen3) \
    "-DSEAMHOLD_SOURCE_DIR=\"$root\"" "$root/tests/main.cpp" "$root/tests/support/random.cpp" \
    "$root/tests/support/allocation_guard.cpp" "$root/tests/live/stream.cpp" "$root/tests/live/trace.cpp" \
    "$root/tests/live/live_threads.cpp" -o "$folder/threads" -pthread || {
    echo "0 passed, 1 failed"
    exit 1
}
# ThreadSanitizer of clang 14 wants addresses where they were: newer kernels spread them too far.
if setarch "$(uname -m)" -R true 2>/dev/null; then
    exec setarch "$(uname -m)" -R "$folder/threads"
fi
exec "$folder/threads"
