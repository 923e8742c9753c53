#!/bin/sh
# SPDX-License-Identifier: ISC
# Writes the controls of our plugins as a C table: controls.sh TTL... The Turtle is what the plugins' own tables say;
# `make ttl-check` holds it to them.
set -eu
echo '#include "siskin/measure/controls.h"'
echo 'const Control controls_table[] = {'
for file in "$@"; do
    awk -v plugin="$(basename "$file" .ttl)" '
        function put() {
            if (symbol != "" && input && !seen[symbol]++)
                printf "{\"%s\", %s, %sf, %sf, %sf},\n", plugin, symbol, low, first, high
            symbol = ""
        }
        /a lv2:(Control|Audio)Port/ { put(); input = /ControlPort/ && /InputPort/; first = low = high = "0.0" }
        $1 == "lv2:symbol" && symbol == "" { symbol = $2 }
        $1 == "lv2:default" { first = $2 }
        $1 == "lv2:minimum" { low = $2 }
        $1 == "lv2:maximum" { high = $2 }
        END { put() }' "$file"
done
echo '{0}};'
