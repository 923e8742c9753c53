#!/bin/sh
# SPDX-License-Identifier: ISC
# Installs what is missing for a job, saying so: setup.sh build|demo|check|supply|machines|ci
# Only Debian and its relatives are served; elsewhere it names what is needed and goes on.
set -eu

# cairo, xcb and xkbcommon are for the plugins' windows; make VIEWS=0 builds without.
build='gcc make pkg-config libc6-dev lv2-dev liblilv-dev libsndfile1-dev libsamplerate0-dev zlib1g-dev
libcairo2-dev libxcb1-dev libxkbcommon-x11-dev'
demo='alsa-utils'
# sordi and lv2-dev bring lv2_validate; lilv-utils and lv2file are independent hosts. libebur128, libspeexdsp and
# librubberband do by other means what is compared with: a loudness meter, a noise remover, a pitch shifter. Windows are
# tried under an X server without a screen (xvfb), by a hand that its test extension moves (xtest), and with a font.
check='check libebur128-dev libspeexdsp-dev librubberband-dev sordi lilv-utils lv2file aubio-tools xvfb libxcb-xtest0-dev
fonts-dejavu-core'
ci='clang clang-format clang-tidy cppcheck valgrind libclang-rt-14-dev
lv2proc ffmpeg gstreamer1.0-plugins-bad gstreamer1.0-plugins-good gstreamer1.0-plugins-base gstreamer1.0-tools
ecasound jalv jackd2 alsa-utils csoundqt-examples csound-doc klettres-data codec2-examples
asterisk-core-sounds-en-g722 asterisk-core-sounds-it-g722 chromium'

machines='gcc-aarch64-linux-gnu gcc-i686-linux-gnu gcc-mingw-w64-x86-64-win32 qemu-user-static wine64'
supply='git binutils debhelper dpkg-dev lintian'

case "${1:-}" in
build) want=$build ;;
demo) want="$build $demo" ;;
check) want="$build $check" ;;
machines) want="$build $check $machines" ;;
supply) want="$build check $supply" ;;
ci) want="$build $check $ci" ;;
*)
    echo "usage: setup.sh build|demo|check|supply|machines|ci" >&2
    exit 2
    ;;
esac

if ! command -v dpkg-query >/dev/null 2>&1; then
    echo "setup: this is no Debian machine; needed here, under their Debian names:" $want
    exit 0
fi

missing=
for package in $want; do
    state=$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null || true)
    [ "$state" = installed ] || missing="$missing $package"
done
[ -n "$missing" ] || exit 0

sudo=
if [ "$(id -u)" -ne 0 ]; then
    sudo=sudo
    command -v sudo >/dev/null 2>&1 || {
        echo "setup: missing:$missing" >&2
        echo "setup: neither root nor sudo here; install them and run this again" >&2
        exit 1
    }
fi
echo "setup: installing with ${sudo:+sudo }apt-get:$missing"
log=$(mktemp)
trap 'rm -f "$log"' EXIT
install() {
    DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y --no-install-recommends $missing >"$log" 2>&1
}
# A machine whose package lists are fresh needs no update; one whose lists are not gets it.
install || { $sudo apt-get update >"$log" 2>&1 && install; } || {
    cat "$log" >&2
    exit 1
}
