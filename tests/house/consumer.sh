#!/bin/sh
# consumer.sh KIND SOURCE BUILD CMAKE COMPILER: builds and runs the outside project tests/consumers/KIND in a folder of
# its own under BUILD. What has not changed since the last run is not built again.
set -eu
kind=$1
source=$2
build=$3
cmake=$4
compiler=$5
project=$source/tests/consumers/$kind
work=$build/consumers/$kind
mkdir -p "$work"

# Installs to one folder and moves it, so that nothing in it may know where it was installed.
install_and_move() {
    rm -rf "$work/first" "$work/installed"
    "$cmake" --install "$build" --prefix "$work/first" >/dev/null
    mv "$work/first" "$work/installed"
}

with_cmake() {
    "$cmake" -S "$project" -B "$work/build" -G Ninja "-DCMAKE_CXX_COMPILER=$compiler" "$@"
    "$cmake" --build "$work/build" -j1
}

case $kind in
install)
    install_and_move
    with_cmake "-DCMAKE_PREFIX_PATH=$work/installed" -DCMAKE_FIND_USE_PACKAGE_REGISTRY=OFF
    ;;
subdirectory)
    with_cmake "-DSEAMHOLD_FOLDER=$source"
    # Where a library is missing, it is said which: CMake itself only says that a target is not there.
    said=$("$cmake" -S "$project" -B "$work/without" -G Ninja "-DCMAKE_CXX_COMPILER=$compiler" \
        "-DSEAMHOLD_FOLDER=$source" -DCMAKE_DISABLE_FIND_PACKAGE_SQLite3=ON \
        -DCMAKE_DISABLE_FIND_PACKAGE_TBB=ON -DSEAMHOLD_TOML_INCLUDE_DIR= 2>&1 || true)
    for missing in "store is not there: SQLite 3.24" "file is not there: toml++" \
        "threads is not there: oneTBB 2021"; do
        case $said in
        *"seamhold::$missing"*) ;;
        *) echo "not said: seamhold::$missing"; echo "$said"; exit 1 ;;
        esac
    done
    ;;
core_alone)
    # The headers of xsimd stand where every compiler finds them, so it is told not to take them.
    with_cmake "-DSEAMHOLD_FOLDER=$source" -DCMAKE_CXX_FLAGS=-DSEAMHOLD_NO_XSIMD -DSEAMHOLD_XSIMD_INCLUDE_DIR= \
        -DSEAMHOLD_TOML_INCLUDE_DIR= -DCMAKE_DISABLE_FIND_PACKAGE_SQLite3=ON -DCMAKE_DISABLE_FIND_PACKAGE_TBB=ON
    "$work/build/core"
    exit 0
    ;;
fetchcontent)
    # The same files give the same archive, so that an unchanged one is not unpacked again.
    tar -C "$source" --sort=name --mtime=@0 --owner=0 --group=0 --numeric-owner --transform 's,^,seamhold/,' \
        -cf "$work/seamhold.tar" CMakeLists.txt .cmake include LICENSE
    with_cmake "-DSEAMHOLD_ARCHIVE=$work/seamhold.tar" \
        "-DSEAMHOLD_ARCHIVE_SHA256=$(sha256sum "$work/seamhold.tar" | cut -d ' ' -f 1)"
    ;;
pkgconfig)
    install_and_move
    mkdir -p "$work/build"
    # The program is built again only when a header or the project has changed.
    stamp=$work/build/made_of.txt
    made_of=$(echo "$compiler" && cat "$project"/* "$project"/../*.cpp | sha256sum &&
        find "$work/installed" -type f -exec sha256sum {} + | LC_ALL=C sort -k 2)
    if [ "$made_of" != "$(cat "$stamp" 2>/dev/null)" ]; then
        rm -f "$stamp"
        PKG_CONFIG_PATH=$work/installed/share/pkgconfig sh "$project/build.sh" "$compiler" "$work/build"
        printf '%s\n' "$made_of" >"$stamp"
    fi
    ;;
*)
    echo "unknown kind of consumer: $kind"
    exit 1
    ;;
esac

"$work/build/core"
"$work/build/with_file"
(cd "$work" && "$work/build/with_store")
"$work/build/with_threads"
