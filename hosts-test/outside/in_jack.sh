#!/bin/sh
# SPDX-License-Identifier: ISC
# Plays a file through a plugin in jalv, under a JACK server of its own without a sound card:
#   in_jack.sh JACK_PLAY BLOCK IN.wav OUT.wav FRAMES URI 'CONTROL=VALUE...' INPUT... -- OUTPUT...
set -eu
player=$1 block=$2 in=$3 out=$4 frames=$5 uri=$6 controls=$7
shift 7
export JACK_DEFAULT_SERVER=siskin-$$ JACK_NO_AUDIO_RESERVATION=1
jackd -n "$JACK_DEFAULT_SERVER" -r -d dummy -r 48000 -p "$block" >jackd.log 2>&1 &
server=$!
# Only what was started here, by its number.
trap 'kill $server; wait' EXIT
"$player" # waits for the server
arguments=
for control in $controls; do arguments="$arguments -c $control"; done
# jalv ends when its input does. Opened for both, since a pipe with one end waits for the other.
rm -f stay
mkfifo stay
exec 3<>stay
# shellcheck disable=SC2086 # several words are meant
jalv -n probe -x $arguments "$uri" <stay 3>&- >jalv.log 2>&1 &
host=$!
"$player" "$in" "$out" "$frames" "$@" && status=0 || status=$?
exec 3>&-
wait $host || true
exit $status
