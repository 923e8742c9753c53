/* SPDX-License-Identifier: ISC */
/* grains.h: short stretches of past sound, windowed, set down at other places and added up.
 *
 *     y[t] = sum over grains of gain w(t - centre) x(source + (t - centre) speed)
 *     w(t) = S(1 + t / left) for -left < t <= 0, S(1 - t / right) for 0 < t < right,  S(p) = 3 p^2 - 2 p^3
 *
 * S(p) + S(1 - p) = 1, so that grains whose halves meet (the right of one as long as the left of
 * the next) add to exactly one: overlap-add as in Moulines and Charpentier, Speech Communication 9,
 * 1990, with windows of unequal halves. S is within 0.01 of a raised cosine and needs no cosine.
 * Times are in frames, counted as past_sound counts them. Cost a frame of each grain and channel:
 * 25 operations at speed 1, else 60; at most GRAINS_MOST sound at once, and one more is not
 * taken. */
#ifndef SISKIN_SOUND_GRAINS_H
#define SISKIN_SOUND_GRAINS_H

#include "sound/past_sound.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { GRAINS_MOST = 48 };

typedef struct {
    double centre;      /* where it is set down */
    double source;      /* what is heard there */
    double left, right; /* frames, > 0 */
    double speed;       /* > 1: its formants higher; 1 exactly: as they were */
    float gain;
} Grain;

typedef struct {
    struct {
        size_t count;
        Grain grain[GRAINS_MOST]; /* in the order they came */
    } state;
} Grains;

void grains_reset(Grains *grains);
void grains_add(Grains *grains, const Grain *grain);
/* Adds frames t..t + n - 1, n <= 256, of every channel of `past` to out[channel] + at; out NULL:
 * only forgets what is over. */
void grains_process(Grains *grains, const PastSound *past, int64_t t, float *const *out, size_t at,
                    size_t n);

/* S(p), p held to 0..1. */
static inline float grain_rise(float p) {
    p = p < 0.0f ? 0.0f : p > 1.0f ? 1.0f : p;
    return p * p * (3.0f - 2.0f * p);
}

#endif
