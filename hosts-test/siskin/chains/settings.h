/* SPDX-License-Identifier: ISC */
/* settings.h: from the words of a chain to plugins and the values of their controls. */
#ifndef SISKIN_CHAINS_SETTINGS_H
#define SISKIN_CHAINS_SETTINGS_H

#include "siskin/chains/chain.h"

/* As host_find; for a name that is not known the text lists those that are. */
const HostPlugin *settings_find(Host *host, const char *name, unsigned channels, HostError *error);

/* A value as written: a number, perhaps with the control's unit ("18", "18dB", "60 %"), or the
 * label of a scale point ("removed"), or on/off/yes/no for a toggle. Fails, naming what is allowed,
 * on anything else and on a value out of range. */
bool settings_value(const HostPlugin *plugin, const char *control, const char *word, double rate_hz,
                    float *value, HostError *error);

/* The preset first, then each setting. */
bool settings_apply(HostInstance *instance, const ChainProcessor *processor, double rate_hz,
                    HostError *error);

/* Checks what can be known before any file is opened or plugin made: that every processor exists,
 * that its controls, values and preset do, and that it has the key it needs and none that it cannot
 * take. Errors name the line of the chain file. */
bool settings_check(Host *host, const Chain *chain, HostError *error);

#endif
