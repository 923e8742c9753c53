#!/bin/sh
# SPDX-License-Identifier: ISC
# The demo: one raw take in, a finished lead and a mix with backing voices and returns out, and what was done in figures.
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

echo 'Ilka Tarn, "Low Water", one take: raw -> lead'
sing() { "$build/siskin-sing" --voice woman --seed 11 --phrases 10 --hot 8 --rumble -42 --hum -58 "$@"; }
sing --labels "$out/labels.txt" "$out/raw.wav"
sing --no-clicks "$out/truth.wav" # what her take would be, had her mouth not clicked

# What the program does with it, told nothing but the take: the lead, and a page of the same chain.
"$siskin" advise --quiet --finish "$out/raw.wav" >"$out/advised.chain"
"$siskin" render --quiet --chain "$out/advised.chain" "$out/raw.wav" "$out/lead.wav"
"$siskin" report --quiet --chain "$out/advised.chain" "$out/raw.wav" "$out/page.html"

# The advised chain once more, a processor at a time, so that each line of the table compares what
# went in with what came out.
advised() { # processor: what its lines of the chain say, on one line
    sed -n "s/^  \($1\)/\1/p" "$out/advised.chain" | xargs
}
figure() { # take, column: what the program measures of it
    "$siskin" measure --quiet --csv "$1" | tr -d '"' | awk -F, -v name="$2" \
        'NR == 1 { for (i = 1; i <= NF; i++) if ($i == name) at = i } NR == 2 { print $at }'
}
number=0
before=$out/raw.wav
step() { # processor, line of the table, the truth
    line=$(advised "$1")
    [ -n "$line" ] || return 0
    number=$((number + 1))
    after=$out/steps/$number-$1.wav
    # shellcheck disable=SC2086 # words of a chain line
    "$siskin" render --quiet "$before" "$after" $line
    say "$2" "$before" "$after" ${3:+"$3"}
    before=$after
}
hum=$(advised hum-notch)
if [ -n "$hum" ]; then # the table has no line for it
    # shellcheck disable=SC2086 # words of a chain line
    "$siskin" render --quiet "$before" "$out/steps/hum-notch.wav" $hum
    before=$out/steps/hum-notch.wav
fi
step rumble-filter rumble
# shellcheck disable=SC2046,SC2086 # words of a chain line
"$siskin" render --quiet "$out/truth.wav" "$out/steps/truth.wav" $hum $(advised rumble-filter)
printf 'clicks      %s -> %s stand out by 12 dB, as the page counts them; ' "$(figure "$before" clear_clicks)" \
    "$(figure "$out/lead.wav" clear_clicks)"
step transient-tamer clicks "$out/steps/truth.wav"
step gap-trimmer gaps
step breath-ducker breaths
step de-esser sibilants
say phrases "$before" "$out/lead.wav"
for what in integrated_lufs:LUFS range_lu:LU true_peak_dbtp:dBTP; do
    printf 'lead        %.1f -> %.1f %s\n' "$(figure "$out/raw.wav" "${what%:*}")" "$(figure "$out/lead.wav" "${what%:*}")" "${what#*:}"
done
echo "The chain: $(grep -o '^  [a-z-]*' "$out/advised.chain" | grep -vw to | uniq | xargs | sed 's/ /, /g')"

# The mix. Her key and how far she is over A 440 are measured; the band plays in both. Doubles and harmony come in with
# phrases 4, 5, 9 and 10, which serve as the chorus.
key=$(figure "$out/raw.wav" key)
cents=$(figure "$out/raw.wav" tuning_cents)
note=$(echo "$key" | awk '{ at = index("C D EF G A B", $1) - 1 + ($2 == "sharp") - ($2 == "flat"); print (at + 12) % 12 }')
"$build/siskin-band" "$out/labels.txt" "$note" "$cents" "$out/band.wav"
{
    sed "s/KEY/$note/; s/TUNING/$(awk -v cents="$cents" 'BEGIN { printf "%.2f", 440 * 2 ^ (cents / 1200) }')/" "$here/demo.chain"
    awk '$1 == "phrase" {
        db = ++n == 4 || n == 5 || n >= 9 ? -9 : -60
        if (n == 1) print "\nlane chorus line"
        printf "  %.3f %d\n  %.3f %d\n", $2 - 0.1, db, $3 + 0.3, db
    }' "$out/labels.txt"
} >"$out/mix.chain"
sed 's/return-ducker/& enabled=0/' "$out/mix.chain" >"$out/unducked.chain"
mix() { # output, chain file
    "$siskin" render --quiet --tail 3 --stems --chain "$2" "$out/lead.wav" "$1" band="$out/band.wav"
}
mix "$out/mix.wav" "$out/mix.chain"
mix "$out/unducked.wav" "$out/unducked.chain"
{
    echo "The mix, in ${key% (*}: the lead, doubles and a harmony, a band, three returns"
    for bus in backing band short-plate long-plate echo; do
        printf '%-11s ' "$bus"
        say stem "$out/mix.lead.wav" "$out/mix.$bus.wav"
    done
    echo 'Returns, ducked against not ducked'
    for bus in short-plate long-plate echo; do
        printf '%-11s ' "$bus"
        say return "$out/unducked.$bus.wav" "$out/mix.$bus.wav"
    done
} >"$out/mix.txt"
cat "$out/mix.txt"
for file in raw lead mix; do
    printf '%s %.1f %.1f %.2f\n' "$file" "$(figure "$out/$file.wav" integrated_lufs)" \
        "$(figure "$out/$file.wav" true_peak_dbtp)" "$(figure "$out/$file.wav" length_s)"
done >"$out/figures.txt"
awk '$1 == "mix" { print "mix         " $2 " LUFS, " $3 " dBTP" }' "$out/figures.txt"
sh "$here/mix_page.sh" "$out" "$out/figures.txt" "$out/mix.txt" >"$out/mix.html"

# Each ready return behind the lead, and by itself.
mkdir -p "$out/returns"
for name in short-plate long-plate slap echo shimmer driven; do
    "$siskin" render --quiet --tail 4 --stems --chain "return-$name" "$out/lead.wav" "$out/returns/$name.wav"
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
  $out/lead.wav       the lead, by the chain that siskin advises
  $out/mix.wav        the lead in a mix: doubles, a harmony, a band, three returns
  $out/returns/       the lead with each of the ready returns, and its stems
Look: $out/page.html in a browser: that lead against the take; $out/mix.html: take, lead and mix
Read: $out/advised.chain, what it does, and why
END
