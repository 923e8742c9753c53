/* SPDX-License-Identifier: ISC */
/* motion.h: lanes at work while a take is rendered: they set the controls of a processor, or move a
 * fader or a pan. Frames are those of the take, so that a change lands where its lane says. */
#ifndef SISKIN_RENDER_MOTION_H
#define SISKIN_RENDER_MOTION_H

#include "siskin/chains/chain.h"
#include "siskin/render/graph.h"

typedef struct {
    const char *symbol;
    LaneCursor cursor;
} ControlMotion;

typedef struct {
    ControlMotion *controls;
    size_t n;
    Lane *works; /* of the control that is turned off where sounds are left alone; or NULL */
} ProcessorMotion;

/* False, and nothing to free, when none of its controls moves. The chain must stay. `works` moves
 * `control`; see events.h. It is taken over. */
bool motion_of_processor(ProcessorMotion *motion, const ChainProcessor *processor,
                         const Chain *chain, const char *control, Lane works, double rate_hz);
void motion_free(ProcessorMotion *motion);
/* user: a ProcessorMotion. A control along a slope is set every MOTION_FRAMES frames. */
enum { MOTION_FRAMES = 64 };
GraphAutomation motion_automate;

typedef struct {
    LaneCursor cursor;
    bool is_fader; /* else a pan */
    unsigned from, to;
} SideMotion;

void motion_of_side(SideMotion *side, const Chain *chain, const ChainMove *move, bool is_fader,
                    unsigned from, unsigned to, double rate_hz);
/* user: a SideMotion. Along a slope the gain is exact every MOTION_FRAMES frames and straight in
 * amplitude in between: D dB in these frames are off by D^2 / 70 dB at most. */
GraphMove motion_of_gain;

#endif
