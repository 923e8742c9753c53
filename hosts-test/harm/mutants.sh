#!/bin/bash
# SPDX-License-Identifier: ISC
# Faults put into the code one at a time, and which of them no suite notices. `make mutants`.
#   MUTANTS=100   how many
#   SEED=n        which; printed
#   SCOPE='common plugins hosts-test/siskin'   folders or files that get them
#   VERBOSE=1     also those that were noticed, and by what
# mutants.known lists faults that no suite can notice, each with the reason; they are told apart in the figure.
# Works in copies of the tree under BUILD/mutants/. A fault that the compiler makes the same code of, or none, is no fault:
# another is drawn. For each, what changed is built, and the suites concerned are run until one fails: the unit's own; those
# that include its header; those of plugins that are built on it; the contract of one such plugin at one rate; of the
# program, those of its folder. A suite that takes over a minute, or ten times its time, has noticed, too.
set -u
export LC_ALL=C
top=$(cd "$(dirname "$0")/../.." && pwd)
work=$(mkdir -p "${BUILD:-build}/mutants" && cd "${BUILD:-build}/mutants" && pwd)
count=${MUTANTS:-100} seed=${SEED:-$$} jobs=${JOBS:-1}
scope=${SCOPE:-common plugins hosts-test/siskin}
b=build/m # the copy's own build folder

# ---- a copy of the tree, built ----

# Only what differs is copied, and as new: what an earlier run left behind is built again.
copy() { # number
    mkdir -p "$work/$1"
    find "$work/$1" -name '*.ours' -delete
    while IFS= read -r f; do
        [ -e "$top/$f" ] || rm "$work/$1/$f"
    done < <(cd "$work/$1" && find common plugins tests hosts-test ttl -type f 2>/dev/null)
    while IFS= read -r f; do
        [ ! -f "$top/$f" ] || cmp -s "$top/$f" "$work/$1/$f" && continue
        mkdir -p "$(dirname "$work/$1/$f")"
        cp "$top/$f" "$work/$1/$f"
    done < <(cd "$top" && git ls-files --cached --others --exclude-standard)
    make -s -C "$work/$1" BUILD=$b OPT=-O1 CFLAGS=-g0 tests >"$work/$1.log" 2>&1 || {
        tail -n 5 "$work/$1.log" >&2
        return 1
    }
}

# ---- which suites ----

# Whatever is built on a unit, by the .d files: objects of common/ that include its header, and so on upwards.
built_on() { # common/x/y.h; prints headers, its own first
    local done_with='' todo=${1#common/} header object
    while [ -n "$todo" ]; do
        header=${todo%%$'\n'*}
        todo=$(tail -n +2 <<<"$todo")
        case "$done_with" in *" $header "*) continue ;; esac
        done_with="$done_with $header "
        echo "$header"
        while read -r object; do
            [ -e "common/$object" ] && todo="$todo${todo:+$'\n'}$object"
        done < <(grep -rlF "common/$header" --include='*.d' $b/obj/common | sed "s|^$b/obj/common/||; s|\.d$|.h|")
    done
}

suites_including() { # HEADER... -> names of unit suites
    local pattern
    pattern=$(printf 'common/%s\n' "$@")
    grep -lF "$pattern" $b/obj/tests/test_*.d 2>/dev/null | sed 's|.*/||; s|\.d$||'
}

program_suites_including() { # header -> names of suites of the program
    grep -lF "hosts-test/siskin/$1" $b/obj/hosts-test/siskin/tests/test_*.d 2>/dev/null | sed 's|.*/||; s|\.d$||'
}

# One suite a line, the likeliest first; "contract NAME" asks the contract of one plugin.
concerned() { # file
    local file=$1 name own upper
    name=$(basename "$file" .c)
    case $file in
    common/*)
        own=${file%.c}.h
        [ -e "tests/test_$name.c" ] && echo "test_$name"
        suites_including "${own#common/}"
        upper=$(built_on "$own")
        # shellcheck disable=SC2086
        for suite in $(suites_including $upper); do
            grep -q 'plugins/' "$b/obj/tests/$suite.d" && echo "$suite"
        done
        # shellcheck disable=SC2086
        grep -lF "$(printf 'common/%s\n' $upper)" $b/obj/lv2/*/plugin.d | head -n 1 | sed 's|.*/lv2/\([^/]*\)/.*|contract \1|'
        case $file in common/measure/*) echo test_measure ;; esac
        ;;
    plugins/lv2_shell.c) printf 'test_lv2_shell\ncontract keyed\n' ;;
    plugins/view/*)
        name=test_view_$name
        [ -e "tests/$name.c" ] && echo "$name"
        printf '%s\n' test_view test_view_hosts
        ;;
    plugins/*)
        name=$(basename "${file%_plugin.c}")
        [ -e "tests/test_${name//-/_}.c" ] && echo "test_${name//-/_}"
        echo "contract $name"
        ;;
    hosts-test/siskin/*)
        # Those that include its header are quick, unless nearly all do; then what runs the program.
        own=$(program_suites_including "$(sed 's|^hosts-test/siskin/||; s|c$|h|' <<<"$file")")
        [ "$(wc -l <<<"$own")" -gt 4 ] || echo "$own"
        case $file in
        */render/*) printf '%s\n' test_render test_chain test_moves test_folder test_summary test_events test_files test_strangers ;;
        */chains/*) printf '%s\n' test_chain test_moves test_render test_folder test_files ;;
        */edit/*)
            # By the name of the command first: edit/match_profile.c is asked by test_match.
            [ -e "hosts-test/siskin/tests/test_${name%%_*}.c" ] && echo "test_${name%%_*}"
            printf '%s\n' test_lane test_moves test_events test_ride test_align test_comp test_notes_command test_match
            ;;
        */finish/*) printf '%s\n' test_finish test_finish_folder ;;
        */measure/*) printf '%s\n' test_measure test_page test_files ;;
        */advise/*) printf '%s\n' test_harm test_advise ;;
        */page/*) printf '%s\n' test_page ;;
        *) printf '%s\n' test_safe test_render test_folder test_files test_chain test_strangers test_measure test_page ;;
        esac
        ;;
    esac | awk 'NF && !seen[$0]++'
}

program_of() { # suite
    if [ -e "tests/$1.c" ]; then echo "$b/tests/$1"; else echo "$b/hosts-test/$1"; fi
}

passes() { # suite or "contract NAME"
    export CK_DEFAULT_TIMEOUT=60
    case $1 in
    contract*) SISKIN_ONLY=siskin:${1#contract }# SISKIN_RATES=1 timeout 300 $b/hosts-test/test_contract ;;
    *) timeout 300 "$(program_of "$1")" ;;
    esac >"$out" 2>&1
}

targets_of() { # suites
    while read -r suite; do
        case $suite in
        contract*) echo "$b/hosts-test/test_contract $b/obj/lv2/${suite#contract }/stamp" | sed "s|$b/obj/lv2/keyed|$b/obj/test-lv2/keyed|" ;;
        *)
            program_of "$suite"
            case $(program_of "$suite") in */hosts-test/*) echo "$b/siskin bundles" ;; esac
            ;;
        esac
    done
}

# ---- one fault ----

object_of() {
    case $1 in
    plugins/lv2_shell.c) echo $b/obj/test-lv2/keyed/shell.o ;;
    plugins/view/ui.c) echo "$b/obj/lv2/rumble-filter/ui.o" ;;
    plugins/view/*) echo "$b/obj/${1%.c}.o" ;;
    plugins/*) echo "$b/obj/lv2/$(basename "$(dirname "$1")")/plugin.o" ;;
    *) echo "$b/obj/${1%.c}.o" ;;
    esac
}

# Why this fault cannot be noticed; nothing when it is not known.
known() { # file, line as it is, line with the fault
    awk -F '\t' -v file="$1" -v before="${2##+( )}" -v after="${3##+( )}" '
        $1 == file && $2 == before && $3 == after { print $4; exit }' hosts-test/harm/mutants.known
}

build() { make -s BUILD=$b OPT=-O1 CFLAGS=-g0 "$@" >/dev/null 2>&1; }

# Prints "noticed by ...", "SURVIVED" or "none" (the same code, or no code at all).
try() { # file, line number, new line
    local object suites verdict=SURVIVED
    object=$(object_of "$1")
    cp -p "$1" "$1.ours"
    cp -p "$object" "$out.before"
    awk -v at="$2" 'FNR == at { getline line <"/dev/fd/3"; print line; next } { print }' "$1.ours" 3<<<"$3" >"$1"
    if ! build "$object" || cmp -s "$object" "$out.before"; then
        verdict=none
    else
        suites=$(concerned "$1")
        # shellcheck disable=SC2046
        if ! build $(targets_of <<<"$suites"); then
            verdict='noticed by the build'
        else
            while read -r suite; do
                if [ -n "$suite" ] && ! passes "$suite"; then
                    verdict="noticed by $suite"
                    break
                fi
            done <<<"$suites"
        fi
    fi
    cp "$1.ours" "$1" # newer than the object, which is built again
    rm "$1.ours"
    echo "$verdict"
}

# Worker w takes the draws w, w + jobs, ... until it has its share.
worker() { # number
    local done_with=0 share=$(((count + jobs - 1 - $1) / jobs)) file line what before after verdict why
    cd "$work/$1" || exit 1
    out=$work/$1.out
    while [ "$done_with" -lt "$share" ] && IFS=$'\t' read -r file line what before after; do
        why=$(known "$file" "$before" "$after")
        verdict="known: $why"
        [ -n "$why" ] || verdict=$(try "$file" "$line" "$after")
        [ "$verdict" != none ] || continue
        done_with=$((done_with + 1))
        printf '%s\t%s:%s\t%s\t%s\t%s\n' "$verdict" "$file" "$line" "$what" "$before" "$after" >>"$work/found.$1"
        case $verdict in
        SURVIVED) printf '%s %s:%s\n  - %s\n  + %s\n' "$verdict" "$file" "$line" "${before##+( )}" "${after##+( )}" ;;
        *) [ -z "${VERBOSE:-}" ] || printf '%s: %s:%s\n  + %s\n' "$verdict" "$file" "$line" "${after##+( )}" ;;
        esac
    done < <(awk -v w="$1" -v jobs="$jobs" 'NR % jobs == w' "$work/drawn")
}

# ---- all of them ----

shopt -s extglob
echo "seed $seed"
rm -f "$work"/found.*
for ((w = 0; w < jobs; w++)); do
    copy "$w" || { echo "the copy is not built"; exit 1; }
done
# First a kind of fault, then a place for it, by the generator of Park and Miller (CACM 31(10), 1988), the same everywhere.
cd "$work/0" || exit 1
# shellcheck disable=SC2086
find $scope -name '*.c' ! -path '*/tests/*' | sort | xargs awk -f hosts-test/harm/mutants.awk |
    awk -F '\t' -v seed="$seed" -v most=$((count * 4)) '
        function random(n) { x = (x * 16807) % 2147483647; return int(x / 2147483647 * n) }
        { if (!($3 in n)) kind[kinds++] = $3; place[$3, n[$3]++] = $0 }
        END {
            x = seed % 2147483646 + 1
            for (i = 0; i < 10; i++) random(2)
            for (i = 0; i < most && kinds; i++) {
                k = kind[random(kinds)]
                drawn = place[k, random(n[k])]
                if (!seen[drawn]++)
                    print drawn
            }
        }' >"$work/drawn"
for ((w = 0; w < jobs; w++)); do
    worker "$w" &
done
wait
cat "$work"/found.* 2>/dev/null | awk -F '\t' '
    { n++; all[$3]++ }
    $1 ~ /^known/ { known++ }
    $1 == "SURVIVED" { alive++; left[$3]++ }
    END {
        for (k in all) printf "%-8s %d of %d survived\n", k, left[k], all[k] | "sort"
        close("sort")
        printf "%d faults: %d noticed; %d that nothing can notice; %d survived, %.1f %%\n", n, n - known - alive, known, alive, n ? 100 * alive / n : 0
        exit n == 0
    }'
