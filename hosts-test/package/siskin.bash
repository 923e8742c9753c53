# SPDX-License-Identifier: ISC
# Completion of siskin's commands, options, processors, controls and chains for bash; all of it is asked of the program.

# Of the last processor before the word: its controls, preset= and, if it has one, key=.
_siskin_controls() { # program
    local names i
    names=$("$1" list --names 2>/dev/null | sed -n 's/^processor //p')
    for ((i = COMP_CWORD - 1; i > 3; i--)); do
        grep -qxF -- "${COMP_WORDS[i]}" <<<"$names" || continue
        "$1" list "${COMP_WORDS[i]}" 2>/dev/null | sed -n \
            -e '/^audio .*key/s/.*/key=/p' -e '/^controls$/,/^meters$/s/^  \([a-z][a-z0-9_]*\)  .*/\1=/p' \
            -e '/^presets$/,$s/^  \(preset=[^ ]*\) .*/\1/p'
        return
    done
}

_siskin() {
    local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]} program=${COMP_WORDS[0]} choices=
    if [ "$COMP_CWORD" -eq 1 ]; then
        choices=$("$program" --help 2>/dev/null | sed -n 's/^  \([a-z]*\)  .*/\1/p')
    elif [[ $word == -* ]]; then
        choices=$("$program" "${COMP_WORDS[1]}" --help 2>/dev/null | sed -n 's/^  \(--[a-z-]*\).*/\1/p')
    elif [ "$before" = --chain ]; then
        choices=$("$program" list --names 2>/dev/null | sed -n 's/^chain //p')
    elif [ "$before" = --format ]; then
        choices=$("$program" render --help 2>/dev/null | sed -n 's/^  --format NAME *\([a-z0-9, ]*\) or \([a-z0-9]*\) .*/\1 \2/p' | tr -d ,)
    elif [ "${COMP_WORDS[1]}" = list ]; then
        choices=$("$program" list --names 2>/dev/null | sed 's/^[a-z]* //')
    elif [ "$COMP_CWORD" -gt 3 ] && [[ ${COMP_WORDS[1]} == re* && $before != = && $word != = ]]; then
        choices=$("$program" list --names 2>/dev/null | sed -n 's/^processor //p')
        choices+=$'\n'$(_siskin_controls "$program")
    fi
    mapfile -t COMPREPLY < <(compgen -W "$choices" -- "$word")
    [[ ${COMPREPLY[0]-} != *= ]] || compopt -o nospace 2>/dev/null
    [ "${#COMPREPLY[@]}" -gt 0 ] || compopt -o default 2>/dev/null
}
complete -F _siskin siskin
