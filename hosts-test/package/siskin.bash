# SPDX-License-Identifier: ISC
# Completion of siskin's commands, options, processors, controls and chains for bash; all of it is asked of the program.
_siskin() {
    local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]} program=${COMP_WORDS[0]} choices=
    if [ "$COMP_CWORD" -eq 1 ]; then
        choices=$("$program" --help 2>/dev/null | sed -n 's/^  \([a-z]*\)  .*/\1/p')
    elif [[ $word == -* ]]; then
        choices=$("$program" "${COMP_WORDS[1]}" --help 2>/dev/null | sed -n 's/^  \(--[a-z-]*\).*/\1/p')
    elif [ "$before" = --chain ]; then
        choices=$("$program" list --names 2>/dev/null | sed -n 's/^chain //p')
    elif [ "${COMP_WORDS[1]}" = list ]; then
        choices=$("$program" list --names 2>/dev/null | sed 's/^[a-z]* //')
    elif [ "$COMP_CWORD" -gt 3 ]; then
        choices=$("$program" list --names 2>/dev/null | sed -n 's/^processor //p')
    fi
    mapfile -t COMPREPLY < <(compgen -W "$choices" -- "$word")
    [ "${#COMPREPLY[@]}" -gt 0 ] || compopt -o default
}
complete -F _siskin siskin
