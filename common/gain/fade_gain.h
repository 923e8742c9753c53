/* SPDX-License-Identifier: ISC */
/* fade_gain.h: turns "down" and "up" into a gain that moves between 0 dB and -depth without a
 * click.
 *
 * Position p moves by 1 / length a frame towards 1 while down is wanted and towards 0 else; the
 * gain is -depth (3 p^2 - 2 p^3) dB, the cubic Hermite step, whose slope is 0 at both ends. A fade
 * that is called back turns round where it is. A new depth is reached over DEPTH_MS, and at once
 * while p = 0. At rest the gain is exactly 1. p counts whole frames, so that cutting blocks cannot
 * change it. Latency 0. Cost: 10 operations a frame while p moves, else a copy. */
#ifndef SISKIN_GAIN_FADE_GAIN_H
#define SISKIN_GAIN_FADE_GAIN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct {
    float depth_db; /* >= 0 */
    float fade_ms;  /* one whole fade, > 0 */
} FadeGainParams;

typedef struct {
    double rate_hz;
    uint32_t length; /* frames of a fade, >= 1 */
    float goal_db;
    float glide; /* pole */
    struct {
        uint32_t at;    /* 0..length */
        float depth_db; /* now */
    } state;
} FadeGain;

void fade_gain_prepare(FadeGain *fade, double rate_hz);
void fade_gain_reset(FadeGain *fade);
/* A new length keeps the share of the fade that is done. */
void fade_gain_set(FadeGain *fade, const FadeGainParams *params);
/* n frames. Returns the lowest gain among them; 1: nothing to do. */
float fade_gain_process(FadeGain *fade, bool down, float *gain, size_t n);

#endif
