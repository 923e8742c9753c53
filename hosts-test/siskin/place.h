/* SPDX-License-Identifier: ISC */
/* place.h: finding what belongs to the program, whether it is installed or fresh from a
 * build. */
#ifndef SISKIN_PLACE_H
#define SISKIN_PLACE_H

#include "host/host.h"

/* Opens a host on, in this order: `directory` unless NULL; the environment's SISKIN_LV2; `lv2`
 * beside the program, as in a build; `../lib/lv2` from the program, as installed. If none of the
 * last two holds our bundles, they are looked for in LV2_PATH or lilv's default places. Plugins of
 * others always come from there. */
Host *place_open_host(const char *directory, HostError *error);

#define PLACE_BUNDLES_HELP                                                                         \
    "where our plugins are (else SISKIN_LV2, else lv2/ or ../lib/lv2/\n"                           \
    "beside this program, else LV2_PATH)"

/* Folders of chains: the user's own ($XDG_DATA_HOME/siskin/chains, else ~/.local/share/...), and
 * the ready ones that came with the program. NULL: there is none, or none in it. The caller frees
 * it. */
typedef enum { PLACE_OWN, PLACE_READY, PLACE_CHAINS } PlaceChains;
char *place_chains(PlaceChains which);

/* The path of a chain file: `name` itself if there is such a file or it has a slash, else the chain
 * of that name (with or without its .chain), the user's own before a ready one, else `name`. The
 * caller frees it. */
char *place_chain(const char *name);

#endif
