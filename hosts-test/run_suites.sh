#!/bin/sh
# SPDX-License-Identifier: ISC
# Runs Check suites, JOBS at a time (as many as there are cores), and closes with their sum:
#   run_suites.sh SUITE...
# WRAP, if set, is put before each suite (valgrind, an emulator).
set -u
if [ "${1:-}" = --one ]; then
    # One suite: its line, what it printed if it failed, and its counts into a file beside its log.
    name=$(basename "$3")
    log=$2/$(echo "$3" | tr / _) # two suites may have one name
    started=$(date +%s)
    ${WRAP:-} "$3" >"$log" 2>&1
    status=$?
    seconds=$(($(date +%s) - started))
    line=$(grep -E '^[0-9]+%: Checks: [0-9]+, Failures: [0-9]+, Errors: [0-9]+' "$log" | tail -n 1)
    checks=$(echo "$line" | sed -n 's/.*Checks: \([0-9]*\).*/\1/p')
    bad=$(echo "$line" | sed -n 's/.*Failures: \([0-9]*\), Errors: \([0-9]*\).*/\1 + \2/p')
    checks=${checks:-0}
    bad=$((${bad:-0}))
    # A suite that dies, or fails without counting it, is one failure; so is one with no checks.
    if [ "$bad" -eq 0 ] && { [ "$status" -ne 0 ] || [ "$checks" -eq 0 ]; }; then
        bad=1
        [ "$checks" -gt 0 ] || checks=1
    fi
    echo "$checks $bad" >"$log.count"
    # In one write, so that what runs beside it does not come between.
    if [ "$bad" -eq 0 ]; then
        left_out=$(sed -n '/not tried\|not asked\|^asked at/s/^/skip  /p' "$log" | sort -u)
        printf 'ok    %-28s %4d %5d s\n%s' "$name" "$checks" "$seconds" "${left_out:+$left_out
}"
    else
        printf 'FAIL  %-28s %4d of %d (exit %d)\n%s\n' "$name" "$bad" "$checks" "$status" \
            "$(tail -n 60 "$log")"
    fi
    exit 0
fi
# A test without a time limit of its own may take long on a busy machine; it is only a hang that must end.
export CK_DEFAULT_TIMEOUT="${CK_DEFAULT_TIMEOUT:-30}"
logs=$(mktemp -d)
trap 'rm -rf "$logs"' EXIT
printf '%s\0' "$@" | xargs -0 -n 1 -P "${JOBS:-$(nproc)}" "$0" --one "$logs"
cat "$logs"/*.count 2>/dev/null | awk -v suites=$# '
    { passed += $1 - $2; failed += $2; seen++ }
    END {
        failed += suites - seen # a suite without a count was not seen to run
        print passed + 0 " passed, " failed + 0 " failed"
        exit failed != 0 || seen == 0
    }'
