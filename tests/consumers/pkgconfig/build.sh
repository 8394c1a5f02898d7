#!/bin/sh
# A user's project without CMake: build.sh COMPILER OUTPUT_FOLDER, with PKG_CONFIG_PATH set to the installed seamhold.
set -eu
cd "$(dirname -- "$0")"
pkg-config --exists 'seamhold >= 0.1'
# shellcheck disable=SC2046 # words are meant to be split
$1 -std=c++20 -O0 $(pkg-config --cflags seamhold) ../core.cpp -o "$2/core" $(pkg-config --libs seamhold)
# shellcheck disable=SC2046
$1 -std=c++20 -O0 $(pkg-config --cflags seamhold) ../with_file.cpp -o "$2/with_file" $(pkg-config --libs seamhold)
# shellcheck disable=SC2046
$1 -std=c++20 -O0 $(pkg-config --cflags seamhold-store) ../with_store.cpp -o "$2/with_store" \
    $(pkg-config --libs seamhold-store)
# shellcheck disable=SC2046
$1 -std=c++20 -O0 $(pkg-config --cflags seamhold-threads) ../with_threads.cpp -o "$2/with_threads" \
    $(pkg-config --libs seamhold-threads)
