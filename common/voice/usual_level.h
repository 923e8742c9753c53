/* SPDX-License-Identifier: ISC */
/* usual_level.h: the level at which this voice usually sings, for processors that measure the voice
 * against itself.
 *
 * The mean of the level in dB over sung time, in which time stands still in between: over all of
 * the take at first, over the last 30 s of singing later,
 *     M += max(1 / n, T / 30 s) (L - M)
 * In dB, since a reduction is linear in dB: two voices then lose as much, however lively the one
 * and even the other is. The level is the caller's own, by whatever detector: a peak level is
 * compared with the mean of peak levels.
 *
 * A mean of little is often low, since sounds begin softly, and a take may be entered at a quiet
 * word. So M is the highest of the first 50 ms, before which nothing is known; after t seconds of
 * singing it rises by no less than d^2 T / 50 ms of the way, d = 0.5 / (0.5 + t); and what stands
 * over it counts up to 12 t dB (usual_level_most()). At first the voice is taken to be at its usual
 * level, whatever it is, and nothing jumps when more is known.
 *
 * A level that stays 15 dB over the mean for some 50 ms of singing says that what came before was
 * not the voice (hum, spill, a count-in): all starts anew.
 * Adding a constant to every level adds it to the mean. Latency 0. */
#ifndef SISKIN_VOICE_USUAL_LEVEL_H
#define SISKIN_VOICE_USUAL_LEVEL_H

#include <stdbool.h>

typedef struct {
    float enough, doubt, longest; /* steps */
    float sure_db;                /* a step */
    float fast;                   /* share of the way, a step */
    struct {
        float steps;              /* sung, up to `longest` */
        float mean_db, lately_db; /* lately: the last 50 ms of singing */
    } state;
} UsualLevel;

void usual_level_prepare(UsualLevel *usual, double steps_per_second);
void usual_level_reset(UsualLevel *usual);
/* One moment: its level in dB, and how much it counts among what is sung, 0..1:
 * SceneMoment.counts. */
void usual_level_step(UsualLevel *usual, float level_db, float counts);

static inline bool usual_level_known(const UsualLevel *usual) {
    return usual->state.steps >= usual->enough;
}

/* 0 while not known, towards 1. */
static inline float usual_level_trust(const UsualLevel *usual) {
    return usual_level_known(usual) ? usual->state.steps / (usual->state.steps + usual->doubt)
                                    : 0.0f;
}

/* dB; meaningless before it is known. */
static inline float usual_level_db(const UsualLevel *usual) {
    return usual->state.mean_db;
}

/* By how much a level may be said to stand over the usual one, dB. */
static inline float usual_level_most(const UsualLevel *usual) {
    return usual->sure_db * usual->state.steps;
}

#endif
