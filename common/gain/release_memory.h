/* SPDX-License-Identifier: ISC */
/* release_memory.h: a release that is quick after a peak and slow after a loud phrase.
 *
 * On the wanted reduction x in dB, the gain computer's:
 *     fast[n] = max(x, x + aR (fast[n-1] - x))
 *     slow[n] = fast + aS (slow[n-1] - fast),  aS by 3 tauR while fast > slow, by 6 tauR after
 *     held    = max(fast, share * slow)
 * The first line is the first half of the smooth decoupled detector of Giannoulis, Massberg and
 * Reiss, JAES 60(6), 2012, eqs. 15 and 17: peaks are met at once and let go with tauR; its second
 * half, the attack, is a plain one-pole on what is held, for which ballistics.h will do. So a
 * steady tone is held at its peak and hardly distorted (eq. 16's branching detector falls between
 * the peaks while it attacks).
 * The second and third are a memory beside it (two releases in parallel, the larger reduction
 * counting: common practice): a single peak of 10 ms leaves 2 % of its reduction in it, a phrase of
 * 1 s nearly all. `share` of that is what a release ends at first and then leaves six times as
 * slowly: with 0 this is the decoupled detector alone, with 1 the release after a phrase is all
 * slow. Since time constants go with tauR, one time sets both.
 *
 * Valid for release > 0, share 0..1. In double (see ballistics.h). Latency 0. Cost 9 operations a
 * frame. */
#ifndef SISKIN_GAIN_RELEASE_MEMORY_H
#define SISKIN_GAIN_RELEASE_MEMORY_H

#include <stddef.h>

#define RELEASE_MEMORY_CHARGE 3.0 /* of the release */
#define RELEASE_MEMORY_FALL 6.0

typedef struct {
    float release_ms; /* tauR */
    float share;      /* 0..1 */
} ReleaseMemoryParams;

typedef struct {
    double rate_hz;
    ReleaseMemoryParams params;
    double release, charge, fall; /* poles */
    struct {
        double fast, slow; /* dB */
    } state;
} ReleaseMemory;

void release_memory_prepare(ReleaseMemory *memory, double rate_hz);
/* To 0 dB. */
void release_memory_reset(ReleaseMemory *memory);
void release_memory_set(ReleaseMemory *memory, const ReleaseMemoryParams *params);
/* Wanted reduction in dB, >= 0 -> what is held, never less. n frames; the arrays may be the same.
 */
void release_memory_process(ReleaseMemory *memory, const float *wanted_db, float *held_db,
                            size_t n);

#endif
