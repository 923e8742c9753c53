/* SPDX-License-Identifier: ISC */
/* settings.h: from the words of a chain to plugins and the values of their controls. */
#ifndef SISKIN_CHAINS_SETTINGS_H
#define SISKIN_CHAINS_SETTINGS_H

#include "siskin/chains/chain.h"

/* As host_find; for a name that is not known the text lists those that are. */
const HostPlugin *settings_find(Host *host, const char *name, unsigned channels, HostError *error);

/* Reads every value of a chain, and checks what can be known before any file is opened or plugin
 * made: that every processor exists, that its controls, values and preset do, and that it has the
 * key it needs and none that it cannot take. A value is a number, perhaps with the control's unit
 * ("18", "18dB", "60 %"), or the label of a scale point ("removed"), or on/off/yes/no for a toggle.
 * Errors name the line of the chain file and what is allowed. */
bool settings_read(Host *host, Chain *chain, HostError *error);

/* Sets an instance: the preset first, then each setting of a chain that was read. Fails on a value
 * that this sample rate does not allow. */
bool settings_apply(HostInstance *instance, const ChainProcessor *processor, double rate_hz,
                    HostError *error);

#endif
