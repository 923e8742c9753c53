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

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
