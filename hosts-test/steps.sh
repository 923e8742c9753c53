#!/bin/sh
# SPDX-License-Identifier: ISC
# Instructions of single run() calls under random and hostile input, as callgrind counts them:
# steps.sh PLUGIN... Shows that a block costs at most A + B n, whatever is fed.
#
# A is the worst block of 16 frames, which holds a whole hop's work at once; B is the rate of the worst block of
# 1024 frames, over which hops even out. The worst blocks of 64 and of 256 frames must lie under that line with
# 30 % to spare, the worst of so many random blocks being random itself: work that grew with the signal, or that
# piled up over hops, would lie over it.
set -u
seed=${SEED:-1}
passed=0
failed=0
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# Worst, median and least of the counts of BLOCKS blocks of FRAMES frames.
count() { # plugin, frames, blocks
    rm -f "$work"/out*
    valgrind -q --tool=callgrind --instr-atstart=no --combine-dumps=yes --callgrind-out-file="$work/out" \
        "$BUILD/steps/$1" "$2" "$3" "$seed" 2>"$work/said" || {
        cat "$work/said" >&2
        exit 1
    }
    # The last dump is the program's end and holds nothing of the plugin.
    sed -n 's/^totals: \([0-9]*\).*/\1/p' "$work/out" | head -n "$3" | sort -n |
        awk '{ v[NR] = $1 } END { if (NR == 0) exit 1; print v[NR], v[int((NR + 1) / 2)], v[1] }'
}

echo "seed $seed; instructions of one run(), stereo, 48 kHz"
printf '%-18s %28s %28s %12s\n' '' '64 frames: worst med. least' '256 frames: worst med. least' 'A + B n'
for plugin in "$@"; do
    # shellcheck disable=SC2046
    set -- $(count "$plugin" 64 "${BLOCKS:-1500}") $(count "$plugin" 256 "${BLOCKS:-600}") \
        $(count "$plugin" 16 "${BLOCKS:-3000}") $(count "$plugin" 1024 "${BLOCKS:-200}")
    if [ $# -ne 12 ]; then
        echo "FAIL  $plugin: no counts"
        failed=$((failed + 1))
        continue
    fi
    line=$(awk -v w64="$1" -v w256="$4" -v a="$7" -v w1024="${10}" 'BEGIN {
        b = w1024 / 1024
        holds = w64 <= 1.3 * (a + 64 * b) && w256 <= 1.3 * (a + 256 * b)
        printf "%s %d + %d n", holds ? "ok" : "FAIL", a, b }')
    printf '%-18s %12s %7s %7s %12s %7s %7s   %s\n' "$plugin" "$1" "$2" "$3" "$4" "$5" "$6" \
        "$line"
    case $line in
    ok*) passed=$((passed + 1)) ;;
    *) failed=$((failed + 1)) ;;
    esac
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
