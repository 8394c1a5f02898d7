# shellcheck shell=sh
# Sourced by tests/run, examples/run, bench/run and .ci/run: what they share.
# POSIX sh. The caller has set `root` to the top folder of the project.

# need PACKAGE...: makes sure that these Debian packages are installed. Says in one line what it installs; needs root
# (or sudo without a password) only when something is missing. Without it, says what to install and ends the script.
need() {
    if ! command -v dpkg-query >/dev/null 2>&1; then
        echo "This system has no Debian packages, so nothing is installed here. Needed: $*"
        return 0
    fi
    missing=
    for package in "$@"; do
        case $(dpkg-query -W -f '${Status}\n' "$package" 2>/dev/null) in
        *"ok installed"*) ;;
        *) missing="$missing $package" ;;
        esac
    done
    [ -z "$missing" ] && return 0
    as_root=
    if [ "$(id -u)" != 0 ]; then
        if command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then
            as_root="sudo -n"
        else
            echo "Missing Debian packages, and no right to install them. Please run:"
            echo "    apt-get update && apt-get install --no-install-recommends$missing"
            echo "as root, then start this again."
            exit 1
        fi
    fi
    echo "Installing from Debian's packages:$missing"
    mkdir -p "$root/build"
    # shellcheck disable=SC2086 # words are meant to be split
    if ! { $as_root apt-get update &&
        $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $missing; } \
        </dev/null >"$root/build/packages.log" 2>&1; then
        tail -n 20 "$root/build/packages.log"
        echo "Installing failed. Needed:$missing (whole log: $root/build/packages.log)"
        exit 1
    fi
}

# build FOLDER TARGETS -- CMAKE OPTIONS: configures FOLDER when its options have changed and builds the targets (a list
# in one word, or "all") with two jobs at most (SEAMHOLD_JOBS sets another number). Says that it builds only when there
# is something to build.
build() ( # a subshell: the names below are its own
    folder=$1
    targets=$2
    shift 3
    mkdir -p "$folder"
    log=$folder/build.log
    options="$*"
    if [ ! -f "$folder/build.ninja" ] || [ "$(cat "$folder/options.txt" 2>/dev/null)" != "$options" ]; then
        echo "Configuring ${folder#"$root"/}"
        rm -f "$folder/options.txt"
        if ! cmake -S "$root" -B "$folder" -G Ninja "$@" >"$log" 2>&1; then
            cat "$log"
            echo "Configuring failed."
            exit 1
        fi
        printf '%s\n' "$options" >"$folder/options.txt"
    fi
    # shellcheck disable=SC2086 # words are meant to be split
    {
        cmake --build "$folder" -j"${SEAMHOLD_JOBS:-2}" --target $targets -- -k 0 2>&1
        echo $? >"$folder/status.txt"
    } | {
        said=
        while IFS= read -r line; do
            printf '%s\n' "$line" >&3
            case $said$line in
            "["*"] Building "* | "["*"] Linking "*)
                said=yes
                steps=${line#*/}
                echo "Building in ${folder#"$root"/} (${steps%%]*} steps, log in ${log#"$root"/})"
                ;;
            esac
        done
    } 3>"$log"
    if [ "$(cat "$folder/status.txt")" != 0 ]; then
        # Of a failed build only what failed is shown: ninja prints it after a line "FAILED: …".
        awk '/^\[[0-9]+\/[0-9]+\]/ { show = 0 } /^FAILED: / { show = 1; any = 1 } show || (!any && /rror/)' "$log" |
            head -n 200
        echo "Building failed (whole log: $log)"
        exit 1
    fi
)
