/* SPDX-License-Identifier: ISC */
#include "siskin/measure/controls.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const Control *controls_find(const char *plugin, const char *symbol) {
    for (const Control *c = controls_table; c->plugin; c++)
        if (strcmp(c->plugin, plugin) == 0 && strcmp(c->symbol, symbol) == 0)
            return c;
    fprintf(stderr, "siskin: %s has no control %s\n", plugin, symbol);
    abort();
}

float controls_initial(const char *plugin, const char *symbol) {
    return controls_find(plugin, symbol)->initial;
}
