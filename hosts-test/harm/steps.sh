#!/bin/sh
# SPDX-License-Identifier: ISC
# Steps of single run() calls under random and hostile input: steps.sh instructions|edges PLUGIN...
# Shows that a block costs at most A + B n, whatever is fed. Instructions as callgrind counts them, over some
# thousand blocks; edges of the control flow over a million (see steps.c).
#
# A is the worst block of 16 frames, which holds a whole hop's work at once; B is the rate of the worst block of
# 1024 frames, over which hops even out. The worst blocks of 64 and of 256 frames must lie under that line with
# 30 % to spare, the worst of so many random blocks being random itself: work that grew with the signal, or that
# piled up over hops, would lie over it. What depends on the signal and not on n would only raise A, so the worst
# block of 64 also has a limit: 100000 instructions are 0.1 ms on a slow core, at one a cycle and 1 GHz, of the
# 1.3 ms that such a block lasts. An edge stands for 11 to 20 instructions: for 11.5 in the dearest blocks, where a voice
# begins and is marked backwards (voice-double: 87000 instructions, 7600 edges). So 8700 edges are as many.
set -u
way=$1
shift
seed=${SEED:-1}
passed=0
failed=0
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# Worst, median and least of the counts of BLOCKS blocks of FRAMES frames.
instructions() { # plugin, frames, blocks
    rm -f "$work"/out*
    valgrind -q --tool=callgrind --instr-atstart=no --combine-dumps=yes --callgrind-out-file="$work/out" \
        "$BUILD/steps/$1" "$2" "$3" "$seed" 2>"$work/said" || {
        cat "$work/said" >&2
        return 1
    }
    # The last dump is the program's end and holds nothing of the plugin.
    sed -n 's/^totals: \([0-9]*\).*/\1/p' "$work/out" | head -n "$3" | sort -n |
        awk '{ v[NR] = $1 } END { if (NR == 0) exit 1; print v[NR], v[int((NR + 1) / 2)], v[1] }'
}
edges() { # plugin, frames, blocks
    "$BUILD/steps/$1" --edges "$2" "$3" "$seed"
}

case $way in
instructions) at_16=6000 at_64=1500 at_256=600 at_1024=200 most=100000 ;;
edges) at_16=1000000 at_64=1000000 at_256=200000 at_1024=50000 most=8700 ;;
*)
    echo 'usage: steps.sh instructions|edges PLUGIN...' >&2
    exit 2
    ;;
esac
echo "seed $seed; $way of one run(), stereo, 48 kHz, $at_64 blocks of 64"
printf '%-18s %28s %28s %12s\n' '' '64 frames: worst med. least' '256 frames: worst med. least' 'A + B n'
for plugin in "$@"; do
    # shellcheck disable=SC2046
    set -- $($way "$plugin" 64 $at_64) $($way "$plugin" 256 $at_256) $($way "$plugin" 16 $at_16) \
        $($way "$plugin" 1024 $at_1024)
    if [ $# -ne 12 ]; then
        echo "FAIL  $plugin: no counts"
        failed=$((failed + 1))
        continue
    fi
    line=$(awk -v w64="$1" -v w256="$4" -v a="$7" -v w1024="${10}" -v most=$most 'BEGIN {
        b = w1024 / 1024
        holds = w64 <= most && w64 <= 1.3 * (a + 64 * b) && w256 <= 1.3 * (a + 256 * b)
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
