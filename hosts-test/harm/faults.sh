#!/bin/bash
# SPDX-License-Identifier: ISC
# siskin under faults. `make faults`.
#   KILLS=280   how many kills; all other counts follow in proportion
#   SEED=n      which; printed
#   KEEP=DIR    where hostile files go that do harm
# After each fault: the take as it was, the output absent or complete, nothing else left, and a message that names the
# file. Nobody crashes, hangs, or succeeds with other audio.
set -u
export LC_ALL=C
build=$(realpath "${BUILD:-build}")
siskin=$build/siskin sing=$build/siskin-sing
kills=${KILLS:-280} seed=${SEED:-$$}
RANDOM=$((seed % 32768))
passed=0 failed=0
top=$(cd "$(dirname "$0")/../.." && pwd)
work=$(mktemp -d)
trap 'umount "$work/small" 2>/dev/null; rm -rf "$work"' EXIT
cd "$work" || exit 1
echo "seed $seed"

ok() { passed=$((passed + 1)); }
bad() {
    failed=$((failed + 1))
    echo "FAIL  $*"
}
part() { echo $((($1 * kills + 279) / 280)); } # of a count that goes with 280 kills
any() { echo $(((RANDOM * 32768 + RANDOM) % $1)); }
size() { stat -c %s "$1"; }
told=0
tell() { # what; the checks since the last time
    echo "$1: $((passed + failed - told)) checks"
    told=$((passed + failed))
}
chain='rumble-filter transient-tamer breath-ducker de-esser phrase-leveller'

# Runs it, and fails on what no command may do, whatever it is given. message: what it said; status.
run() { # what it is a test of, arguments
    local what=$1
    shift
    timeout 120 "$siskin" "$@" >said 2>message
    status=$?
    [ "$status" -le 2 ] && return
    bad "$what: siskin $*: status $status, said '$(head -c 300 message)'"
    return 1
}

"$sing" --phrases 12 take.wav
sum=$(sha256sum <take.wav)
mkdir out whole
# shellcheck disable=SC2086
"$siskin" render --quiet take.wav whole/out.wav $chain || bad 'render without a fault'
complete=$(sha256sum <whole/out.wav)

# ---- killed ----

# The moments cover the whole render and its end. A shell lets what it starts in the background ignore some signals.
start=$(date +%s%N)
# shellcheck disable=SC2086
"$siskin" render --quiet take.wav whole/again.wav $chain
took_ms=$((($(date +%s%N) - start) / 1000000))
finished=0 asked=0 signals=(TERM INT HUP QUIT PIPE KILL)
for ((i = 0; i < kills; i++)); do
    signal=${signals[RANDOM % 6]}
    before=$(find out -mindepth 1 | sort)
    # shellcheck disable=SC2086
    env --default-signal=INT,QUIT,PIPE "$siskin" render --quiet take.wav out/out.wav $chain 2>/dev/null &
    pid=$!
    sleep "$(awk -v ms=$((RANDOM % (took_ms + took_ms / 8 + 1))) 'BEGIN { print ms / 1000 }')"
    kill -s "$signal" "$pid" 2>/dev/null && asked=$((asked + 1))
    wait "$pid" 2>/dev/null
    # Whoever is killed outright cannot wait for its worker: give that a moment.
    [ "$signal" != KILL ] || sleep 0.2
    left=$(comm -13 <(echo "$before") <(find out -mindepth 1 ! -name out.wav | sort))
    if [ "$(sha256sum <take.wav)" != "$sum" ]; then
        bad "kill $i ($signal): the take has changed"
    elif [ -e out/out.wav ] && [ "$(sha256sum <out/out.wav)" != "$complete" ]; then
        bad "kill $i ($signal): the output is there and not complete"
    elif [ -n "$left" ] && [ "$signal" != KILL ]; then
        bad "kill $i ($signal): left $left"
    else
        ok
    fi
    [ ! -e out/out.wav ] || finished=$((finished + 1))
    rm -f out/out.wav
done
# shellcheck disable=SC2086
"$siskin" render --quiet take.wav out/out.wav $chain
if [ "$(ls -A out)" = out.wav ]; then ok; else bad "a whole run leaves what killed ones left: $(ls -A out)"; fi
rm -rf out && mkdir out
echo "killed: $asked of $kills were still running, $finished had finished"
tell 'kills'

# ---- a full disk ----

mkdir small
if mount -t tmpfs -o size=1m tmpfs small 2>/dev/null; then
    mkdir one && ln take.wav one/take.wav
    printf 'bus lead\nrumble-filter\nbus other\nfrom lead\n' >two.chain
    while read -r line; do
        # shellcheck disable=SC2086
        run 'a full disk' $line
        left=$(find small -mindepth 1 -type f ! -name pad)
        if [ "$status" -eq 1 ] && [ "$(cat message said)" ] && [ -z "$left" ]; then
            ok
        else
            bad "full disk: $line: status $status, left '$left', said '$(cat message)'"
        fi
        find small -mindepth 1 ! -name pad -delete
    done <<'EOF'
render --quiet take.wav small/out.wav rumble-filter
render --quiet take.wav small/out.flac rumble-filter
render --quiet take.wav small/out.aiff rumble-filter
render --quiet --chain two.chain --stems take.wav small/out.wav
render --quiet --trace small/t.csv --trace-step 0.1 take.wav out.wav rumble-filter
render --quiet one small rumble-filter
report --quiet take.wav small/page.html rumble-filter
EOF
    head -c 1040000 /dev/zero >small/pad
    for line in 'advise --quiet --into small one' 'render --quiet one out --summary small/s.csv rumble-filter' \
        'render --quiet take.wav small/out.mp3 rumble-filter' 'render --quiet take.wav small/out.opus rumble-filter'; do
        dd if=/dev/zero of=small/more bs=4096 2>/dev/null # the last page, too
        # shellcheck disable=SC2086
        run 'a full disk' $line
        left=$(find small -mindepth 1 -type f ! -name pad ! -name more)
        if [ "$status" -eq 1 ] && [ -s message ] && [ -z "$left" ]; then ok; else
            bad "full disk: $line: status $status, left '$left', said '$(cat message)'"
        fi
    done
    rm -rf out && mkdir out
    rm -f out.wav
else
    echo 'skip  a full disk: mounting is for root'
fi
if [ -e /dev/full ]; then
    while read -r command; do
        # shellcheck disable=SC2086
        "$siskin" $command >/dev/full 2>message
        status=$?
        if [ $status -eq 1 ] && [ -s message ]; then ok; else bad "$command >/dev/full: status $status"; fi
    done <<'EOF'
list
list de-esser
list lead-hard
measure take.wav
measure --csv take.wav
measure --events take.wav
measure --json take.wav
ride take.wav
advise take.wav
advise --csv take.wav
render --json take.wav out/out.wav rumble-filter
report take.wav page.html rumble-filter
EOF
fi
rm -rf out && mkdir out
tell 'full disks'

# ---- files cut short ----

"$siskin" render --quiet take.wav cut.flac rumble-filter
"$siskin" render --quiet take.wav cut.aiff rumble-filter
"$siskin" render --quiet take.wav cut.wav rumble-filter
"$siskin" render --quiet --bits 16 take.wav cut16.wav rumble-filter
"$siskin" render --quiet take.wav cut.opus rumble-filter
for file in cut.wav cut16.wav cut.flac cut.aiff cut.opus; do
    size=$(size "$file")
    for at in 0 1 11 40 100 $((size / 3)) $((size / 2)) $((size - 1000)); do
        short=short.${file#*.}
        head -c "$at" "$file" >"$short"
        run "$file cut at $at" render --quiet "$short" out/out.wav rumble-filter
        if [ "$status" -eq 1 ] && grep -q "$short" message && [ -z "$(ls -A out)" ]; then
            ok
        else
            bad "$file cut at $at: status $status, left '$(ls -A out)', said '$(cat message)'"
            rm -rf out && mkdir out
        fi
    done
done
tell 'cut short'

# ---- a flipped bit ----
# An error that names the file, or the very audio. The samples of a WAV or an AIFF are under no checksum, nor are the
# frames of an MP3: there the run must only come to an end.

flip() { # file, byte
    local byte
    byte=$(od -An -tu1 -j "$2" -N 1 "$1")
    printf "\\x$(printf %02x $((byte ^ 1 << RANDOM % 8)))" | dd of="$1" bs=1 seek="$2" conv=notrunc status=none
}

"$sing" --phrases 2 small.wav
for kind in flac:640 opus:300 ogg:300 wav:80 aiff:80 mp3:70; do
    n=$(part "${kind#*:}") kind=${kind%:*} silent=0
    if [ "$kind" = ogg ]; then
        command -v ffmpeg >/dev/null || { echo 'skip  Ogg Vorbis: ffmpeg is not there to write it'; continue; }
        ffmpeg -v error -y -i small.wav -c:a libvorbis whole.ogg
    else
        "$siskin" render --quiet small.wav "whole.$kind" rumble-filter
    fi
    run "$kind" render --quiet "whole.$kind" reference.wav rumble-filter
    size=$(size "whole.$kind")
    for ((i = 0; i < n; i++)); do
        at=$(any "$size")
        case $kind in wav | aiff) at=$((at % 120)) ;; esac
        cp "whole.$kind" "flipped.$kind"
        flip "flipped.$kind" "$at"
        run "$kind, byte $at flipped" render --quiet "flipped.$kind" flipped.wav rumble-filter || continue
        if [ "$status" -ne 0 ]; then
            if grep -q "flipped.$kind" message; then ok; else bad "$kind, byte $at: no name: $(cat message)"; fi
        elif [ "$kind" = flac ] || [ "$kind" = opus ] || [ "$kind" = ogg ]; then
            # The heads tell of different files: the samples alone are compared.
            if cmp -s -i 4096 flipped.wav reference.wav; then ok; else
                silent=$((silent + 1))
                bad "$kind, byte $at: other audio without a word"
            fi
        else
            ok
        fi
    done
    tell "$kind flipped"
done

# ---- hostile files ----

bytes() { # how many, of any value
    local i text=
    for ((i = 0; i < $1; i++)); do printf -v text '%s\\x%02x' "$text" $((RANDOM % 256)); done
    printf "$text"
}

put() { dd of="$1" bs=1 seek="$2" conv=notrunc status=none; } # file, where; the bytes come in

spoil() { # from, to, another file
    local size n
    size=$(size "$1")
    cp "$1" "$2"
    case $((RANDOM % 8)) in
    0) head -c "$(any "$size")" "$1" >"$2" ;;
    1) for ((n = RANDOM % 8; n >= 0; n--)); do flip "$2" $((RANDOM % 200 % size)); done ;;
    2) printf '\xff\xff\xff\xff' | put "$2" $((RANDOM % 120)) ;;
    3) printf '\0\0\0\0\0\0\0\0' | put "$2" $((RANDOM % 120)) ;;
    4) bytes 64 | put "$2" "$(any "$size")" ;;
    5) bytes 40 | put "$2" $((4 + RANDOM % 80)) ;;
    6) { head -c "$(any "$size")" "$1"; tail -c +"$(any "$(size "$3")")" "$3"; } >"$2" ;;
    7) bytes $((RANDOM % 700)) >"$2" ;;
    esac
}

seeds=(whole.wav whole.flac whole.aiff whole.mp3 whole.opus cut16.wav)
[ ! -e whole.ogg ] || seeds+=(whole.ogg)
for ((i = 0; i < $(part 779); i++)); do
    from=${seeds[RANDOM % ${#seeds[@]}]} other=${seeds[RANDOM % ${#seeds[@]}]}
    hostile=hostile.${from##*.}
    spoil "$from" "$hostile" "$other"
    [ "$i" -ne 0 ] || : >"$hostile"
    for command in "measure --quiet --csv $hostile" "render --quiet $hostile out/out.wav rumble-filter" \
        "render --quiet --salvage $hostile out/out.wav rumble-filter"; do
        # shellcheck disable=SC2086
        if ! run "hostile file $i of $from" $command; then
            [ -z "${KEEP:-}" ] || cp "$hostile" "$KEEP/$i.$hostile"
            continue
        fi
        if [ "$status" -ne 0 ] && ! grep -q "$hostile" message; then
            bad "hostile file $i: $command: failed without its name: $(cat message)"
        elif [ "$status" -ne 0 ] && [ -n "$(ls -A out)" ]; then
            bad "hostile file $i: $command: left $(ls -A out)"
        else
            ok
        fi
        rm -f out/*
    done
done
tell 'hostile files'

# ---- hostile chains ----

for ((i = 0; i < $(part 110); i++)); do
    chains=("$top"/hosts-test/harm/fuzz/corpus/chain/*.chain)
    awk -v seed=$((RANDOM * 32768 + RANDOM)) '
        BEGIN {
            srand(seed)
            n = split("bus lane from to fader pan key=lead preset=none @x -1 1e999 nan inf 99999999999 \"  # mix none " \
                "lead return de-esser urn:none:none 0:75 depth=1e9 line hold lead.in", word, " ")
        }
        rand() < 0.1 { next }
        {
            for (i = 1; i <= NF; i++)
                if (rand() < 0.15)
                    $i = word[int(rand() * n) + 1]
            print
            if (rand() < 0.1)
                print
            if (rand() < 0.1)
                print word[int(rand() * n) + 1], word[int(rand() * n) + 1], word[int(rand() * n) + 1]
        }' "${chains[RANDOM % ${#chains[@]}]}" >hostile.chain
    [ $((i % 10)) -ne 0 ] || bytes 300 >hostile.chain
    run "hostile chain $i" render --quiet --chain hostile.chain small.wav out/out.wav return=small.wav || continue
    if [ "$status" -eq 0 ] || { [ "$(wc -l <message)" -ge 1 ] && [ -z "$(ls -A out)" ]; }; then ok; else
        bad "hostile chain $i: status $status, left '$(ls -A out)', said '$(cat message)'"
    fi
    rm -f out/*
done
tell 'hostile chains'

# ---- hostile plugins and bundles ----

export LV2_PATH=$build/foreign-lv2
mkdir takes && cp small.wav takes/a.wav && cp small.wav takes/b.wav
plugins=(hangs-instantiate hangs-activate hangs-deactivate hangs-cleanup forks needy)
for fault in 1 2 3 4 5 6; do
    plugins+=("misbehave fault=$fault" "misbehave fault=$fault after=5000" "misbehave fault=$fault after=70000")
done
n=$(part 141)
for ((i = 0; i < n; i++)); do
    plugin=urn:foreign:${plugins[i % ${#plugins[@]}]}
    case $((i / ${#plugins[@]} % 3)) in
    0) command="render --quiet --patience 0.3 small.wav out/out.wav $plugin" ;;
    1) command="render --quiet --patience 0.3 small.wav out/out.wav rumble-filter $plugin de-esser --trace out/t.csv" ;;
    2) command="render --quiet --patience 0.3 takes out $plugin" ;;
    esac
    # shellcheck disable=SC2086
    run "hostile plugin" $command || continue
    parts=$(find out -name '*.part')
    if [ -n "$parts" ]; then
        bad "hostile plugin: $command: left $parts"
    elif [ "$status" -ne 0 ] && [ ! -s message ] && ! grep -q FAILED said; then
        bad "hostile plugin: $command: failed without a word"
    elif [ "$status" -ne 0 ] && [ -n "$(ls -A out)" ] && [ "$((i / ${#plugins[@]} % 3))" -ne 2 ]; then
        bad "hostile plugin: $command: failed, and left $(ls -A out)"
    else
        ok
    fi
    rm -rf out && mkdir out
done
cp -r "$build/foreign-lv2" bundles && export LV2_PATH=$work/bundles
for ((i = 0; i < $(part 60); i++)); do
    turtle=$(find "$build/foreign-lv2" -name '*.ttl' | sed -n "$((RANDOM % 2 + 1))p")
    spoil "$turtle" "bundles/${turtle#"$build/foreign-lv2/"}" "$turtle"
    for command in 'list --others' 'list urn:foreign:late' 'render --quiet small.wav out/out.wav urn:foreign:late'; do
        # shellcheck disable=SC2086
        run "hostile bundle $i" $command && ok
    done
    rm -f out/*
    cp "$turtle" "bundles/${turtle#"$build/foreign-lv2/"}"
done
unset LV2_PATH
tell 'hostile plugins and bundles'

# ---- folders whose names meet ----
# One take is written, the other is named as failed, however often it is asked.

kinds=(wav flac aiff opus mp3)
for ((i = 0; i < 5; i++)); do
    for ((j = 0; j < i; j++)); do
        rm -rf takes out && mkdir takes
        cp "whole.${kinds[i]}" "takes/a.${kinds[i]}" && cp "whole.${kinds[j]}" "takes/a.${kinds[j]}"
        for _ in 1 2; do
            run 'names that meet' render takes out --skip-done rumble-filter || continue
            if [ "$status" -eq 1 ] && [ "$(grep -c FAILED said)" -eq 1 ] && grep -q 'another take' said &&
                [ "$(ls -A out)" = a.wav ]; then ok; else
                bad "a.${kinds[i]} and a.${kinds[j]}: status $status, $(cat said message), $(ls -A out)"
            fi
        done
    done
done
rm -rf takes out && mkdir takes out
cp small.wav takes/x.wav && cp take.wav takes/x.lead.wav
printf 'bus lead\n' >lead.chain
run 'a stem that is a take' render takes out --chain lead.chain --stems
if [ "$status" -eq 1 ] && grep -q 'another take, x.lead.wav' said; then ok; else bad "stems: $(cat said message)"; fi
for link in ../takes/x.lead.wav ../takes/x.wav; do
    rm -rf out && mkdir out && ln -s "$link" out/x.wav
    run 'a link to a take' render takes out rumble-filter
    if [ "$status" -eq 1 ] && cmp -s small.wav takes/x.wav && cmp -s take.wav takes/x.lead.wav; then ok; else
        bad "a link to $link: status $status, $(cat said message)"
    fi
done
run 'a trace that is the output' render small.wav same.wav --trace same.wav rumble-filter
if [ "$status" -ne 0 ] && [ ! -e same.wav ]; then ok; else bad "trace and output are one file: $(cat said message)"; fi
run 'an output that is the key' render small.wav take.wav return-ducker key=take.wav
if [ "$status" -ne 0 ] && [ "$(sha256sum <take.wav)" = "$sum" ]; then ok; else bad 'the key was written over'; fi
tell 'names that meet'

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
