#!/bin/sh
# SPDX-License-Identifier: ISC
# Makes the README's pictures again: player and graphs of the demo's page, as headless Chromium draws them, and the window
# of the de-esser as it looks 22 s into the raw take.
# Called by `make picture`, after `make demo`. Needs chromium and ffmpeg.
set -eu

build=${BUILD:-build}
here=$(dirname "$0")
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# Without the findings in words, so that the picture's size does not hang on how much there is to read.
css='header, main > section:not([aria-labelledby="graphs-title"]) { display: none }'
sed "s|</head>|<style>$css</style></head>|" "$build/demo/page.html" >"$work/page.html"
grep -q -F "$css" "$work/page.html"

chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --window-size=960,1140 \
    --screenshot="$work/page.png" "file://$work/page.html" 2>"$work/log" || { cat "$work/log"; exit 1; }
"$build/siskin-window" "$build/demo/raw.wav" 22 "$work/window.png"
# A few dozen colours are all there are in it: a third of the size.
for picture in page window; do
    ffmpeg -v error -y -i "$work/$picture.png" \
        -vf 'split[a][b];[a]palettegen=max_colors=48[p];[b][p]paletteuse=dither=none' \
        -map_metadata -1 -fflags +bitexact "$here/$picture.png"
done
