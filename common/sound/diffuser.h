/* SPDX-License-Identifier: ISC */
/* diffuser.h: makes one sound into many that follow each other closely, with a flat spectrum.
 *
 * All-passes in series (Schroeder, "Natural sounding artificial reverberation", JAES 10(3), 1962):
 *
 *     w[t] = x[t] + g w[t - d],   y[t] = w[t - d] - g w[t]
 *
 * Each has the gain 1 at every frequency; an impulse becomes -g, then (1 - g^2) g^k every d frames.
 * The longest ring of the stages is d 6.9 / ln(1/g) until it has fallen by 60 dB.
 * What of w is under -240 dBFS is written as 0, so that silence ends.
 *
 * Valid for delays of 1 frame and more, |g| < 1. Latency 0: what is early comes at once, by g^n.
 * Cost 4 operations a frame and stage. */
#ifndef SISKIN_SOUND_DIFFUSER_H
#define SISKIN_SOUND_DIFFUSER_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

enum { DIFFUSER_STAGES = 8 };

typedef struct {
    double delay_ms;
    float gain; /* g */
} DiffuserStage;

typedef struct {
    size_t stages;
    struct {
        size_t delay, mask; /* frames; length of the ring - 1 */
        float gain;
        float *ring;
    } stage[DIFFUSER_STAGES];
    struct {
        size_t at; /* frames written, modulo every ring */
    } state;
} Diffuser;

/* stages <= DIFFUSER_STAGES. false: the arena is full. */
bool diffuser_prepare(Diffuser *diffuser, double rate_hz, const DiffuserStage *stage, size_t stages,
                      Arena *arena);
void diffuser_reset(Diffuser *diffuser);
/* n frames; in may equal out. */
void diffuser_process(Diffuser *diffuser, const float *in, float *out, size_t n);

#endif
