#!/bin/sh
# include_alone.sh CMAKE BUILD_FOLDER COUNT: builds one file for each header that includes it twice and nothing else,
# and links them into one program (a function that is not inline would be defined twice). COUNT is their number.
set -u
cmake=$1
folder=$2
count=$3
log=$folder/include_alone.log
if "$cmake" --build "$folder" --target include_alone -j1 -- -k 0 >"$log" 2>&1; then
    echo "$count passed, 0 failed"
    exit 0
fi
cat "$log"
failed=$(grep -c '^FAILED: .*/alone/.*\.o' "$log")
[ "$failed" = 0 ] && failed=1 # only the linking failed
echo "$((count - failed)) passed, $failed failed"
exit 1
