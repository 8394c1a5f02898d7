#!/bin/sh
# packages.sh SOURCE: what the scripts do about missing Debian packages, tried with stand-ins for dpkg-query, apt-get,
# id and sudo that stand first in PATH. The stand-in for apt-get only writes down how it was called.
set -u
source=$1
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir "$work/tools"
passed=0
failed=0

tool() { # tool NAME TEXT: makes a stand-in
    printf '#!/bin/sh\n%s\n' "$2" >"$work/tools/$1"
    chmod +x "$work/tools/$1"
}
# Two packages are there; everything else is missing (removed-dev has left its settings behind, as dpkg says then).
tool dpkg-query 'for last; do :; done
case $last in
here | here-too) echo "install ok installed" ;;
removed-dev) echo "deinstall ok config-files" ;;
*) echo "no packages found matching $last" >&2; exit 1 ;;
esac'
tool apt-get "echo \"apt-get \$*\" >>'$work/calls'; [ \"\$1\" != install ] || [ ! -f '$work/broken' ]"

# try NAME EXIT_STATUS PACKAGES...: calls need as the scripts do; what it printed is then in $said.
try() {
    name=$1
    status=$2
    shift 2
    : >"$work/calls"
    said=$(PATH="$work/tools:$PATH" root=$work sh -c '. "$1"; shift; need "$@"; echo "goes on"' sh \
        "$source/.cmake/shared.sh" "$@" 2>&1)
    check "$name: exit status is $status" test $? = "$status"
}
check() { # check WHAT COMMAND...
    what=$1
    shift
    if "$@"; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "$what: not so. It printed: $said"
    fi
}
says() { case $said in *"$1"*) ;; *) return 1 ;; esac; }
calls() { [ "$(cat "$work/calls")" = "$1" ]; }
installing='apt-get update
apt-get install -y --no-install-recommends missing-dev removed-dev'

tool id 'echo 1000'
tool sudo 'exit 1'
try "nothing is missing, no root" 0 here here-too
check "nothing is missing: quiet" test "$said" = "goes on"
check "nothing is missing: nothing is called" calls ''

try "missing, no root, no sudo" 1 here missing-dev removed-dev
check "no root: says what to install" says 'apt-get install --no-install-recommends missing-dev removed-dev'
check "no root: says not what is there" test "${said#* here}" = "$said"
check "no root: nothing is called" calls ''

tool sudo "[ \"\$1\" = -n ] || exit 1; shift; echo sudo >>'$work/sudo_calls'; exec \"\$@\""
try "missing, sudo without a password" 0 here missing-dev removed-dev
check "sudo: says in one line what it installs" test "$said" = "Installing from Debian's packages: missing-dev removed-dev
goes on"
check "sudo: installs" calls "$installing"
check "sudo: by sudo" test -s "$work/sudo_calls"

tool id 'echo 0'
tool sudo 'exit 1'
try "missing, root" 0 here missing-dev removed-dev
check "root: installs" calls "$installing"

touch "$work/broken"
try "installing fails" 1 missing-dev
check "installing fails: says so" says 'Installing failed. Needed: missing-dev'

# A script's own folder and log stay its own (found 2026-11-25: the main job wrote into the build's folder, and read the
# build's log in place of the robot's).
tool cmake 'exit 0'
said=$(PATH="$work/tools:$PATH" root=$work sh -c 'folder=mine log=mine
    . "$1"
    build "$root/some_build" all -- >/dev/null && echo "$folder $log"' sh "$source/.cmake/shared.sh" 2>&1)
check "building leaves a script's variables alone" test "$said" = "mine mine"

echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
