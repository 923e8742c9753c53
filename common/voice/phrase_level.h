/* SPDX-License-Identifier: ISC */
/* phrase_level.h: how loud the phrase being sung is, and how loud the take has been so far.
 *
 * Only sung moments count, and time stands still in between: gated loudness as in ITU-R BS.1770-4,
 * but gated by what is sung instead of by level. A pause of 400 ms ends a phrase, and the part of
 * it that lies over 200 ms ends it in part: what was sung before counts less. A phrase begins to
 * count after 20 ms, so that a stray moment begins none. What is sung in part counts in part, and
 * ends a pause in part: a hop that is hardly sung changes hardly anything, wherever it begins.
 *
 * Within a phrase, P being the power of a moment,
 *     M += max(1 / n, 1 - exp(-T / memory)) (P - M)
 * the plain mean of the phrase at first, and an exponential one when it goes on. Little is known of
 * a new phrase, and a singer will most likely do what was done before. So the level weighs the mean
 * of n moments against the take's average, which is worth k of them (a Gaussian prior's posterior
 * mean, the estimate of least variance):
 *     level = (k average + n M) / (k + n)      in dB, k = 100 ms
 * Measured on sung and spoken phrases: 400 ms of a phrase tell its level to 2.5 dB (standard
 * deviation), 1 s to 1.3 dB.
 *
 * The average is that of the level over sung time, in dB: over the whole take at first, over the
 * last 30 s of singing later. When M is over 15 dB above it, what came before was not the voice:
 * the average starts anew and is no prior.
 * Levels in LUFS: -0.691 + 10 log10 of K-weighted power, summed over channels. Latency 0. */
#ifndef SISKIN_VOICE_PHRASE_LEVEL_H
#define SISKIN_VOICE_PHRASE_LEVEL_H

#include <stdbool.h>

typedef struct {
    float steps_per_second;
    float forget;         /* 1 - exp(-T / memory) */
    float goes_on, split; /* steps without voice that end nothing of a phrase, and all of it */
    float enough;         /* sung steps that begin one */
    float prior;          /* k, steps */
    float trusted;        /* sung steps from which the average is relied on */
    float longest;        /* of the average, steps */
    struct {
        float silent;    /* steps since the last sung one */
        bool beginning;  /* sung again, but not yet for `enough` */
        float n, power;  /* sung steps of this phrase, and M */
        float prior_db;  /* the average when it began */
        float prior_n;   /* k, or 0 when there was none */
        float level_db;  /* as last known */
        float average_n; /* 0: nothing was sung yet */
        float average_db;
    } state;
} PhraseLevel;

void phrase_level_prepare(PhraseLevel *level, double steps_per_second);
void phrase_level_reset(PhraseLevel *level);
/* Time constant of the mean within a phrase, > 0. */
void phrase_level_set(PhraseLevel *level, double memory_ms);
/* The pauses that end nothing of a phrase, and all of it: 200 and 400 ms at first. Equal ones split
 * at once, as somebody would who cuts a take into phrases. Call ahead of the first step, or
 * reset. */
void phrase_level_split(PhraseLevel *level, double goes_on_ms, double split_ms);
/* One moment: its K-weighted power, and how far it is sung, 0..1. */
void phrase_level_step(PhraseLevel *level, float power, float counts);

/* How far the average may be relied on: rises from 0 to 1 within the first 0.5 s that are sung. */
static inline float phrase_level_trust(const PhraseLevel *level) {
    float share = level->state.average_n / level->trusted;
    return share < 1.0f ? share : 1.0f;
}

/* False until something was sung. */
static inline bool phrase_level_known(const PhraseLevel *level) {
    return level->state.average_n > 0.0f;
}
/* Of the phrase being sung, or of the last one; and the average. LUFS; -200 before either is known.
 */
static inline float phrase_level_now(const PhraseLevel *level) {
    return level->state.level_db;
}
static inline float phrase_level_average(const PhraseLevel *level) {
    return level->state.average_db;
}

#endif
