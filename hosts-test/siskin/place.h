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

/* The folder of ready chains, or NULL; the caller frees it. */
char *place_ready_chains(void);

/* The path of a chain file: `name` itself if there is such a file or it has a slash, else the ready
 * chain of that name (with or without its .chain), else `name`. The caller frees it. */
char *place_chain(const char *name);

#endif
