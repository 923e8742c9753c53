#!/bin/sh
# SPDX-License-Identifier: ISC
# Every window in Ardour, as a person uses it: ardour.sh [URI...], all bundles of BUILD (build) without one.
#
# A session with a track for each plugin is opened under an X server without a screen, with a window manager, and all its
# windows are open at once; the input is pink noise. More than SESSION plugins get several sessions, one after another. In each window every control is set by keys to its least, its largest
# and its default value, and moved by the wheel; then a preset is chosen. Ardour saves the session each time, and what it
# has saved is compared with what lv2info says of the ports. Pictures are left in BUILD/view-ardour. Closes with a count.
# Not a part of make check: where Ardour or one of the others is missing, it says so and is done.
set -u
SESSION=${SESSION:-8}
cd "$(dirname "$0")/../.." || exit 1
BUILD=$(realpath "${BUILD:-build}")
lua=$(ls /usr/bin/ardour*-lua 2>/dev/null | head -n 1)
for program in "${lua:-ardour-lua}" ardour Xvfb openbox xdotool xwininfo ffmpeg lv2info; do
    command -v "$program" >/dev/null && continue
    echo "view-ardour: skipped, since $program is missing; apt-get install --no-install-recommends" \
        ardour xvfb openbox xdotool x11-utils ffmpeg lilv-utils
    exit 0
done
version=$(basename "$lua" | tr -cd 0-9)
pictures=$BUILD/view-ardour
work=$(mktemp -d)
mkdir -p "$pictures"
# Nothing of the user's own is read or written.
export HOME="$work" XDG_CONFIG_HOME="$work/config" XDG_CACHE_HOME="$work/cache" LV2_PATH="$BUILD/lv2:/usr/lib/lv2"
export FOLDER="$work/siskin" URIS="${*:-$(lv2ls | grep '^urn:siskin:')}"
session=$FOLDER/siskin.ardour
passed=0
failed=0
started=
# Only what was started here, by its number.
trap 'exit 1' HUP INT TERM
trap 'for p in $started; do kill "$p"; done 2>/dev/null; wait; rm -rf "$work"' EXIT

# told NAME STATUS [TEXT]
told() {
    if [ "$2" -eq 0 ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAIL  $1: ${3:-}"
    fi
}

# until_is SECONDS COMMAND...: whether it succeeds in that time
until_is() {
    tries=$(($1 * 5))
    shift
    until "$@" >/dev/null 2>&1; do
        tries=$((tries - 1))
        [ "$tries" -gt 0 ] || return 1
        sleep 0.2
    done
}

# ---- the session ----

make_session() {
    "$lua" hosts-test/view/ardour.lua >"$work/made" 2>"$work/log" || { cat "$work/made" "$work/log"; exit 1; }
    # The windows are open when it is opened, and its device is the one that is there.
    awk '$1 == "made" {
        printf "<Window name=\"P-%s-%s\" visible=\"1\" x-off=\"60\" y-off=\"60\" x-size=\"-1\" y-size=\"-1\"/>", $2, $3
    }' "$work/made" >"$work/windows"
    sed -i -e "s|</Session>|<Extra><UI>$(cat "$work/windows")</UI></Extra></Session>|" \
        -e 's|put-device="Silence"|put-device="Pink Noise"|g' "$session"
}

configure() {
    mkdir -p "$XDG_CONFIG_HOME/ardour$version"
    touch "$XDG_CONFIG_HOME/ardour$version/.a$version" # been here before: no questions
    cat >"$XDG_CONFIG_HOME/ardour$version/config" <<'X'
<?xml version="1.0" encoding="UTF-8"?>
<Ardour>
  <Config>
    <Option name="try-autostart-engine" value="1"/>
    <Option name="hide-dummy-backend" value="0"/>
  </Config>
  <Extra>
    <AudioMIDISetup>
      <EngineStates>
        <State backend="None (Dummy)" driver="Normal Speed" device="Pink Noise" input-device="" output-device=""
          sample-rate="48000" buffer-size="1024" n-periods="0" input-latency="0" output-latency="0" input-channels="0"
          output-channels="0" active="1" use-buffered-io="0" midi-option="1 in, 1 out, Silence" lru="1"/>
      </EngineStates>
    </AudioMIDISetup>
  </Extra>
</Ardour>
X
}

start() {
    mkfifo "$work/display"
    Xvfb -displayfd 3 -screen 0 1600x1200x24 -nolisten tcp 3>"$work/display" 2>"$work/x.log" &
    started="$started $!"
    DISPLAY=:$(head -n 1 "$work/display")
    export DISPLAY
    openbox >"$work/openbox.log" 2>&1 &
    started="$! $started"
    sleep 1
    ardour -a -n "$session" >"$work/ardour.log" 2>&1 &
    ardour=$!
    started="$ardour $started"
}

# ---- windows ----

# xdotool, quiet about windows that come and go while it waits
hand() {
    xdotool "$@" 2>>"$work/hand.log"
}

# The one that a track's plugin has, "de-esser stereo: Siskin ..."
window_of() {
    xdotool search --name "^$1: Siskin" | head -n 1
}
has_window() {
    [ -n "$(window_of "$1")" ]
}
# The view in it: the innermost.
view_in() {
    xwininfo -tree -id "$1" | awk '/0x[0-9a-f]+/ && / 0x/ { for (i = 1; i <= NF; i++) if ($i ~ /^[0-9]+x[0-9]+\+/ && $i !~ /^1x1/) last = $1 }
        END { print last }'
}
is_alive() {
    kill -0 "$ardour" 2>/dev/null
}

# Ctrl-S in the main window, and until it has been written.
save() {
    before=$(stat -c %y "$session")
    hand windowactivate --sync "$main" key --clearmodifiers ctrl+s
    until_is 20 is_newer
}
is_newer() {
    [ "$(stat -c %y "$session")" != "$before" ] && grep -q '</Session>' "$session"
}

# keys KEY: it, and Tab, once for each thing that can be focussed
keys() {
    row=
    i=0
    while [ $i -le "$controls" ]; do
        row="$row $1 Tab"
        i=$((i + 1))
    done
    # shellcheck disable=SC2086 # a word each
    hand key --delay 40 $row
    sleep 0.5
}

picture() {
    eval "$(xdotool getwindowgeometry --shell "$1")"
    ffmpeg -nostdin -v error -y -f x11grab -video_size "$((WIDTH / 2 * 2))x$((HEIGHT / 2 * 2))" -i "$DISPLAY+$X,$Y" -frames:v 1 "$2"
}

# ---- values ----

# "symbol least largest usual" of each control, as the ports say
ports_of() {
    lv2info "$1" | awk '/^\tPort / { input = control = 0 }
        /#ControlPort/ { control = 1 } /#InputPort/ { input = 1 }
        $1 == "Symbol:" { symbol = $2 } $1 == "Minimum:" { least = $2 } $1 == "Maximum:" { largest = $2 }
        $1 == "Default:" && control && input { print symbol, least, largest, $2 }'
}
# "symbol value" of each control of a plugin, as Ardour has saved them
saved_of() {
    awk -v uri="$1" 'index($0, "unique-id=\"" uri "\"") { on = 1 } on && /<Port symbol=/ { split($0, part, "\""); print part[2], part[4] }
        on && /<\/lv2>/ { exit }' "$session"
}
# compare COLUMN: nothing, or the first control that differs from this column of the ports. "moved": ranges are kept, and
# something is not at its default.
compare() {
    saved_of "$uri" | awk -v column="$1" -v ports="$work/ports" '
        function apart(a, b) { a -= 0; b -= 0; d = a - b; size = b < 0 ? -b : b; return (d < 0 ? -d : d) > 1e-5 * (size > 1 ? size : 1) }
        { value[$1] = $2; n++ }
        END {
            while ((getline < ports) > 0) {
                if (!($1 in value)) { print $1 " is not there"; exit }
                now = value[$1]
                if (column == "moved") {
                    if (now - $2 < -1e-5 || now - $3 > 1e-5) { print $1 " is " now ", out of range"; exit }
                    moved += apart(now, $4)
                } else if (apart(now, $column)) { print $1 " is " now ", not " $column; exit }
            }
            if (column == "moved" && !moved) print "nothing has moved"
            if (!n) print "nothing is there"
        }'
}
holds() {
    save || { told "$track" 1 "Ardour does not save"; return; }
    difference=$(compare "$2")
    [ -z "$difference" ]
    told "$track, $1" $? "$difference"
    [ -z "$difference" ] || show "$(echo "$track $1" | tr ' ' -)"
}

# ---- one plugin ----

# A picture of the window, by this name
show() {
    hand windowactivate --sync "$window" sleep 0.3
    picture "$view" "$pictures/$1.png"
}

# Wheels over both columns of controls.
wheel_everywhere() {
    y=120
    row=
    while [ $y -lt $((HEIGHT - 40)) ]; do
        for x in $((WIDTH * 23 / 100)) $((WIDTH * 75 / 100)); do
            row="$row mousemove --window $view $x $y click 4"
        done
        y=$((y + 12))
    done
    # shellcheck disable=SC2086 # a word each
    hand $row sleep 0.5
}

use() {
    uri=$1
    track=$(echo "${uri#urn:siskin:}" | tr '#' ' ')
    ports_of "$uri" >"$work/ports"
    controls=$(wc -l <"$work/ports")
    window=$(window_of "$track")
    told "$track, its window" "$([ -n "$window" ] && echo 0 || echo 1)" "none is open"
    [ -n "$window" ] || return
    view=$(view_in "$window")
    use_keys
    use_mouse
    show "$(echo "$track" | tr ' ' -)"
    hand windowminimize "$window"
}

# to_view: presses where nothing is, as one does to type into it
to_view() {
    hand windowactivate --sync "$window" sleep 0.3 mousemove --window "$view" 6 6 click 1 sleep 0.3
}
use_keys() {
    while read -r key column name; do
        to_view
        keys "$key"
        holds "$name" "$column"
    done <<X
Home 2 every control at its least by Home
End 3 every control at its largest by End
Delete 4 every control at its default by Delete
X
}
use_mouse() {
    eval "$(xdotool getwindowgeometry --shell "$view")"
    to_view
    wheel_everywhere
    holds "controls by the wheel" moved
    to_view
    keys Delete
    to_view
    # The arrow beside the preset's name: past one that is the defaults, too.
    hand mousemove --window "$view" $((WIDTH - 28)) 68 click 1 sleep 0.2 click 1
    sleep 0.5
    holds "a preset by mouse" moved
}

# This script again for each session, and what they say together.
in_sessions() {
    # shellcheck disable=SC2086 # a word each
    echo $URIS | xargs -n "$SESSION" hosts-test/view/ardour.sh >"$work/all" 2>&1
    failed=$?
    grep -v ' passed, ' "$work/all"
    awk -v pictures="$pictures" '/ passed, / { passed += $1; failed += $3 }
        END { print passed + 0 " passed, " failed + 0 " failed; pictures in " pictures }' "$work/all"
    [ "$failed" -eq 0 ]
}

# shellcheck disable=SC2086
if [ "$(echo $URIS | wc -w)" -gt "$SESSION" ]; then
    in_sessions
    exit
fi
make_session
configure
start
main=
# "*siskin - Ardour" when something has changed
find_main() {
    main=$(xdotool search --name 'siskin - Ardour' | head -n 1)
    [ -n "$main" ]
}
if ! until_is 120 find_main; then
    picture "$(xwininfo -root | awk '/Window id/ { print $4 }')" "$pictures/no-session.png"
    tail -n 5 "$work/ardour.log"
    echo "FAIL  Ardour has not opened its session; see $pictures/no-session.png"
    exit 1
fi
until_is 20 hand windowactivate --sync "$main"
# The last is open when all are.
until_is 120 has_window "$(for uri in $URIS; do echo "${uri#urn:siskin:}"; done | tr '#' ' ' | tail -n 1)"
for uri in $URIS; do use "$uri"; done
is_alive
told "Ardour goes on" $? "it has ended"
echo "$passed passed, $failed failed; pictures in $pictures"
[ "$failed" -eq 0 ]
