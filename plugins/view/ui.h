/* SPDX-License-Identifier: ISC */
/* ui.h: what the view offers beside LV2: a look into it, for tests. */
#ifndef SISKIN_VIEW_UI_H
#define SISKIN_VIEW_UI_H

#include <lv2/ui/ui.h>

#include <stdbool.h>

/* extension_data() of this URI: a const ViewLook *. */
#define VIEW_LOOK "urn:siskin:ns#viewLook"

typedef struct {
    /* Where a port's control takes presses, or a meter's graph is, in px of the window: x, y,
     * width, height. false: it is not shown. */
    bool (*place)(LV2UI_Handle view, uint32_t port, double box[4]);
    /* Whether its window, of this size in px, shows all that it has to. */
    bool (*done)(LV2UI_Handle view, int width, int height);
} ViewLook;

#endif
