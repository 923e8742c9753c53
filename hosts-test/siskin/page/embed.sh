#!/bin/sh
# SPDX-License-Identifier: ISC
# Writes text files as C: embed.sh FILE.EXT... gives, for each, an array `FILE_EXT` of its lines.
# A line is a string of its own, since compilers need not take long ones.
set -eu
echo '#include "siskin/page/files.h"'
for file in "$@"; do
    name=$(basename "$file")
    echo "const char *const ${name%.*}_${name##*.}[] = {"
    sed 's/[\\"]/\\&/g; s/?/\\?/g; s/.*/"&\\n",/' "$file"
    echo '0};'
done
