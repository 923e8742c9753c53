#!/bin/sh
# SPDX-License-Identifier: ISC
# Builds for other systems and tests there, under emulators where need be: machines.sh arm64|i386|windows ...
# The native build in BUILD (build) must be there: it writes the Turtle, and its sound is what others must give.
# arm64: qemu's user emulation. i386: this processor in its 32-bit mode, with the libraries of a sysroot.
# windows: wine, where it is installed; else the library is only looked at. Closes with a count.
set -u
cd "$(dirname "$0")/../.." || exit 1
BUILD=${BUILD:-build}
MAKE=${MAKE:-make}
JOBS=${JOBS:-$(nproc)}
# All systems give the same bits where the sums are IEEE 754's. The C libraries round some coefficients otherwise
# in the last place, see DEVELOPERS.md. 0: no difference has been seen to come of it.
MOST_APART=${MOST_APART:-0}
path=$PATH
log=$(mktemp)
trap 'rm -f "$log"' EXIT
passed=0
failed=0

# expect NAME COMMAND...
expect() {
    name=$1
    shift
    if "$@" >"$log" 2>&1; then
        passed=$((passed + 1))
        printf 'ok    %s%s\n' "$name" "$(sed -n 's/^[0-9]* values,/:/p' "$log")"
    else
        failed=$((failed + 1))
        printf 'FAIL  %s\n' "$name"
        tail -n 30 "$log"
    fi
}
refuse() {
    name=$1
    shift
    expect "$name" not "$@"
}
# Refused with 1: a program that is not there, or crashes, refuses nothing.
not() {
    "$@"
    [ $? -eq 1 ]
}

# As expect, for what the rest of a machine's checks need.
need() {
    before=$failed
    expect "$@"
    [ "$failed" -eq "$before" ]
}

# Runs suites, and adds their counts to ours.
suites() {
    CK_TIMEOUT_MULTIPLIER=$1 WRAP=$run BUILD=$there hosts-test/run_suites.sh $2 | tee "$log"
    last=$(tail -n 1 "$log")
    passed=$((passed + $(echo "$last" | sed -n 's/^\([0-9]*\) passed.*/\1/p')))
    failed=$((failed + $(echo "$last" | sed -n 's/.* \([0-9]*\) failed$/\1/p')))
}

# What each bundle makes of one take, beside what the native one makes of it.
fingerprints() {
    for p in $($MAKE -s plugins); do
        native=$BUILD/fingerprint/$p other=$there/fingerprint/$p
        expect "$machine: $p here" "$native" "$BUILD/lv2/siskin-$p.lv2/$p.so" "$native.f32"
        grep input "$log" >"$native.input"
        expect "$machine: $p there" $run "$other$1" "$there/lv2/siskin-$p.lv2/$p.$2" "$other.f32"
        tr -d '\r' <"$log" | grep input >"$other.input"
        expect "$machine: $p is given the same take" cmp "$native.input" "$other.input"
        expect "$machine: $p makes the same of it" "$native" --compare "$native.f32" "$other.f32" "$MOST_APART"
    done
    # The comparison must be able to fail: one bit of one value.
    cp "$native.f32" "$native.bent"
    printf '\001' | dd of="$native.bent" bs=1 seek=400000 conv=notrunc status=none
    refuse "$machine: one value bent is refused" "$native" --compare "$native.f32" "$native.bent" "$MOST_APART"
    rm -f "$native.bent"
}

# The Makefile with the compiler and the libraries of a sysroot, which has none for windows.
cross_make() {
    PKG_CONFIG_SYSROOT_DIR=$root PKG_CONFIG_LIBDIR=$root/usr/lib/$triplet/pkgconfig:$root/usr/share/pkgconfig \
        $MAKE -s -j"$JOBS" BUILD="$there" NATIVE="$BUILD" CC="$compiler --sysroot=$root" LDFLAGS="$linker" VIEWS=0 "$@"
}

linux() {
    machine=$1 triplet=$2 compiler=$3
    there=build/$machine root=$(pwd)/build/machines/$machine
    need "$machine: libraries" hosts-test/machines/sysroot.sh "$machine" "$root" || return 0
    linker= run= slow=10
    unset SISKIN_HOSTS
    if [ "$machine" = i386 ]; then
        # Programs that find the sysroot's libraries by themselves, so that they can start one another.
        linker="-Wl,--dynamic-linker=$root/lib/ld-linux.so.2 -Wl,--disable-new-dtags"
        linker="$linker -Wl,-rpath,$root/usr/lib/$triplet:$root/lib/$triplet"
        start="$root/lib/ld-linux.so.2 --library-path $root/usr/lib/$triplet:$root/lib/$triplet"
    else
        # The contract at two rates: all of them take hours. Where CI is set, a kernel without system call filters
        # is a failure, and this emulator has none.
        run="env -u CI SISKIN_RATES=2 qemu-aarch64-static -L $root" slow=50
        start=$run
    fi
    need "$machine: builds without a warning" cross_make WERROR=1 tests fingerprints || return 0
    fingerprints '' so
    [ -z "$run" ] || launcher "$there/siskin"
    # Other people's hosts, of that machine's own kind, before those that are installed.
    mkdir -p "$there/bin"
    for host in lv2info lv2ls lv2apply lv2file; do script "$there/bin/$host" "$start" "$root/usr/bin/$host"; done
    PATH=$(pwd)/$there/bin:$path
    suites $slow "$(ls "$there"/tests/test_* "$there"/hosts-test/test_* | grep -v '\.')"
    PATH=$path
}

# script NAME STARTER PROGRAM: the kernel starts only its own processor's programs by their name; a script of that
# name puts what starts others before them.
script() {
    printf '#!/bin/sh\nexec %s "%s" "$@"\n' "$2" "$3" >"$1"
    chmod +x "$1"
}

# The suites start the program by its name. One that is no script has been linked again.
launcher() {
    head -c 2 "$1" | grep -q '#!' || mv "$1" "$1.$machine"
    script "$1" "$run" "$(pwd)/$1.$machine"
}

# What a library for Windows may need: the system's own. msvcrt is the C library that every one has; advapi32 gives
# the stack guard its random number.
imports() {
    x86_64-w64-mingw32-objdump -p "$1" | sed -n 's/.*DLL Name: //p' | LC_ALL=C sort >"$log.dlls"
    cat "$log.dlls"
    [ -s "$log.dlls" ] && ! grep -v -i -x -E '(kernel32|msvcrt|advapi32)\.dll' "$log.dlls"
}
exports() {
    shown=$(x86_64-w64-mingw32-objdump -p "$1" | sed -n '/Ordinal.Name Pointer/,/^$/s/^\t.*\] *//p')
    echo "shows: $shown"
    [ "$shown" = lv2_descriptor ]
}

windows() {
    machine=windows there=build/windows
    include=build/machines/windows/include
    mkdir -p $include
    # The headers of LV2 alone: the rest of their folder is another system's.
    rm -rf $include/lv2
    cp -rL "$(pkg-config --variable=includedir lv2)/lv2" $include
    need 'windows: builds without a warning' $MAKE -s -j"$JOBS" BUILD=$there NATIVE="$BUILD" \
        CC=x86_64-w64-mingw32-gcc AR=x86_64-w64-mingw32-ar PKG_CONFIG=true CPPFLAGS=-I$include WERROR=1 fingerprints || return 0
    for p in $($MAKE -s plugins); do
        dll=$there/lv2/siskin-$p.lv2/$p.dll
        expect "windows: exports of $p" exports "$dll"
        expect "windows: imports of $p" imports "$dll"
        expect "windows: manifest of $p" grep -q "<$p.dll>" "$there/lv2/siskin-$p.lv2/manifest.ttl"
    done
    echo '__declspec(dllexport) int lv2_descriptor, another;' |
        x86_64-w64-mingw32-gcc -shared -o "$there/two.dll" -x c -
    refuse 'windows: a library that shows two symbols is refused' exports "$there/two.dll"
    run=$(command -v wine64 || command -v wine || ls /usr/lib/wine/wine64 2>/dev/null)
    [ -n "$run" ] || {
        echo 'skip  windows: no wine here, so nothing was run'
        return
    }
    WINEPREFIX=$(pwd)/build/machines/windows/wine WINEDEBUG=-all DISPLAY=
    export WINEPREFIX WINEDEBUG DISPLAY
    fingerprints .exe dll
}

for machine in "$@"; do
    case $machine in
    arm64) linux arm64 aarch64-linux-gnu aarch64-linux-gnu-gcc ;;
    i386) linux i386 i386-linux-gnu i686-linux-gnu-gcc ;;
    windows) windows ;;
    *)
        echo "machines.sh: no machine $machine" >&2
        exit 2
        ;;
    esac
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
