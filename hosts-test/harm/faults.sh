#!/bin/bash
# SPDX-License-Identifier: ISC
# siskin under faults: killed at random moments, a full disk, files cut short. `make faults`.
# After each: the take as it was, the output absent or complete, nothing else left, and a message.
set -u
siskin=$(realpath "${BUILD:-build}/siskin")
sing=$(realpath "${BUILD:-build}/siskin-sing")
kills=${KILLS:-200}
seed=${SEED:-$$}
RANDOM=$seed
passed=0 failed=0
work=$(mktemp -d)
trap 'umount "$work/small" 2>/dev/null; rm -rf "$work"' EXIT
cd "$work" || exit 1
echo "seed $seed"

ok() { passed=$((passed + 1)); }
bad() {
    failed=$((failed + 1))
    echo "FAIL  $*"
}
chain='rumble-filter transient-tamer breath-ducker de-esser phrase-leveller'

"$sing" --phrases 12 take.wav
sum=$(sha256sum <take.wav)
mkdir out whole
# shellcheck disable=SC2086
"$siskin" render --quiet take.wav whole/out.wav $chain || bad 'render without a fault'
complete=$(sha256sum <whole/out.wav)

# ---- killed ----

# The whole render takes some seconds; the moments cover it and its end.
start=$(date +%s%N)
# shellcheck disable=SC2086
"$siskin" render --quiet take.wav whole/again.wav $chain
took_ms=$((($(date +%s%N) - start) / 1000000))
finished=0 asked=0
for ((i = 0; i < kills; i++)); do
    signal=(TERM INT HUP KILL)
    signal=${signal[RANDOM % 4]}
    # shellcheck disable=SC2086
    "$siskin" render --quiet take.wav out/out.wav $chain 2>/dev/null &
    pid=$!
    sleep "$(awk -v ms=$((RANDOM % (took_ms + took_ms / 8 + 1))) 'BEGIN { print ms / 1000 }')"
    kill -s "$signal" "$pid" 2>/dev/null && asked=$((asked + 1))
    wait "$pid" 2>/dev/null
    # Whoever is killed outright cannot wait for its worker: give that a moment.
    [ "$signal" != KILL ] || sleep 0.2
    if [ "$(sha256sum <take.wav)" != "$sum" ]; then
        bad "kill $i ($signal): the take has changed"
    elif [ -e out/out.wav ] && [ "$(sha256sum <out/out.wav)" != "$complete" ]; then
        bad "kill $i ($signal): the output is there and not complete"
    elif [ -n "$(find out -mindepth 1 ! -name out.wav)" ] && [ "$signal" != KILL ]; then
        bad "kill $i ($signal): left $(find out -mindepth 1 ! -name out.wav)"
    else
        ok
    fi
    [ ! -e out/out.wav ] || finished=$((finished + 1))
    rm -rf out && mkdir out
done
echo "killed: $asked of $kills were still running, $finished had finished"

# ---- a full disk ----

mkdir small
if mount -t tmpfs -o size=1m tmpfs small 2>/dev/null; then
    for format in wav flac aiff; do
        "$siskin" render --quiet take.wav "small/out.$format" rumble-filter 2>message
        status=$?
        if [ $status -eq 1 ] && [ -s message ] && [ -z "$(ls -A small)" ]; then
            ok
        else
            bad "full disk, $format: status $status, left '$(ls -A small)', said '$(cat message)'"
        fi
    done
else
    echo 'skip  a full disk: mounting is for root'
fi

# ---- files cut short ----

"$siskin" render --quiet take.wav cut.flac rumble-filter
"$siskin" render --quiet take.wav cut.aiff rumble-filter
"$siskin" render --quiet take.wav cut.wav rumble-filter
"$siskin" render --quiet --bits 16 take.wav cut16.wav rumble-filter
for file in cut.wav cut16.wav cut.flac cut.aiff; do
    size=$(stat -c %s "$file")
    for at in 0 1 11 40 100 $((size / 3)) $((size / 2)) $((size - 1000)); do
        short=short.${file#*.}
        head -c "$at" "$file" >"$short"
        "$siskin" render --quiet "$short" out/out.wav rumble-filter 2>message
        status=$?
        if [ $status -eq 1 ] && grep -q "$short" message && [ -z "$(ls -A out)" ]; then
            ok
        else
            bad "$file cut at $at: status $status, left '$(ls -A out)', said '$(cat message)'"
            rm -rf out && mkdir out
        fi
    done
done

# ---- files with a flipped bit ----
# An error that names the file, or the very audio.

"$siskin" render --quiet take.wav whole.flac rumble-filter
"$siskin" render --quiet take.wav whole.opus rumble-filter
flips=${FLIPS:-60}
for kind in flac opus; do
    "$siskin" render --quiet "whole.$kind" reference.wav rumble-filter
    size=$(stat -c %s "whole.$kind") silent=0
    for ((i = 0; i < flips; i++)); do
        at=$((RANDOM * 32768 + RANDOM)) at=$((at % size))
        cp "whole.$kind" "flipped.$kind"
        byte=$(od -An -tu1 -j "$at" -N 1 "flipped.$kind")
        printf "\\x$(printf %02x $((byte ^ 1 << RANDOM % 8)))" |
            dd of="flipped.$kind" bs=1 seek="$at" conv=notrunc status=none
        if "$siskin" render --quiet "flipped.$kind" flipped.wav rumble-filter 2>message; then
            # The heads tell of different files: the samples alone are compared.
            cmp -s -i 4096 flipped.wav reference.wav || silent=$((silent + 1))
        elif ! grep -q "flipped.$kind" message; then
            bad "$kind, byte $at: failed without its name: $(cat message)"
        fi
    done
    if [ "$silent" -eq 0 ]; then ok; else bad "$kind: $silent of $flips flipped bits changed the audio without a word"; fi
done

# ---- output that nobody takes ----

if [ -e /dev/full ]; then
    for command in 'list' 'list de-esser' 'measure --csv take.wav' 'measure take.wav'; do
        # shellcheck disable=SC2086
        "$siskin" $command >/dev/full 2>message
        status=$?
        if [ $status -eq 1 ] && [ -s message ]; then ok; else bad "$command >/dev/full: status $status"; fi
    done
fi

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
