#!/bin/sh
# SPDX-License-Identifier: ISC
# Holds the includes to one direction: includes.sh [ROOT]
#   common/: basic < filter < gain < voice < detect < sound < measure; a file includes its own folder or one before it
#   plugins: of common/ all but measure/
#   tests/, hosts-test/ on top: nothing in common/ or plugins/ includes them
# Without ROOT it first sees each rule broken, in a tree made for that.
set -eu

order='basic filter gain voice detect sound measure'

rank() { # folder -> its place
    n=0
    for folder in $order; do
        n=$((n + 1))
        [ "$folder" != "$1" ] || { echo $n; return; }
    done
    echo 0 # layout.h, plugin.h: the contract, which stands beside them all
}

# Every quoted include of a tree's C files, as FILE:PATH.
includes() { grep -rHo --include='*.[ch]' '^#include "[^"]*"' "$@" 2>/dev/null | sed 's/:#include "/:/; s/"$//' || true; }

check() { # root; one line a fault
    (
        cd "$1"
        includes common | while IFS=: read -r file path; do
            own=${file#common/}
            from=$(rank "${own%%/*}") to=$(rank "${path%%/*}")
            [ -e "common/$path" ] || echo "$file includes $path, which is not in common/"
            [ "$from" -eq 0 ] || [ "$to" -le "$from" ] || echo "$file includes $path, a folder above its own"
        done
        includes plugins | while IFS=: read -r file path; do
            case $path in
            measure/*) echo "$file includes $path; a plugin has no use for offline measures" ;;
            ../*) echo "$file includes $path, outside plugins/" ;;
            view/*) case $file in plugins/view/*) ;; *) echo "$file includes $path, a window" ;; esac ;;
            *) [ -e "common/$path" ] || [ -e "$(dirname "$file")/$path" ] || echo "$file includes $path, which is not in common/" ;;
            esac
        done
    )
}

if [ $# -eq 1 ]; then
    faults=$(check "$1")
    [ -z "$faults" ] || { echo "$faults"; exit 1; }
    exit 0
fi

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir -p "$work/common/basic" "$work/common/voice" "$work/common/measure" "$work/plugins/thing" "$work/tests"
touch "$work/common/basic/a.h" "$work/common/voice/b.h" "$work/common/measure/c.h" "$work/tests/d.h"
refuse() { # file, include
    echo "#include \"$2\"" >"$work/$1"
    [ -n "$(check "$work")" ] || { echo "includes.sh: $1 with $2 passes, and must not"; exit 1; }
    rm "$work/$1"
}
refuse common/basic/bad.c voice/b.h
refuse common/voice/bad.c measure/c.h
refuse common/basic/bad.c d.h
refuse plugins/thing/thing_plugin.c measure/c.h
refuse plugins/thing/thing_plugin.c ../tests/d.h
echo '#include "basic/a.h"' >"$work/common/voice/good.c"
[ -z "$(check "$work")" ] || { echo "includes.sh: a good tree does not pass"; exit 1; }

exec "$0" "$(dirname "$0")/.."
