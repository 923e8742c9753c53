/* SPDX-License-Identifier: ISC */
/* siskin_bundles.h: where the program finds our plugins. */
#ifndef SISKIN_BUNDLES_H
#define SISKIN_BUNDLES_H

#include "host.h"

/* Opens a host on, in this order: `directory` unless NULL; the environment's SISKIN_LV2; `lv2`
 * beside the program, as in a build; `../lib/lv2` from the program, as installed. If none of the
 * last two holds our bundles, they are looked for in LV2_PATH or lilv's default places. Plugins of
 * others always come from there. */
Host *bundles_open(const char *directory, HostError *error);

#define BUNDLES_OPTION_HELP                                                                        \
    "where our plugins are (else SISKIN_LV2, else lv2/ or ../lib/lv2/\n"                           \
    "beside this program, else LV2_PATH)"

#endif
