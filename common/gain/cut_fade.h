/* SPDX-License-Identifier: ISC */
/* cut_fade.h: the fades at the two ends of a cut, as drawn by hand in an editor.
 *
 * A position p goes from 0, cut, to 1, open, at a steady speed, and the gain is
 *     g = floor + (1 - floor) (3 p^2 - 2 p^3)
 * in amplitude: the cubic Hermite step, within 0.01 of a raised cosine, whose slope is 0 at both
 * ends. Opening takes fade_in, or less when less is left, and begins so late that p arrives just in
 * time. Closing takes fade_out. A fade that is called back turns round where it is. A new floor is
 * reached with a time constant of 10 ms. Open at rest g is exactly 1; so it is always when the
 * floor is 0 dB.
 * Latency 0. Cost: 8 operations a frame while p moves, else a copy. */
#ifndef SISKIN_GAIN_CUT_FADE_H
#define SISKIN_GAIN_CUT_FADE_H

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    float floor_db; /* <= 0 */
    float fade_in_ms, fade_out_ms;
} CutFadeParams;

typedef struct {
    double rate_hz;
    double in_frames, out_frames; /* of whole fades, >= 1 */
    double goal;                  /* floor as gain */
    double glide;                 /* pole */
    struct {
        bool started; /* the floor is not at its goal by right from the start */
        double at;    /* p */
        double step;  /* a frame: > 0 opening, < 0 closing */
        double next;  /* the same after `wait` frames */
        size_t wait;
        double floor; /* now */
    } state;
} CutFade;

void cut_fade_prepare(CutFade *fade, double rate_hz);
/* Cut at rest. */
void cut_fade_reset(CutFade *fade);
void cut_fade_set(CutFade *fade, const CutFadeParams *params);
/* Frames that opening takes when there is time enough. */
static inline double cut_fade_in_frames(const CutFade *fade) {
    return fade->in_frames;
}
/* Towards open, to arrive after so many frames, or sooner where that would take longer than a whole
 * fade from here on. */
void cut_fade_open(CutFade *fade, size_t after_frames);
/* Towards cut, beginning after so many frames; no later than it was told before. */
void cut_fade_close(CutFade *fade, size_t after_frames);
/* The next n gains. Returns the lowest of them; exactly 1: nothing to do. */
float cut_fade_process(CutFade *fade, float *gain, size_t n);

#endif
