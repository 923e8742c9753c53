#!/bin/sh
# SPDX-License-Identifier: ISC
# ungroup.sh BUNDLE...: takes the groups of controls out of bundles, and leaves those of audio. For GStreamer (1.22),
# which takes every port that has a group for a channel of audio.
for bundle in "$@"; do
    sed -i '/^ *pg:group <.*> ;$/{/-\(in\|out\|key\)> ;$/!d;}' "$bundle"/*.ttl || exit 1
done
