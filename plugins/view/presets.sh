#!/bin/sh
# SPDX-License-Identifier: ISC
# Writes the presets of a plugin as C, for its view: presets.sh [TTL]. They are laid out as ttl/presets/ has them: a preset
# begins at the start of a line, a port is one bracket.
set -eu
echo '#include "view/model.h"'
[ $# -eq 0 ] || awk '
    /^</ { n++; values[n] = "" }
    /rdfs:label/ { sub(/^[^"]*"/, ""); sub(/"[^"]*$/, ""); name[n] = $0 }
    {
        rest = $0
        while (match(rest, /lv2:symbol "[a-z_0-9]*" ; pset:value -?[0-9.]+/)) {
            split(substr(rest, RSTART, RLENGTH), word, " ")
            values[n] = values[n] "{" word[2] ", " word[5] "f}, "
            count[n]++
            rest = substr(rest, RSTART + RLENGTH)
        }
    }
    END {
        for (i = 1; i <= n; i++)
            printf "static const PresetValue VALUES_%d[] = {%s};\n", i, values[i]
        print "const Preset view_presets[] = {"
        for (i = 1; i <= n; i++)
            printf "{\"%s\", VALUES_%d, %d},\n", name[i], i, count[i]
        print "{0}};"
    }' "$1"
[ $# -ne 0 ] || echo 'const Preset view_presets[] = {{0}};'
