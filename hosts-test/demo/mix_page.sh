#!/bin/sh
# SPDX-License-Identifier: ISC
# Prints the demo's second page: take, lead and mix under each other, to switch between while they play.
#   mix_page.sh FOLDER FIGURES TABLE
# FOLDER holds raw.wav, lead.wav, mix.wav and labels.txt; a line of FIGURES is "raw LUFS dBTP seconds" and so on; TABLE is
# what else to show. Called by demo.sh, which has built everything into $BUILD.
set -eu

build=${BUILD:-build}
folder=$1 figures=$2 table=$3
quietest=$(awk 'NR == 1 || $2 < least { least = $2 } END { print least }' "$figures")
length=$(awk '$1 == "mix" { print $4 }' "$figures")

row() { # file, name, what it is
    awk -v file="$1" '$1 == file { print $2, $3 }' "$figures" | {
        read -r lufs peak
        volume=$(awk -v a="$quietest" -v b="$lufs" 'BEGIN { printf "%.4f", 10 ^ ((a - b) / 20) }')
        cat <<END
<section id="$1" data-volume="$volume">
<h2><button type="button">$2</button> <span>$3; $lufs LUFS, $peak dBTP</span></h2>
<svg viewBox="0 0 $(awk -v s="$length" 'BEGIN { print int(20 * s) }') 100" preserveAspectRatio="none"><path d="$("$build/siskin-demo" wave "$folder/labels.txt" "$folder/$1.wav" "$folder/$1.wav")"/><line y1="0" y2="100"/></svg>
<audio src="$1.wav" preload="auto"></audio>
</section>
END
    }
}

cat <<END
<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>Low Water: take, lead, mix</title>
<style>
$(cat "$(dirname "$0")/../siskin/page/page.css")
body { padding-top: 1rem; }
section h2 { font: inherit; margin: 1rem 0 .3rem; }
body > h2 { margin-top: 1.5rem; }
section button { min-width: 6rem; }
svg { width: 100%; height: 6rem; background: var(--sheet); cursor: pointer; display: block; }
path { fill: var(--before); }
.on path { fill: var(--accent); }
.on button { background: var(--accent); color: var(--on-accent); }
line { stroke: var(--head); stroke-width: 2; vector-effect: non-scaling-stroke; }
pre { overflow-x: auto; }
</style>
<h1>Low Water: take, lead, mix</h1>
<p>Choose one to hear it; it goes on from where the last was. Choose it again to stop. Start low.
<label><input type="checkbox" id="even" checked> equally loud</label></p>
END
row raw Take 'as it was sung into one microphone'
row lead Lead 'what siskin advise made of it'
row mix Mix 'doubles and a harmony in the chorus, a band, three returns'
cat <<END
<h2>The mix in figures</h2>
<pre>$(sed 's/&/\&amp;/g; s/</\&lt;/g; s/>/\&gt;/g' "$table")</pre>
<script>
const rows = [...document.querySelectorAll('section')], even = document.getElementById('even');
const length = $length;
let now = null, at = 0;
function level() { for (const r of rows) r.audio.volume = even.checked ? +r.dataset.volume : 1; }
function play(row, from) {
    if (now) now.audio.pause();
    const stop = row === now && from === undefined;
    if (from !== undefined) at = from;
    else if (now) at = now.audio.currentTime;
    now = stop ? null : row;
    for (const r of rows) r.classList.toggle('on', r === now);
    if (now) { now.audio.currentTime = Math.min(at, now.audio.duration || at); now.audio.play(); }
}
function show() {
    if (now) at = now.audio.currentTime;
    for (const r of rows) for (const end of ['x1', 'x2']) r.line.setAttribute(end, 20 * at);
    requestAnimationFrame(show);
}
for (const r of rows) {
    r.audio = r.querySelector('audio');
    r.line = r.querySelector('line');
    r.querySelector('button').onclick = () => play(r);
    r.querySelector('svg').onclick = e => {
        const box = e.currentTarget.getBoundingClientRect();
        play(r, (e.clientX - box.left) / box.width * length);
    };
}
even.onchange = level;
level();
show();
</script>
END
