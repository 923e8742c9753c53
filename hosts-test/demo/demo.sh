#!/bin/sh
# SPDX-License-Identifier: ISC
# The demo: one raw take in, a finished lead with two returns out, and what was done in figures.
# Called by `make demo`, which has built everything into $BUILD.
#
# The scenario: Ilka Tarn has sung "Low Water" into the one microphone she owns, in her kitchen, at one go.
# The refrigerator hums, the road rumbles; she is close to the microphone, so her mouth clicks and her
# sibilants are hot; she breathes where she can; and the second verse is louder than the first.
# She is the test singer, so that every click, breath and sibilant is known and the table tells the truth.
set -eu

build=${BUILD:-build}
out=$build/demo
siskin=$build/siskin
here=$(dirname "$0")
mkdir -p "$out/steps" "$out/spoken-raw"

say() { # step, before, after, the truth where the step needs it
    what=$1
    shift
    "$build/siskin-demo" "$what" "$out/labels.txt" "$@"
}

echo 'Ilka Tarn, "Low Water", one take: before -> after'
sing() { "$build/siskin-sing" --voice woman --seed 11 --phrases 10 --hot 8 --rumble -42 --hum -58 "$@"; }
sing --labels "$out/labels.txt" "$out/raw.wav"
sing --no-clicks "$out/truth.wav" # what her take would be, had her mouth not clicked
"$siskin" render --quiet "$out/truth.wav" "$out/steps/truth.wav" rumble-filter

# One processor at a time, so that each line of the table compares what went in with what came out.
before=$out/raw.wav
step() { # number, processor, line of the table, the truth
    after=$out/steps/$1-$2.wav
    "$siskin" render --quiet "$before" "$after" "$2"
    say "$3" "$before" "$after" ${4:+"$4"}
    before=$after
}
step 1 rumble-filter rumble
step 2 transient-tamer clicks "$out/steps/truth.wav"
step 3 gap-trimmer gaps
step 4 breath-ducker breaths
step 5 de-esser sibilants
step 6 phrase-leveller phrases

# The lead in one call, as one would do it.
"$siskin" render --quiet "$out/raw.wav" "$out/lead.wav" rumble-filter transient-tamer gap-trimmer \
    breath-ducker de-esser phrase-leveller

# What the program would do with it, told nothing but the take; and a page of that.
"$siskin" advise "$out/raw.wav" >"$out/advised.chain"
"$siskin" report --quiet --chain "$out/advised.chain" "$out/raw.wav" "$out/page.html"
echo "Siskin advises: $(grep -v -e '^#' -e '^bus' "$out/advised.chain" | sed 's/^ *\([a-z-]*\).*/\1/' | uniq | xargs | sed 's/ /, /g')"

# The mix from one chain file: the lead, and two returns keyed from it; once with the duckers off.
"$build/siskin-hall" hall "$before" "$out/hall.wav"
"$build/siskin-hall" echo "$before" "$out/echo.wav"
mix() { # output, chain file
    "$siskin" render --quiet --stems --chain "$2" "$out/raw.wav" "$1" \
        hall="$out/hall.wav" echo="$out/echo.wav"
}
sed 's/return-ducker  key=lead/& enabled=0/' "$here/demo.chain" >"$out/unducked.chain"
mix "$out/mix.wav" "$here/demo.chain"
mix "$out/unducked.wav" "$out/unducked.chain"
echo 'Returns, ducked against not ducked'
for bus in hall echo; do
    printf '%-11s ' "$bus"
    say return "$out/unducked.$bus.wav" "$out/mix.$bus.wav"
done

# A recorded voice: announcements from a package, spoken clean, as they come.
for file in Front_Center Front_Left Front_Right Rear_Center Rear_Left Rear_Right Side_Left Side_Right; do
    [ ! -e "/usr/share/sounds/alsa/$file.wav" ] ||
        cp "/usr/share/sounds/alsa/$file.wav" "$out/spoken-raw/"
done
if [ -e "$out/spoken-raw/Side_Left.wav" ]; then
    echo 'Recorded announcements, through lead-gently'
    "$siskin" render --chain lead-gently "$out/spoken-raw" "$out/spoken"
fi

cat <<END
Listen; start low:
  $out/raw.wav        the take
  $out/lead.wav       the lead
  $out/mix.wav        the lead with its returns, ducked; unducked.wav to compare
Look: $out/page.html in a browser
Read: $out/advised.chain, what siskin advises for this take, and why
END
