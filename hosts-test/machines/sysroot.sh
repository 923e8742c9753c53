#!/bin/sh
# SPDX-License-Identifier: ISC
# The libraries of another architecture, in a folder: sysroot.sh ARCHITECTURE FOLDER
# Debian's packages of that architecture, with all they depend on, are downloaded and unpacked, not installed:
# apt works on a state of its own within FOLDER, so the machine's packages stay as they are.
set -eu
arch=$1
root=$2
packages='libc6-dev libgcc-s1 lv2-dev liblilv-dev libsndfile1-dev libsamplerate0-dev zlib1g-dev check libebur128-dev
lilv-utils lv2file'
[ "$(cat "$root/ready" 2>/dev/null)" != "$packages" ] || exit 0
command -v apt-get >/dev/null || {
    echo "sysroot: needs apt-get; for $arch, under their Debian names: $packages" >&2
    exit 1
}
rm -rf "$root"
state=$root/var/apt
mkdir -p "$state/lists/partial" "$state/archives/partial"
state=$(cd "$state" && pwd)
: >"$state/status"
apt() {
    apt-get -q -y -o APT::Architecture="$arch" -o APT::Architectures::="$arch" -o Dir::State="$state" \
        -o Dir::State::Lists="$state/lists" -o Dir::State::status="$state/status" -o Dir::Cache="$state" \
        -o Dir::Cache::archives="$state/archives" -o APT::Sandbox::User=root -o APT::Install-Recommends=0 "$@"
}
# A list that cannot be had (a mirror being renewed) matters only if a package is then missing.
apt update >"$state/log" 2>&1 || true
apt --download-only install $packages >>"$state/log" 2>&1 || {
    cat "$state/log" >&2
    exit 1
}
for deb in "$state"/archives/*.deb; do dpkg -x "$deb" "$root"; done
rm -rf "$state"
# Links to absolute paths would lead out of the folder.
find "$root" -type l | while read -r link; do
    to=$(readlink "$link")
    case $to in /*) ln -sfn "$(realpath -m --relative-to="$(dirname "$link")" "$root$to")" "$link" ;; esac
done
echo "$packages" >"$root/ready"
