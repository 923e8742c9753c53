/* SPDX-License-Identifier: ISC */
/* warm_fade.h: the weight of a path that is switched in and out, and does not run while it is out.
 *
 * Switched in, the path first runs unheard for `warm` frames, so that its filters and levels are
 * where they would be had it always run, and then fades in over `length` frames in a straight line;
 * switched out, it fades at once. In and out it has weight 1 and 0, exactly. After a reset the
 * first wish is met at once, since then there is no past to be warmed up on.
 * Whole frames are counted, so that the host's cutting of blocks cannot show; the wish may change
 * only between blocks. Latency 0. */
#ifndef SISKIN_GAIN_WARM_FADE_H
#define SISKIN_GAIN_WARM_FADE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct {
    uint32_t warm, length; /* frames, >= 1 */
    struct {
        bool fresh;
        uint32_t warmed; /* 0..warm */
        uint32_t at;     /* 0..length */
    } state;
} WarmFade;

void warm_fade_prepare(WarmFade *fade, double warm_ms, double fade_ms, double rate_hz);
void warm_fade_reset(WarmFade *fade);
/* Whether the path has to run for the next block. */
bool warm_fade_runs(const WarmFade *fade, bool wanted);
/* Whether it begins to: its history is to be cleared first. */
bool warm_fade_begins(const WarmFade *fade, bool wanted);
/* n frames of the weight. Returns the largest. */
float warm_fade_process(WarmFade *fade, bool wanted, float *weight, size_t n);

#endif
