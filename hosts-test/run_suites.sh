#!/bin/sh
# SPDX-License-Identifier: ISC
# Runs Check suites one after the other and closes with their sum: run_suites.sh SUITE...
# WRAP, if set, is put before each suite (valgrind, an emulator).
set -u
passed=0
failed=0
log=$(mktemp)
trap 'rm -f "$log"' EXIT
for suite in "$@"; do
    name=$(basename "$suite")
    ${WRAP:-} "$suite" >"$log" 2>&1
    status=$?
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
    passed=$((passed + checks - bad))
    failed=$((failed + bad))
    if [ "$bad" -eq 0 ]; then
        printf 'ok    %-28s %4d\n' "$name" "$checks"
    else
        printf 'FAIL  %-28s %4d of %d (exit %d)\n' "$name" "$bad" "$checks" "$status"
        tail -n 60 "$log"
    fi
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
