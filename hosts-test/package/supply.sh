#!/bin/sh
# SPDX-License-Identifier: ISC
# What is handed to others, checked: supply.sh CHECK...   (licence symbols hardening same dist package)
# Every check is first shown something bad, which it must refuse: a check that cannot fail proves nothing.
# BUILD names the build folder (build), MAKE the make to use. Closes with a count.
set -u
cd "$(dirname "$0")/../.." || exit 1
BUILD=${BUILD:-build}
MAKE=${MAKE:-make}
CC=${CC:-cc}
work=$(pwd)/$BUILD/supply
case $BUILD in /*) work=$BUILD/supply ;; esac
mkdir -p "$work"
log=$work/log
total=0
bad=0

# expect NAME COMMAND...: one check, which holds when the command succeeds.
expect() {
    name=$1
    shift
    total=$((total + 1))
    if ! "$@" >"$log" 2>&1; then
        bad=$((bad + 1))
        printf 'FAIL  %s\n' "$name"
        tail -n 40 "$log"
    fi
}
refuse() {
    name=$1
    shift
    expect "$name" not "$@"
}
not() {
    if "$@"; then return 1; fi
}
# Says how many checks of a group held: group NAME COUNT_BEFORE BAD_BEFORE
group() {
    [ "$bad" -ne "$3" ] || printf 'ok    %-28s %4d\n' "$1" $((total - $2))
}

built() { find "$BUILD/lv2" "$BUILD/test-lv2" -name '*.so' 2>/dev/null | sort; }

# ---- licence: every source, build, data and settings file names it ----

files() {
    if [ -e .git ]; then
        git ls-files --cached --others --exclude-standard
    else
        find . -path "./${BUILD#./}" -prune -o -type f -print | sed 's|^\./||'
    fi | LC_ALL=C sort
}

# C in the first line; scripts in the line after the interpreter's; the rest first or last. Documents, pictures,
# and the files of a package whose format has no comments, are covered by LICENSE and debian/copyright.
names_licence() {
    case $1 in
    *.md | *.png | LICENSE | NEWS | */changelog | */copyright | */source/format) return 0 ;;
    hosts-test/harm/fuzz/corpus/audio/* | hosts-test/harm/fuzz/corpus/plugin/*) return 0 ;;
    *.html) [ "$(sed -n 2p "$1")" = '<!-- SPDX-License-Identifier: ISC -->' ] ;;
    *.lua) [ "$(head -n 1 "$1")" = '-- SPDX-License-Identifier: ISC' ] ;;
    *.c | *.h | *.css | *.js) [ "$(head -n 1 "$1")" = '/* SPDX-License-Identifier: ISC */' ] ;;
    *)
        { head -n 2 "$1" && tail -n 1 "$1"; } | grep -q -x -E '(#|\.\\") SPDX-License-Identifier: ISC'
        ;;
    esac || {
        echo "$1 does not name its licence"
        return 1
    }
}

check_licence() {
    before=$total before_bad=$bad
    echo 'int x;' >"$work/bare.c"
    printf '\n/* SPDX-License-Identifier: ISC */\n' >"$work/late.c"
    echo 'all:' >"$work/bare.mk"
    for f in "$work/bare.c" "$work/late.c" "$work/bare.mk"; do
        refuse "a file that does not name its licence is refused" names_licence "$f"
    done
    files >"$work/files"
    while read -r f; do
        [ ! -f "$f" ] || expect "licence of $f" names_licence "$f"
    done <"$work/files"
    group licence $before $before_bad
}

# ---- symbols: a plugin shows lv2_descriptor and nothing else, and needs the C library alone; a view, its own, and cairo
# and X as well ----

shows_one_symbol() {
    shown=$(nm -D --defined-only "$1" | awk '{print $3}')
    case $1 in */view.so) only=lv2ui_descriptor ;; *) only=lv2_descriptor ;; esac
    [ "$shown" = $only ] || {
        echo "$1 shows:" $shown
        return 1
    }
}
needs_c_library_alone() {
    needed=$(readelf -d "$1" | sed -n 's/.*(NEEDED).*\[\(.*\)\]/\1/p' | grep -v -x -E 'lib[cm]\.so\.[0-9]+|ld-linux.*')
    case $1 in */view.so) needed=$(echo "$needed" | grep -v -x -E 'lib(cairo|xcb|xkbcommon|xkbcommon-x11)\.so\.[0-9]+') ;; esac
    [ -z "$needed" ] || {
        echo "$1 needs:" $needed
        return 1
    }
}

check_symbols() {
    before=$total before_bad=$bad
    echo 'int lv2_descriptor, another;' >"$work/two.c"
    $CC -shared -fPIC -o "$work/two.so" "$work/two.c" -Wl,--no-as-needed -lz
    refuse 'a bundle that shows two symbols is refused' shows_one_symbol "$work/two.so"
    refuse 'a bundle that needs zlib is refused' needs_c_library_alone "$work/two.so"
    stays_loaded() { readelf -d "$1" | grep -q NODELETE; }
    refuse 'a library that may be unloaded is refused' stays_loaded "$work/two.so"
    for so in $(built | grep '/view\.so$'); do expect "$so stays loaded" stays_loaded "$so"; done
    expect 'there are bundles' test -n "$(built)"
    for so in $(built); do
        expect "one symbol in $so" shows_one_symbol "$so"
        expect "needs of $so" needs_c_library_alone "$so"
    done
    group symbols $before $before_bad
}

# ---- hardening, as the linker left it ----

# Relocations read-only and bound at the start, no code that is written to, no stack that is run.
maps_are_safe() {
    readelf -W -l "$1" >"$work/segments" && readelf -W -d "$1" >"$work/dynamic" &&
        grep -q GNU_RELRO "$work/segments" && grep -q BIND_NOW "$work/dynamic" &&
        ! grep -q TEXTREL "$work/dynamic" && ! grep -q 'GNU_STACK.*RWE' "$work/segments"
}
guards_stack() { nm -D "$1" | grep -q __stack_chk_fail; }
# The compiler puts checked forms in wherever it does not know the size; plugins only copy known sizes.
fortified() { nm -D "$1" | grep -q -E '__[a-z]+_chk(@|$)' && nm -D "$1" | grep -v __stack_chk | grep -q _chk; }
placed_at_random() {
    readelf -W -h "$1" | grep -q 'Type: *DYN' && readelf -W -d "$1" | grep -q 'Flags:.*PIE'
}

check_hardening() {
    before=$total before_bad=$bad
    printf '#include <stdio.h>\nint main(int n, char **v) {\n    char t[64];\n    sprintf(t, "%%s", v[n - 1]);\n    return puts(t);\n}\n' >"$work/soft.c"
    $CC -no-pie -fno-stack-protector -U_FORTIFY_SOURCE -Wl,-z,norelro,-z,lazy -o "$work/soft" "$work/soft.c"
    for what in maps_are_safe guards_stack fortified placed_at_random; do
        refuse "a soft program is refused: $what" $what "$work/soft"
    done
    for so in $(built); do
        expect "maps of $so" maps_are_safe "$so"
        case $so in *naive.so) ;; *) expect "stack of $so" guards_stack "$so" ;; esac
    done
    for what in maps_are_safe guards_stack fortified placed_at_random; do
        expect "siskin: $what" $what "$BUILD/siskin"
    done
    group hardening $before $before_bad
}

# ---- the same bytes: built twice, at another time, in another folder, by another user's settings ----

tree() {
    mkdir -p "$1" && tar -c plugins common ttl tests hosts-test Makefile | tar -x -C "$1"
}
results() { (cd "$1" && find . -path ./obj -prune -o -type f ! -name '*.a' -print | LC_ALL=C sort | xargs sha256sum); }

check_same() {
    before=$total before_bad=$bad
    rm -rf "$work/same"
    one=$work/same/one two="$work/same/two of another name"
    tree "$one" && tree "$two"
    # Without the map of folders, the folder is in the debugging information.
    for t in "$one" "$two"; do (cd "$t" && $CC -std=c11 -g -Icommon -c common/filter/svf.c -o plain.o); done
    refuse 'objects that name their folder differ' cmp "$one/plain.o" "$two/plain.o"
    expect 'first build' $MAKE -s -j"$(nproc)" -C "$one" BUILD=build all
    expect 'second build' env TZ=Pacific/Kiritimati LC_ALL=C.UTF-8 USER=another HOME=/nonexistent sh -c \
        "umask 077; $MAKE -s -j1 -C '$two' BUILD=other-build all"
    results "$one/build" >"$work/one"
    results "$two/other-build" >"$work/two"
    expect 'there is something to compare' grep -q '\.so$' "$work/one"
    expect 'two builds, the same bytes' cmp "$work/one" "$work/two"
    total=$((total + $(wc -l <"$work/one") - 1))
    group 'the same bytes' $before $before_bad
}

# ---- the release archive ----

check_dist() {
    before=$total before_bad=$bad
    rm -rf "$work/dist"
    mkdir -p "$work/dist"
    [ -e .git ] || {
        echo 'skip  dist: made from a git checkout only'
        return
    }
    version=$($MAKE -s version)
    archive=siskin-$version.tar.gz
    expect 'first archive' env SOURCE_DATE_EPOCH=1700000000 $MAKE -s dist DISTDIR="$work/dist/one"
    git clone -q . "$work/dist/clone" && git -C "$work/dist/clone" checkout -q --detach "$(git rev-parse HEAD)"
    expect 'second archive' env SOURCE_DATE_EPOCH=1700000000 TZ=Pacific/Kiritimati sh -c \
        "umask 077; $MAKE -s -C '$work/dist/clone' dist DISTDIR='$work/dist/two'"
    expect 'third archive, of another time' env SOURCE_DATE_EPOCH=1700000001 $MAKE -s dist DISTDIR="$work/dist/three"
    expect 'two archives, the same bytes' cmp "$work/dist/one/$archive" "$work/dist/two/$archive"
    refuse 'another time, other bytes' cmp "$work/dist/one/$archive" "$work/dist/three/$archive"
    git ls-tree -r --name-only HEAD | sed "s|^|siskin-$version/|" | LC_ALL=C sort >"$work/tracked"
    tar -tzf "$work/dist/one/$archive" | grep -v '/$' | LC_ALL=C sort >"$work/packed"
    expect 'it holds what git tracks, no more' cmp "$work/tracked" "$work/packed"
    group 'release archive' $before $before_bad
}

# ---- the Debian package ----

check_package() {
    before=$total before_bad=$bad
    [ -e .git ] || {
        echo 'skip  package: made from a git checkout only'
        return
    }
    version=$($MAKE -s version)
    expect 'the changelog has the version of the Makefile' test \
        "$(sed -n '1s/^siskin (\(.*\)-[0-9]*) .*/\1/p' hosts-test/package/debian/changelog)" = "$version"
    expect 'packages are built' $MAKE -s deb
    deb=$BUILD/deb
    # Lintian must find fault with a package that has one: without its copyright file, which policy asks for.
    lame=$work/lame
    rm -rf "$lame"
    dpkg-deb -R "$deb"/siskin_"$version"-*_*.deb "$lame" && rm "$lame/usr/share/doc/siskin/copyright" &&
        dpkg-deb --root-owner-group -b "$lame" "$work/siskin_${version}_lame.deb" >/dev/null
    refuse 'lintian refuses a package without copyright' lintian --fail-on error "$work/siskin_${version}_lame.deb"
    expect 'lintian finds no error' lintian --fail-on error "$deb"/siskin_"$version"-*.changes
    lintian "$deb"/siskin_"$version"-*.changes 2>/dev/null | sed 's/^/      /'
    # Unpacked side by side, as installed: the program finds the bundles.
    rm -rf "$work/root"
    for d in "$deb"/siskin_*.deb "$deb"/siskin-lv2_*.deb; do dpkg-deb -x "$d" "$work/root"; done
    ls "$BUILD/lv2" | sed 's/^siskin-//; s/\.lv2$//' >"$work/names"
    for name in $($MAKE -s plugins); do
        expect "the program of the package lists $name" env LV2_PATH=/nonexistent "$work/root/usr/bin/siskin" list "$name"
    done
    for so in "$work"/root/usr/lib/lv2/*/*.so; do
        expect "maps of ${so#"$work"/root}" maps_are_safe "$so"
        expect "one symbol in ${so#"$work"/root}" shows_one_symbol "$so"
    done
    for what in maps_are_safe guards_stack fortified placed_at_random; do
        expect "siskin of the package: $what" $what "$work/root/usr/bin/siskin"
    done
    group 'Debian package' $before $before_bad
}

for check in "$@"; do
    case $check in
    licence | symbols | hardening | same | dist | package) "check_$check" ;;
    *)
        echo "supply.sh: no check $check" >&2
        exit 2
        ;;
    esac
done
echo "$((total - bad)) passed, $bad failed"
[ "$bad" -eq 0 ] && [ "$total" -gt 0 ]
