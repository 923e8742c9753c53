#!/bin/sh
# SPDX-License-Identifier: ISC
# Runs every fuzz target for so many seconds: fuzz.sh SECONDS. SEED, if set, makes a run repeatable.
# What is found is left in $BUILD/findings/ and named.
set -u
seconds=$1
here=$(dirname "$0")
findings=$BUILD/findings
mkdir -p "$findings"
export ASAN_OPTIONS=detect_leaks=1:allocator_may_return_null=1
# Leaks of other people's libraries, each with its reason.
export LSAN_OPTIONS=suppressions=$here/leaks.supp:print_suppressions=0

# One target; a folder of its own grows while it runs, the tree's corpus is only read.
fuzz_one() {
    target=$1
    name=$(basename "$target")
    kind=$(echo "$name" | sed 's/^fuzz-\([a-z]*\).*/\1/')
    grown=$BUILD/grown/$name
    mkdir -p "$grown"
    if "$target" -max_total_time="$seconds" -seed="${SEED:-0}" -max_len=16384 -timeout=20 \
        -rss_limit_mb=4096 -artifact_prefix="$findings/$name-" -print_final_stats=1 \
        "$grown" "$here/corpus/$kind" >"$findings/$name.log" 2>&1; then
        runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$findings/$name.log")
        printf 'ok    %-32s %10s runs\n' "$name" "${runs:-?}"
    else
        printf 'FAIL  %-32s see %s\n' "$name" "$findings/$name.log"
        tail -n 25 "$findings/$name.log"
    fi
}

running=0
results=$(mktemp)
trap 'rm -f "$results"' EXIT
for target in "$BUILD"/fuzz-plugin-* "$BUILD/fuzz-chain" "$BUILD/fuzz-audio"; do
    [ -x "$target" ] || continue
    fuzz_one "$target" >>"$results" &
    running=$((running + 1))
    if [ "$running" -ge "${JOBS:-2}" ]; then
        wait
        running=0
    fi
done
wait
cat "$results"
passed=$(grep -c '^ok' "$results")
failed=$(grep -c '^FAIL' "$results")
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
